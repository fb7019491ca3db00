"""`evenpace gap` on a recording: its pickups and the mark their teeth count from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drivers.contract import EdgeTrack, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.jobs.channels import MARKS, pick_mark, pick_pickup, pickups
from workbench.jobs.gap.answers import pulse_answer, several, untold
from workbench.jobs.gap.values import limit_values


def compute_recording(
    recording: Recording, machine: Machine | None, options: Mapping[str, Any]
) -> dict[str, Any]:
    """The answer for all pickups of a recording.

    One of several that cannot be judged is said to be so; raises WrongInput where none can.
    """
    tracks = _pickups(recording, options)
    mark = pick_mark(recording, options["mark"], MARKS)
    if options["at_gap_m"] is not None and len(tracks) > 1:
        names = ", ".join(track.channel for track in tracks)
        raise WrongInput(f"--at-gap holds for one pickup: name it with --channel ({names}).")
    holes = bool(recording.lost)
    answers = []
    for track in tracks:
        try:
            answers.append(
                pulse_answer(
                    track,
                    mark.time_s if mark else None,
                    machine,
                    options,
                    holes_known=holes,
                )
            )
        except WrongInput as error:
            if len(tracks) == 1:
                raise
            answers.append(untold(track.channel, error))
    if all(one["teeth"] is None for one in answers):
        raise WrongInput(answers[0]["reason"])
    answer = answers[0] if len(answers) == 1 else several(answers)
    return answer | {
        "source": recording.name,
        "kind": recording.kind,
        "simulated": recording.simulated,
        "counted_from": _counted_from(mark, answers),
        **limit_values(machine, options["blade_step_m"]),
        "warnings": [*recording.warnings, *answer["warnings"]],
    }


def _pickups(recording: Recording, options: Mapping[str, Any]) -> list[EdgeTrack]:
    """The pickup asked for, or all: those of the belt, but for a channel named as the mark."""
    if options["channel"] is not None:
        return [pick_pickup(recording, options["channel"])]
    found = [track for track in pickups(recording) if track.channel != options["mark"]]
    return found or [pick_pickup(recording, None)]


def _counted_from(mark: EdgeTrack | None, answers: list[dict[str, Any]]) -> str:
    """Where teeth count from, by pickup, in a sentence."""
    parts = [
        f"{one['pickup']}: tooth 1 is the one at {one['first_tooth_s']:.3f} s, "
        + (f"the first after the mark of '{mark.channel}'" if mark and one["marked"] else _UNMARKED)
        for one in answers
        if one["teeth"] is not None
    ]
    return f"Teeth count in the turning direction. {'; '.join(parts)}."


_UNMARKED = "the first edge, since no mark tells the place on the wheel"

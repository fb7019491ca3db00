"""`evenpace gap` on a recording: its pickups and the mark their teeth count from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drivers.contract import EdgeTrack, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.jobs.gap.answers import pulse_answer, several, untold
from workbench.jobs.gap.values import limit_values

MARKS = ("mark", "index", "lap")
"""Channels that hold a mark and not a pickup's teeth."""


def compute_recording(
    recording: Recording, machine: Machine | None, options: Mapping[str, Any]
) -> dict[str, Any]:
    """The answer for all pickups of a recording.

    One of several that cannot be judged is said to be so; raises WrongInput where none can.
    """
    tracks = _pickups(recording, options)
    mark = _mark(recording, options)
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
    marks = {*MARKS, options["mark"]}
    named: str | None = options["channel"]
    if named is None:
        found = [track for name, track in recording.edges.items() if name not in marks]
    else:
        found = [track for name, track in recording.edges.items() if name == named]
    if found:
        return found
    known = ", ".join(recording.edges) or "none"
    wanted = f"no pulse channel '{named}'" if named else "no pulses of a pickup"
    raise WrongInput(f"{recording.name} has {wanted}; its pulse channels: {known}.")


def _mark(recording: Recording, options: Mapping[str, Any]) -> EdgeTrack | None:
    named = options["mark"]
    if named is not None and named not in recording.edges:
        known = ", ".join(recording.edges) or "none"
        raise WrongInput(f"--mark: {recording.name} has no channel '{named}'; it has {known}.")
    for name in [named] if named else MARKS:
        if name in recording.edges and recording.edges[name].time_s.size:
            return recording.edges[name]
    return None


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

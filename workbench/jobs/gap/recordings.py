"""A gap check of a recording: its pickups and the mark their teeth count from."""

from __future__ import annotations

from collections.abc import Iterable

from drivers.contract import EdgeTrack, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, Value, as_written, statement
from workbench.calibration.gap.answer import WheelAnswer
from workbench.jobs.channels import MARKS, pick_mark, pick_pickup, pickups
from workbench.jobs.gap.answer import GapAnswer, GapOptions, PickupSays
from workbench.jobs.gap.pickup import pulse_answer, untold
from workbench.jobs.gap.together import together


def of_recording(recording: Recording, machine: Machine | None, options: GapOptions) -> GapAnswer:
    """The answer for all pickups of a recording.

    One of several that cannot be judged is said to be so; raises WrongInput where none can.
    """
    tracks = _pickups(recording, options)
    mark = pick_mark(recording, options.mark, MARKS)
    if options.at_gap_m == options.at_gap_m and len(tracks) > 1:
        raise WrongInput(
            "--at-gap holds for one pickup: name it with --channel ({names}).",
            names=[track.channel for track in tracks],
        )
    mark_s, holes = mark.time_s if mark else None, bool(recording.lost)
    answers, errors = [], []
    for track in tracks:
        try:
            answers.append(pulse_answer(track, mark_s, machine, options, holes_known=holes))
        except WrongInput as error:
            errors.append(error)
            answers.append(untold(track.channel, error))
    if len(errors) == len(tracks):
        raise errors[0]
    return together(
        answers,
        warnings=map(as_written, recording.warnings),
        source=recording.name,
        kind=recording.kind,
        simulated=recording.simulated,
        machine=machine,
        blade_step_m=options.blade_step_m,
        counted_from=_counted_from(mark, answers),
    )


def _pickups(recording: Recording, options: GapOptions) -> list[EdgeTrack]:
    """The pickup asked for, or all: those of the belt, but for a channel named as the mark."""
    if options.channel is not None:
        return [pick_pickup(recording, options.channel)]
    found = [track for track in pickups(recording) if track.channel != options.mark]
    return found or [pick_pickup(recording, None)]


def _counted_from(mark: EdgeTrack | None, answers: Iterable[WheelAnswer]) -> Statement:
    """Where teeth count from, by pickup."""
    told = []
    for one in answers:
        at: dict[str, Value] = {"pickup": one.pickup, "at_s": one.first_tooth_s}
        if one.teeth is not None and mark is not None and one.marked:
            told.append(statement(PickupSays.FROM_MARK, **at, mark=mark.channel))
        elif one.teeth is not None:
            told.append(statement(PickupSays.FROM_FIRST_EDGE, **at))
    return statement(PickupSays.TEETH_COUNT_FROM, pickups=tuple(told))

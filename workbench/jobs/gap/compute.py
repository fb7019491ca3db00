"""The gap check of a table or a recording; a pure function of it and of the options.

`judge_table` and `judge_recording` look into the store first for what it adds, and keep the
answer there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from drivers.contract import EdgeTrack, Recording
from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import Statement, Value, as_written, statement
from workbench.calibration.gap.answer import FeelerAnswer, WheelAnswer
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.repeats import RepeatChart, repeat_chart
from workbench.calibration.gap.table import GapReadings, parse_gap_table
from workbench.calibration.gap.unread import USUAL_TEETH
from workbench.calibration.typed_rows import holds_data
from workbench.jobs.channels import MARKS, pick_mark, pick_pickup, pickups
from workbench.jobs.gap.answer import GapAnswer, GapOptions, PickupSays
from workbench.jobs.gap.pickup import pulse_answer, untold
from workbench.jobs.gap.stored import baseline_of, history_of
from workbench.jobs.gap.together import together
from workbench.jobs.job import Job
from workbench.jobs.keep import Kept, keep, keep_table
from workbench.jobs.particulars import NOTHING_SAID, Particulars
from workbench.jobs.source import Source


def compute(source: Recording | str, machine: Machine | None, options: GapOptions) -> GapAnswer:
    """The answer from a gap table's text or from a recording. Raises WrongInput."""
    if isinstance(source, str):
        return of_table(source, machine, options)
    return of_recording(source, machine, options)


def judge_table(
    text: str,
    machine: Machine | None,
    options: GapOptions,
    store: str | None,
    said: Particulars = NOTHING_SAID,
) -> tuple[GapAnswer, Kept]:
    """The answer of a gap table, kept, with the earlier repeat measurements of its control."""
    told = []
    if options.control:
        try:
            options = replace(options, control_history=history_of(store, options.control, text))
        except StoreError as error:
            told.append(statement(PickupSays.HISTORY_UNREAD, trouble=error.statement))
    answer = compute(text, machine, options)
    answer = replace(answer, warnings=(*answer.warnings, *told))
    kept = keep_table(
        "gap",
        answer,
        options,
        text=text,
        machine=machine,
        address=store,
        said=said,
    )
    return answer, kept


def judge_recording(
    source: Source, options: GapOptions, store: str | None, said: Particulars = NOTHING_SAID
) -> tuple[GapAnswer, Kept]:
    """The answer of a recording, kept where it is a stored one, by the shop's own baseline.

    Raises WrongInput, StoreError.
    """
    recording, machine, told = source.recording, source.machine, []
    if any(track.amplitude_v is not None for track in recording.edges.values()):
        kind = (machine.pickup if machine else Pickup()).kind
        teeth = machine.drive.target_teeth if machine else None
        try:
            points = baseline_of(store, kind, teeth, simulated=recording.simulated)
            options = replace(options, baseline=points)
        except StoreError as error:
            told.append(statement(PickupSays.BASELINE_UNREAD, trouble=error.statement))
    answer = compute(recording, machine, options)
    answer = replace(answer, warnings=(*answer.warnings, *told))
    return answer, keep("gap", answer, options, source, said)


JOB = Job("gap", GapOptions, GapAnswer, compute)


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


def looks_like_gap_table(head: str) -> bool:
    """Whether a file that begins so is a gap table."""
    first = next(filter(holds_data, head.splitlines()), "").lower()
    return "pickup" in first or "gap_m" in first


def of_table(text: str, machine: Machine | None, options: GapOptions) -> GapAnswer:
    """The answer for all pickups of a gap table's text. Raises WrongInput with the line."""
    limits = machine.pickup if machine else Pickup()
    pickups = parse_gap_table(text, options.table_name or "gap table")
    control, pickups = _take_control(pickups, options.control)
    usual = statement(
        PickupSays.LIMITS_OF_PRACTICE, best_m=limits.gap_best_m, most_m=limits.gap_max_m
    )
    chart = None
    if control is not None:
        new_m, earlier_m = control.gap_m.tolist(), options.control_history
        known_m = options.control_target_m
        chart = repeat_chart(control.pickup, earlier_m, new_m, options.blade_step_m, known_m)
    chosen = _only(pickups, options.channel)
    found = _read_by_feeler(chosen, machine, options)
    warnings = [] if machine else [usual]
    answer = _of_feeler(found, options.table_name, warnings, machine, options, chart)
    if not options.as_left:
        return answer
    again = _again(found, machine, options)
    left = [again.get(one.pickup, one) for one in found]
    as_left = _of_feeler(left, options.as_left_name, (), machine, options)
    return replace(answer, as_left=replace(as_left, checked_again=tuple(again)))


def _read_by_feeler(
    pickups: Iterable[GapReadings], machine: Machine | None, options: GapOptions
) -> list[FeelerAnswer]:
    limits = machine.pickup if machine else Pickup()
    teeth = machine.drive.target_teeth if machine else USUAL_TEETH
    step_m = options.blade_step_m
    return [feeler_gap(one, limits, blade_step_m=step_m, teeth=teeth) for one in pickups]


def _of_feeler(
    pickups: list[FeelerAnswer],
    source: str,
    warnings: Iterable[Statement],
    machine: Machine | None,
    options: GapOptions,
    control: RepeatChart | None = None,
) -> GapAnswer:
    return together(
        pickups,
        warnings=warnings,
        source=source,
        kind="gap table",
        simulated=options.simulated,
        machine=machine,
        blade_step_m=options.blade_step_m,
        control=control,
    )


def _again(
    found: list[FeelerAnswer], machine: Machine | None, options: GapOptions
) -> dict[str, FeelerAnswer]:
    """The pickups that were read again after they were adjusted. Raises WrongInput."""
    pickups = parse_gap_table(options.as_left, options.as_left_name or "as left")
    known = {one.pickup for one in found}
    strange = [one for one in pickups if one.pickup not in known]
    if strange:
        raise WrongInput(
            "{name}, line {line}: the pickup '{pickup}' was not read as found; expected one of "
            "{known}.",
            name=options.as_left_name or "as left",
            line=int(strange[0].line[0]),
            pickup=strange[0].pickup,
            known=[f"'{one.pickup}'" for one in found[:8]],
        )
    return {one.pickup: one for one in _read_by_feeler(pickups, machine, options)}


def _take_control(
    pickups: list[GapReadings], name: str | None
) -> tuple[GapReadings | None, list[GapReadings]]:
    """The repeat measurements and the pickups; a table of repeats alone is judged as well."""
    if name is None:
        return None, pickups
    found = [one for one in pickups if one.pickup == name]
    if not found:
        raise WrongInput(
            "--control: the table has no pickup '{name}'; it has {known}.",
            name=name,
            known=_names(pickups),
        )
    others = [one for one in pickups if one.pickup != name]
    return found[0], others or found


def _only(pickups: list[GapReadings], name: str | None) -> list[GapReadings]:
    chosen = [one for one in pickups if name is None or one.pickup == name]
    if not chosen:
        raise WrongInput(
            "--channel: the table has no pickup '{name}'; it has {known}.",
            name=name,
            known=_names(pickups),
        )
    return chosen


def _names(pickups: list[GapReadings]) -> list[str | Message]:
    more = [Message("{count} more", count=len(pickups) - 8)] if len(pickups) > 8 else []
    return [*(f"'{one.pickup}'" for one in pickups[:8]), *more]

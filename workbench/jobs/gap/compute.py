"""The gap check of a table or a recording; a pure function of it and of the options.

`judge_table` and `judge_recording` look into the store first for what it adds, and keep the
answer there.
"""

from __future__ import annotations

from dataclasses import replace

from drivers.contract import Recording
from workbench.base.errors import StoreError
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import statement
from workbench.jobs.gap.answer import GapAnswer, GapOptions, PickupSays
from workbench.jobs.gap.recordings import of_recording
from workbench.jobs.gap.stored import baseline_of, history_of
from workbench.jobs.gap.tables import of_table
from workbench.jobs.job import Job
from workbench.jobs.keep import Kept, keep, keep_table
from workbench.jobs.source import Source


def compute(source: Recording | str, machine: Machine | None, options: GapOptions) -> GapAnswer:
    """The answer from a gap table's text or from a recording. Raises WrongInput."""
    if isinstance(source, str):
        return of_table(source, machine, options)
    return of_recording(source, machine, options)


def judge_table(
    text: str, machine: Machine | None, options: GapOptions, store: str | None
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
        name=options.table_name,
        machine=machine,
        address=store,
    )
    return answer, kept


def judge_recording(
    source: Source, options: GapOptions, store: str | None
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
    return answer, keep("gap", answer, options, source)


JOB = Job("gap", GapOptions, GapAnswer, compute)

"""Gap readings and wheels to an answer, an answer to the store and to a report.

Slow: called away from the screen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from drivers.contract import EdgeTrack
from workbench.base.errors import WrongInput
from workbench.base.files import write_file
from workbench.base.machine import Machine
from workbench.base.steps import tell
from workbench.calibration.gap.answer import FeelerAnswer, WheelAnswer
from workbench.calibration.gap.dropout import follow
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.jobs.gap.answer import GapAnswer, GapOptions
from workbench.jobs.gap.compute import compute, judge_recording
from workbench.jobs.gap.sheet import Sheet, SheetLine, sheet_of
from workbench.jobs.gap.together import alone
from workbench.jobs.keep import Kept, answer_of, keep_table
from workbench.jobs.particulars import NOTHING_SAID, Particulars
from workbench.jobs.source import stored_source
from workbench.models.gap.pickups import PickupState
from workbench.words.gap import summary_table
from workbench.words.language import _
from workbench.words.words import Words

if TYPE_CHECKING:
    from workbench.reports.document import Document

TABLE_NAME, LEFT_NAME = "readings on the bench", "readings as left"
TURNS_A_POINT = 2
"""Turns of the wheel that make one point of the share of teeth seen against speed."""

Curve = list[tuple[float, float]]
"""(belt speed in m/s, share of teeth seen), by rising speed."""


@dataclass(frozen=True, slots=True)
class GapBatch:
    """Readings of one machine's pickups as a gap table, and `as_left` as another.

    `simulated`: they were read on a machine that the simulator made up.
    """

    table: str
    machine: Machine | None
    simulated: bool = False
    as_left: str = ""


@dataclass(frozen=True, slots=True)
class KeptAnswer:
    """An answer, its number in the store, and the machine it was judged by."""

    answer: GapAnswer
    number: int
    machine: Machine | None


@dataclass(frozen=True, slots=True)
class JudgedRun:
    """A run's answer, and the share of teeth seen by speed of each pickup of a drop-out run."""

    kept: KeptAnswer
    curves: dict[str, Curve]
    drop_out: bool


def keep_batches(
    batches: Sequence[GapBatch], store: str | None, said: Callable[[Machine | None], Particulars]
) -> list[KeptAnswer]:
    """The answers from feeler readings, stored: a result for each machine with what is `said`
    of it.

    All are judged before the first is stored. Raises WrongInput, StoreError.
    """
    judged = []
    for batch in batches:
        options = GapOptions(
            TABLE_NAME,
            batch.as_left,
            LEFT_NAME if batch.as_left else "",
            simulated=batch.simulated,
        )
        judged.append((batch, options, compute(batch.table, batch.machine, options)))
    return [
        _numbered(
            answer,
            keep_table(
                "gap",
                answer,
                options,
                text=batch.table,
                machine=batch.machine,
                address=store,
                said=said(batch.machine),
            ),
            batch.machine,
        )
        for batch, options, answer in judged
    ]


def _numbered(answer: GapAnswer, kept: Kept, machine: Machine | None) -> KeptAnswer:
    """The answer with its number. Raises StoreError where it could not be kept."""
    if kept.trouble is not None:
        raise kept.trouble
    assert kept.number is not None
    return KeptAnswer(answer, kept.number, machine)


def judge_wheel(
    number: int,
    channel: str | None,
    store: str | None,
    machine: Machine | None = None,
    said: Particulars = NOTHING_SAID,
    *,
    drop_out: bool,
) -> JudgedRun:
    """The answer from a recording's pulses, stored.

    `machine` is used where the recording was made without one. Raises BenchError.
    """
    source = stored_source(number, None, store)
    if source.machine is None:
        source = replace(source, machine=machine)
    machine = source.machine
    try:
        options = GapOptions(channel=channel, drop_out=drop_out)
        answer, kept = judge_recording(source, options, store, said)
    except WrongInput:
        if machine is None:
            raise WrongInput(
                "Recording {number} was made without a machine, and its pulses alone do not tell "
                "enough: choose the machine on Machine first.",
                number=number,
            ) from None
        raise
    curves = {}
    for one in answer.pickups if drop_out and machine is not None else ():
        if isinstance(one, WheelAnswer) and one.teeth is not None and machine is not None:
            track = source.recording.edges[one.pickup]
            curves[one.pickup] = seen_by_speed(track, one, machine)
    return JudgedRun(_numbered(answer, kept, machine), curves, drop_out)


def seen_by_speed(track: EdgeTrack, pickup: WheelAnswer, machine: Machine) -> Curve:
    """Share of the teeth seen against speed, for the run of one pickup's answer."""
    teeth = pickup.teeth or 1
    try:
        passages = follow(track.time_s, teeth, pickup.first_tooth_s)
    except WrongInput:
        return []
    speed_mps = passages.tooth_hz * metres_per_pulse(machine).value_m
    order = np.argsort(speed_mps, kind="stable")
    starts = np.arange(0, order.size, TURNS_A_POINT * teeth)
    count = np.diff(np.append(starts, order.size))
    mean_mps = np.add.reduceat(speed_mps[order], starts) / count
    share = np.add.reduceat(passages.seen[order].astype(np.float64), starts) / count
    return list(zip(mean_mps.tolist(), share.tolist(), strict=True))


def one_pickup(kept: Iterable[KeptAnswer], name: str) -> KeptAnswer | None:
    """One pickup out of answers, with what holds for all; None where it is not in them."""
    return next(
        (
            replace(one, answer=alone(one.answer, pickup))
            for one in kept
            for pickup in one.answer.pickups
            if pickup.pickup == name
        ),
        None,
    )


def ready() -> None:
    """Load what the first judgement needs, so that it does not stop the screen."""
    import scipy.special  # noqa: F401


@dataclass(frozen=True, slots=True)
class GapReport:
    """A report that can be looked at, printed and saved; all of it slow.

    `find` gets what it shows: a kept answer, or the sheet of a list with the numbers its
    readings are kept under; it may look into the store. `file_name` is a name to save it by,
    `store` where all of it is kept, with what was said of it.
    """

    find: Callable[[], KeptAnswer | tuple[Sheet, Sequence[int]]]
    words: Words
    file_name: str
    store: str | None

    def pages(self, ppi: float) -> list[bytes]:
        """The pages as PNG. Raises BenchError."""
        from workbench.reports.document import render_pages

        return render_pages(self._document(), ppi)

    def save(self, path: Path) -> Path:
        """Write it as the name's ending says: .csv is a table, the others are the report.

        Raises WrongInput, StoreError.
        """
        from workbench.reports.document import check_report_path, render

        if path.suffix.lower() == ".csv":
            found = self.find()
            sheet = sheet_of(found.answer) if isinstance(found, KeptAnswer) else found[0]
            return write_file(path, summary_table(sheet, self.words), WrongInput)
        check_report_path(path)
        return render(self._document(), path)

    def _document(self) -> Document:
        from workbench.reports.gap.report import gap_document, sheet_document
        from workbench.reports.made import made_in
        from workbench.reports.testified import testified

        found = self.find()
        if isinstance(found, KeptAnswer):
            made = made_in(self.store, (found.number,))
            paper = gap_document(found.answer, found.machine, self.words, made)
            return testified(paper, self.store, found.number)
        sheet, numbers = found
        paper = sheet_document(sheet, self.words, made_in(self.store, numbers))
        return testified(paper, self.store, max(numbers, default=None))


def list_sheet(states: Sequence[PickupState], store: str | None) -> Sheet:
    """The whole list, its runs taken from the store by the numbers noted with each pickup.

    Raises StoreError.
    """
    lines = []
    for at, state in enumerate(states):
        tell(at / len(states))
        lines.append(_line(state, store))
    return Sheet(_("list of pickups"), tuple(lines))


def _line(state: PickupState, store: str | None) -> SheetLine:
    """A pickup, where it stands, and what feeler and runs found, the feeler first."""
    from workbench.records.store import open_store

    last = state.gap or state.as_found
    found: list[FeelerAnswer | WheelAnswer] = [] if last is None else [last]
    for run in state.runs:
        with open_store(store) as opened:
            answer = answer_of(opened.result(run.result), GapAnswer)
        found += [one for one in answer.pickups if one.pickup == run.channel]
    held = state.held
    return SheetLine(
        state.name,
        state.standing,
        tuple(found),
        held.name or None,
        held.limits,
        state.simulated,
        None if state.gap is None else state.as_found,
    )

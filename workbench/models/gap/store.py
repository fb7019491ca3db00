"""Gap readings and wheels to an answer, an answer to the store and to a report.

Slow: called away from the screen.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from drivers.contract import EdgeTrack
from workbench.base.errors import WrongInput
from workbench.base.files import write_file
from workbench.base.machine import Machine
from workbench.base.units import UnitSystem
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.models.gap.pickups import PickupState
from workbench.words.gap_summary import list_answer, summary_table

if TYPE_CHECKING:
    from workbench.reports.document import Document

TABLE_NAME = "readings on the bench"
TURNS_A_POINT = 2
"""Turns of the wheel that make one point of the share of teeth seen against speed."""

Curve = list[tuple[float, float]]
"""(belt speed in m/s, share of teeth seen), by rising speed."""


def gap_options(**given: Any) -> dict[str, Any]:
    """All options of a gap check, with those given."""
    none = ("channel", "mark", "pitch_radius_m", "at_gap_m", "before_result")
    options: dict[str, Any] = dict.fromkeys((*none, "control", "control_target_m"))
    options |= {"table_name": "", "blade_step_m": BLADE_STEP_M, "drop_out": False}
    return options | {"baseline": [], "before": {}, "control_history": [], **given}


@dataclass(frozen=True, slots=True)
class Batch:
    """Readings of one machine's pickups as a gap table.

    `simulated`: they were read on a machine that the simulator made up.
    """

    table: str
    machine: Machine | None
    simulated: bool = False


def keep_batches(batches: Sequence[Batch], store: str | None) -> dict[str, Any]:
    """The answer from feeler readings, stored: a result for each machine.

    All are judged before the first is stored. Raises WrongInput, StoreError.
    """
    from workbench.cli.gap import compute
    from workbench.records.store import open_store

    judged = []
    for batch in batches:
        options = gap_options(table_name=TABLE_NAME, simulated=batch.simulated)
        judged.append((batch, options, compute(batch.table, batch.machine, options)))
    answers = []
    with open_store(store) as opened:
        for batch, options, answer in judged:
            number = opened.add_result(
                "gap",
                answer,
                options=options,
                table=batch.table,
                table_name=TABLE_NAME,
                machine=batch.machine,
            )
            answers.append({"result": number, **answer})
    return answers[0] if len(answers) == 1 else _together(answers)


def _together(answers: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The results of several machines as one answer; each pickup keeps its own limits."""
    from workbench.jobs.gap.answers import several

    return several([one for answer in answers for one in _parts(answer)]) | {
        "source": TABLE_NAME,
        "kind": "gap table",
        "simulated": any(answer["simulated"] for answer in answers),
        "results": [answer["result"] for answer in answers],
    }


def judge_wheel(
    number: int,
    channel: str | None,
    store: str | None,
    machine: Machine | None = None,
    *,
    drop_out: bool,
) -> dict[str, Any]:
    """`answer` from a recording's pulses, stored, `curves` by pickup, the `machine` it was
    judged by, and `drop_out` as given.

    Raises BenchError. `machine` is used where the recording was made without one.
    """
    from workbench.cli.gap import compute
    from workbench.jobs.source import finish, stored_source

    source = stored_source(number, None, store)
    if source.machine is None and machine is not None:
        source = stored_source(number, machine, store)
    if source.machine is None and drop_out:
        raise WrongInput(_NO_MACHINE.format(number))
    options = gap_options(channel=channel, drop_out=drop_out)
    try:
        answer = compute(source.recording, source.machine, options)
    except WrongInput:
        if source.machine is None:
            raise WrongInput(_NO_MACHINE.format(number)) from None
        raise
    answer = finish("gap", answer, source, options)
    curves = {}
    for one in answer.get("pickups", [answer]) if drop_out and source.machine else ():
        track = source.recording.edges[one["pickup"]]
        if one["teeth"] is not None and source.machine is not None:
            curves[str(one["pickup"])] = seen_by_speed(track, one, source.machine)
    return {
        "answer": answer,
        "curves": curves,
        "drop_out": drop_out,
        "machine": source.machine,
    }


_NO_MACHINE = (
    "Recording {} was made without a machine, and its pulses alone do not tell enough: choose the "
    "machine on Machine first."
)


def seen_by_speed(track: EdgeTrack, pickup: dict[str, Any], machine: Machine) -> Curve:
    """Share of the teeth seen against speed, for the run of one pickup's answer."""
    from workbench.calibration.gap.dropout import follow
    from workbench.calibration.pulses.drive_line import metres_per_pulse

    try:
        passages = follow(track.time_s, pickup["teeth"], pickup["first_tooth_s"])
    except WrongInput:
        return []
    speed_mps = passages.tooth_hz * metres_per_pulse(machine).value_m
    order = np.argsort(speed_mps, kind="stable")
    starts = np.arange(0, order.size, TURNS_A_POINT * int(pickup["teeth"]))
    count = np.diff(np.append(starts, order.size))
    mean_mps = np.add.reduceat(speed_mps[order], starts) / count
    share = np.add.reduceat(passages.seen[order].astype(np.float64), starts) / count
    return list(zip(mean_mps.tolist(), share.tolist(), strict=True))


def one_pickup(answer: dict[str, Any], name: str) -> dict[str, Any] | None:
    """One pickup out of an answer, with what holds for all; None where it is not in it."""
    return next((one for one in _parts(answer) if one["pickup"] == name), None)


def ready() -> None:
    """Load what the first judgement needs, so that it does not stop the screen."""
    import scipy.special  # noqa: F401


@dataclass(frozen=True, slots=True)
class Paper:
    """A report that can be looked at, printed and saved; all of it slow.

    `find` gets its answer: it may look into the store. `file_name` is a name to save it by.
    """

    find: Callable[[], dict[str, Any]]
    machine: Machine | None
    units: UnitSystem
    file_name: str

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
            return write_file(path, summary_table(self.find()), WrongInput)
        check_report_path(path)
        return render(self._document(), path)

    def _document(self) -> Document:
        from workbench.reports.gap.report import gap_document

        return gap_document(self.find(), self.machine, self.units)


def list_found(
    states: Sequence[PickupState], kept: dict[str, Any], store: str | None
) -> dict[str, Any]:
    """The whole list as one answer. Raises StoreError.

    `kept` is the stored answer of the list's readings, {} where there are none; the runs
    are taken from the store by the numbers noted with each pickup.
    """
    return list_answer([_found(state, kept, store) for state in states], kept)


def _found(
    state: PickupState, kept: dict[str, Any], store: str | None
) -> tuple[str, str, list[dict[str, Any]]]:
    """A pickup's name, where it stands, and what feeler and runs found, the feeler first."""
    from workbench.records.store import open_store

    found = [
        one | {"simulated": state.practice} for one in _parts(kept) if one["pickup"] == state.name
    ]
    for run in state.runs:
        with open_store(store) as opened:
            answer = opened.result(run.result).answer
        found += [one for one in _parts(answer) if one["pickup"] == run.channel]
    return state.name, state.word, found


def _parts(answer: dict[str, Any]) -> list[dict[str, Any]]:
    """Each pickup of an answer with what holds for all of them, such as the limits."""
    common = {name: value for name, value in answer.items() if name not in ("pickups", "summary")}
    return [common | one for one in answer.get("pickups", [answer] if answer else [])]

"""The run table: what the readout showed and what the belt did, a line a run.

Header `run,shown,laps,laps_time_s,pulses,pulses_time_s`; either pair may be empty, and
two optional columns, `reference_mps,u_reference_mps`, take a reading of a hand tachometer
or another calibrated source with its standard uncertainty. `u_laps_time_s` and
`u_pulses_time_s` are the standard uncertainty of the laps' and the pulses' time where no hand
took it, but a lap pickup or a gate; without it a hand did. `u_wander_rel` is how far the belt's
speed was from its mean over the run, a share, where pulses tell it. A line
that begins with `#` is a remark; `# simulated` says that no machine made these runs.
`shown` is in the readout's unit. Times of both pairs that are equal to the last digit mean
one interval, started and stopped once: the hand's error is then shared by both.

With a recording go two smaller tables: what was shown in steady stretches, and flips of the
display by key. A wrong cell costs what hangs on it and no more; each is named.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum, auto

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, statement
from workbench.base.units import to_mps
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.readout.change_overs import Flip
from workbench.calibration.readout.recorded_runs import FLIP_COLUMNS, SHOWN_COLUMNS, Window
from workbench.calibration.readout.runs import HAND_INTERVAL_U_S, Run
from workbench.calibration.typed_rows import (
    TypedRow,
    at,
    delimiter_of,
    header_of,
    holds_data,
    number_or_nan,
    read_rows,
)

COLUMNS = ("run", "shown", "laps", "laps_time_s", "pulses", "pulses_time_s")
REFERENCE_COLUMNS = ("reference_mps", "u_reference_mps")
TIMING_COLUMNS = ("u_laps_time_s", "u_pulses_time_s")
WANDER_COLUMN = "u_wander_rel"
KNOWN_COLUMNS = (*COLUMNS, *REFERENCE_COLUMNS, *TIMING_COLUMNS, WANDER_COLUMN)
SIMULATED_MARK = "# simulated"

FASTEST_MPS = 10.0
SLOWEST_MPS = 0.02
"""No conveyor of a digger runs outside these; chosen wide."""
UNSTEADY_REL = 0.1
"""A belt that wanders more was not run steadily. Chosen."""


class RunTableSays(StrEnum):
    """What is wrong with a line of a run table, and what was left out for it."""

    SHOWN_IN_OTHER_UNIT = auto()
    SHOWN_NO_BELT_SPEED = auto()
    PARTNER_EMPTY = auto()
    COUNT_NOT_WHOLE = auto()
    TIME_OUT_OF_RANGE = auto()
    REFERENCE_WRONG = auto()
    TIMING_WRONG = auto()
    WANDER_WRONG = auto()
    SPEED_IMPLAUSIBLE = auto()
    NOTHING_COUNTED = auto()
    SAME_LINE_TWICE = auto()
    SAME_NUMBER_TWICE = auto()
    SHOWN_OFF_STEP = auto()
    RUN_LEFT_OUT = auto()
    LAPS_LEFT_OUT = auto()
    PULSES_LEFT_OUT = auto()


@dataclass(frozen=True, slots=True)
class TypedRuns:
    """What could be read, and a statement for everything that could not."""

    runs: tuple[Run, ...]
    warnings: tuple[Statement, ...]


def looks_like_run_table(text: str) -> bool:
    """Whether the first line has a column of a run table, or only as many numbers as one."""
    first = next((line for line in text.splitlines() if holds_data(line)), "")
    cells = header_of(first, delimiter_of(first))
    if set(COLUMNS[1:]) & set(cells):
        return True
    numbers = [not cell or math.isfinite(number_or_nan(cell)) for cell in cells]
    return len(cells) == len(COLUMNS) and all(numbers)


def marked_simulated(text: str) -> bool:
    """Whether a run table says of itself that it was simulated."""
    return any(
        line.strip().casefold().startswith(SIMULATED_MARK)
        for line in text.lstrip("\ufeff").splitlines()
    )


def read_run_table(text: str, name: str, machine: Machine) -> TypedRuns:
    """Runs of a table for the readout of `machine`; `name` is the table's.

    Raises WrongInput where nothing can be kept: no header, no line that is a run.
    """
    table = read_rows(
        text,
        name,
        needed=("shown",),
        known=KNOWN_COLUMNS,
        numbers=_NUMBERS,
        measured=("shown",),
    )
    if not {"laps", "pulses", "reference_mps"} & set(table.header):
        raise WrongInput(
            "{table}, line 1: there is neither a pair laps,laps_time_s nor a pair "
            "pulses,pulses_time_s; expected the header {header}.",
            table=name,
            header=",".join(COLUMNS),
        )
    warnings = list(table.odd)
    reader = _Reader(name, machine, warnings)
    runs = [run for row in table.rows if (run := reader.run(row)) is not None]
    runs = _same_numbers(name, runs, warnings)
    warnings += _off_step(name, runs, machine)
    if not runs and not warnings:
        raise WrongInput("{table}: no line holds a run that can be used.", table=name)
    if not runs:
        raise WrongInput(
            "{table}: no line holds a run that can be used. {why:then}",
            table=name,
            why=tuple(warnings[:3]),
        )
    return TypedRuns(tuple(runs), tuple(warnings))


class _Reader:
    """Turns cells into runs and collects what was wrong with them."""

    def __init__(self, name: str, machine: Machine, warnings: list[Statement]) -> None:
        self.name, self.machine, self.warnings = name, machine, warnings

    def run(self, row: TypedRow) -> Run | None:
        shown = self._shown(row)
        laps, laps_time_s = self._pair(row, "laps")
        pulses, pulses_time_s = self._pair(row, "pulses")
        reference, u_reference = self._reference(row)
        if math.isnan(shown):
            return None
        run = Run(
            row.cells.get("run", "") or str(row.line),
            row.line,
            shown,
            laps,
            laps_time_s,
            pulses,
            pulses_time_s,
            reference,
            u_reference,
        )
        u_laps_s, u_pulses_s = (
            self._timing(row, column, time_s)
            for column, time_s in zip(TIMING_COLUMNS, (laps_time_s, pulses_time_s), strict=True)
        )
        wander = self._wander(row)
        run = replace(run, u_laps_time_s=u_laps_s, u_pulses_time_s=u_pulses_s, u_wander_rel=wander)
        run = self._plausible(run)
        if run.has_laps or run.has_pulses or run.has_reference:
            return run
        self._say(row.line, statement(RunTableSays.NOTHING_COUNTED))
        return None

    def _shown(self, row: TypedRow) -> float:
        """In the readout's own unit; NaN where it is none, which is then named."""
        own, shown = self.machine.readout.unit, row.numbers["shown"]
        unit = row.units["shown"]
        if unit and unit.lower() != own.lower():
            cell = row.cells["shown"]
            found = statement(RunTableSays.SHOWN_IN_OTHER_UNIT, cell=cell, unit=own)
        elif math.isnan(shown) or 0 < to_mps(shown, own) <= 2 * FASTEST_MPS:
            return shown
        else:
            found = statement(RunTableSays.SHOWN_NO_BELT_SPEED, shown=shown, unit=own)
        self._say(row.line, found, "shown")
        return math.nan

    def _pair(self, row: TypedRow, what: str) -> tuple[float, float]:
        """A count and its time, or two NaN."""
        so, timed = _left_out(what), f"{what}_time_s"
        count, time_s = row.numbers[what], row.numbers[timed]
        if row.wrong(what) or row.wrong(timed) or (math.isnan(count) and math.isnan(time_s)):
            return math.nan, math.nan
        if math.isnan(count) or math.isnan(time_s):
            missing = what if math.isnan(count) else timed
            self._say(row.line, statement(RunTableSays.PARTNER_EMPTY, so=so), missing)
        elif count <= 0 or count != round(count):
            self._say(row.line, statement(RunTableSays.COUNT_NOT_WHOLE, count=count, so=so), what)
        elif not 0 < time_s < 86_400:
            found = statement(RunTableSays.TIME_OUT_OF_RANGE, time_s=time_s, so=so)
            self._say(row.line, found, timed)
        else:
            return count, time_s
        return math.nan, math.nan

    def _reference(self, row: TypedRow) -> tuple[float, float]:
        speed_cell, u_cell = (row.cells.get(column, "") for column in REFERENCE_COLUMNS)
        speed, u = (row.numbers[column] for column in REFERENCE_COLUMNS)
        if not (speed_cell or u_cell):
            return math.nan, math.nan
        if SLOWEST_MPS <= speed <= FASTEST_MPS and 0 < u < speed:
            return speed, u
        found = statement(RunTableSays.REFERENCE_WRONG, cell=speed_cell, u_cell=u_cell)
        self._say(row.line, found, REFERENCE_COLUMNS[0])
        return math.nan, math.nan

    def _timing(self, row: TypedRow, column: str, time_s: float) -> float:
        """Standard uncertainty of a pair's time; a hand's where none is given or it makes no
        sense."""
        cell = row.cells.get(column, "")
        u_s = row.numbers[column] if cell else math.nan
        if 0 < u_s < time_s:
            return u_s
        if cell and math.isfinite(time_s):
            found = statement(RunTableSays.TIMING_WRONG, cell=cell, hand_s=HAND_INTERVAL_U_S)
            self._say(row.line, found, column)
        return HAND_INTERVAL_U_S

    def _wander(self, row: TypedRow) -> float:
        """How the belt wandered; NaN where nothing tells, or nothing that can be."""
        cell, u_rel = row.cells.get(WANDER_COLUMN, ""), row.numbers[WANDER_COLUMN]
        if not cell or 0 <= u_rel < UNSTEADY_REL:
            return u_rel
        self._say(row.line, statement(RunTableSays.WANDER_WRONG, cell=cell), WANDER_COLUMN)
        return math.nan

    def _plausible(self, run: Run) -> Run:
        """Drops a pair that means a speed no belt runs at."""
        length = self.machine.belt.lap_length_m
        for what, metres in (("laps", length), ("pulses", metres_per_pulse(self.machine).value_m)):
            count, time_s = getattr(run, what), getattr(run, f"{what}_time_s")
            speed = count * metres / time_s
            # Pulses get ten times the room: the geometry itself may be wrong.
            room = 10 if what == "pulses" else 1
            if math.isfinite(speed) and not SLOWEST_MPS / room <= speed <= FASTEST_MPS * room:
                found = statement(
                    RunTableSays.SPEED_IMPLAUSIBLE,
                    count=count,
                    time_s=time_s,
                    speed_mps=speed,
                    so=_left_out(what),
                )
                self._say(run.line, found, what)
                run = run.without_laps() if what == "laps" else run.without_pulses()
        return run

    def _say(self, line: int, found: Statement, column: str = "") -> None:
        self.warnings.append(at(self.name, line, found, column))


def _left_out(what: str) -> Statement:
    laps = what == "laps"
    return statement(RunTableSays.LAPS_LEFT_OUT if laps else RunTableSays.PULSES_LEFT_OUT)


_NUMBERS = {
    "shown": statement(RunTableSays.RUN_LEFT_OUT),
    **{column: _left_out(column.split("_")[0]) for column in COLUMNS[2:]},
    **dict.fromkeys((*REFERENCE_COLUMNS, *TIMING_COLUMNS, WANDER_COLUMN)),
}
"""Columns of numbers, and what is left out for a cell that holds none."""


def _same_numbers(name: str, runs: Sequence[Run], warnings: list[Statement]) -> list[Run]:
    """Runs with labels of their own; a line typed twice is kept once."""
    kept: list[Run] = []
    for run in runs:
        twin = next((other for other in kept if other.label == run.label), None)
        if twin is None:
            kept.append(run)
            continue
        same = _same_values(twin, run)
        says = RunTableSays.SAME_LINE_TWICE if same else RunTableSays.SAME_NUMBER_TWICE
        warnings.append(at(name, run.line, statement(says, run=run.label, other=twin.line), "run"))
        if not same:
            kept.append(replace(run, label=f"{run.label} (line {run.line})"))
    return kept


def _off_step(name: str, runs: Sequence[Run], machine: Machine) -> list[Statement]:
    """Where shown values have digits that the display does not."""
    step = machine.readout.step
    off = [run for run in runs if abs(run.shown / step - round(run.shown / step)) > 0.01]
    if not off:
        return []
    lines = tuple(run.line for run in off)
    says = RunTableSays.SHOWN_OFF_STEP
    return [statement(says, table=name, lines=lines, shown=off[0].shown, step=step)]


def _same_values(one: Run, other: Run) -> bool:
    """Whether two runs hold the same values, NaN counted as equal, whatever their lines."""
    names = ("shown", "laps", "laps_time_s", "pulses", "pulses_time_s", *REFERENCE_COLUMNS)
    pairs = ((getattr(one, name), getattr(other, name)) for name in names)
    return all(a == b or (math.isnan(a) and math.isnan(b)) for a, b in pairs)


class TableSays(StrEnum):
    """Why a line of such a table was left out."""

    LINE_LEFT_OUT = auto()
    STRETCH_WRONG = auto()
    DIRECTION_WRONG = auto()
    FLIP_WRONG = auto()


def read_windows(text: str, name: str, warnings: list[Statement]) -> list[Window]:
    """Steady stretches and what the readout showed in them; what is wrong goes to `warnings`.

    Raises WrongInput where no line holds one.
    """
    windows = []
    for row in _rows(text, name, SHOWN_COLUMNS, SHOWN_COLUMNS, warnings):
        from_s, to_s, shown = row.numbers.values()
        if to_s - from_s > 0 and shown > 0:
            windows.append(Window(from_s, to_s, shown, name, row.line))
        else:
            warnings.append(at(name, row.line, statement(TableSays.STRETCH_WRONG)))
    if not windows:
        raise WrongInput(
            "{table}: no line holds a stretch and what was shown in it. {why:then}",
            table=name,
            why=tuple(warnings[-2:]),
        )
    return windows


def read_flips(text: str, name: str, warnings: list[Statement]) -> list[Flip]:
    """Moments at which the display changed; what is wrong goes to `warnings`.

    Raises WrongInput where no line holds one.
    """
    flips = []
    for row in _rows(text, name, FLIP_COLUMNS, FLIP_COLUMNS[:2], warnings):
        (time_s, shown), way = row.numbers.values(), row.cells["direction"].lower()
        if way not in ("up", "down"):
            wrong = statement(TableSays.DIRECTION_WRONG, cell=way)
            warnings.append(at(name, row.line, wrong, "direction"))
        elif not shown > 0:
            warnings.append(at(name, row.line, statement(TableSays.FLIP_WRONG)))
        else:
            flips.append(Flip(time_s, shown, way == "up", row.line))
    if not flips:
        raise WrongInput(
            "{table}: no line holds a flip of the display. {why:then}",
            table=name,
            why=tuple(warnings[-2:]),
        )
    return flips


def _rows(
    text: str,
    name: str,
    columns: Sequence[str],
    numbers: Sequence[str],
    warnings: list[Statement],
) -> list[TypedRow]:
    """The lines in which `numbers` are numbers."""
    so = statement(TableSays.LINE_LEFT_OUT)
    table = read_rows(text, name, needed=columns, known=columns, numbers=dict.fromkeys(numbers, so))
    warnings += table.odd
    return [row for row in table.rows if not any(map(math.isnan, row.numbers.values()))]

"""The run table: what the readout showed and what the belt did, a line a run.

Header `run,shown,laps,laps_time_s,pulses,pulses_time_s`; either pair may be empty, and
two optional columns, `reference_mps,u_reference_mps`, take a reading of a hand tachometer
or another calibrated source with its standard uncertainty. A third, `u_laps_time_s`, is the
standard uncertainty of the laps' time where no hand took it; without it a hand did. A line
that begins with `#` is a remark; `# simulated` says that no machine made these runs.
`shown` is in the readout's unit. Times of both pairs that are equal to the last digit mean
one interval, started and stopped once: the hand's error is then shared by both.

A wrong cell costs what hangs on it and no more; each is named in a sentence.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.units import SPEED_UNITS_MPS, to_mps
from workbench.calibration.pulses.drive_line import metres_per_pulse

HAND_INTERVAL_U_S = 0.10
"""Standard uncertainty of an interval started and stopped by one hand: N(0, (0.10 s)²)
from 4 304 measurements, Am. J. Phys. 87(2), 2019, p. 110."""

COUNT_U = 1 / math.sqrt(6)
"""Of a pulse count between two moments that the pulses know nothing of: the error is the
difference of two uniform fractions, triangular on ±1."""

COLUMNS = ("run", "shown", "laps", "laps_time_s", "pulses", "pulses_time_s")
REFERENCE_COLUMNS = ("reference_mps", "u_reference_mps")
TIMING_COLUMN = "u_laps_time_s"
SIMULATED_MARK = "# simulated"

FASTEST_MPS = 10.0
SLOWEST_MPS = 0.02
"""No conveyor of a digger runs outside these; chosen wide."""

MOST_LINES = 2000


@dataclass(frozen=True, slots=True)
class Run:
    """One steady run. An absent pair is NaN; `line` is 0 where there is no table.

    `u_laps_time_s` belongs to the whole interval, `u_pulses` to the whole count. `shown`
    is NaN only where the run serves the metres per pulse alone.
    """

    label: str
    line: int
    shown: float
    laps: float = math.nan
    laps_time_s: float = math.nan
    pulses: float = math.nan
    pulses_time_s: float = math.nan
    reference_mps: float = math.nan
    u_reference_mps: float = math.nan
    u_laps_time_s: float = HAND_INTERVAL_U_S
    u_pulses: float = COUNT_U

    @property
    def has_laps(self) -> bool:
        return math.isfinite(self.laps)

    @property
    def has_pulses(self) -> bool:
        return math.isfinite(self.pulses)

    @property
    def has_reference(self) -> bool:
        return math.isfinite(self.reference_mps)

    @property
    def one_interval(self) -> bool:
        """Laps and pulses were counted between the same two presses of one watch."""
        return self.has_laps and self.has_pulses and self.laps_time_s == self.pulses_time_s

    @property
    def name(self) -> str:
        """How a budget calls this run."""
        return self.label if math.isnan(self.shown) else f"run {self.label}"

    @property
    def place(self) -> str:
        """How a sentence calls this run."""
        return f"line {self.line} (run {self.label})" if self.line else f"run {self.label}"

    def without_laps(self) -> Run:
        return replace(self, laps=math.nan, laps_time_s=math.nan)

    def without_pulses(self) -> Run:
        return replace(self, pulses=math.nan, pulses_time_s=math.nan)


@dataclass(frozen=True, slots=True)
class RunTable:
    """What could be read, and a sentence for everything that could not."""

    runs: tuple[Run, ...]
    warnings: tuple[str, ...]


def looks_like_run_table(text: str) -> bool:
    """Whether the first line has a column of a run table, or only as many numbers as one."""
    first = next((line for line in text.splitlines() if _holds_data(line)), "")
    cells = _header(first, _delimiter(first))
    if {"shown", "laps", "laps_time_s", "pulses", "pulses_time_s"} & set(cells):
        return True
    return len(cells) == len(COLUMNS) and all(_is_number(cell) for cell in cells)


def marked_simulated(text: str) -> bool:
    """Whether a run table says of itself that it was simulated."""
    return any(
        line.strip().casefold().startswith(SIMULATED_MARK)
        for line in text.lstrip("\ufeff").splitlines()
    )


def read_run_table(text: str, name: str, machine: Machine) -> RunTable:
    """Runs of a table for the readout of `machine`. `name` is for the sentences.

    Raises WrongInput where nothing can be kept: no header, no line that is a run.
    """
    rows, header, warnings = read_rows(text, name, needed=("shown",), known=_KNOWN)
    if not {"laps", "pulses", "reference_mps"} & set(header):
        raise WrongInput(
            f"{name}, line 1: there is neither a pair laps,laps_time_s nor a pair "
            f"pulses,pulses_time_s; expected the header {','.join(COLUMNS)}."
        )
    reader = _Reader(name, machine, warnings)
    runs = [run for line, cells in rows if (run := reader.run(line, cells)) is not None]
    runs = _same_numbers(name, runs, warnings)
    warnings += _off_step(name, runs, machine)
    if not runs:
        told = " ".join(warnings[:3])
        raise WrongInput(f"{name}: no line holds a run that can be used. {told}".strip())
    return RunTable(tuple(runs), tuple(warnings))


_KNOWN = (*COLUMNS, *REFERENCE_COLUMNS, TIMING_COLUMN)

Rows = list[tuple[int, dict[str, str]]]


def read_rows(
    text: str, name: str, *, needed: Sequence[str], known: Sequence[str]
) -> tuple[Rows, list[str], list[str]]:
    """Cells by column of every line that holds data, the header, and what was odd.

    Commas, semicolons (with decimal commas) and tabs separate. Raises WrongInput for an
    empty table or a header without the `needed` columns.
    """
    lines = [(n, line) for n, line in enumerate(text.lstrip("\ufeff").splitlines(), 1)]
    lines = [(n, line) for n, line in lines if _holds_data(line)]
    wanted = ",".join(known)
    if not lines:
        raise WrongInput(f"{name}: it is empty; expected a table with the header {wanted}.")
    if len(lines) > MOST_LINES:
        raise WrongInput(f"{name}: {len(lines)} lines; expected at most {MOST_LINES}.")
    first, head = lines[0]
    delimiter = _delimiter(head)
    header = _header(head, delimiter)
    empty = len(header) - len("|".join(header).rstrip("|").split("|"))
    header = header[: len(header) - empty]
    for column in needed:
        if column not in header:
            raise WrongInput(
                f"{name}, line {first}: no column '{column}' in '{head.strip()[:80]}'; "
                f"expected the header {wanted}."
            )
    warnings = []
    if len(set(header)) < len(header):
        raise WrongInput(f"{name}, line {first}: a column stands twice in the header.")
    if unknown := [column for column in header if column not in known]:
        warnings.append(
            f"{name}, line {first}: column {', '.join(repr(c) for c in unknown)} is not known "
            f"and was left aside; known are {wanted}."
        )
    rows: Rows = []
    for n, line in lines[1:]:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
        except csv.Error as error:
            warnings.append(f"{name}, line {n}: {error}; the line was left out.")
            continue
        surplus = cells[len(header) :]
        if any(cell.strip() for cell in surplus) or len(surplus) > empty + 1:
            warnings.append(
                f"{name}, line {n}: {len(cells)} cells under {len(header)} columns; the line "
                "was left out (a decimal comma in a table separated by commas?)."
            )
            continue
        if delimiter == ";":
            cells = [re.sub(r"^(\s*[+-]?\d*),(\d+)", r"\1.\2", cell) for cell in cells]
        rows.append((n, dict(zip(header, (cell.strip() for cell in cells), strict=False))))
    return rows, header, warnings


def _holds_data(line: str) -> bool:
    return bool(line.strip(" \t,;\ufeff")) and not line.lstrip().startswith("#")


def _delimiter(head: str) -> str:
    return max(",;\t", key=head.count)


def _header(head: str, delimiter: str) -> list[str]:
    return [cell.strip().strip('"').lower() for cell in head.lstrip("\ufeff").split(delimiter)]


def number(cell: str) -> float:
    """The number in a cell; NaN for none. Raises ValueError for anything else."""
    if not cell:
        return math.nan
    value = float(cell)
    if not math.isfinite(value):
        raise ValueError(cell)
    return value


def _is_number(cell: str) -> bool:
    try:
        number(cell)
    except ValueError:
        return False
    return True


class _Reader:
    """Turns cells into runs and collects what was wrong with them."""

    def __init__(self, name: str, machine: Machine, warnings: list[str]) -> None:
        self.name, self.machine, self.warnings = name, machine, warnings

    def run(self, line: int, cells: dict[str, str]) -> Run | None:
        label = cells.get("run", "") or str(line)
        shown = self._shown(line, cells.get("shown", ""))
        laps, laps_time_s = self._pair(line, cells, "laps")
        pulses, pulses_time_s = self._pair(line, cells, "pulses")
        reference, u_reference = self._reference(line, cells)
        if math.isnan(shown):
            return None
        run = Run(
            label, line, shown, laps, laps_time_s, pulses, pulses_time_s, reference, u_reference
        )
        if run.has_laps and cells.get(TIMING_COLUMN, ""):
            run = replace(run, u_laps_time_s=self._timing(line, cells[TIMING_COLUMN], laps_time_s))
        run = self._plausible(run)
        if run.has_laps or run.has_pulses or run.has_reference:
            return run
        self._say(line, "", "it has neither laps nor pulses with a time; the run was left out")
        return None

    def _shown(self, line: int, cell: str) -> float:
        readout = self.machine.readout
        typed, unit = _number_and_unit(cell)
        if unit and unit.lower() != readout.unit.lower():
            known = unit.lower() in SPEED_UNITS_MPS
            why = f"the readout shows {readout.unit}" if known else f"'{unit}' is no unit of speed"
            self._say(line, "shown", f"it is '{cell}', but {why}; the run was left out")
            return math.nan
        try:
            shown = number(typed)
        except ValueError:
            shown = math.nan
        if math.isnan(shown):
            found = f"it is '{cell}'" if cell else "it is empty"
            self._say(line, "shown", f"{found}; expected a number; the run was left out")
        elif not 0 < to_mps(shown, readout.unit) <= 2 * FASTEST_MPS:
            text = f"it is {shown:g} {readout.unit}, no speed a belt runs at; the run was left out"
            self._say(line, "shown", text)
            return math.nan
        return shown

    def _pair(self, line: int, cells: dict[str, str], what: str) -> tuple[float, float]:
        """A count and its time, or two NaN."""
        texts = cells.get(what, ""), cells.get(f"{what}_time_s", "")
        left_out = f"the {what} of this run were left out"
        values = []
        for column, text in zip((what, f"{what}_time_s"), texts, strict=True):
            try:
                values.append(number(text))
            except ValueError:
                self._say(line, column, f"it is '{text}'; expected a number; {left_out}")
                return math.nan, math.nan
        count, time_s = values
        if math.isnan(count) and math.isnan(time_s):
            return math.nan, math.nan
        if math.isnan(count) or math.isnan(time_s):
            missing = what if math.isnan(count) else f"{what}_time_s"
            self._say(line, missing, f"it is empty, but its partner is not; {left_out}")
        elif count <= 0 or count != round(count):
            whole = "whole turns of the belt" if what == "laps" else "whole pulses"
            self._say(line, what, f"it is {count:g}; expected {whole}, 1 or more; {left_out}")
        elif not 0 < time_s < 86_400:
            expected = "expected seconds above 0 and below a day"
            self._say(line, f"{what}_time_s", f"it is {time_s:g}; {expected}; {left_out}")
        else:
            return count, time_s
        return math.nan, math.nan

    def _reference(self, line: int, cells: dict[str, str]) -> tuple[float, float]:
        texts = [cells.get(column, "") for column in REFERENCE_COLUMNS]
        if not any(texts):
            return math.nan, math.nan
        try:
            speed, u = (number(text) for text in texts)
        except ValueError:
            speed = u = math.nan
        if SLOWEST_MPS <= speed <= FASTEST_MPS and 0 < u < speed:
            return speed, u
        text = f"'{texts[0]}' with u '{texts[1]}'; expected a speed in m/s and its standard "
        self._say(line, REFERENCE_COLUMNS[0], text + "uncertainty; the reference was left out")
        return math.nan, math.nan

    def _timing(self, line: int, cell: str, laps_time_s: float) -> float:
        """Standard uncertainty of the laps' time; a hand's where the cell makes no sense."""
        try:
            u_s = number(cell)
        except ValueError:
            u_s = math.nan
        if 0 < u_s < laps_time_s:
            return u_s
        expected = f"expected seconds above 0; a hand's {HAND_INTERVAL_U_S:g} s was taken"
        self._say(line, TIMING_COLUMN, f"it is '{cell}'; {expected}")
        return HAND_INTERVAL_U_S

    def _plausible(self, run: Run) -> Run:
        """Drops a pair that means a speed no belt runs at."""
        length = self.machine.belt.lap_length_m
        for what, metres in (("laps", length), ("pulses", metres_per_pulse(self.machine).value_m)):
            speed = getattr(run, what) * metres / getattr(run, f"{what}_time_s")
            # Pulses get ten times the room: the geometry itself may be wrong.
            room = 10 if what == "pulses" else 1
            if math.isfinite(speed) and not SLOWEST_MPS / room <= speed <= FASTEST_MPS * room:
                count, time_s = getattr(run, what), getattr(run, f"{what}_time_s")
                found = f"{count:g} in {time_s:g} s is a belt speed of {speed:.3g} m/s"
                self._say(run.line, what, f"{found}; the {what} of this run were left out")
                run = run.without_laps() if what == "laps" else run.without_pulses()
        return run

    def _say(self, line: int, column: str, text: str) -> None:
        place = f"line {line}, column {column}" if column else f"line {line}"
        self.warnings.append(f"{self.name}, {place}: {text}.")


def _number_and_unit(cell: str) -> tuple[str, str]:
    """'2.5 mph' → ('2.5', 'mph'); a cell that does not begin with a number stays whole."""
    match = re.fullmatch(r"([+-]?[\d.]+(?:e[+-]?\d+)?)\s*([a-z/].*)", cell, re.IGNORECASE)
    return (match[1], match[2].strip()) if match else (cell, "")


def _same_numbers(name: str, runs: Sequence[Run], warnings: list[str]) -> list[Run]:
    """Runs with labels of their own; a line typed twice is kept once."""
    kept: list[Run] = []
    for run in runs:
        twin = next((other for other in kept if other.label == run.label), None)
        if twin is None:
            kept.append(run)
            continue
        place = f"{name}, line {run.line}, column run: number '{run.label}' stands in line "
        if _same_values(twin, run):
            warnings.append(f"{place}{twin.line} too, with the same values; it was counted once.")
        else:
            warnings.append(f"{place}{twin.line} too; both were kept.")
            kept.append(replace(run, label=f"{run.label} (line {run.line})"))
    return kept


def _off_step(name: str, runs: Sequence[Run], machine: Machine) -> list[str]:
    """A sentence where shown values have digits that the display does not."""
    step = machine.readout.step
    off = [run for run in runs if abs(run.shown / step - round(run.shown / step)) > 0.01]
    if not off:
        return []
    lines = ", ".join(str(run.line) for run in off)
    return [
        f"{name}, line {lines}, column shown: {off[0].shown:g} is no multiple of the display's "
        f"step {step:g} (readout.step in the machine file); it was kept. Is the step right?"
    ]


def _same_values(one: Run, other: Run) -> bool:
    """Whether two runs hold the same values, NaN counted as equal, whatever their lines."""
    names = ("shown", "laps", "laps_time_s", "pulses", "pulses_time_s", *REFERENCE_COLUMNS)
    pairs = ((getattr(one, name), getattr(other, name)) for name in names)
    return all(a == b or (math.isnan(a) and math.isnan(b)) for a, b in pairs)

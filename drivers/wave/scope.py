"""An oscilloscope's CSV as edges: a column of times, and one of volts for each channel.

Every make has header lines of its own, of any number, and some put what they tell beside the first
samples. So the columns are told by what stands further down: a time is a number that goes up by
one step from line to line; every other column of numbers is a channel.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from drivers.contract import FileRefused, Floats, Item, Note, Notes
from drivers.source_file import SourceFile, shown
from drivers.wave.channels import WaveChannels, named

EXPECTED = "a column of times that go up by one step, and one of volts for each channel"
_SEPARATORS = (b";", b"\t", b",")
_LEAST_LINES = 12
_MOST_LOOKED_AT = 400
_MOST_CHANNELS = 8
_STEP_KEPT, _ROUNDED = 0.3, 5e-6
"""A time may lie so many steps off its place, and the rounding of six written digits."""
LEAST_V = 0.005
"""Below it no tooth is told; chosen."""
_LEAST_STEPS = 2
_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9}
_VOLTS = {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3, "kv": 1e3}


@dataclass(frozen=True, slots=True, eq=False)
class ScopeTable:
    """How such a table lies: `first` the line of the first row (from 0), `time` and `volts` its
    columns with what makes seconds and volts of their numbers, `names` of the channels."""

    separator: bytes
    first: int
    time: int
    second: float
    volts: list[int]
    volt: list[float]
    names: list[str]
    start_s: float
    step_s: float
    least_v: list[float]


def scope_table(head: bytes) -> ScopeTable | None:
    """What the beginning of a file tells of such a table; None where it is none."""
    lines = head.splitlines()[: -1 if len(head) > 1 << 15 else None]
    for separator in _SEPARATORS:
        rows = [line.split(separator) for line in lines]
        if table := _read_columns(separator, rows):
            return table
    return None


def _read_columns(separator: bytes, rows: list[list[bytes]]) -> ScopeTable | None:
    numbers = [_numbers(row, separator) for row in rows]
    # Far enough down that no header's words stand beside the samples any more.
    found = _time_and_volts(numbers[len(numbers) // 2 :][:_MOST_LOOKED_AT])
    if found is None:
        return None
    time, volts = found
    whole = [at for at, row in enumerate(numbers) if {time, *volts} <= row.keys()]
    header = rows[: whole[0]]
    second = _unit(header, time, _UNITS)
    volt = [_unit(header, at, _VOLTS) for at in volts]
    time_s = np.array([numbers[at][time] for at in whole]) * second
    levels = np.array([[numbers[at][column] for column in volts] for at in whole]) * volt
    return ScopeTable(
        separator,
        whole[0],
        time,
        second,
        volts,
        volt,
        _names(header, volts),
        float(time_s[0]),
        float((time_s[-1] - time_s[0]) / (time_s.size - 1)),
        [max(LEAST_V, _LEAST_STEPS * _step(column)) for column in levels.T],
    )


def _time_and_volts(numbers: list[dict[int, float]]) -> tuple[int, list[int]] | None:
    """The columns of times and of volts, by some rows well below the header."""
    if len(numbers) < _LEAST_LINES or len(numbers[0]) < 2:
        return None
    common = [at for at in numbers[0] if all(at in row for row in numbers)]
    values = {at: np.array([row[at] for row in numbers]) for at in common}
    times = [at for at in common if _is_even(values[at])]
    if not times:
        return None
    # A sample's number goes up evenly too; where a second column does so, that is the time.
    counted = len(times) > 1 and bool(np.all(np.diff(values[times[0]]) == 1))
    time = times[1] if counted else times[0]
    volts = [at for at in common if at > time][:_MOST_CHANNELS]
    return (time, volts) if volts else None


def _numbers(row: list[bytes], separator: bytes) -> dict[int, float]:
    found = {}
    for at, cell in enumerate(row[:64]):
        text = cell.strip(b' "')
        text = text.replace(b",", b".") if separator != b"," else text
        if re.fullmatch(rb"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?", text):
            found[at] = float(text)
    return found


def _is_even(values: Floats) -> bool:
    """Whether numbers go up by one step, as far as their digits tell."""
    step = (values[-1] - values[0]) / (values.size - 1)
    off = np.abs(values - (values[0] + step * np.arange(values.size)))
    return bool(step > 0 and off.max() <= _STEP_KEPT * step + _ROUNDED * np.abs(values).max())


def _unit(header: list[list[bytes]], at: int, units: Mapping[str, float]) -> float:
    """What a header line says of a column's unit, else 1."""
    for row in reversed(header):
        cell = row[at].decode("utf-8", "replace") if at < len(row) else ""
        words = re.findall(r"[^\W\d_]+", cell)
        for word in reversed(words):
            if word in units or word.lower() in units:
                return units.get(word, units.get(word.lower(), 1.0))
    return 1.0


def _names(header: list[list[bytes]], volts: list[int]) -> list[str]:
    """The channels' names by the header's last line that has different ones, else CH1 …"""
    for row in reversed(header):
        cells = [row[at].decode("utf-8", "replace").strip(' "') for at in volts if at < len(row)]
        cells = [re.sub(r"\s*[(\[].*[)\]]$", "", cell) for cell in cells]
        right = [cell for cell in cells if 0 < len(cell) <= 64 and cell.isprintable()]
        if len(set(right)) == len(volts) and not any(cell.lower() in _VOLTS for cell in right):
            return right
    return [f"CH{number}" for number in range(1, len(volts) + 1)]


def _step(values: Floats) -> float:
    """The converter's step: the least difference between two values."""
    steps = np.diff(np.unique(values))
    return float(steps.min()) if steps.size else 0.0


@dataclass(slots=True)
class _TimeLine:
    """Times of samples as written, known at the first and last row of each piece."""

    start_s: float
    step_s: float
    at: list[float] = field(default_factory=list)
    time_s: list[float] = field(default_factory=list)

    def add(self, first: int, time_s: Floats) -> None:
        self.at += [float(first), float(first + time_s.size - 1)]
        self.time_s += [float(time_s[0]), float(time_s[-1])]

    def place(self, at: Floats) -> Floats:
        if len(self.at) < 2 or self.at[-1] <= self.at[0]:
            return self.start_s + at * self.step_s
        times: Floats = np.interp(at, self.at, self.time_s)
        return times


def read_scope(
    table: ScopeTable, file: SourceFile, notes: Notes, names: Mapping[str, str] | None = None
) -> Iterator[list[Item]]:
    """Blocks of an oscilloscope's `table`. Raises FileRefused at the first wrong line."""
    rate_hz = 1 / table.step_s
    notes.kind = Note(
        "oscilloscope's table, {channels} channels at {rate_hz:.6g} Hz",
        channels=len(table.volts),
        rate_hz=rate_hz,
    )
    notes.origin_s = table.start_s
    line = _TimeLine(table.start_s, table.step_s)
    called = named(file.path, len(table.volts), names) if names else table.names
    channels = WaveChannels(called, rate_hz, line.place, table.least_v, math.inf)
    count = 0
    for number, chunk in file.lines():
        skipped = max(table.first + 1 - number, 0)
        time_s, volts = _rows(file, table, number + skipped, chunk.splitlines()[skipped:])
        if time_s.size:
            _check_step(file, table, line, time_s, number + skipped)
            line.add(count, time_s)
            count += time_s.size
            yield [*channels.take(volts, notes)]
    yield [*channels.finish(file.path, notes)]


def _rows(
    file: SourceFile, table: ScopeTable, first_line: int, rows: list[bytes]
) -> tuple[Floats, Floats]:
    """(times (n,) s, volts (n, channels)) of some lines."""
    text = b"\n".join(rows).replace(b'"', b"")
    if not text:
        return np.empty(0), np.empty((0, len(table.volts)))
    if table.separator != b",":
        text = text.replace(b",", b".")
    try:
        values = np.loadtxt(
            io.BytesIO(text),
            delimiter=table.separator.decode(),
            usecols=(table.time, *table.volts),
            ndmin=2,
            comments=None,
        )
    except ValueError:
        raise _wrong_line(file, table, rows, first_line) from None
    return values[:, 0] * table.second, values[:, 1:] * np.array(table.volt)


def _wrong_line(
    file: SourceFile, table: ScopeTable, rows: list[bytes], first_line: int
) -> FileRefused:
    wanted = {table.time, *table.volts}
    for at, row in enumerate(rows):
        if (
            row.strip()
            and not wanted <= _numbers(row.split(table.separator), table.separator).keys()
        ):
            found = Note("'{line}' is no row of numbers", line=shown(row))
            return FileRefused(file.path, found, EXPECTED, f"line {first_line + at}")
    return FileRefused(file.path, "a row that cannot be read", EXPECTED, f"line {first_line}")


def _check_step(
    file: SourceFile, table: ScopeTable, line: _TimeLine, time_s: Floats, first_line: int
) -> None:
    """Raise FileRefused where the times do not go up by one step."""
    before = line.time_s[-1:] if line.time_s else [float(time_s[0]) - table.step_s]
    times = np.append(before, time_s)
    allowed_s = _STEP_KEPT * table.step_s + 2 * _ROUNDED * float(np.abs(times).max())
    wrong = np.flatnonzero(~(np.abs(np.diff(times) - table.step_s) <= allowed_s))
    if wrong.size:
        at = int(wrong[0])
        found = Note(
            "the time goes from {before_s:.9g} s to {after_s:.9g} s, and the step was "
            "{step_s:.4g} s",
            before_s=times[at],
            after_s=times[at + 1],
            step_s=table.step_s,
        )
        raise FileRefused(file.path, found, EXPECTED, f"line {first_line + at}")

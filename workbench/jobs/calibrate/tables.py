"""Tables that go with a recording: what was shown in steady stretches, and flips by key."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from enum import StrEnum, auto

from workbench.base.errors import WrongInput
from workbench.base.statements import Statement, statement
from workbench.calibration.readout.change_overs import Flip
from workbench.calibration.readout.recorded_runs import Window
from workbench.calibration.typed_rows import at, no_number, number, read_rows

SHOWN_COLUMNS = ("from_s", "to_s", "shown")
FLIP_COLUMNS = ("time_s", "shown", "direction")


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
    for line, (from_s, to_s, shown), _cells in _lines(text, name, SHOWN_COLUMNS, 3, warnings):
        if to_s - from_s > 0 and shown > 0:
            windows.append(Window(from_s, to_s, shown, line))
        else:
            warnings.append(at(name, line, statement(TableSays.STRETCH_WRONG)))
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
    for line, (time_s, shown), cells in _lines(text, name, FLIP_COLUMNS, 2, warnings):
        way = cells.get("direction", "").lower()
        if way not in ("up", "down"):
            wrong = statement(TableSays.DIRECTION_WRONG, cell=way)
            warnings.append(at(name, line, wrong, "direction"))
        elif not shown > 0 or math.isnan(time_s):
            warnings.append(at(name, line, statement(TableSays.FLIP_WRONG)))
        else:
            flips.append(Flip(time_s, shown, way == "up", line))
    if not flips:
        raise WrongInput(
            "{table}: no line holds a flip of the display. {why:then}",
            table=name,
            why=tuple(warnings[-2:]),
        )
    return flips


def _lines(
    text: str, name: str, columns: Sequence[str], numbers: int, warnings: list[Statement]
) -> Iterator[tuple[int, list[float], dict[str, str]]]:
    """(line, the numbers in its first columns, its cells) of those in which they are numbers."""
    rows, _header, odd = read_rows(text, name, needed=columns, known=columns)
    warnings += odd
    for line, cells in rows:
        try:
            values = [number(cells.get(column := one, "")) for one in columns[:numbers]]
        except ValueError:
            wrong = no_number(cells.get(column, ""), statement(TableSays.LINE_LEFT_OUT))
            warnings.append(at(name, line, wrong, column))
        else:
            yield line, values, cells

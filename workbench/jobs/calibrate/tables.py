"""Tables that go with a recording: what was shown in steady stretches, and flips by key."""

from __future__ import annotations

import math
from enum import StrEnum, auto

from workbench.base.errors import WrongInput
from workbench.base.statements import Statement, statement
from workbench.calibration.readout.change_overs import Flip
from workbench.calibration.readout.recorded_runs import Window
from workbench.calibration.readout.rows import at, no_number, number, read_rows

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
    rows, _, odd = read_rows(text, name, needed=SHOWN_COLUMNS, known=SHOWN_COLUMNS)
    warnings += odd
    windows = []
    for line, cells in rows:
        values = _numbers(cells, SHOWN_COLUMNS, name, line, warnings)
        if values is None:
            continue
        from_s, to_s, shown = values
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
    rows, _, odd = read_rows(text, name, needed=FLIP_COLUMNS, known=FLIP_COLUMNS)
    warnings += odd
    flips = []
    for line, cells in rows:
        values = _numbers(cells, FLIP_COLUMNS[:2], name, line, warnings)
        if values is None:
            continue
        time_s, shown = values
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


def _numbers(
    cells: dict[str, str],
    columns: tuple[str, ...],
    name: str,
    line: int,
    warnings: list[Statement],
) -> list[float] | None:
    """The numbers in some columns; None, with a warning, where one of them is none."""
    values = []
    for column in columns:
        cell = cells.get(column, "")
        try:
            values.append(number(cell))
        except ValueError:
            wrong = no_number(cell, statement(TableSays.LINE_LEFT_OUT))
            warnings.append(at(name, line, wrong, column))
            return None
    return values

"""Tables that go with a recording: what was shown in steady stretches, and flips by key."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum, auto

from workbench.base.errors import WrongInput
from workbench.base.statements import Statement, statement
from workbench.calibration.readout.change_overs import Flip
from workbench.calibration.readout.recorded_runs import Window
from workbench.calibration.typed_rows import TypedRow, at, read_rows

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
    for row in _rows(text, name, SHOWN_COLUMNS, SHOWN_COLUMNS, warnings):
        from_s, to_s, shown = row.numbers.values()
        if to_s - from_s > 0 and shown > 0:
            windows.append(Window(from_s, to_s, shown, row.line))
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

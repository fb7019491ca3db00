"""What a plot reads out at a place, and the box in which it stands."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter

from workbench.base.numbers import NO_VALUE
from workbench.base.statements import PlusMinus
from workbench.base.units import UnitSystem
from workbench.gui.plot.layout import LINE_PX, Layout, Place, line_color, text_width
from workbench.gui.theme import GRID_PX, Theme
from workbench.words.language import _
from workbench.words.moments import moment_text
from workbench.words.pictures.picture import AGO, CLOCK, DAY, Axis, Bars, Picture, Points
from workbench.words.pictures.ticks import clock_text, nice_step


class Row(NamedTuple):
    """A name, what is read of it, and the name's colour ('' for ink)."""

    name: str
    value: str
    color: str

    @property
    def text(self) -> str:
        return f"{self.name} {self.value}".strip()


def place_text(axis: Axis, units: UnitSystem, seen: tuple[float, float], x: float) -> str:
    """A place along the bottom with its unit."""
    low, high = seen
    if axis.quantity == DAY:
        return moment_text(np.datetime64(round(x), "s").astype(str) + "+00:00")
    if axis.numbers is not None:
        return f"{axis.one or axis.words} {axis.numbers[round(x) - 1]}".strip()
    if axis.quantity not in (CLOCK, AGO):
        quantity = axis.shown(units)
        words = f"{quantity.per_si * x:.3g} {quantity.unit}".replace("-", "−")
        return f"{axis.one or axis.words} {words}".strip()
    longest = max(abs(low), abs(high))
    place = -x if axis.quantity == AGO else x
    words = clock_text(place, nice_step(min((high - low) / 200, 1.0)), longest)
    if longest <= 120:
        words = _("{number} s").format(number=words)
    return _("{time} ago").format(time=words) if axis.quantity == AGO else words


def rows_at(
    picture: Picture, layout: Layout, units: UnitSystem, theme: Theme, x: float
) -> list[Row]:
    """Name and value of each line, and of each point or bar at a place."""
    rows = []
    for place in layout.places:
        for trace, _x, _y in place.drawn:
            if trace.name:
                value = _value(place, units, trace.source.at(x)[1])
                rows.append(Row(trace.name, value, line_color(trace, theme).name()))
        for one in place.panel.singles:
            rows += _rows_of(one, place, units, theme, x)
    return rows


def _rows_of(
    one: Points | Bars, place: Place, units: UnitSystem, theme: Theme, x: float
) -> Iterator[Row]:
    if not one.read_out:
        return
    for at in np.flatnonzero((one.x == x) & np.isfinite(one.y)).tolist():
        odd = one.odd is not None and bool(one.odd[at])
        stands_out = "bad" if isinstance(one, Points) else "attention"
        color = theme.color(stands_out if odd else one.role).name()
        said = one.said[at] if one.said else ""
        if said and isinstance(one, Bars):
            yield Row(one.name, said, color)
            continue
        U = math.nan if one.U is None else float(one.U[at])
        name = f"{one.name} {said}".strip()
        yield Row(name, _value(place, units, float(one.y[at]), U), color)


def _value(place: Place, units: UnitSystem, value: float, U: float = math.nan) -> str:
    """A value with its unit, in the digits of its uncertainty where that is known."""
    axis = place.panel.y
    if not math.isfinite(value):
        return NO_VALUE
    return axis.shown(units).text(PlusMinus(value, U), signed=axis.signed)


def draw_box(
    painter: QPainter,
    theme: Theme,
    rows: Sequence[Row],
    within: QRectF,
    left: float,
    or_left_of: float | None = None,
) -> None:
    """Rows in a box that begins at `left`, or ends left of `or_left_of`, within a place."""
    width = max(text_width(row.text) for row in rows) + 2 * GRID_PX
    height = len(rows) * LINE_PX + GRID_PX
    if left + width > within.right():
        left = min(within.right(), left if or_left_of is None else or_left_of) - width
    box = QRectF(max(left, within.left()), within.top(), width, height)
    painter.setPen(theme.color("line"))
    painter.setBrush(theme.color("raised"))
    painter.drawRect(box)
    for number, row in enumerate(rows):
        at = QPointF(box.left() + GRID_PX, box.top() + GRID_PX / 2 + number * LINE_PX)
        if row.name:
            painter.setPen(row.color)
            _text(painter, at, row.name)
            at += QPointF(text_width(f"{row.name} "), 0)
        painter.setPen(theme.color("ink"))
        _text(painter, at, row.value)


def _text(painter: QPainter, at: QPointF, text: str) -> None:
    box = QRectF(at.x(), at.y(), text_width(text) + 2, LINE_PX)
    painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, text)

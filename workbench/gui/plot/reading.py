"""What a plot reads out at a place, and the box in which it stands."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from html import escape
from typing import NamedTuple

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QWidget

from workbench.base.numbers import NO_VALUE
from workbench.base.statements import PlusMinus
from workbench.base.units import UnitSystem
from workbench.gui.plot.panel import line_color
from workbench.gui.theme import SMALL_PX, Theme, font
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


def rows_at(picture: Picture, units: UnitSystem, theme: Theme, x: float) -> list[Row]:
    """Name and value of each line, and of each point or bar at a place."""
    rows = []
    for panel in picture.panels:
        for trace in panel.traces:
            if trace.name:
                value = _value(panel.y, units, trace.source.at(x)[1])
                rows.append(Row(trace.name, value, line_color(trace, theme).name()))
        for one in panel.singles:
            rows += _rows_of(one, panel.y, units, theme, x)
    return rows


def _rows_of(
    one: Points | Bars, axis: Axis, units: UnitSystem, theme: Theme, x: float
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
        yield Row(name, _value(axis, units, float(one.y[at]), U), color)


def _value(axis: Axis, units: UnitSystem, value: float, U: float = math.nan) -> str:
    """A value with its unit, in the digits of its uncertainty where that is known."""
    if not math.isfinite(value):
        return NO_VALUE
    return axis.shown(units).text(PlusMinus(value, U), signed=axis.signed)


class ReadingBox(QLabel):
    """Lies on a plot, and lets the mouse through."""

    def __init__(self, plot: QWidget) -> None:
        super().__init__(plot)
        self._plot = plot
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setTextFormat(Qt.TextFormat.RichText)
        self.setFont(font(SMALL_PX))
        self.hide()

    def dress(self, theme: Theme) -> None:
        """Take a theme's colours."""
        self.setStyleSheet(
            f"background: {theme.raised}; color: {theme.ink}; border: 1px solid {theme.line};"
            "padding: 4px 8px;"
        )

    def show_rows(
        self, rows: Sequence[Row], top: int, left: int, or_left_of: int, right: int
    ) -> None:
        """Rows in a box that begins at `left`, or ends left of a place where that is too far
        for it to end at `right`."""
        lines = [
            f'<span style="color:{row.color}">{escape(row.name)}</span> {escape(row.value)}'
            if row.name
            else escape(row.value)
            for row in rows
        ]
        self.setText("<br>".join(lines))
        self.adjustSize()
        fits = left + self.width() <= right
        x = left if fits else max(min(or_left_of, right) - self.width(), 0)
        self.move(x, max(min(top, self._plot.height() - self.height()), 0))
        self.show()
        self.raise_()

"""One panel of a plot: its lines, bands and ribbons, and what stands around them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtGui import QColor

from workbench.gui.plot.axes import EndNames, Values, Words, number_text
from workbench.gui.theme import Theme
from workbench.models.plot.pyramid import Pyramid
from workbench.models.plot.table import Column
from workbench.words.numbers import NO_VALUE

Floats = NDArray[np.float64]
NOTHING = Pyramid(np.empty(0), np.empty(0))
RIBBON_ALPHA, FILL_ALPHA = 40, 60
OUTLIER = 6.0
"""Median deviations from the median beyond which a value may lie outside the picture."""
PADDING = 0.08
"""Of the values' span, left free above and below."""


@dataclass(slots=True)
class Line:
    """A line and how it is drawn: a theme's colour, and how far that goes towards the ink."""

    name: str
    role: str
    curve: pg.PlotCurveItem
    shade: float = 0.0
    source: Pyramid = NOTHING
    factor: float = 1.0
    head: str = ""

    def color(self, theme: Theme) -> QColor:
        own, ink = theme.color(self.role), theme.color("ink")
        red, green, blue = (
            round(a + self.shade * (b - a))
            for a, b in (
                (own.red(), ink.red()),
                (own.green(), ink.green()),
                (own.blue(), ink.blue()),
            )
        )
        return QColor(red, green, blue)


@dataclass(slots=True)
class _Area:
    """Something filled: a ribbon about a line, or what lies between two lines."""

    low: pg.PlotCurveItem
    high: pg.PlotCurveItem
    item: pg.FillBetweenItem
    role: str
    alpha: int


@dataclass(slots=True)
class _Band:
    low: float
    high: float
    word: str
    role: str
    item: pg.LinearRegionItem


@dataclass(slots=True)
class Panel:
    """See the module; made by `Plot.add_panel`."""

    theme: Theme
    caption: Words
    view: pg.ViewBox
    left: Values
    names: EndNames
    cursor: pg.InfiniteLine
    quantity: str = ""
    unit: str = ""
    include: tuple[float, float] | None = None
    outliers_may_leave: bool = False
    head_px: float = 0.0
    least: float = 0.1
    text: Callable[[float], str] | None = None
    lines: dict[str, Line] = field(default_factory=dict)
    bands: list[_Band] = field(default_factory=list)
    areas: dict[str, _Area] = field(default_factory=dict)
    between: tuple[str, str] | None = None

    def title(self, quantity: str, unit: str) -> None:
        """What the panel shows and in which unit ('' where it has none)."""
        if (quantity, unit) != (self.quantity, self.unit):
            self.quantity, self.unit = quantity, unit
            self.caption.say(f"{quantity}, {unit}" if unit else quantity)

    def line(self, name: str, role: str, *, shade: float = 0.0, width: int = 2) -> Line:
        """A new line in one of the theme's colours; its name will stand at its end."""
        curve = pg.PlotCurveItem(connect="finite")
        self.view.addItem(curve, ignoreBounds=True)
        made = self.lines[name] = Line(name, role, curve, shade)
        curve.setPen(pg.mkPen(made.color(self.theme), width=width))
        return made

    def forget(self, name: str) -> None:
        """Take a line away."""
        self.view.removeItem(self.lines.pop(name).curve)

    def forget_all(self) -> None:
        """Take all lines, bands and ribbons away."""
        for name in tuple(self.lines):
            self.forget(name)
        filled = [one.item for one in self.bands] + [one.item for one in self.areas.values()]
        for item in filled:
            self.view.removeItem(item)
        self.bands, self.areas = [], {}

    def band(self, low: float, high: float, word: str, role: str = "in_band") -> None:
        """A shaded band of limits over the whole width; its word stands beside it."""
        item = pg.LinearRegionItem((low, high), orientation="horizontal", movable=False)
        item.setZValue(-20)
        self.view.addItem(item, ignoreBounds=True)
        self.bands.append(_Band(low, high, word, role, item))
        self._dress_bands()

    def set_band(self, low: float, high: float, word: str) -> None:
        """The panel's only band; made anew only where it changes."""
        if [(band.low, band.high, band.word) for band in self.bands] != [(low, high, word)]:
            for band in self.bands:
                self.view.removeItem(band.item)
            self.bands = []
            self.band(low, high, word)

    def ribbon(self, name: str, x: Floats, low: Floats, high: Floats, role: str) -> None:
        """A translucent ribbon of uncertainty from `low` to `high` along `x`."""
        area = self._area(name, role, RIBBON_ALPHA)
        area.low.setData(x, low)
        area.high.setData(x, high)

    def fill_between(self, one: str, other: str, role: str) -> None:
        """Fill what lies between two lines that share their times."""
        self.between = (one, other)
        self._area("between", role, FILL_ALPHA)

    def dress(self, theme: Theme) -> None:
        """Take a theme's colours."""
        self.theme = theme
        self.left.dress(theme)
        self.names.dress(theme)
        self.caption.dress(theme)
        self.cursor.setPen(pg.mkPen(theme.soft_ink, width=1))
        for line in self.lines.values():
            line.curve.setPen(pg.mkPen(line.color(theme), width=line.curve.opts["pen"].width()))
        for area in self.areas.values():
            area.item.setBrush(theme.color(area.role, area.alpha))
        self._dress_bands()

    def draw(self, from_x: float, to_x: float, columns: int) -> None:
        """Draw what is seen between two places along the bottom."""
        low, high, ends = math.inf, -math.inf, []
        for line in self.lines.values():
            x, y = line.source.visible(from_x, to_x, columns)
            y = y * line.factor
            line.curve.setData(x, y)
            known = y[np.isfinite(y)]
            if known.size:
                lowest, highest = self._reach(known)
                low, high = min(low, lowest), max(high, highest)
                ends.append((float(known[-1]), line.name, line.color(self.theme)))
        self._fill()
        height = self.view.height()
        low, high = self._room(low, high, height)
        self.view.setYRange(low, high, padding=0)
        ends += [
            (0.5 * (band.low + band.high), band.word, self.theme.color(band.role))
            for band in self.bands
            if band.word and band.low < high and band.high > low
        ]
        self.names.show_names([((high - y) / (high - low), name, color) for y, name, color in ends])

    def reading(self, x: float) -> list[tuple[str, str, QColor]]:
        """Name, value with its unit, and colour of each line at a place."""
        rows = []
        for line in self.lines.values():
            value = line.source.at(x)[1] * line.factor
            known = math.isfinite(value)
            text = f"{self.value_text(value)} {self.unit}".strip() if known else NO_VALUE
            rows.append((line.name, text, line.color(self.theme)))
        return rows

    def value_text(self, value: float) -> str:
        """A value with one decimal more than the axis has."""
        if self.text is not None:
            return self.text(value)
        return number_text(value, self.left.step / 10)

    def columns(self, x_head: str) -> list[Column]:
        """The panel's lines as columns of a table."""
        return [
            Column(x_head, line.source.time_s, self._head(line), line.source.value, line.factor)
            for line in self.lines.values()
        ]

    def _head(self, line: Line) -> str:
        words = line.head or f"{line.name} {self.quantity}"
        return f"{words}, {self.unit}" if self.unit else words

    def _area(self, name: str, role: str, alpha: int) -> _Area:
        if name not in self.areas:
            low, high = pg.PlotCurveItem(connect="finite"), pg.PlotCurveItem(connect="finite")
            item = pg.FillBetweenItem(low, high, brush=self.theme.color(role, alpha))
            item.setZValue(-10)
            self.view.addItem(item, ignoreBounds=True)
            self.areas[name] = _Area(low, high, item, role, alpha)
        return self.areas[name]

    def _fill(self) -> None:
        if self.between is None:
            return
        one, other = (self.lines[name].curve.getData() for name in self.between)
        area = self.areas["between"]
        both = np.isfinite(one[1]) & np.isfinite(other[1])
        area.low.setData(one[0], np.where(both, one[1], math.nan))
        area.high.setData(one[0], np.where(both, other[1], math.nan))

    def _reach(self, known: Floats) -> tuple[float, float]:
        """Lowest and highest value to show of a line."""
        low, high = float(known.min()), float(known.max())
        if self.outliers_may_leave:
            middle = float(np.median(known))
            most = OUTLIER * float(np.median(np.abs(known - middle)))
            low, high = max(low, middle - most), min(high, middle + most)
        return low, high

    def _room(self, low: float, high: float, height: float) -> tuple[float, float]:
        """The values to show: those drawn with some room about them, and what is always in."""
        if low <= high:
            room = PADDING * (high - low) + max(0.0, self.least - (high - low)) / 2
            low, high = low - room, high + room
        if self.include is not None:
            low, high = min(low, self.include[0]), max(high, self.include[1])
        if low >= high:
            low, high = 0.0, 1.0
        return low, high + self.head_px * (high - low) / max(height - self.head_px, 1.0)

    def _dress_bands(self) -> None:
        for band in self.bands:
            band.item.setBrush(self.theme.color(band.role, RIBBON_ALPHA))
            for edge in band.item.lines:
                edge.setPen(pg.mkPen(self.theme.color(band.role)))

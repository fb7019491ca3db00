"""One panel of a plot: the library's view and axis, and its items for what a picture holds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPen
from PySide6.QtWidgets import (
    QGraphicsGridLayout,
    QGraphicsItem,
    QGraphicsPathItem,
    QStyleOptionGraphicsItem,
    QWidget,
)

from workbench.base.units import METRIC, UnitSystem
from workbench.gui.plot.words import Name, text_width
from workbench.gui.theme import SMALL_PX, Theme, font, grown
from workbench.words.pictures.extent import Drawn, EndName, drawn_lines, end_names, reach
from workbench.words.pictures.picture import (
    Axis,
    Band,
    Bars,
    Fill,
    Floats,
    Mark,
    Panel,
    Picture,
    Points,
    Trace,
)
from workbench.words.pictures.ticks import Ticks, axis_words, step_along, ticks_along

LEFT_PX, BOTTOM_PX = 52, 22
"""Room for the values on the left, at least, and for those below."""
TICK_PX, TIME_PX, NUMBER_PX = 30, 72, 22
"""Distance at least between two values up the axis, along it, or between counted ones."""


class ValueAxis(pg.AxisItem):  # type: ignore[misc]
    """An axis of the library with our values: no closer than can be read."""

    def __init__(self, side: str) -> None:
        self._axis, self._units, self._texts = Axis(), METRIC, dict[float, str]()
        super().__init__(side, maxTickLength=0)
        self.setStyle(tickAlpha=255 if side == "left" else 0)
        self.enableAutoSIPrefix(False)
        self.setPen(pg.mkPen(None))

    def show_axis(self, axis: Axis, units: UnitSystem, theme: Theme) -> None:
        """The values of this axis from now on, with thin lines across where they are a grid."""
        self._axis, self._units = axis, units
        self.setStyle(tickFont=font(SMALL_PX))
        self.setTextPen(theme.soft_ink)
        self.setTickPen(theme.line)
        self.update()

    def ticks(self, low: float, high: float, size_px: float) -> Ticks:
        """The values between two places that lie so many pixels apart."""
        step = self._step(low, high, size_px)
        return ticks_along(self._axis, self._units, low, high, step)

    def words(self, low: float, high: float, size_px: float) -> str:
        """What is shown, or what its times are counted in."""
        return axis_words(self._axis, self._units, low, high, self._step(low, high, size_px))

    def _step(self, low: float, high: float, size_px: float) -> float:
        apart_px = grown(NUMBER_PX if self._axis.numbers is not None else TIME_PX)
        apart_px = grown(TICK_PX) if self.orientation == "left" else apart_px
        return step_along(self._axis, self._units, apart_px * (high - low) / max(size_px, 1.0))

    def boundingRect(self) -> QRectF:  # noqa: N802
        """With room for the half of a text that stands beyond the axis's end."""
        beyond = (0, TICK_PX / 2) if self.orientation == "left" else (TIME_PX / 2, 0)
        return QRectF(super().boundingRect()).adjusted(-beyond[0], -beyond[1], *beyond)

    def tickValues(  # noqa: N802
        self, minVal: float, maxVal: float, size: float
    ) -> list[tuple[float, list[float]]]:
        self._texts = dict(self.ticks(minVal, maxVal, size))
        return [(1.0, list(self._texts))]

    def tickStrings(  # noqa: N802
        self, values: Sequence[float], scale: float, spacing: float
    ) -> list[str]:
        return [self._texts[value] for value in values]


POINT_PX, ODD_PX, ARROW_PX = 9, 13, 8
"""Width of a point, of one that stands out, and of a mark's arrow."""
BAND_ALPHA, PALE_ALPHA, AREA_ALPHA, BAR_ALPHA = 40, 40, 60, 190
MOST_DASHED = 100
"""Points up to which a dashed line, which is drawn in one, is as wide as it should be."""
BAR = 0.76
"""Of its place, a bar's width."""
SYMBOLS = {"dot": "o", "square": "s", "cross": "x", "up": "t1", "down": "t"}


class Curve(pg.PlotCurveItem):  # type: ignore[misc]
    """A line of the library. One that is wide is drawn piece by piece in pixels: to widen it as
    a whole, or under a transform, takes many times as long."""

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None
    ) -> None:
        pen = self.opts["pen"]
        if pen.style() != Qt.PenStyle.SolidLine or not self.opts["antialias"]:
            super().paint(painter, option, widget)
            return
        x, y = pg.transformCoordinates(painter.transform(), np.vstack(self.getData()))
        painter.resetTransform()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(pen.color(), pen.widthF()))
        pieces = np.column_stack((x[:-1], y[:-1], x[1:], y[1:]))
        known = np.isfinite(pieces).all(axis=1)
        painter.drawLines([QLineF(*piece) for piece in pieces[known].tolist()])


class PlotPanel:
    """A panel on the screen, in a row of a layout, with the same places as the one it is
    linked to."""

    def __init__(self, layout: QGraphicsGridLayout, row: int, linked: pg.ViewBox | None) -> None:
        self.view = pg.ViewBox(enableMenu=False, defaultPadding=0)
        self.view.setMouseEnabled(x=True, y=False)
        self.view.disableAutoRange()
        self.left = ValueAxis("left")
        self.left.linkToView(self.view)
        self.left.setGrid(255)
        self.left.setZValue(-1000)  # the grid behind all that is drawn
        self.drawn: Drawn = ()
        layout.addItem(self.left, row, 0)
        layout.addItem(self.view, row, 1)
        if linked is not None:
            self.view.setXLink(linked)

    def show_panel(
        self, panel: Panel, picture: Picture, units: UnitSystem, theme: Theme, *, first: bool
    ) -> None:
        """Show this one of a picture's panels from now on; `first` has the marks' arrows."""
        self.view.clear()
        self.panel, self._theme = panel, theme
        self.left.show_axis(panel.y, units, theme)
        for stretch in picture.left_out:
            brush = theme.color("no_data", BAND_ALPHA)
            self._add(pg.LinearRegionItem(stretch, brush=brush, pen=pg.mkPen(None), movable=False))
        for band in panel.bands:
            if math.isfinite(band.low) and math.isfinite(band.high):
                self._add_band(band)
        self._fills = [(fill, self._add(_area(fill, theme))) for fill in panel.fills]
        for bars in panel.bars:
            self._add_bars(bars)
        curves = [self._add(Curve(connect="finite")) for _ in panel.traces]
        self._curves = curves[::-1]  # the first on top
        for points in panel.points:
            self._add_points(points)
        for mark in picture.marks:
            self._add_mark(mark, first=first)
        self._notes = [note for bars in panel.bars for note in self._notes_of(bars)]
        self.cursor = self._add(pg.InfiniteLine(pen=theme.soft_ink))

    def draw(self, seen: tuple[float, float], columns: int) -> None:
        """Draw what is seen between two places: only that, no finer than so many columns."""
        self.drawn = drawn_lines(self.panel, seen, columns)
        for (trace, x, y), curve in zip(self.drawn, self._curves, strict=True):
            # One of more points than pixels is drawn the quickest a hair's breadth wide.
            crowded = x.size > (MOST_DASHED if trace.dashed else columns)
            style = Qt.PenStyle.DashLine if trace.dashed else Qt.PenStyle.SolidLine
            width = 1 if crowded else trace.width
            pen = pg.mkPen(line_color(trace, self._theme), width=width, style=style)
            curve.setData(x, y, pen=pen, antialias=not crowded)
        for fill, item in self._fills:
            x, below = fill.low.visible(*seen, columns)
            _, above = fill.high.visible(*seen, columns)
            item.setPath(pg.arrayToQPath(*_outline(x, below, above), connect="finite"))
        self.view.setYRange(*reach(self.panel, self.drawn, seen), padding=0)

    @property
    def box(self) -> QRectF:
        """Where it stands in the plot, in pixels."""
        return QRectF(self.view.sceneBoundingRect())

    @property
    def ticks(self) -> Ticks:
        """The values beside it."""
        low, high = self.view.viewRange()[1]
        return self.left.ticks(low, high, self.view.height())

    def px(self, x: float, y: float) -> QPointF:
        """The pixel of a value at a place, from the plot's upper left corner."""
        return QPointF(self.view.mapViewToScene(QPointF(x, y)))

    def show_notes(self) -> None:
        """The words above single bars, as long as there is room."""
        taken: list[tuple[float, float]] = []
        per_x = self.view.viewPixelSize()[0]
        for note in self._notes:
            half, x = text_width(note.toPlainText()) / 2 + 3, note.x() / per_x
            fits = all(abs(x - other) > half + wide for other, wide in taken)
            note.setVisible(fits)
            if fits:
                taken.append((x, half))

    def names(self, seen: tuple[float, float]) -> list[Name]:
        """Where each line, band and row of points ends, with its name."""
        low, high = self.view.viewRange()[1]
        return [
            (self.px(0.0, one.value).y(), one.text, line_color(one, self._theme))
            for one in end_names(self.panel, self.drawn, seen, (low, high))
        ]

    def nearest(self, at: QPointF) -> tuple[float, int]:
        """How many pixels from a place of the plot the nearest point lies, and which of its
        row it is."""
        place, (per_x, per_y) = self.view.mapSceneToView(at), self.view.viewPixelSize()
        found = [(math.inf, 0)]
        for points in self.panel.points:
            away = np.hypot((points.x - place.x()) / per_x, (points.y - place.y()) / per_y)
            found += [(float(px), index) for index, px in enumerate(away) if math.isfinite(px)]
        return min(found)

    # What is in it

    def _add(self, item: QGraphicsItem) -> Any:
        self.view.addItem(item, ignoreBounds=True)
        return item

    def _add_band(self, band: Band) -> None:
        pen = pg.mkPen(self._theme.color(band.role))
        if band.shaded:
            ends, brush = (band.low, band.high), self._theme.color(band.role, BAND_ALPHA)
            self._add(pg.LinearRegionItem(ends, "horizontal", brush, pen, movable=False))
            return
        pen.setStyle(Qt.PenStyle.DashLine)
        for value in {band.low, band.high}:
            self._add(pg.InfiniteLine(value, angle=0, pen=pen))

    def _add_bars(self, bars: Bars) -> None:
        for role, some in _groups(bars, "attention"):
            brush = self._theme.color(role, BAR_ALPHA)
            x, y = bars.x[some], bars.y[some]
            self._add(pg.BarGraphItem(x=x, height=y, width=BAR, brush=brush, pen=pg.mkPen(None)))

    def _add_points(self, points: Points) -> None:
        """Points with their uncertainty; what stands out is a diamond of its own colour."""
        for role, some in _groups(points, "bad"):
            color, x, y = self._theme.color(role), points.x[some], points.y[some]
            pen = QPen(pg.mkPen(color, width=2))
            half, half_x = (
                np.zeros(x.size) if U is None else np.nan_to_num(U[some])
                for U in (points.U, points.U_x)
            )
            self._add(pg.ErrorBarItem(x=x, y=y, height=2 * half, width=2 * half_x, pen=pen))
            odd = points.odd is not None and bool(points.odd[some][0])
            self._add(
                pg.ScatterPlotItem(
                    x,
                    y,
                    symbol="d" if odd else SYMBOLS[points.shape],
                    size=ODD_PX if odd else POINT_PX,
                    brush=self._theme.color("ground") if points.hollow else color,
                    pen=pen,
                    antialias=True,
                    useCache=False,  # as sharp in a file
                )
            )

    def _add_mark(self, mark: Mark, *, first: bool) -> None:
        pen = pg.mkPen(self._theme.color(mark.role), style=Qt.PenStyle.DotLine)
        line = self._add(pg.InfiniteLine(mark.x, pen=pen))
        if mark.arrow and first:
            line.addMarker("^", 0.97, ARROW_PX)

    def _notes_of(self, bars: Bars) -> Iterator[pg.TextItem]:
        for at, text in bars.notes:
            note = self._add(pg.TextItem(text, self._theme.ink, anchor=(0.5, 1.0)))
            note.setFont(font(SMALL_PX))
            note.setPos(float(bars.x[at]), float(bars.y[at]))
            yield note


def line_color(line: Trace | EndName, theme: Theme) -> QColor:
    """The colour of a line: its role's, shaded towards the ink."""
    own, ink = theme.color(line.role), theme.color("ink")
    pairs = ((own.red(), ink.red()), (own.green(), ink.green()), (own.blue(), ink.blue()))
    return QColor(*(round(a + line.shade * (b - a)) for a, b in pairs))


def _groups(
    row: Points | Bars, odd_role: str
) -> Iterator[tuple[str, np.ndarray[tuple[int], np.dtype[np.bool_]]]]:
    """The known values that do not stand out and those that do, with their colour."""
    known = np.isfinite(row.x) & np.isfinite(row.y)
    odd = np.zeros(known.size, dtype=np.bool_) if row.odd is None else row.odd
    for role, some in ((row.role, known & ~odd), (odd_role, known & odd)):
        if some.any():
            yield role, some


def _area(fill: Fill, theme: Theme) -> QGraphicsPathItem:
    item = QGraphicsPathItem()
    item.setPen(pg.mkPen(None))
    item.setBrush(theme.color(fill.role, PALE_ALPHA if fill.pale else AREA_ALPHA))
    return item


def _outline(x: Floats, below: Floats, above: Floats) -> tuple[Floats, Floats]:
    """Round what lies between two lines, wherever both are known; NaN between the pieces."""
    known = np.isfinite(below) & np.isfinite(above)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], known, [False])))).tolist()
    gap = np.array([math.nan])
    xs, ys = [gap], [gap]
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        run = slice(first, last)
        xs += [x[run], x[run][::-1], gap]
        ys += [below[run], above[run][::-1], gap]
    return np.concatenate(xs), np.concatenate(ys)

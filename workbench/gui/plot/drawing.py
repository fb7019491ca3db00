"""Draws a picture that is laid out: on the screen, or for a file."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from PySide6.QtCore import QByteArray, QDataStream, QLineF, QPointF, QRectF, Qt
from PySide6.QtGui import (
    QColor,
    QFontMetricsF,
    QPaintEngine,
    QPainter,
    QPainterPath,
    QPen,
    QPolygonF,
)

from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import FOCUS_PX
from workbench.gui.parts.drawn_text import draw_text
from workbench.gui.plot.layout import (
    ARROW_PX,
    BOTTOM_PX,
    CAPTION_PX,
    LEADER_PX,
    LINE_PX,
    TIME_PX,
    Layout,
    Place,
    line_color,
    text_width,
)
from workbench.gui.theme import GRID_PX, SMALL_PX, TOUCH_PX, Theme, font
from workbench.words.pictures.picture import Band, Bars, Floats, Mark, Picture, Points
from workbench.words.pictures.pyramid import Pyramid
from workbench.words.pictures.ticks import Scale

POINT_PX, ODD_PX = 4.5, 6.5
"""Half of a point, and of one that stands out."""
BAND_ALPHA, PALE_ALPHA, AREA_ALPHA, BAR_ALPHA = 40, 40, 60, 190
BAR = 0.76
"""Of its place, a bar's width."""
_STEP = np.dtype([("draws", ">i4"), ("x", ">f8"), ("y", ">f8")])
"""A step of a path as Qt writes it: whether it draws or only moves, and where to."""
SHAPES = {
    "square": ((-1, -1), (1, -1), (1, 1), (-1, 1)),
    "up": ((-1, 0.8), (1, 0.8), (0, -1)),
    "down": ((-1, -0.8), (1, -0.8), (0, 1)),
    "odd": ((0, -1), (1, 0), (0, 1), (-1, 0)),
}


class Drawing:
    """One painting of a layout."""

    def __init__(
        self, painter: QPainter, picture: Picture, layout: Layout, units: UnitSystem, theme: Theme
    ) -> None:
        self._painter, self._picture, self._layout = painter, picture, layout
        self._units, self._theme = units, theme
        self._x = layout.x

    def draw(self) -> None:
        """All of it."""
        self._painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._painter.setFont(font(SMALL_PX))
        for at, place in enumerate(self._layout.places):
            self._caption(place, beside_button=at == 0)
            self._values(place)
            self._inside(place, first=at == 0)
            self._names(place)
        self._foot()
        for left, text, mark in self._layout.words:
            self._word(left, text, mark)

    def _inside(self, place: Place, *, first: bool) -> None:
        """What lies in a panel's box, and ends at its edges."""
        painter, panel, y = self._painter, place.panel, place.y
        painter.save()
        painter.setClipRect(place.box.adjusted(-1, -1, 1, 1))
        for low, high in self._picture.left_out:
            left, right = self._x.px(low), self._x.px(high)
            box = QRectF(left, place.box.top(), right - left, place.box.height())
            painter.fillRect(box, self._theme.color("no_data", BAND_ALPHA))
        for band in panel.bands:
            self._band(band, place)
        for fill in panel.fills:
            alpha = PALE_ALPHA if fill.pale else AREA_ALPHA
            self._fill(fill.low, fill.high, y, self._theme.color(fill.role, alpha))
        for bars in panel.bars:
            self._bars(bars, place)
        for trace, xs, ys in reversed(place.drawn):  # the first on top
            style = Qt.PenStyle.DashLine if trace.dashed else Qt.PenStyle.SolidLine
            painter.setPen(QPen(line_color(trace, self._theme), trace.width, style))
            self._polyline(self._x.px(xs), y.px(ys))
        painter.restore()
        for points in panel.points:
            self._points(points, place)
        for mark in self._picture.marks:
            self._vertical(mark, place, first=first)
        for bars in panel.bars:
            self._notes(bars, y)

    # What stands around

    def _caption(self, place: Place, *, beside_button: bool) -> None:
        top = place.box.top() - CAPTION_PX
        if beside_button:  # on its line, above the marks' words
            top = FOCUS_PX
        right = self._layout.size.width() - (2 * TOUCH_PX + GRID_PX if beside_button else 0)
        room = right - place.box.left()
        words = QFontMetricsF(font(SMALL_PX)).elidedText(
            place.panel.y.label(self._units), Qt.TextElideMode.ElideRight, room
        )
        box = QRectF(place.box.left(), top, room, CAPTION_PX)
        draw_text(self._painter, box, words, "L", self._theme.color("soft_ink"))

    def _values(self, place: Place) -> None:
        """The values on the left, each with a thin line across."""
        for value, text in place.ticks:
            y = place.y.px(value)
            self._painter.setPen(QPen(self._theme.color("line"), 1))
            self._painter.drawLine(QPointF(place.box.left(), y), QPointF(place.box.right(), y))
            box = QRectF(0, y - LINE_PX / 2, place.box.left() - GRID_PX / 2, LINE_PX)
            draw_text(self._painter, box, text, "R", self._theme.color("soft_ink"))

    def _names(self, place: Place) -> None:
        metrics = QFontMetricsF(font(SMALL_PX))
        right = self._layout.right
        room = self._layout.size.width() - right - LEADER_PX - 2
        for name in place.names:
            self._painter.setPen(QPen(name.color, 1))
            ends = QPointF(right + 1, name.end), QPointF(right + LEADER_PX - 3, name.middle)
            self._painter.drawLine(*ends)
            text = metrics.elidedText(name.text, Qt.TextElideMode.ElideRight, room)
            box = QRectF(right + LEADER_PX, name.middle - LINE_PX / 2, room, LINE_PX)
            draw_text(self._painter, box, text, "L", name.color)

    def _foot(self) -> None:
        """The values below, and what they count."""
        if not self._layout.places:
            return
        layout, foot = self._layout, self._layout.places[-1].box.bottom()
        soft = self._theme.color("soft_ink")
        for at, text in layout.x_ticks:
            if layout.x.low <= at <= layout.x.high:
                box = QRectF(layout.x.px(at) - TIME_PX / 2, foot, TIME_PX, BOTTOM_PX)
                draw_text(self._painter, box, text, "C", soft)
        if self._picture.x.is_time:
            box = QRectF(layout.right + LEADER_PX, foot, layout.size.width(), BOTTOM_PX)
            draw_text(self._painter, box, layout.x_words, "L", soft)
        else:
            width = layout.right - layout.x.start
            box = QRectF(layout.x.start, foot + BOTTOM_PX, width, CAPTION_PX)
            draw_text(self._painter, box, layout.x_words, "C", soft)

    def _word(self, left: float, text: str, mark: Mark) -> None:
        top = FOCUS_PX + CAPTION_PX
        box = QRectF(left, top, text_width(text) + 2, LINE_PX)
        role = "ink" if mark.role == "soft_ink" else mark.role
        draw_text(self._painter, box, text, "L", self._theme.color(role))

    # What is in a panel

    def _band(self, band: Band, place: Place) -> None:
        top, foot = place.y.px(band.high), place.y.px(band.low)
        color = self._theme.color(band.role)
        if band.shaded:
            box = QRectF(place.box.left(), top, place.box.width(), foot - top)
            self._painter.fillRect(box, self._theme.color(band.role, BAND_ALPHA))
        style = Qt.PenStyle.SolidLine if band.shaded else Qt.PenStyle.DashLine
        self._painter.setPen(QPen(color, 1, style))
        for y in {top, foot}:
            self._painter.drawLine(QPointF(place.box.left(), y), QPointF(place.box.right(), y))

    def _fill(self, low: Pyramid, high: Pyramid, y: Scale, color: QColor) -> None:
        """What lies between two lines, wherever both are known."""
        columns = max(32, int(self._x.end - self._x.start))
        x, below = low.visible(self._x.low, self._x.high, columns)
        _, above = high.visible(self._x.low, self._x.high, columns)
        self._painter.setPen(Qt.PenStyle.NoPen)
        self._painter.setBrush(color)
        for run in _runs(np.isfinite(below) & np.isfinite(above)):
            xs = self._x.px(np.concatenate((x[run], x[run][::-1])))
            ys = y.px(np.concatenate((below[run], above[run][::-1])))
            self._painter.drawPolygon(_polygon(xs, ys))

    def _polyline(self, x: Floats, y: Floats) -> None:
        """A line with gaps where there is no value.

        Piece by piece: to widen a jagged line as a whole takes a hundred times as long. One of
        more points than pixels is a hair's breadth wide, as that is drawn the quickest.
        """
        painter = self._painter
        crowded = x.size > self._x.end - self._x.start
        if crowded or painter.paintEngine().type() is QPaintEngine.Type.SVG:
            if crowded:
                painter.setPen(QPen(painter.pen().color(), 1))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, not crowded)
            painter.drawPath(_path(x, y))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            return
        for run in _runs(np.isfinite(x) & np.isfinite(y)):
            corners = pairwise(zip(x[run].tolist(), y[run].tolist(), strict=True))
            painter.drawLines([QLineF(*a, *b) for a, b in corners])

    def _points(self, one: Points, place: Place) -> None:
        """Points with their uncertainty; what stands out is a diamond of its own colour."""
        x, y = self._x.px(one.x), place.y.px(one.y)
        seen = (one.x >= self._x.low) & (one.x <= self._x.high) & np.isfinite(one.y)
        for at in np.flatnonzero(seen).tolist():
            odd = one.odd is not None and bool(one.odd[at])
            color = self._theme.color("bad" if odd else one.role)
            self._painter.setPen(QPen(color, 2))
            for half, across in (
                (one.U, (0.0, place.y.px_each)),
                (one.U_x, (self._x.px_each, 0.0)),
            ):
                if half is not None and half[at] > 0:
                    reach = QPointF(across[0] * half[at], across[1] * half[at])
                    middle = QPointF(x[at], y[at])
                    self._painter.drawLine(middle - reach, middle + reach)
            self._shape(QPointF(x[at], y[at]), "odd" if odd else one.shape, color, one.hollow)

    def _shape(self, at: QPointF, shape: str, color: QColor, hollow: bool) -> None:
        painter = self._painter
        painter.setPen(QPen(color, 2))
        painter.setBrush(self._theme.color("ground") if hollow else color)
        if shape == "cross":
            for way in (-1, 1):
                reach = QPointF(POINT_PX, way * POINT_PX)
                painter.drawLine(at - reach, at + reach)
        elif shape in SHAPES:
            half = ODD_PX if shape == "odd" else POINT_PX
            corners = [at + QPointF(half * x, half * y) for x, y in SHAPES[shape]]
            painter.drawPolygon(QPolygonF(corners))
        else:
            painter.drawEllipse(at, POINT_PX, POINT_PX)

    def _bars(self, bars: Bars, place: Place) -> None:
        half = 0.5 * BAR * self._x.px_each
        zero = place.y.px(0.0)
        self._painter.setPen(Qt.PenStyle.NoPen)
        for at in np.flatnonzero(np.isfinite(bars.y)).tolist():
            odd = bars.odd is not None and bool(bars.odd[at])
            x, top = self._x.px(float(bars.x[at])), place.y.px(float(bars.y[at]))
            color = self._theme.color("attention" if odd else bars.role, BAR_ALPHA)
            self._painter.fillRect(QRectF(x - half, top, 2 * half, zero - top).normalized(), color)

    def _notes(self, bars: Bars, y: Scale) -> None:
        """Words above single bars, as long as there is room."""
        taken: list[tuple[float, float]] = []
        for at, text in bars.notes:
            half = text_width(text) / 2 + 3
            x, top = self._x.px(float(bars.x[at])), y.px(float(bars.y[at]))
            if all(abs(x - other) > half + wide for other, wide in taken):
                taken.append((x, half))
                box = QRectF(x - half, top - LINE_PX - 2, 2 * half, LINE_PX)
                draw_text(self._painter, box, text, "C", self._theme.color("ink"))

    def _vertical(self, mark: Mark, place: Place, *, first: bool) -> None:
        if not self._x.low <= mark.x <= self._x.high:
            return
        x, top = self._x.px(mark.x), place.box.top()
        self._painter.setPen(QPen(self._theme.color(mark.role), 1, Qt.PenStyle.DotLine))
        self._painter.drawLine(QPointF(x, top), QPointF(x, place.box.bottom()))
        if mark.arrow and first:
            self._painter.setPen(Qt.PenStyle.NoPen)
            self._painter.setBrush(self._theme.color(mark.role))
            tip = QPointF(x, top - ARROW_PX + 2)
            feet = [tip + QPointF(way * POINT_PX, ARROW_PX - 4) for way in (-1, 1)]
            self._painter.drawPolygon(QPolygonF([tip, *feet]))


def _runs(known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Sequence[slice]:
    """Stretches in which all is known."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], known, [False])))).tolist()
    return [slice(first, last) for first, last in zip(edges[::2], edges[1::2], strict=True)]


def _path(x: Floats, y: Floats) -> QPainterPath:
    """A line with gaps, in the form in which Qt writes a path: to add point by point would take
    most of the time of a drawing."""
    known = np.isfinite(x) & np.isfinite(y)
    steps = np.empty(np.count_nonzero(known), _STEP)
    steps["draws"] = np.concatenate(([False], known[:-1]))[known]
    steps["x"], steps["y"] = x[known], y[known]
    path = QPainterPath()
    data = len(steps).to_bytes(4, "big") + steps.tobytes() + bytes(8)
    QDataStream(QByteArray(data)) >> path
    return path


def _polygon(x: Floats, y: Floats) -> QPolygonF:
    return QPolygonF([QPointF(*one) for one in zip(x.tolist(), y.tolist(), strict=True)])

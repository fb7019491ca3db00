"""A chart of few values: points with their uncertainty, lines, bands, words at the lines' ends.

For the long series of recordings and passes there are plots that draw by the pixel; this one
is for what fits on a sheet: visits of a season, two results on the same axes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFocusEvent,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QResizeEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.gui.parts.basics import draw_focus
from workbench.gui.plot.axes import number_text, spread, text_width
from workbench.gui.plot.save import SavePlot
from workbench.gui.plot.scale import Scale, day_ticks, nice_ticks
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.models.plot.picture import Band, Picture, Series
from workbench.models.plot.table import Column
from workbench.words.moments import moment_text

TITLE_PX, FOOT_PX, NAMES_PX, LINE_PX = 24, 40, 72, 18
MOST_TICKS = 8
POINT_PX, NEAR_PX = 5.0, 24.0
EMPTY = Picture("", "", [])


@dataclass(frozen=True, slots=True)
class _Place:
    """A point of the chart: which series, which value, and where it was drawn."""

    series: int
    at: int
    spot: QPointF


class Chart(QWidget):
    """Draws one picture. `picked` tells the index of a point clicked, or chosen by Enter."""

    picked = Signal(int)

    def __init__(self, theme: Theme, name: str) -> None:
        super().__init__()
        self._theme, self._picture = theme, EMPTY
        self._x, self._y = Scale(0, 1, 0, 1), Scale(0, 1, 0, 1)
        self._at: _Place | None = None
        self.setAccessibleName(name)
        self.save = SavePlot(self)
        self.save.dress(theme)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumHeight(16 * GRID_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(480, 240)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.save.dress(theme)
        self.update()

    def show_picture(self, picture: Picture) -> None:
        """Draw this from now on."""
        self._picture, self._at = picture, None
        self.update()

    def seen(self) -> tuple[float, float]:
        """All of it is always seen."""
        return self._extent_x()

    def columns(self) -> list[Column]:
        """The chart's numbers, for CSV."""
        shown, made = self._picture, []
        x_head = "seconds since 1970 (UTC)" if shown.x_days else shown.x_words
        for one in shown.series:
            head = f"{shown.title} {one.name}".strip()
            made.append(Column(x_head, one.x, head, one.y))
            if one.half is not None:
                made.append(Column(x_head, one.x, f"{head}, expanded uncertainty", one.half))
        return made

    @property
    def reading(self) -> str:
        """What is read out now, '' where nothing is."""
        if self._at is None:
            return ""
        one = self._picture.series[self._at.series]
        x, y = float(one.x[self._at.at]), float(one.y[self._at.at])
        if self._picture.x_days:
            where = moment_text(np.datetime64(round(x), "s").astype(str) + "+00:00")
        else:
            where = f"{self._picture.x_words} {x:.4g}"
        text = self._picture.read(y)
        if one.half is not None and one.half[self._at.at] > 0:
            text += f" ± {self._picture.read(float(one.half[self._at.at]))}"
        return f"{one.name + ': ' if one.name else ''}{where}: {text}"

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        self.paint_picture(painter)
        draw_focus(painter, self, self._theme)
        painter.end()

    def paint_picture(self, painter: QPainter) -> None:
        """Draw the chart, on the screen or for a file."""
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), self._theme.color("ground"))
        painter.setFont(font(SMALL_PX))
        ticks = self._lay_out()
        self._axes(painter, ticks)
        names = [name for band in self._picture.bands for name in self._band(painter, band)]
        self._marks(painter)
        for one in self._picture.series:
            names += self._series(painter, one)
        self._names(painter, names)
        self._read_out(painter)

    def _lay_out(self) -> list[float]:
        """Both scales for the size as it is; the ticks of the upright one."""
        low, high = self._values()
        top, foot = float(self._top()), float(self.height() - FOOT_PX)
        ticks = nice_ticks(low, high, min(max(2, int((foot - top) / 40)), MOST_TICKS))
        longest = max((text_width(word) for _, word in _worded(ticks)), default=0.0)
        self._y = Scale(low, high, foot, top)
        left = longest + 1.5 * GRID_PX
        first, last = self._extent_x()
        self._x = Scale(first, last, left + 1.5 * GRID_PX, self.width() - NAMES_PX)
        return ticks

    def _top(self) -> int:
        """Where the values begin: below the title, and the words of the marks."""
        return TITLE_PX + 4 + (LINE_PX if self._picture.marks else 0)

    def _values(self) -> tuple[float, float]:
        """Lowest and highest to be seen, with room."""
        parts = [np.array([band.low, band.high]) for band in self._picture.bands]
        for one in self._picture.series:
            half = np.zeros(one.y.size) if one.half is None else one.half
            parts += [one.y - half, one.y + half]
        known = np.concatenate([*parts, np.empty(0)])
        known = known[np.isfinite(known)]
        if not known.size:
            return 0.0, 1.0
        low, high = float(known.min()), float(known.max())
        room = 0.08 * (high - low) or 0.1 * abs(high) or 1.0
        return low - room, high + room

    def _extent_x(self) -> tuple[float, float]:
        known = np.concatenate([*(one.x for one in self._picture.series), np.empty(0)])
        known = known[np.isfinite(known)]
        if not known.size:
            return 0.0, 1.0
        first, last = float(known.min()), float(known.max())
        least = 86_400.0 if self._picture.x_days else 1e-6
        return (first, last) if last - first > least else (first - least, last + least)

    def _axes(self, painter: QPainter, ticks: list[float]) -> None:
        theme, right = self._theme, self.width() - NAMES_PX
        painter.setPen(theme.color("soft_ink"))
        whole = QRectF(0, 0, self.width(), TITLE_PX)
        align = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        painter.drawText(whole, align, self._picture.title)
        foot = QRectF(self._x.start, self.height() - 20, right - self._x.start, 20)
        painter.drawText(foot, Qt.AlignmentFlag.AlignCenter, self._picture.x_words)
        for tick, word in _worded(ticks):
            y = self._y.to_px(tick)
            painter.setPen(theme.color("line"))
            painter.drawLine(QPointF(self._x.start - GRID_PX, y), QPointF(right, y))
            painter.setPen(theme.color("soft_ink"))
            box = QRectF(0, y - 9, self._x.start - 1.5 * GRID_PX, 18)
            side = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
            painter.drawText(box, side, word)
        for place, word in self._bottom_ticks():
            x = self._x.to_px(place)
            box = QRectF(x - 50, self.height() - FOOT_PX + 2, 100, 18)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, word)

    def _bottom_ticks(self) -> list[tuple[float, str]]:
        most = max(2, int((self._x.end - self._x.start) / 90))
        if self._picture.x_days:
            return day_ticks(self._x.low, self._x.high, most)
        return _worded(nice_ticks(self._x.low, self._x.high, most))

    def _band(self, painter: QPainter, band: Band) -> list[tuple[float, str, QColor]]:
        """Shade a band; its word, at the middle of its right end."""
        top, foot = self._y.to_px(band.high), self._y.to_px(band.low)
        left, right = self._x.start - GRID_PX, float(self.width() - NAMES_PX)
        color = self._theme.color("in_band" if band.allowed else "soft_ink")
        if band.allowed:
            shade = self._theme.color("in_band", 36)
            painter.fillRect(QRectF(left, top, right - left, foot - top), shade)
        style = Qt.PenStyle.SolidLine if band.allowed else Qt.PenStyle.DashLine
        painter.setPen(QPen(color, 1, style))
        for y in (top, foot):
            painter.drawLine(QPointF(left, y), QPointF(right, y))
        return [(top, band.word, color)]

    def _marks(self, painter: QPainter) -> None:
        """Thin verticals, each with its word above; one that would run into another is left out."""
        end, top = -math.inf, self._top()
        for place, word in self._picture.marks:
            x, width = self._x.to_px(place), text_width(word)
            painter.setPen(QPen(self._theme.color("soft_ink"), 1, Qt.PenStyle.DotLine))
            painter.drawLine(QPointF(x, top - 2), QPointF(x, self._y.start))
            left = x - width / 2
            if left > end:
                end = left + width + GRID_PX
                painter.setPen(self._theme.color("ink"))
                painter.drawText(QPointF(left, top - 6), word)

    def _series(self, painter: QPainter, one: Series) -> list[tuple[float, str, QColor]]:
        """Draw a series; its name at the height where it ends."""
        color = self._theme.color("soft_ink" if one.second else "ink")
        known = np.isfinite(one.x) & np.isfinite(one.y)
        if one.joined:
            style = Qt.PenStyle.DashLine if one.second else Qt.PenStyle.SolidLine
            painter.setPen(QPen(color, 1.5 if one.points else 2, style))
            for run in np.split(np.arange(one.x.size), np.flatnonzero(np.diff(known)) + 1):
                if run.size and known[run[0]]:
                    painter.drawPolyline(QPolygonF([self._spot(one, at) for at in run]))
        if one.points:
            for at in np.flatnonzero(known):
                self._point(painter, one, int(at), color)
        last = np.flatnonzero(known)
        if not (last.size and one.name):
            return []
        return [(self._spot(one, int(last[-1])).y(), one.name, color)]

    def _spot(self, one: Series, at: int) -> QPointF:
        return QPointF(self._x.to_px(float(one.x[at])), self._y.to_px(float(one.y[at])))

    def _point(self, painter: QPainter, one: Series, at: int, color: QColor) -> None:
        spot, y = self._spot(one, at), float(one.y[at])
        outside = any(
            band.allowed and not band.low <= y <= band.high for band in self._picture.bands
        )
        if outside:
            color = self._theme.color("bad")
        if one.half is not None and one.half[at] > 0:
            half = float(one.half[at])
            painter.setPen(QPen(color, 2))
            ends = (self._y.to_px(y - half), self._y.to_px(y + half))
            painter.drawLine(QPointF(spot.x(), ends[0]), QPointF(spot.x(), ends[1]))
        painter.setPen(QPen(color, 2))
        painter.setBrush(self._theme.color("ground") if one.second else color)
        if outside:
            reach = 1.4 * POINT_PX
            around = ((0, -reach), (reach, 0), (0, reach), (-reach, 0))
            painter.drawPolygon(QPolygonF([spot + QPointF(*step) for step in around]))
        elif one.second:
            painter.drawRect(QRectF(spot.x() - 4, spot.y() - 4, 8, 8))
        else:
            painter.drawEllipse(spot, POINT_PX, POINT_PX)

    def _names(self, painter: QPainter, names: list[tuple[float, str, QColor]]) -> None:
        names = sorted(names, key=lambda one: one[0])
        top, room = self._y.end, self._y.start - self._y.end
        places = spread([one[0] - top for one in names], room, LINE_PX)
        for (_, word, color), y in zip(names, places, strict=True):
            painter.setPen(color)
            box = QRectF(self.width() - NAMES_PX + 6, top + y - 9, NAMES_PX - 6, 18)
            painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, word)

    def _read_out(self, painter: QPainter) -> None:
        if self._at is None:
            return
        place = replace(
            self._at, spot=self._spot(self._picture.series[self._at.series], self._at.at)
        )
        text = self.reading
        width = QFontMetricsF(painter.font()).horizontalAdvance(text) + 2 * GRID_PX
        left = min(max(place.spot.x() - width / 2, 0), self.width() - width)
        above = place.spot.y() - 40
        box = QRectF(left, above if above > TITLE_PX else place.spot.y() + 16, width, 26)
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawEllipse(place.spot, 9, 9)
        painter.setPen(self._theme.color("line"))
        painter.setBrush(self._theme.color("raised"))
        painter.drawRoundedRect(box, 4, 4)
        painter.setPen(self._theme.color("ink"))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    def _places(self) -> list[_Place]:
        """Every value that is drawn, from left to right."""
        found = [
            _Place(number, int(at), self._spot(one, int(at)))
            for number, one in enumerate(self._picture.series)
            if one.name or len(self._picture.series) == 1
            for at in np.flatnonzero(np.isfinite(one.x) & np.isfinite(one.y))
        ]
        return sorted(found, key=lambda place: place.spot.x())

    def _point_at(self, place: _Place | None) -> None:
        if place != self._at:
            self._at = place
            self.setAccessibleDescription(self.reading)
            self.update()

    def _near(self, spot: QPointF) -> _Place | None:
        def away(place: _Place) -> float:
            return math.hypot(place.spot.x() - spot.x(), place.spot.y() - spot.y())

        nearest = min(self._places(), key=away, default=None)
        return nearest if nearest is not None and away(nearest) < NEAR_PX else None

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self.save.move(self.width() - self.save.width(), 0)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        self._point_at(self._near(event.position()))

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        super().mousePressEvent(event)
        place = self._near(event.position())
        if place is not None:
            self.picked.emit(place.at)

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802
        self._point_at(None)

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        super().focusOutEvent(event)
        self._point_at(None)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        places = self._places()
        now = next((i for i, one in enumerate(places) if self._same(one)), None)
        match event.key():
            case Qt.Key.Key_Right if places:
                self._point_at(places[0 if now is None else min(now + 1, len(places) - 1)])
            case Qt.Key.Key_Left if places:
                self._point_at(places[-1 if now is None else max(now - 1, 0)])
            case Qt.Key.Key_Return | Qt.Key.Key_Enter if self._at is not None:
                self.picked.emit(self._at.at)
            case _:
                super().keyPressEvent(event)

    def _same(self, place: _Place) -> bool:
        return self._at is not None and (place.series, place.at) == (self._at.series, self._at.at)


def _worded(ticks: list[float]) -> list[tuple[float, str]]:
    """Ticks in the decimals their step needs."""
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 0.01
    return [(tick, number_text(tick, step)) for tick in ticks]

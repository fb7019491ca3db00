"""Where a pass went: its way over the field, coloured and marked by how the belt kept pace."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy

from workbench.base.units import US, UnitSystem
from workbench.gui.parts.basics import Painted
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.jobs.passes.answer import PassAnswer
from workbench.match.ratio import BandSays, PaceLimits
from workbench.words.language import N_, _
from workbench.words.words import Words

COLORS = {
    BandSays.IN_BAND: "in_band",
    BandSays.BELT_SLOW: "belt",
    BandSays.BELT_FAST: "earth",
    BandSays.LEFT_OUT_OF_BAND: "no_data",
}
"""A stretch's colour; its mark is a disc, a triangle down or up, or a thin line."""
ROUND = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
MARK_PX, MARK_EVERY_PX = 6.0, 28.0
LEGEND_PX = 3 * GRID_PX


class PassTrack(Painted):
    """Draws the `track` of a pass's answer; says so where there is none."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self._units = US
        self._east_m, self._north_m = np.empty(0), np.empty(0)
        self._states: list[BandSays] = []
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(18 * GRID_PX)
        self.setAccessibleName(_("Way of the pass over the field"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(480, 320)

    @property
    def is_empty(self) -> bool:
        return not self._states

    def show_answer(self, answer: PassAnswer, units: UnitSystem) -> None:
        """The way of an answer, with the answer's own limits."""
        self._units, track = units, answer.track
        limits = PaceLimits(answer.ratio_low, answer.ratio_high)
        self._east_m = track.east_m if track else np.empty(0)
        self._north_m = track.north_m if track else np.empty(0)
        self._states = [limits.band(ratio) for ratio in track.ratio.tolist()] if track else []
        self.setAccessibleDescription(self.words())
        self.update()

    def words(self) -> str:
        """The way in words: its length, and the share of it in each state."""
        if self.is_empty:
            return _("No positions were recorded")
        words = Words(self._units)
        way_m = float(np.hypot(np.diff(self._east_m), np.diff(self._north_m)).sum())
        shares = ", ".join(
            f"{words.say(band)} {words.number('percent0', count / len(self._states))}"
            for band, count in ((band, self._states.count(band)) for band in COLORS)
            if count
        )
        said = N_("{way_m:length} of way: {shares}")
        return words.fill(said, {"way_m": way_m, "shares": shares})

    def _paint(self, painter: QPainter) -> None:
        painter.setFont(font(SMALL_PX))
        if self.is_empty:
            painter.setPen(self._theme.color("soft_ink"))
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            text = _(
                "The way over the field is drawn here where positions are recorded. Plug in a "
                "satellite receiver for the next pass."
            )
            painter.drawText(self.rect(), flags, text)
            return
        points, scale = self._placed()
        self._draw_way(painter, points)
        self._draw_marks(painter, points)
        self._draw_ends(painter, points)
        self._draw_legend(painter)
        self._draw_scale(painter, scale)

    def _placed(self) -> tuple[list[QPointF], float]:
        """The points in pixels, north up, and pixels a metre."""
        box = QRectF(self.rect()).adjusted(32, LEGEND_PX + 16, -48, -32)
        east = self._east_m - 0.5 * (self._east_m.min() + self._east_m.max())
        north = self._north_m - 0.5 * (self._north_m.min() + self._north_m.max())
        wide, high = max(float(np.ptp(east)), 1.0), max(float(np.ptp(north)), 1.0)
        scale = max(min(box.width() / wide, box.height() / high), 1e-6)
        middle = box.center()
        return [
            QPointF(middle.x() + scale * e, middle.y() - scale * n)
            for e, n in zip(east.tolist(), north.tolist(), strict=True)
        ], scale

    def _draw_way(self, painter: QPainter, points: list[QPointF]) -> None:
        for start, end, state in zip(points, points[1:], self._states[1:], strict=False):
            left_out = state is BandSays.LEFT_OUT_OF_BAND
            pen = QPen(self._theme.color(COLORS[state]), 2 if left_out else 5)
            pen.setCapStyle(Qt.PenCapStyle.RoundCap)
            painter.setPen(pen)
            painter.drawLine(start, end)

    def _draw_marks(self, painter: QPainter, points: list[QPointF]) -> None:
        last: QPointF | None = None
        for point, state in zip(points, self._states, strict=True):
            away = MARK_EVERY_PX if last is None else math.dist(point.toTuple(), last.toTuple())
            if away >= MARK_EVERY_PX:
                self._mark(painter, point, state)
                last = point

    def _mark(self, painter: QPainter, at: QPointF, state: BandSays) -> None:
        painter.setPen(QPen(self._theme.color("ground"), 1))
        painter.setBrush(self._theme.color(COLORS[state]))
        path = QPainterPath()
        if state is BandSays.IN_BAND:
            path.addEllipse(at, MARK_PX, MARK_PX)
        elif state is not BandSays.LEFT_OUT_OF_BAND:
            down = 1 if state is BandSays.BELT_SLOW else -1
            corners = ((-MARK_PX, -MARK_PX), (MARK_PX, -MARK_PX), (0, 1.2 * MARK_PX))
            path.addPolygon(QPolygonF([at + QPointF(x, down * y) for x, y in corners]))
            path.closeSubpath()
        painter.drawPath(path)

    def _draw_ends(self, painter: QPainter, points: list[QPointF]) -> None:
        """The words at both ends, beyond them: never over the way itself."""
        painter.setPen(self._theme.color("ink"))
        near = max(1, len(points) // 5)
        ends = ((points[0], points[near], _("start")), (points[-1], points[-1 - near], _("end")))
        for point, inner, word in ends:
            wide, high = (
                painter.fontMetrics().horizontalAdvance(word),
                painter.fontMetrics().height(),
            )
            away = point - inner
            far = math.hypot(away.x(), away.y()) or 1.0
            middle = point + QPointF(
                away.x() / far * (wide / 2 + 2 * MARK_PX), away.y() / far * (high / 2 + 2 * MARK_PX)
            )
            x = min(max(middle.x() - wide / 2, 0.0), float(self.width() - wide))
            y = min(max(middle.y() - high / 2, float(LEGEND_PX)), float(self.height() - high))
            painter.drawText(QRectF(x, y, wide + 1, high), Qt.AlignmentFlag.AlignCenter, word)

    def _draw_legend(self, painter: QPainter) -> None:
        x = 2.0 * GRID_PX
        for state in COLORS:
            if state not in self._states:
                continue
            word = Words().say(state)
            at = QPointF(x, LEGEND_PX / 2)
            painter.setPen(QPen(self._theme.color(COLORS[state]), 2))
            if state is BandSays.LEFT_OUT_OF_BAND:
                painter.drawLine(at - QPointF(MARK_PX, 0), at + QPointF(MARK_PX, 0))
            else:
                self._mark(painter, at, state)
            painter.setPen(self._theme.color("ink"))
            painter.drawText(QPointF(x + 12, LEGEND_PX / 2 + 5), word)
            x += 12 + painter.fontMetrics().horizontalAdvance(word) + 3 * GRID_PX

    def _draw_scale(self, painter: QPainter, scale: float) -> None:
        """A bar of a round length at the lower left, north at the upper right."""
        unit_px = scale * self._units.length_m
        fits = [size for size in ROUND if size * unit_px <= 0.3 * self.width()]
        size = fits[-1] if fits else ROUND[0]
        left, y = 2.0 * GRID_PX, self.height() - 10.0
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.drawLine(QPointF(left, y), QPointF(left + size * unit_px, y))
        painter.drawText(QPointF(left, y - 6), f"{size} {self._units.length}")
        top = QPointF(self.width() - 20, LEGEND_PX + 8)
        painter.drawLine(top, top + QPointF(0, 28))
        painter.drawLine(top, top + QPointF(-5, 9))
        painter.drawLine(top, top + QPointF(5, 9))
        painter.drawText(top + QPointF(-5, 44), "N")

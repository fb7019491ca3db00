"""The belt's speed over the last minute as a thin line: steadiness that one can see."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.calibration.readout.recorded_runs import STEADY_REL
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.words.language import _

SHOWN_S = 60.0
LEAST_REL = 0.015
"""The picture's height is at least this share of the speed either way, so that a steady belt
looks steady. Chosen."""

WORDS_PX = 3 * GRID_PX


class SpeedTrace(QWidget):
    """The last minute, with the band within which a run counts as steady about its end."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._points: list[tuple[float, float]] = []
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(_("Belt speed of the last minute"))

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_points(self, points: Sequence[tuple[float, float]]) -> None:
        """`points` as (seconds ago, negative; m/s)."""
        self._points = [(at, v) for at, v in points if at >= -SHOWN_S and math.isfinite(v)]
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(30 * GRID_PX, 12 * GRID_PX)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(font(SMALL_PX))
        box = QRectF(self.rect()).adjusted(0, 0, 0, -WORDS_PX)
        below = QRectF(0, box.bottom(), self.width(), WORDS_PX)
        painter.setPen(self._theme.color("soft_ink"))
        center = Qt.AlignmentFlag.AlignVCenter
        if len(self._points) < 2:
            text = _("The belt's speed of the last minute is drawn here.")
            painter.drawText(below, center, text)
            painter.end()
            return
        band = _("band: ± {percent:g} %").format(percent=50 * STEADY_REL)
        painter.drawText(below, center, _("a minute ago"))
        painter.drawText(below, center | Qt.AlignmentFlag.AlignRight, _("now"))
        painter.drawText(below, center | Qt.AlignmentFlag.AlignHCenter, band)
        self._draw(painter, box)
        painter.end()

    def _draw(self, painter: QPainter, box: QRectF) -> None:
        speeds = [v for _, v in self._points]
        now, middle = speeds[-1], (min(speeds) + max(speeds)) / 2
        reach = max(LEAST_REL * now, 0.55 * (max(speeds) - min(speeds)), 1e-9)

        def y(v: float) -> float:
            return box.center().y() - (v - middle) / reach * box.height() / 2

        half = STEADY_REL / 2 * now
        band = QRectF(0, y(now + half), box.width(), y(now - half) - y(now + half))
        painter.fillRect(band, self._theme.color("in_band", 40))
        line = [QPointF(box.width() * (1 + at / SHOWN_S), y(v)) for at, v in self._points]
        painter.setPen(QPen(self._theme.color("belt"), 2))
        painter.drawPolyline(QPolygonF(line))

"""Laps done and laps still needed, a dot each."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPen
from PySide6.QtWidgets import QSizePolicy

from workbench.gui.parts.basics import Painted
from workbench.gui.theme import GRID_PX, TEXT_PX, Theme, font
from workbench.words.language import _

DOT_PX, SMALLEST_PX = 18.0, 7.0


class LapDots(Painted):
    """Filled dots for laps done, rings for those needed; '12 of 40' where there is no room."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self._done = self._needed = 0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_laps(self, done: int, needed: int) -> None:
        """`needed` 0: not known yet."""
        if (done, needed) == (self._done, self._needed):
            return
        self._done, self._needed = done, needed
        name = _("Laps: {done} done of {needed} needed") if needed else _("Laps: {done} done")
        self.setAccessibleName(name.format(done=done, needed=needed))
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(20 * GRID_PX, 3 * GRID_PX)

    def _paint(self, painter: QPainter) -> None:
        painter.setFont(font(TEXT_PX))
        painter.setPen(self._theme.color("ink"))
        words = _("laps {done} of {needed}") if self._needed else _("laps {done}")
        words = words.format(done=self._done, needed=self._needed)
        left = painter.fontMetrics().horizontalAdvance(f"{words}  ")
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignVCenter, words)
        dots = max(self._done, self._needed)
        step = min(DOT_PX + GRID_PX, (self.width() - left) / dots) if dots else 0.0
        size = min(DOT_PX, 0.7 * step)
        if size >= SMALLEST_PX:
            self._draw(painter, left, step, size, dots)

    def _draw(self, painter: QPainter, left: int, step: float, size: float, dots: int) -> None:
        enough = 0 < self._needed <= self._done
        color = self._theme.color("in_band" if enough else "belt")
        for at in range(dots):
            box = QRectF(left + at * step + 1, (self.height() - size) / 2, size, size)
            done = at < self._done
            painter.setBrush(color if done else Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(color if done else self._theme.color("no_data"), 2))
            painter.drawEllipse(box)

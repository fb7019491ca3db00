"""The pace strip: two tapes ruled like a carpenter's, one moved by the belt, one by the ground.

In step, their marks stand in line; a slow belt's marks fall back, and the shift is the
separation. Between two values the tapes move on at the last speed, for as long as the data
usually takes to come; a lost signal stops its tape dead and greys it.
"""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font

SHOWN_M = 6.0
"""Metres of tape across the widget."""


class PaceStrip(QWidget):
    """Shows a belt and a ground distance; NaN in a speed stops and greys its tape."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._mark_m, self._mark = 1.0, "m"
        self._belt_m = self._ground_m = 0.0
        self._belt_lost = self._ground_lost = True
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumHeight(9 * GRID_PX)
        self.setAccessibleName("Pace strip: belt tape above ground tape")

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(640, 11 * GRID_PX)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def set_marks(self, mark_m: float, unit: str) -> None:
        """One mark every `mark_m` metres, named in `unit`."""
        self._mark_m, self._mark = mark_m, unit
        self.update()

    def show_distances(
        self, belt_m: float, ground_m: float, *, belt_lost: bool, ground_lost: bool
    ) -> None:
        """Distances since the tapes stood in line. A lost one keeps its place."""
        if not belt_lost and math.isfinite(belt_m):
            self._belt_m = belt_m
        if not ground_lost and math.isfinite(ground_m):
            self._ground_m = ground_m
        self._belt_lost, self._ground_lost = belt_lost, ground_lost
        self.setAccessibleDescription(self._words())
        self.update()

    def _words(self) -> str:
        apart = (self._belt_m - self._ground_m) / self._mark_m
        state = "ahead of" if apart > 0 else "behind"
        lost = [
            name
            for name, gone in (("belt", self._belt_lost), ("ground", self._ground_lost))
            if gone
        ]
        tail = f"; no signal from {' and '.join(lost)}" if lost else ""
        return f"belt {abs(apart):.1f} {self._mark} {state} the ground{tail}"

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        height = (self.height() - GRID_PX) / 2
        # The pair is shown around the middle of the two, so that neither runs out of sight.
        middle_m = 0.5 * (self._belt_m + self._ground_m)
        shift_m = 0.5 * (self._belt_m - self._ground_m)
        room_m = 0.35 * SHOWN_M
        shift_m = max(-room_m, min(room_m, shift_m))
        self._tape(painter, QRectF(0, 0, self.width(), height), middle_m, shift_m, True)
        lower = QRectF(0, height + GRID_PX, self.width(), height)
        self._tape(painter, lower, middle_m, -shift_m, False)
        # The pointer: what stands under it is how far each has come.
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.drawLine(QPointF(self.width() / 2, 0), QPointF(self.width() / 2, self.height()))
        painter.end()

    def _tape(
        self, painter: QPainter, box: QRectF, middle_m: float, shift_m: float, belt: bool
    ) -> None:
        lost = self._belt_lost if belt else self._ground_lost
        name = "no_data" if lost else ("belt" if belt else "earth")
        color = self._theme.color(name)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color(name, 28))
        painter.drawRoundedRect(box, 6, 6)
        scale = self.width() / SHOWN_M
        first_m = middle_m + shift_m - SHOWN_M / 2
        painter.setClipRect(box)
        self._rule(painter, box, first_m, scale, belt, color)
        words = ("Belt" if belt else "Ground") + (": no signal" if lost else "")
        painter.setFont(font(SMALL_PX, bold=True))
        width = painter.fontMetrics().horizontalAdvance(words) + 2 * GRID_PX
        plate = QRectF(box.left(), box.top(), width, box.height())
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color("ground"))
        painter.drawRect(plate)
        painter.setBrush(self._theme.color(name, 28))
        painter.drawRect(plate)
        painter.setPen(color)
        painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, words)
        painter.setClipping(False)

    def _rule(
        self,
        painter: QPainter,
        box: QRectF,
        first_m: float,
        scale: float,
        belt: bool,
        color: QColor,
    ) -> None:
        """Marks of one tape: long at whole units with their number, short at tenths."""
        edge, away = (box.bottom(), -1) if belt else (box.top(), 1)
        tenth_m = self._mark_m / 10
        if tenth_m * scale < 4:
            tenth_m = self._mark_m / 2
        per_mark = round(self._mark_m / tenth_m)
        painter.setFont(font(SMALL_PX))
        for index in range(
            math.floor(first_m / tenth_m), math.ceil((first_m + SHOWN_M) / tenth_m) + 1
        ):
            x = (index * tenth_m - first_m) * scale
            whole = index % per_mark == 0
            length = box.height() * (0.62 if whole else 0.22)
            painter.setPen(QPen(color, 3 if whole else 1))
            painter.drawLine(QPointF(x, edge), QPointF(x, edge + away * length))
            if whole:
                number = str((index // per_mark) % 100)
                at = QPointF(x + 6, edge + away * (box.height() * 0.62) + (0 if belt else 4))
                if belt:
                    at.setY(edge - box.height() * 0.62 + 12)
                painter.drawText(at, number)

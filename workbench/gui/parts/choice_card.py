"""A choice as a large card: a line drawing, a verb and its object, what it takes and gives."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QPushButton, QSizePolicy

from workbench.gui.theme import GRID_PX, SMALL_PX, TEXT_PX, TITLE_PX, Theme, font

SKETCH_WIDE, SKETCH_HIGH = 240.0, 100.0
"""The sketches are drawn in this frame, and scaled."""

LARGE_PX = 420
"""A card wider than this has room for larger words."""

Sketch = Callable[[QPainter, Theme], None]


class ChoiceCard(QPushButton):
    """A button as large as a card; `text()` is its heading."""

    def __init__(
        self, heading: str, sentence: str, sketch: Sketch, do: Callable[[], object], theme: Theme
    ) -> None:
        super().__init__(heading)
        self._sentence, self._sketch, self._theme = sentence, sketch, theme
        self.setAutoDefault(True)
        self.setAccessibleName(heading)
        self.setAccessibleDescription(sentence)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(27 * GRID_PX, 20 * GRID_PX)
        self.clicked.connect(lambda: do())

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(30 * GRID_PX, 23 * GRID_PX)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._frame(painter)
        large = self.width() > LARGE_PX
        heading, words = (TITLE_PX, TEXT_PX) if large else (TEXT_PX, SMALL_PX)
        pad = (3 if large else 2) * GRID_PX
        inside = QRectF(self.rect()).adjusted(pad, pad, -pad, -pad)
        painter.setFont(font(words))
        lines = painter.fontMetrics()
        wrap = int(Qt.TextFlag.TextWordWrap)
        said = lines.boundingRect(inside.toRect(), wrap, self._sentence).height()
        head = round(1.4 * heading)
        picture = QRectF(inside)
        picture.setHeight(max(0.0, inside.height() - said - head - GRID_PX))
        self._picture(painter, picture)
        below = inside.adjusted(0, picture.height() + GRID_PX, 0, 0)
        painter.setPen(self._theme.color("ink"))
        painter.setFont(font(heading, bold=True))
        painter.drawText(below, Qt.AlignmentFlag.AlignLeft, self.text())
        painter.setPen(self._theme.color("soft_ink"))
        painter.setFont(font(words))
        painter.drawText(below.adjusted(0, head, 0, 0), wrap, self._sentence)
        painter.end()

    def _frame(self, painter: QPainter) -> None:
        chosen = self.hasFocus()
        lit = self.underMouse() or self.isDown()
        edge = "belt" if chosen else "ink" if lit else "line"
        wide = 3 if chosen else 1
        painter.setPen(QPen(self._theme.color(edge), wide))
        painter.setBrush(self._theme.color("ground" if self.isDown() else "raised"))
        half = wide / 2
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(half, half, -half, -half), 8, 8)

    def _picture(self, painter: QPainter, room: QRectF) -> None:
        scale = min(room.width() / SKETCH_WIDE, room.height() / SKETCH_HIGH)
        painter.save()
        painter.translate(room.left(), room.top() + 0.5 * (room.height() - scale * SKETCH_HIGH))
        painter.scale(scale, scale)
        self._sketch(painter, self._theme)
        painter.restore()


def sketch_readout(painter: QPainter, theme: Theme) -> None:
    """A readout, the stop watch that times it, and the belt's mark."""
    _pen(painter, theme, "ink")
    painter.drawRoundedRect(QRectF(6, 12, 100, 62), 8, 8)
    painter.drawRect(QRectF(18, 24, 76, 30))
    painter.setFont(font(26, bold=True))
    painter.drawText(QRectF(18, 24, 76, 30), Qt.AlignmentFlag.AlignCenter, "2.50")
    for x in (26, 56, 86):
        painter.drawEllipse(QPointF(x, 64), 3, 3)
    painter.drawEllipse(QPointF(172, 52), 34, 34)
    painter.drawLine(QPointF(172, 18), QPointF(172, 6))
    painter.drawLine(QPointF(164, 6), QPointF(180, 6))
    painter.drawLine(QPointF(198, 26), QPointF(204, 20))
    for step in range(12):
        turn = math.radians(30 * step)
        out = QPointF(math.sin(turn), -math.cos(turn))
        painter.drawLine(QPointF(172, 52) + out * 28, QPointF(172, 52) + out * 31)
    _pen(painter, theme, "belt", 4)
    painter.drawLine(QPointF(172, 52), QPointF(190, 34))
    painter.drawLine(QPointF(6, 92), QPointF(236, 92))
    painter.setBrush(theme.color("belt"))
    painter.drawPolygon(QPolygonF([QPointF(48, 90), QPointF(64, 90), QPointF(56, 80)]))


def sketch_pass(painter: QPainter, theme: Theme) -> None:
    """The conveyor that climbs, the wheel that rolls, the ground both should agree with."""
    low, high, radius = QPointF(50, 70), QPointF(188, 26), 14.0
    along = high - low
    length = math.hypot(along.x(), along.y())
    unit = along / length
    aside = QPointF(unit.y(), -unit.x()) * radius
    _pen(painter, theme, "ink")
    for end in (low, high):
        painter.drawEllipse(end, radius - 4, radius - 4)
        painter.drawEllipse(end, 2, 2)
    _pen(painter, theme, "belt", 4)
    for side in (aside, -aside):
        painter.drawLine(low + side, high + side)
    tilt = math.degrees(math.atan2(-along.y(), along.x()))
    for end, start in ((low, 90 + tilt), (high, -90 + tilt)):
        box = QRectF(end.x() - radius, end.y() - radius, 2 * radius, 2 * radius)
        painter.drawArc(box, round(16 * start), 16 * 180)
    painter.setBrush(theme.color("belt"))
    for rod in range(1, 8):
        painter.drawEllipse(low + aside + unit * (rod * length / 8), 2.5, 2.5)
    _pen(painter, theme, "ink")
    painter.drawEllipse(QPointF(128, 76), 16, 16)
    painter.drawEllipse(QPointF(128, 76), 3, 3)
    _pen(painter, theme, "earth", 4)
    painter.drawLine(QPointF(6, 94), QPointF(236, 94))
    _arrow(painter, theme, QPointF(206, 80), QPointF(234, 80), "earth")
    _arrow(painter, theme, QPointF(206, 16), QPointF(232, 7), "belt")


def sketch_gap(painter: QPainter, theme: Theme) -> None:
    """A pickup before a toothed wheel, and the gap between them."""
    _pen(painter, theme, "ink")
    centre, root, tip = QPointF(92, 118), 84.0, 96.0
    wheel = QPainterPath()
    for tooth in range(-11, 6):
        for at, radius in ((-3.2, root), (-2.2, tip), (2.2, tip), (3.2, root)):
            turn = math.radians(10 * tooth + at + 48)
            point = centre + QPointF(math.sin(turn), -math.cos(turn)) * radius
            if wheel.elementCount():
                wheel.lineTo(point)
            else:
                wheel.moveTo(point)
    painter.setClipRect(QRectF(0, 0, SKETCH_WIDE, SKETCH_HIGH))
    painter.drawPath(wheel)
    painter.drawEllipse(centre, 34, 34)
    painter.save()
    painter.translate(centre)
    painter.rotate(58 - 90)
    painter.drawRect(QRectF(tip + 12, -10, 40, 20))
    painter.drawRect(QRectF(tip + 52, -6, 14, 12))
    _pen(painter, theme, "in_band", 3)
    for x in (tip + 1, tip + 11):
        painter.drawLine(QPointF(x, -16), QPointF(x, 16))
    painter.restore()
    painter.setClipping(False)


def _pen(painter: QPainter, theme: Theme, color: str, wide: float = 2.5) -> None:
    cap, join = Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin
    painter.setPen(QPen(theme.color(color), wide, Qt.PenStyle.SolidLine, cap, join))
    painter.setBrush(Qt.BrushStyle.NoBrush)


def _arrow(painter: QPainter, theme: Theme, tail: QPointF, head: QPointF, color: str) -> None:
    _pen(painter, theme, color, 3)
    painter.drawLine(tail, head)
    back = tail - head
    unit = back / math.hypot(back.x(), back.y())
    for side in (1, -1):
        barb = QPointF(unit.x() - side * 0.6 * unit.y(), unit.y() + side * 0.6 * unit.x())
        painter.drawLine(head, head + barb * 8)

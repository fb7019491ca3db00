"""Words in a drawing."""

from __future__ import annotations

from typing import Literal

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainter

Side = Literal["L", "R", "C"]

_FLAGS = {
    "L": Qt.AlignmentFlag.AlignLeft,
    "R": Qt.AlignmentFlag.AlignRight,
    "C": Qt.AlignmentFlag.AlignHCenter,
}


def draw_text(painter: QPainter, box: QRectF, text: str, side: Side, color: QColor) -> None:
    """A text at the left, at the right or in the centre of a box, in the middle of its height."""
    painter.setPen(color)
    painter.drawText(box, _FLAGS[side] | Qt.AlignmentFlag.AlignVCenter, text)

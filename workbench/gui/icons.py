"""Our own line drawings, in the colour of the text beside them; never without a word."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from PySide6.QtCore import QByteArray, QRectF, QSize, Qt
from PySide6.QtGui import QIcon, QPainter, QPixmap
from PySide6.QtSvg import QSvgRenderer

ICON_PX = 24
ICON_ROOM_PX = 30
"""An icon's width with the space between it and its word."""
SCALES = (1, 2, 3)


@cache
def _renderer(name: str, color: str) -> QSvgRenderer:
    drawing = (Path(__file__).parent / "icons" / f"{name}.svg").read_text(encoding="utf-8")
    return QSvgRenderer(QByteArray(drawing.replace("currentColor", color).encode()))


def paint_icon(painter: QPainter, box: QRectF, name: str, color: str) -> None:
    """Draw the drawing `name` of the folder icons in a colour, #RRGGBB."""
    _renderer(name, color).render(painter, box)


def icon(name: str, color: str) -> QIcon:
    """The drawing `name` of the folder icons in a colour (#RRGGBB), sharp up to 300 %."""
    made = QIcon()
    for scale in SCALES:
        pixmap = QPixmap(QSize(scale * ICON_ROOM_PX, scale * ICON_PX))
        pixmap.fill(Qt.GlobalColor.transparent)
        painter = QPainter(pixmap)
        paint_icon(painter, QRectF(0, 0, scale * ICON_PX, scale * ICON_PX), name, color)
        painter.end()
        pixmap.setDevicePixelRatio(scale)
        made.addPixmap(pixmap)
    return made

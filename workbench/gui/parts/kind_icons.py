"""A small line drawing for each kind of thing that is kept; always shown with its word."""

from __future__ import annotations

from functools import cache

from PySide6.QtCore import QByteArray, QRectF
from PySide6.QtGui import QIcon, QPainter, QPixmap
from PySide6.QtSvg import QSvgRenderer

_DRAWINGS = {
    # A dot that records, and the line it leaves.
    "recording": '<circle cx="6.5" cy="12" r="3.5"/><path d="M10 12h3l2-5 3 9 2-4h2"/>',
    # Two tapes side by side, a little out of step.
    "pass": '<path d="M2 8h20M2 16h20M6 4v4M12 4v4M18 4v4M9 16v4M15 16v4M21 16v4"/>',
    # A readout with its figures, and the tick that says it is true.
    "calibrate": '<rect x="2" y="4" width="20" height="11" rx="2"/>'
    '<path d="M6 8v3M10 8v3M14 8v3M8 20l3 2 6-5"/>',
    # A toothed wheel's edge and the pickup before it.
    "gap": '<circle cx="9" cy="12" r="4.5"/><path d="M9 4.5v3M9 16.5v3M1.5 12h3M13.5 12h2'
    'M3.7 6.7l2.1 2.1M12.2 15.2l2.1 2.1M14.3 6.7l-2.1 2.1M5.8 15.2l-2.1 2.1"/>'
    '<path d="M18 9.5h5v5h-5z"/>',
    # A belt round two rolls.
    "speed": '<circle cx="6" cy="12" r="3"/><circle cx="18" cy="12" r="3"/>'
    '<path d="M6 7h12M6 17h12M10 4l3 3-3 3"/>',
}
_SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 24 24" fill="none" stroke="{color}" '
    'stroke-width="1.6" stroke-linecap="round" stroke-linejoin="round">{drawing}</svg>'
)
SIZE_PX = 24
SHARPNESS = 2


@cache
def _renderer(kind: str, color: str) -> QSvgRenderer:
    text = _SVG.format(color=color, drawing=_DRAWINGS.get(kind, _DRAWINGS["recording"]))
    return QSvgRenderer(QByteArray(text.encode()))


def paint_icon(painter: QPainter, box: QRectF, kind: str, color: str) -> None:
    """Draw the kind's icon in a colour, #RRGGBB."""
    _renderer(kind, color).render(painter, box)


def icon(kind: str, color: str) -> QIcon:
    """The kind's icon for a button or a choice."""
    pixels = QPixmap(SHARPNESS * SIZE_PX, SHARPNESS * SIZE_PX)
    pixels.fill("transparent")
    painter = QPainter(pixels)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    paint_icon(painter, QRectF(pixels.rect()), kind, color)
    painter.end()
    pixels.setDevicePixelRatio(SHARPNESS)
    return QIcon(pixels)

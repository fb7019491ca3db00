"""Words around a plot that stand clear of one another: names at the lines' ends, marks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter, QPen

from workbench.base.units import UnitSystem
from workbench.gui.parts.drawn_text import Side, draw_text
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font, grown
from workbench.words.pictures.extent import spread
from workbench.words.pictures.picture import Mark

CAPTION_PX, LINE_PX, LEADER_PX = 20, 17, 14
"""Height of a caption and of a line of text; length of a leader."""

Name = tuple[float, str, QColor]
"""A pixel from the top, what ends there, and its colour."""


class Text(NamedTuple):
    """Words in a box, with a leader from where their line ends, if from anywhere."""

    box: QRectF
    text: str
    color: QColor
    side: Side = "L"
    begin: QPointF | None = None


def text_width(text: str) -> float:
    """Width of a text in the plots' font, in pixels."""
    return QFontMetricsF(font(SMALL_PX)).horizontalAdvance(text)


def draw_words(painter: QPainter, words: Iterable[Text]) -> None:
    """Draw texts, shortened where their box is too narrow."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setFont(font(SMALL_PX))
    metrics = QFontMetricsF(font(SMALL_PX))
    for one in words:
        if one.begin is not None:
            painter.setPen(QPen(one.color, 1))
            painter.drawLine(one.begin, QPointF(one.box.left() - 3, one.box.center().y()))
        text = metrics.elidedText(one.text, Qt.TextElideMode.ElideRight, one.box.width())
        draw_text(painter, one.box, text, one.side, one.color)


def place_names(names: Sequence[Name], room: QRectF, inside: QRectF, ink: QColor) -> list[Text]:
    """Names side by side in their room, as near to their lines' ends, which are in the panel
    `inside`, as can be. Those that share a line of text have the colour of `ink`."""
    top, foot = inside.top(), inside.bottom()
    inner = [(min(max(end, top), foot), text, color) for end, text, color in names]
    kept = _joined(sorted(inner, key=lambda one: one[0]), room.height(), ink)
    middles = spread([end - room.top() for end, *_ in kept], room.height(), grown(LINE_PX))
    left, width = room.left() + LEADER_PX, room.width() - LEADER_PX
    return [
        Text(
            QRectF(left, room.top() + at - grown(LINE_PX) / 2, width, grown(LINE_PX)),
            text,
            color,
            begin=QPointF(room.left() + 1, end),
        )
        for (end, text, color), at in zip(kept, middles, strict=True)
    ]


def _joined(names: Sequence[Name], room: float, ink: QColor) -> list[Name]:
    """As many as there is room for: those whose lines end closest to each other share a line
    of text."""
    kept, most = list(names), max(1, int(room // grown(LINE_PX)))
    while len(kept) > most:
        at = min(range(len(kept) - 1), key=lambda i: kept[i + 1][0] - kept[i][0])
        (low, name, color), (high, other, other_color) = kept[at : at + 2]
        shared = color if color == other_color else ink
        kept[at : at + 2] = [((low + high) / 2, f"{other}, {name}", shared)]
    return kept


def place_marks(
    marks: Iterable[Mark], units: UnitSystem, theme: Theme, seen: tuple[float, float], row: QRectF
) -> list[Text]:
    """Words of the marks that are seen, in a row above them: one that would lie over another,
    or leave the row, has none."""
    (low, high), placed, free = seen, list[Text](), row.left() - GRID_PX
    for mark in sorted(marks, key=lambda one: one.x):
        text = mark.text(units)
        width, at = text_width(text), row.left() + (mark.x - low) / (high - low) * row.width()
        left = min(max(at - width / 2, row.left()), row.right() - width)
        if text and low <= mark.x <= high and left >= free:
            role = "ink" if mark.role == "soft_ink" else mark.role
            box = QRectF(left, row.top(), width + 2, row.height())
            placed.append(Text(box, text, theme.color(role)))
            free = left + width + GRID_PX
    return placed

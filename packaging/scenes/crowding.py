"""What of a window's text is cut, overlaps or touches, as a sentence each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations
from typing import Any
from xml.etree import ElementTree

from PySide6.QtCore import QBuffer, QPoint, QRect, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QRegion, QTransform
from PySide6.QtSvg import QSvgGenerator
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractScrollArea,
    QComboBox,
    QGraphicsView,
    QHeaderView,
    QLabel,
    QLineEdit,
    QTableView,
    QWidget,
)

from workbench.gui.parts.basics import Elided
from workbench.gui.parts.pace_strip import PaceStrip

SVG = "{http://www.w3.org/2000/svg}"
SLACK_PX = 1
"""Fonts are measured to whole pixels."""
OVERLAP_PX = 2
APART_PX = 6
"""Two texts nearer than this on one line are read as one. Chosen: about a blank's width."""
BUTTON_EDGES_PX, CHOICE_EDGES_PX, HEAD_EDGES_PX, CELL_EDGES_PX = 16, 36, 8, 6
"""Room that a button's frame takes at both sides at least, a choice's with its arrow, a
head's, a cell's."""


def crowded(window: QWidget) -> list[str]:
    """A sentence for every text that is cut, and for every two that overlap or touch."""
    words = [one for one in _words(window) if not _seen(one).isEmpty()]
    found = [told for one in words for told in _cut(one)]
    # A tape's numbers run on under its edges: it is looked at in the pictures.
    for one, other in combinations(words, 2):
        told = _in_the_way(one, other)
        if told:
            found.append(told)
    found += _clipped(window)
    for one in window.findChildren(QWidget):
        if not one.isVisible() or _seen(one).isEmpty():
            continue
        if isinstance(one, QGraphicsView) or paints_itself(one):
            found += _crowded_drawing(one)
        elif isinstance(one, QAbstractItemView) and not isinstance(one, QHeaderView):
            found += _cut_cells(one)
    return found


def _clipped(window: QWidget) -> list[str]:
    """Texts that are drawn into a place which cuts them."""
    draw, found = QPainter.drawText, []

    def look(painter: QPainter, *args: Any) -> Any:
        if len(args) == 3 and isinstance(args[0], QRect | QRectF):
            room, how, text = QRectF(args[0]), getattr(args[1], "value", args[1]), args[2]
            needed = painter.boundingRect(room, how, text)
            # Above and below the letters of a line there is room that may be cut.
            high = needed.height() - 2 * painter.fontMetrics().descent()
            over = max(needed.width() - room.width(), high - room.height())
            if over > OVERLAP_PX and not isinstance(painter.device(), PaceStrip):
                found.append(f"{text!r} is drawn into {over:.0f} px too little")
        return draw(painter, *args)

    QPainter.drawText = look  # type: ignore[method-assign]
    try:
        window.grab()
    finally:
        QPainter.drawText = draw  # type: ignore[method-assign]
    return found


def paints_itself(one: QWidget) -> bool:
    """Whether a widget's text is drawn by ourselves."""
    kind = type(one)
    ours = kind.__module__.startswith("workbench.gui") and "paintEvent" in vars(kind)
    return ours and not isinstance(one, QLabel | PaceStrip)


def _cut_cells(view: QAbstractItemView) -> Iterator[str]:
    """Texts of a list or table that do not fit and are not told whole as a tooltip."""
    model, popup = view.model(), view.parentWidget()
    if model is None or (popup is not None and popup.parentWidget() is None):
        return
    for row in range(model.rowCount()):
        # A list of one column does not tell how many it has.
        for column in range(model.columnCount() if isinstance(view, QTableView) else 1):
            index = model.index(row, column)
            text, room = index.data(), view.visualRect(index)
            if not isinstance(text, str) or not room.intersects(view.viewport().rect()):
                continue
            lines = text.split("\n")
            high = len(lines) * view.fontMetrics().height()
            if high > room.height() + SLACK_PX:
                yield f"cell {text[:50]!r}: needs {high} px of height, has {room.height()}"
            needed = max(map(view.fontMetrics().horizontalAdvance, lines))
            told = index.data(Qt.ItemDataRole.ToolTipRole) == text or view.indexWidget(index)
            if needed > room.width() - CELL_EDGES_PX + SLACK_PX and not told:
                yield f"cell {text[:50]!r}: needs {needed} px, has {room.width() - CELL_EDGES_PX}"


def _words(window: QWidget) -> Iterator[QWidget]:
    for kind in (QLabel, QAbstractButton, QComboBox, QLineEdit, QHeaderView):
        for one in window.findChildren(kind):
            inside_choice = isinstance(one.parentWidget(), QComboBox)
            if one.isVisible() and not inside_choice and _text(one):
                yield one


def _text(one: QWidget) -> str:
    if isinstance(one, QComboBox):
        return one.currentText()
    if isinstance(one, QHeaderView):
        return "header"
    if isinstance(one, QLabel) and (one.textFormat() == Qt.TextFormat.RichText):
        return one.toolTip() and one.text()
    return one.text() if isinstance(one, QLabel | QAbstractButton | QLineEdit) else ""


def _place(one: QWidget) -> QRect:
    return QRect(one.mapTo(one.window(), QPoint(0, 0)), one.size())


def _seen(one: QWidget) -> QRect:
    """What of a widget lies in the window and in every place that scrolls round it."""
    room = _place(one)
    above = one.parentWidget()
    while above is not None:
        room &= _place(above)
        above = None if above.isWindow() else above.parentWidget()
    return room


def _scrolls(one: QWidget) -> bool:
    """Whether a place that scrolls up and down holds it: below its edge it is not cut."""
    above = one.parentWidget()
    while above is not None and not above.isWindow():
        if isinstance(above, QAbstractScrollArea):
            return True
        above = above.parentWidget()
    return False


def _cut(one: QWidget) -> Iterator[str]:
    name = f"{type(one).__name__} {_text(one)[:50]!r}"
    metrics, seen = one.fontMetrics(), _seen(one)
    if seen.width() < one.width() - SLACK_PX:
        yield f"{name}: {one.width() - seen.width()} px of its width lie outside"
    if seen.height() < one.height() - SLACK_PX and not _scrolls(one):
        yield f"{name}: {one.height() - seen.height()} px of its height lie outside"
    if isinstance(one, QHeaderView):
        if one.orientation() == Qt.Orientation.Horizontal:
            yield from _cut_heads(one)
        return
    if isinstance(one, Elided | QLineEdit) or one.property("role") == "sheet":
        return
    if isinstance(one, QLabel):
        room = one.contentsRect()
        if one.textFormat() == Qt.TextFormat.RichText:
            needed = one.sizeHint().width()
            if needed > one.width() + SLACK_PX:
                yield f"{name}: needs {needed} px, has {one.width()}"
        elif one.wordWrap():
            needed = one.heightForWidth(one.width())
            if needed > one.height() + SLACK_PX:
                yield f"{name}: needs {needed} px of height, has {one.height()}"
            longest = max(
                (metrics.horizontalAdvance(word) for word in one.text().split()), default=0
            )
            if longest > room.width() + SLACK_PX:
                yield f"{name}: a word needs {longest} px, has {room.width()}"
        else:
            needed = max(map(metrics.horizontalAdvance, one.text().split("\n")))
            if needed > room.width() + SLACK_PX:
                yield f"{name}: needs {needed} px, has {room.width()}"
        return
    edges = CHOICE_EDGES_PX if isinstance(one, QComboBox) else BUTTON_EDGES_PX
    icon = (
        one.iconSize().width()
        if isinstance(one, QAbstractButton) and not one.icon().isNull()
        else 0
    )
    needed = metrics.horizontalAdvance(_text(one)) + edges + icon
    if needed > one.width() + SLACK_PX:
        yield f"{name}: needs {needed} px, has {one.width()}"


def _cut_heads(head: QHeaderView) -> Iterator[str]:
    table, model = head.parentWidget(), head.model()
    if not isinstance(table, QTableView) or model is None:
        return
    for at in range(model.columnCount()):
        text = model.headerData(at, Qt.Orientation.Horizontal)
        if isinstance(text, str) and text and not head.isSectionHidden(at):
            needed = head.fontMetrics().horizontalAdvance(text) + HEAD_EDGES_PX
            if needed > head.sectionSize(at) + SLACK_PX:
                yield f"head {text!r}: needs {needed} px, has {head.sectionSize(at)}"


def _in_the_way(one: QWidget, other: QWidget) -> str:
    if one.isAncestorOf(other) or other.isAncestorOf(one):
        return ""
    mine, its = _seen(one), _seen(other)
    both = mine & its
    names = f"{_text(one)[:40]!r} and {_text(other)[:40]!r}"
    if min(both.width(), both.height()) > OVERLAP_PX:
        return f"{names} overlap by {both.width()} by {both.height()} px"
    if isinstance(one, QLabel) and isinstance(other, QLabel):
        mine, its = _written(one) & mine, _written(other) & its
        if mine.isEmpty() or its.isEmpty():
            return ""
        level = min(mine.bottom(), its.bottom()) - max(mine.top(), its.top())
        apart = max(mine.left(), its.left()) - min(mine.right(), its.right())
        if level > 4 and 0 <= apart < APART_PX:
            return f"{names} stand {apart} px apart"
    return ""


def _written(one: QLabel) -> QRect:
    """Where a label's letters stand."""
    room = QRect(one.contentsRect())
    flags = int(one.alignment().value) | (int(Qt.TextFlag.TextWordWrap) if one.wordWrap() else 0)
    text = one.fontMetrics().boundingRect(room, flags, one.text())
    return text.translated(one.mapTo(one.window(), QPoint(0, 0)))


def _crowded_drawing(drawn: QWidget) -> list[str]:
    """The same for the texts that a widget paints itself: a drawing, a plot."""
    texts = list(written_in(drawn))
    name, room = type(drawn).__name__, QRectF(drawn.rect()).adjusted(-1, -1, 1, 1)
    found = [
        f"{name}: {text!r} is cut at the edge" for text, place in texts if not room.contains(place)
    ]
    for (text, place), (other, its) in combinations(texts, 2):
        both = place & its
        if min(both.width(), both.height()) > OVERLAP_PX:
            found.append(f"{name}: {text!r} and {other!r} overlap")
    return found


def written_in(drawn: QWidget) -> Iterator[tuple[str, QRectF]]:
    """Each text that a widget paints itself and where its letters stand, as tall as a figure."""
    buffer = QBuffer()
    picture = QSvgGenerator()
    picture.setOutputDevice(buffer)
    picture.setSize(drawn.size())
    picture.setViewBox(drawn.rect())
    whole = QRegion(drawn.rect())
    seen = drawn.viewport() if isinstance(drawn, QGraphicsView) else drawn
    seen.render(picture, QPoint(0, 0), whole, QWidget.RenderFlag.DrawWindowBackground)
    for group in ElementTree.fromstring(bytes(buffer.data().data())).iter(f"{SVG}g"):
        for text in group.findall(f"{SVG}text"):
            words = (text.text or "").strip()
            if not words:
                continue
            font = QFont(text.get("font-family", "").strip("'\""))
            font.setPixelSize(round(float(text.get("font-size", "14"))))
            font.setWeight(QFont.Weight(int(text.get("font-weight", "400"))))
            metrics = QFontMetricsF(font)
            left, base = float(text.get("x", "0")), float(text.get("y", "0"))
            tall = metrics.capHeight()
            place = QRectF(left, base - tall, metrics.horizontalAdvance(words), tall)
            turn = [float(one) for one in re.findall(r"-?[\d.]+", group.get("transform", ""))]
            yield words, (QTransform(*turn) if len(turn) == 6 else QTransform()).mapRect(place)

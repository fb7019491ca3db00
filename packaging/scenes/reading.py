"""Whether Tab goes through a window as the eye does: by where things are, not by who made them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractScrollArea, QApplication, QGraphicsView, QWidget

MOST_STOPS = 200
SLACK_PX = 4
"""What stands on one line or in one column need not do so to the pixel."""

Placed = tuple[QWidget, QRect]


def stops(window: QWidget, first: QWidget) -> list[QWidget]:
    """Where Tab stops, from one widget until it comes back or is caught. The window is active."""
    first.setFocus()
    found = [first]
    for _press in range(MOST_STOPS):
        QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Tab)
        at = QApplication.focusWidget()
        if at is None or at in found:
            return found if at is first else [*found, at or window]
        found.append(at)
    return found


def misread(window: QWidget, order: Sequence[QWidget]) -> Iterator[str]:
    """A sentence for each part of an order that nobody reads in.

    An order is read where it falls in two, of which one stands wholly above or left of the
    other, and so does each half. What scrolls is one thing from without, and is read within.
    """
    if len(set(order)) < len(order):
        yield f"Tab never leaves {_name(order[-1])}"
        return
    yield from _misread(window, [one for one in order if not _on_a_plot(one)])


def _misread(within: QWidget, order: Sequence[QWidget]) -> Iterator[str]:
    placed: list[Placed] = []
    for place, group in groupby(order, lambda one: _outermost(one, within)):
        inside = [one for one in group if one is not place]
        if any(place is one for one, _where in placed):
            yield f"Tab comes back into {_name(place)} for {_name(inside[0])}"
        placed.append((place, QRect(place.mapTo(within, QPoint()), place.size())))
        if inside:
            yield from _misread(place, inside)
    yield from _unsplit(placed)


def _unsplit(placed: Sequence[Placed]) -> Iterator[str]:
    if len(placed) < 2:
        return
    for at in range(1, len(placed)):
        if _leads(placed[:at], placed[at:]):
            yield from _unsplit(placed[:at])
            yield from _unsplit(placed[at:])
            return
    yield " > ".join(f"{_name(one)} ({room.x()}, {room.y()})" for one, room in placed)


def _leads(first: Sequence[Placed], then: Sequence[Placed]) -> bool:
    above = max(room.bottom() for _one, room in first) - min(room.top() for _one, room in then)
    left = max(room.right() for _one, room in first) - min(room.left() for _one, room in then)
    return min(above, left) <= SLACK_PX


def _outermost(one: QWidget, within: QWidget) -> QWidget:
    """The outermost place that scrolls round a widget; itself where there is none."""
    found, above = one, one.parentWidget()
    while above is not None and above is not within:
        found = above if isinstance(above, QAbstractScrollArea) else found
        above = above.parentWidget()
    return found


def _on_a_plot(one: QWidget) -> bool:
    """A plot's own button stands on it, and comes after it."""
    return isinstance(one.parentWidget(), QGraphicsView)


def _name(one: QWidget) -> str:
    return one.accessibleName() or type(one).__name__

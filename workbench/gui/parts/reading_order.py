"""Tab goes as the eye does: along the layouts, whenever and wherever a part was made."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QLayout, QWidget


def order_by_eye(*parts: QWidget) -> None:
    """Tab goes through these parts of one window in turn, and through each as it is laid out."""
    stops = [one for part in parts for one in _read(part) if _is_stop(one)]
    for one, after in pairwise(stops):
        QWidget.setTabOrder(one, after)


def _is_stop(one: QWidget) -> bool:
    return bool(one.focusPolicy() & Qt.FocusPolicy.TabFocus)


def _read(widget: QWidget) -> Iterator[QWidget]:
    """A widget, what it has laid out, then what else lies in it: cells, what scrolls."""
    yield widget
    laid_out = list(_laid_out(widget.layout()))
    others = widget.findChildren(QWidget, options=Qt.FindChildOption.FindDirectChildrenOnly)
    for one in (*laid_out, *(other for other in others if other not in laid_out)):
        if one.isVisible():
            yield from _read(one)


def _laid_out(layout: QLayout | None) -> Iterator[QWidget]:
    """The widgets of a layout, line by line."""
    if layout is None:
        return
    places = list(range(layout.count()))
    if isinstance(layout, QGridLayout):
        places.sort(key=layout.getItemPosition)  # type: ignore[arg-type]  # (row, column, …)
    for item in map(layout.itemAt, places):
        if item is not None:
            if (widget := item.widget()) is not None:
                yield widget
            yield from _laid_out(item.layout())

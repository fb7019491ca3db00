"""The space bar as a page's one key, also where the focus is in a field for a number."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QWidget


class _SpaceBar(QObject):
    """Takes the space bar from the widgets it watches."""

    def __init__(self, page: QWidget, do: Callable[[], object]) -> None:
        super().__init__(page)
        self._do = do

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        if not isinstance(event, QKeyEvent) or event.type() != QEvent.Type.KeyPress:
            return False
        if event.key() != Qt.Key.Key_Space or event.modifiers():
            return False
        if not event.isAutoRepeat():
            self._do()
        return True


def space_for(page: QWidget, *others: QWidget, do: Callable[[], object]) -> None:
    """Call `do` at each press of the space bar on `page` or one of `others` on it.

    Buttons and choices keep theirs.
    """
    bar = _SpaceBar(page, do)
    for widget in (page, *others):
        widget.installEventFilter(bar)
    page.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

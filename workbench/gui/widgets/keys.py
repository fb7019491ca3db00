"""The space bar as a page's one key, wherever the focus is on it."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit, QWidget


class _SpaceBar(QObject):
    """Takes the space bar from fields for numbers; leaves other buttons theirs."""

    def __init__(self, page: QWidget, do: Callable[[], object]) -> None:
        super().__init__(page)
        self._page, self._do = page, do

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        if not (isinstance(event, QKeyEvent) and isinstance(watched, QWidget)):
            return False
        if event.type() != QEvent.Type.KeyPress or event.key() != Qt.Key.Key_Space:
            return False
        inside = watched is self._page or self._page.isAncestorOf(watched)
        if not inside or event.modifiers() or watched.property("wants_space"):
            return False
        if isinstance(watched, QLineEdit) or not isinstance(watched, QAbstractButton | QComboBox):
            if not event.isAutoRepeat():
                self._do()
            return True
        return False


def space_for(page: QWidget, do: Callable[[], object]) -> None:
    """Call `do` at each press of the space bar on `page`, save on a button or a choice."""
    app = QApplication.instance()
    if app is not None:
        app.installEventFilter(_SpaceBar(page, do))
    page.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

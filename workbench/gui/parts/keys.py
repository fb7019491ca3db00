"""Keys that are a page's own: the space bar for its one job, undo for its last step."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QFocusEvent, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit, QWidget

Do = Callable[[], object]


class SpaceBar(QObject):
    """The space bar of a page. A button keeps it where the person came to it by keys: who
    clicked it goes on to something else; a chooser opens by its arrow keys. The `own` button
    does the same job, so it need not keep it."""

    def __init__(self, page: QWidget, do: Do, own: QAbstractButton | None = None) -> None:
        super().__init__(page)
        self._page, self._do, self._own = page, do, own
        self._clicked: QWidget | None = None
        for button in page.findChildren(QAbstractButton):
            button.installEventFilter(self)

    def is_kept(self) -> bool:
        """Whether the widget with the focus keeps the space bar for itself."""
        focus = QApplication.focusWidget()
        return focus is not None and self._page.isAncestorOf(focus) and self._keeps(focus)

    def _keeps(self, widget: QObject) -> bool:
        return isinstance(widget, QAbstractButton) and widget not in (self._clicked, self._own)

    def watch(self, *widgets: QWidget) -> None:
        """Take it from these too, while one of them has the focus."""
        for widget in widgets:
            widget.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        if isinstance(event, QFocusEvent) and event.gotFocus() and isinstance(watched, QWidget):
            by_mouse = event.reason() == Qt.FocusReason.MouseFocusReason
            self._clicked = watched if by_mouse else None
        if not isinstance(event, QKeyEvent) or event.type() != QEvent.Type.KeyPress:
            return False
        if event.key() != Qt.Key.Key_Space or event.modifiers() or self._keeps(watched):
            return False
        if not event.isAutoRepeat():
            self._do()
        return True


def space_for(page: QWidget, *others: QWidget, do: Do) -> None:
    """Call `do` at each press of the space bar on `page`, its choosers, or one of `others` on it,
    but for a button that was come to by keys."""
    SpaceBar(page, do).watch(page, *others, *page.findChildren(QComboBox))
    page.setFocusPolicy(Qt.FocusPolicy.ClickFocus)


class _Undo(QObject):
    """Takes undo from empty fields: what was entered last is no longer text."""

    def __init__(self, page: QWidget, do: Do) -> None:
        super().__init__(page)
        self._do = do

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        if not isinstance(event, QKeyEvent) or event.type() != QEvent.Type.KeyPress:
            return False
        if not event.matches(QKeySequence.StandardKey.Undo):
            return False
        if isinstance(watched, QLineEdit) and watched.text():
            return False
        self._do()
        return True


def undo_for(page: QWidget, *fields: QLineEdit, do: Do) -> None:
    """Call `do` where undo is pressed in one of these fields and nothing is typed in it."""
    undo = _Undo(page, do)
    for field in fields:
        field.installEventFilter(undo)

"""Views that take turns in one place, which is as small as the one that is seen allows."""

from __future__ import annotations

from PySide6.QtWidgets import QVBoxLayout, QWidget


class Turns(QWidget):
    """Like a stack of widgets, but asks for the room of its current view alone.

    A `QStackedWidget` is as tall as the tallest of its views, seen or not.
    """

    def __init__(self) -> None:
        super().__init__()
        self._views: list[QWidget] = []
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)

    def add(self, view: QWidget) -> None:
        """Another view; the first is seen at once."""
        self._column.addWidget(view)
        view.setVisible(not self._views)
        self._views.append(view)

    def show_view(self, view: QWidget) -> None:
        """Let this one be seen."""
        for one in self._views:
            if one is not view:
                one.hide()
        view.show()

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        """What is needed at least: pictures give way before anything must scroll."""
        return self._column.minimumHeightForWidth(width)

    @property
    def seen(self) -> QWidget:
        """The view that is seen."""
        return next(one for one in self._views if not one.isHidden())

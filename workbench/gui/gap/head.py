"""The gap page's views: its question of the moment, and the words to choose another."""

from __future__ import annotations

from enum import StrEnum

from PySide6.QtCore import Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QPushButton, QWidget

from workbench.gui.parts.basics import label, say
from workbench.gui.theme import TOUCH_PX


class View(StrEnum):
    """What the page shows; the value is its word on the button."""

    FEELER = "Feeler"
    TEETH = "Teeth"
    DROP_OUT = "Drop-out"
    LIST = "List"


QUESTIONS = {
    View.FEELER: "Is the gap right?",
    View.TEETH: "Is every tooth sound?",
    View.DROP_OUT: "When do pulses drop out?",
    View.LIST: "Which pickups are done?",
}


class GapHead(QWidget):
    """Emits `chosen` with the view that was asked for."""

    chosen = Signal(object)

    def __init__(self, page: QWidget) -> None:
        super().__init__()
        self._title = label("", "title", wrap=False)
        self.tabs = {view: QPushButton(view.value) for view in View}
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(0)
        line.addWidget(self._title, 1)
        group = QButtonGroup(self)
        for number, (view, tab) in enumerate(self.tabs.items(), 1):
            tab.setProperty("role", "tab")
            tab.setCheckable(True)
            tab.setMinimumHeight(TOUCH_PX)
            tab.setToolTip(f"{QUESTIONS[view]} (Alt+{number})")
            tab.clicked.connect(lambda _checked=False, view=view: self.chosen.emit(view))
            QShortcut(QKeySequence(f"Alt+{number}"), page).activated.connect(tab.click)
            group.addButton(tab)
            line.addWidget(tab)

    def show_view(self, view: View, *, with_list: bool) -> None:
        """`view` is open; `with_list`: the list has no view of its own, it stands beside."""
        self.tabs[view].setChecked(True)
        self.tabs[View.LIST].setVisible(not with_list)
        say(self._title, QUESTIONS[view])

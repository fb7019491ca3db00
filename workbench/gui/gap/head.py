"""The gap page's views: its question of the moment, and the words to choose another."""

from __future__ import annotations

from enum import StrEnum, auto

from PySide6.QtCore import Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QButtonGroup, QPushButton, QWidget

from workbench.gui.parts.basics import label, say
from workbench.gui.parts.layout import line_of
from workbench.gui.theme import TOUCH_PX
from workbench.words.language import N_, _


class GapView(StrEnum):
    """What the page shows."""

    FEELER = auto()
    TEETH = auto()
    DROP_OUT = auto()
    LIST = auto()


TABS = {
    GapView.FEELER: N_("Feeler"),
    GapView.TEETH: N_("Teeth"),
    GapView.DROP_OUT: N_("Drop-out"),
    GapView.LIST: N_("List"),
}
QUESTIONS = {
    GapView.FEELER: N_("Is the gap right?"),
    GapView.TEETH: N_("Is every tooth sound?"),
    GapView.DROP_OUT: N_("When do pulses drop out?"),
    GapView.LIST: N_("Which pickups are done?"),
}


class GapHead(QWidget):
    """Emits `chosen` with the view that was asked for."""

    chosen = Signal(object)

    def __init__(self, page: QWidget) -> None:
        super().__init__()
        self._title = label("", "title", wrap=False)
        self.tabs = {view: QPushButton(_(TABS[view])) for view in GapView}
        line = line_of((self._title, 1), on=self, gap=0)
        group = QButtonGroup(self)
        for number, (view, tab) in enumerate(self.tabs.items(), 1):
            tab.setProperty("role", "tab")
            tab.setCheckable(True)
            tab.setMinimumHeight(TOUCH_PX)
            tab.setToolTip(f"{_(QUESTIONS[view])} (Alt+{number})")
            tab.clicked.connect(lambda _checked=False, view=view: self.chosen.emit(view))
            QShortcut(QKeySequence(f"Alt+{number}"), page).activated.connect(tab.click)
            group.addButton(tab)
            line.addWidget(tab)

    def show_view(self, view: GapView, *, with_list: bool) -> None:
        """`view` is open; `with_list`: the list has no view of its own, it stands beside."""
        self.tabs[view].setChecked(True)
        self.tabs[GapView.LIST].setVisible(not with_list)
        say(self._title, QUESTIONS[view])

"""What can be done at the bottom of the gap page, beside its one filled button."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QHBoxLayout, QWidget

from workbench.gui.parts.basics import button, label, say
from workbench.gui.theme import GRID_PX
from workbench.words.language import _

Do = Callable[[], object]


class GapActions(QWidget):
    """Buttons from pickup to pickup on the left, those for results on the right."""

    def __init__(
        self,
        *,
        go_by: Callable[[int], object],
        add: Do,
        remove: Do,
        open_table: Do,
        keep: Do,
        report: Do,
        list_report: Do,
    ) -> None:
        super().__init__()
        self.previous = button("Previous", lambda: go_by(-1))
        self.next = button("Next", lambda: go_by(1))
        self.previous.setAccessibleName(_("Previous pickup"))
        self.next.setAccessibleName(_("Next pickup"))
        self._which = label("", "soft", wrap=False)
        self.add, self.remove = button("Add pickup", add), button("Remove pickup", remove)
        self.open, self.keep = button("Open table", open_table), button("Keep result", keep)
        self.report = button("See report", report)
        self.list_report = button("See list report", list_report)
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(GRID_PX)
        for one in (self.previous, self._which, self.next, self.add, self.remove):
            line.addWidget(one)
        line.addStretch(1)
        for one in (self.open, self.keep, self.report, self.list_report):
            line.addWidget(one)

    def show_place(self, at: int, count: int, *, free: bool) -> None:
        """Which of how many pickups is in hand; `free` to go to another."""
        for one in (self.previous, self._which, self.next):
            one.setVisible(count > 1)
        say(self._which, _("{at} of {count}").format(at=at + 1, count=count))
        self.previous.setEnabled(free and at > 0)
        self.next.setEnabled(free and at < count - 1)

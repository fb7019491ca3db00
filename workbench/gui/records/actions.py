"""What can be done with the lines chosen on the page Records: one next step, and the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from PySide6.QtGui import QAction
from PySide6.QtWidgets import QHBoxLayout, QMenu, QWidget

from workbench.gui.parts.basics import button, say
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.models.records.kept import Entry
from workbench.reports.stored import REPORTED

BRING_BACK, JUDGE, REPORT, NUMBERS = (
    "Bring back",
    "Judge as a pass",
    "Save report",
    "Save numbers",
)
COMPARE, EXPORT, DELETE = "Compare with another", "Export tables", "Delete"
MEASURE, VERIFY, NAME = "Measure belt speed", "Verify", "Name and note"
SEASON, VERIFY_ALL = "Season of this machine", "Verify everything that is kept"
RUNS = "It is being recorded; stop it on Signals first."

Do = Callable[[], object]


class RecordActions(QWidget):
    """A row of buttons; those that do not fit what is chosen are not shown.

    `deeds` holds what each of the words above does.
    """

    def __init__(self, deeds: Mapping[str, Do]) -> None:
        super().__init__()
        self._deeds = deeds
        self.next = button("", self._do_next, is_next=True)
        self.compare = button(COMPARE, deeds[COMPARE])
        self.export = button(EXPORT, deeds[EXPORT])
        self.more = button("More", lambda: None)
        self.delete = button(DELETE, deeds[DELETE])
        menu = QMenu(self)
        menu.setStyleSheet(f"QMenu::item {{ min-height: {TOUCH_PX}px; padding: 0 24px; }}")
        self.actions_: dict[str, QAction] = {
            words: menu.addAction(words, deeds[words])
            for words in (MEASURE, VERIFY, NAME, SEASON, VERIFY_ALL)
        }
        self.more.setMenu(menu)
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(GRID_PX)
        # Delete last: where the focus goes on as a button hides, it must not land there.
        for one in (self.next, self.compare, self.export, self.more, self.delete):
            line.addWidget(one)
        line.addStretch(1)

    def show_for(self, chosen: Sequence[Entry], *, any_kept: bool) -> None:
        """Offer what can be done with these lines; `any_kept`: there are lines at all."""
        one = chosen[0] if len(chosen) == 1 else None
        gone = any(entry.deleted_utc for entry in chosen)
        runs = any(entry.running for entry in chosen)
        whole = one is not None and not gone
        recording = whole and one is not None and not one.is_result
        say(self.next, _next_words(chosen))
        self.next.setVisible(bool(self.next.text()))
        self.compare.setVisible(whole)
        self.export.setVisible(recording)
        self.delete.setVisible(bool(chosen) and not gone)
        self.delete.setEnabled(not runs)
        self.delete.setToolTip(RUNS if runs else "")
        self.actions_[MEASURE].setVisible(recording and not runs)
        self.actions_[VERIFY].setVisible(whole)
        self.actions_[NAME].setVisible(whole)
        self.actions_[SEASON].setVisible(one is not None and bool(one.machine))
        self.more.setVisible(any_kept)

    def _do_next(self) -> None:
        self._deeds[self.next.text()]()


def _next_words(chosen: Sequence[Entry]) -> str:
    """The one next step, '' where there is none."""
    if chosen and all(entry.deleted_utc for entry in chosen):
        return BRING_BACK
    if len(chosen) != 1 or chosen[0].running:
        return ""
    if not chosen[0].is_result:
        return JUDGE
    return REPORT if chosen[0].kind in REPORTED else NUMBERS

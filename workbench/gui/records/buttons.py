"""What can be done with the lines chosen on the page Records: one next step, and the others."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from enum import StrEnum

from PySide6.QtGui import QAction
from PySide6.QtWidgets import QMenu, QWidget

from workbench.gui.parts.basics import button, say
from workbench.gui.parts.layout import line_of
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.models.records.listing import RecordEntry
from workbench.reports.stored import REPORTED
from workbench.words.language import N_, _


class Action(StrEnum):
    """What can be done; each value is the words of its button."""

    BRING_BACK = N_("Bring back")
    JUDGE = N_("Judge as a pass")
    REPORT = N_("Save report")
    NUMBERS = N_("Save numbers")
    COMPARE = N_("Compare with another")
    EXPORT = N_("Export tables")
    DELETE = N_("Delete")
    MEASURE = N_("Measure belt speed")
    VERIFY = N_("Verify")
    NAME = N_("Name and note")
    SEASON = N_("Season of this machine")
    VERIFY_ALL = N_("Verify everything that is kept")
    BACK_UP = N_("Back up everything")
    RESTORE = N_("Restore a backup")


IN_MENU = (
    *(Action.MEASURE, Action.VERIFY, Action.NAME, Action.SEASON, Action.VERIFY_ALL),
    *(Action.BACK_UP, Action.RESTORE),
)
RUNS = N_("It is being recorded; stop it on Signals first.")


class RecordButtons(QWidget):
    """A row of buttons; those that do not fit what is chosen are not shown."""

    def __init__(self, do: Mapping[Action, Callable[[], object]]) -> None:
        super().__init__()
        self._do, self._next_action = do, Action.JUDGE
        self.next = button("", lambda: self._do[self._next_action](), is_next=True)
        self.compare = button(Action.COMPARE, do[Action.COMPARE])
        self.export = button(Action.EXPORT, do[Action.EXPORT])
        self.more = button("More", lambda: None)
        self.delete = button(Action.DELETE, do[Action.DELETE])
        menu = QMenu(self)
        menu.setStyleSheet(f"QMenu::item {{ min-height: {TOUCH_PX}px; padding: 0 24px; }}")
        self.menu_actions: dict[Action, QAction] = {
            action: menu.addAction(_(action), do[action]) for action in IN_MENU
        }
        self.more.setMenu(menu)
        line_of(
            self.next, self.compare, self.export, self.more, self.delete, 1, on=self, gap=GRID_PX
        )

    def show_for(self, chosen: Sequence[RecordEntry], *, any_kept: bool) -> None:
        """Offer what can be done with these lines; `any_kept`: there are lines at all."""
        one = chosen[0] if len(chosen) == 1 else None
        gone = any(entry.deleted_utc for entry in chosen)
        runs = any(entry.running for entry in chosen)
        whole = one is not None and not gone
        recording = whole and one is not None and not one.is_result
        next_action = _next_action(chosen)
        if next_action is not None:
            self._next_action = next_action
            say(self.next, next_action)
        self.next.setVisible(next_action is not None)
        self.compare.setVisible(whole)
        self.export.setVisible(recording)
        self.delete.setVisible(bool(chosen) and not gone)
        self.delete.setEnabled(not runs)
        self.delete.setToolTip(_(RUNS) if runs else "")
        self.menu_actions[Action.MEASURE].setVisible(recording and not runs)
        self.menu_actions[Action.VERIFY].setVisible(whole)
        self.menu_actions[Action.NAME].setVisible(whole)
        self.menu_actions[Action.SEASON].setVisible(one is not None and bool(one.machine))
        self.more.setVisible(any_kept)


def _next_action(chosen: Sequence[RecordEntry]) -> Action | None:
    """The one next step, None where there is none."""
    if chosen and all(entry.deleted_utc for entry in chosen):
        return Action.BRING_BACK
    if len(chosen) != 1 or chosen[0].running:
        return None
    if not chosen[0].is_result:
        return Action.JUDGE
    return Action.REPORT if chosen[0].kind in REPORTED else Action.NUMBERS

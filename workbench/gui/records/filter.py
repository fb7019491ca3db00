"""What of the list is looked for: words, a kind, a machine, the order, what was deleted."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from PySide6.QtWidgets import QComboBox, QLineEdit, QPushButton, QWidget

from workbench.gui.icons import icon
from workbench.gui.parts.basics import say
from workbench.gui.parts.layout import line_of
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.models.records.listing import KINDS, Filter, Order
from workbench.words.language import N_, _

EVERY_KIND, EVERY_MACHINE = N_("Every kind"), N_("Every machine")
SHOW_DELETED, HIDE_DELETED = N_("Show deleted"), N_("Hide deleted")


class FilterRow(QWidget):
    """One row of choices; `changed` is called whenever one of them is."""

    def __init__(self, theme: Theme, changed: Callable[[], object]) -> None:
        super().__init__()
        self.words = QLineEdit()
        self.words.setPlaceholderText(_("Filter: fail, a field, a day …"))
        self.words.setAccessibleName(_("Filter by words"))
        self.words.setMinimumHeight(TOUCH_PX)
        self.words.textChanged.connect(changed)
        self.kinds, self.machines, self.orders = map(_choice, (_("Kind"), _("Machine"), _("Order")))
        self.kinds.addItem(_(EVERY_KIND), "")
        for kind, (_one, several) in KINDS.items():
            self.kinds.addItem(_(several), kind)
        self.machines.addItem(_(EVERY_MACHINE), "")
        for order in Order:
            self.orders.addItem(_(order), order)
        for box in (self.kinds, self.machines, self.orders):
            box.currentIndexChanged.connect(changed)
        self.deleted = QPushButton(_(SHOW_DELETED))
        self.deleted.setCheckable(True)
        self.deleted.setMinimumHeight(TOUCH_PX)
        self.deleted.setAutoDefault(True)
        self.deleted.toggled.connect(self._say_deleted)
        self.deleted.toggled.connect(changed)
        line_of(
            (self.words, 4),
            (self.kinds, 2),
            (self.machines, 2),
            (self.orders, 1),
            self.deleted,
            on=self,
            gap=GRID_PX,
        )
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        for at in range(1, self.kinds.count()):
            self.kinds.setItemIcon(at, icon(self.kinds.itemData(at), theme.ink))

    def wanted(self) -> Filter:
        """The choices as they stand."""
        return Filter(
            self.words.text(),
            self.kinds.currentData(),
            self.machines.currentData(),
            self.deleted.isChecked(),
            Order(self.orders.currentData()),
        )

    def offer_machines(self, names: Iterable[str]) -> None:
        """Machines that may be chosen; the one chosen before stays where it is still there."""
        before = self.machines.currentData()
        self.machines.blockSignals(True)
        while self.machines.count() > 1:
            self.machines.removeItem(1)
        for name in names:
            self.machines.addItem(name, name)
        self.machines.setCurrentIndex(max(0, self.machines.findData(before)))
        self.machines.blockSignals(False)

    def show_everything(self) -> None:
        """Leave nothing out that is in sight."""
        self.words.clear()
        self.kinds.setCurrentIndex(0)
        self.machines.setCurrentIndex(0)
        self.deleted.setChecked(False)

    def _say_deleted(self, checked: bool) -> None:
        say(self.deleted, HIDE_DELETED if checked else SHOW_DELETED)


def _choice(name: str) -> QComboBox:
    box = QComboBox()
    box.setMinimumHeight(TOUCH_PX)
    box.setAccessibleName(name)
    box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    box.setMinimumContentsLength(9)
    return box

"""The shop's list of pickups: where each stands, looked for by state or by name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHeaderView,
    QLineEdit,
    QTableView,
    QWidget,
)

from workbench.base.units import US, UnitSystem
from workbench.calibration.statistics.decision import Verdict
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import column_of, row
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme, grown
from workbench.jobs.gap.sheet import Standing
from workbench.models.gap.pickups import PickupState
from workbench.models.gap.words import found_words, name_words, state_words, to_do_words
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words

Index = QModelIndex | QPersistentModelIndex
NOWHERE = QModelIndex()
COLUMNS = (N_("Pickup, limits"), N_("State"), N_("Found"), N_("What to do"))
WIDE_PX = 640
"""Width from which what to do stands in the table."""
FILTERS: dict[str, Callable[[PickupState], bool]] = {
    N_("All"): lambda state: True,
    N_("Not yet"): lambda state: not state.done,
    N_("Pass"): lambda state: COLOURS.get(state.standing) == "in_band",
    N_("Fail"): lambda state: COLOURS.get(state.standing) in ("attention", "bad"),
    N_("Cannot tell"): lambda state: state.standing is Verdict.CANNOT_TELL,
    N_("Simulated"): lambda state: state.simulated,
}
COLOURS: dict[Verdict | Standing, str] = {
    Verdict.PASS: "in_band",
    Verdict.CONDITIONAL_PASS: "in_band",
    Verdict.CONDITIONAL_FAIL: "attention",
    Verdict.FAIL: "bad",
}


class _Rows(QAbstractTableModel):
    """The pickups that are shown; words are made only for the rows that are seen."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.theme, self._units = theme, US
        self._states: list[PickupState] = []

    def show_states(self, states: list[PickupState], units: UnitSystem) -> None:
        """Other pickups, or the same as they stand now."""
        if len(states) != len(self._states):
            self.beginResetModel()
            self._states, self._units = states, units
            self.endResetModel()
        elif states:
            self._states, self._units = states, units
            self.dataChanged.emit(self.index(0, 0), self.index(len(states) - 1, len(COLUMNS) - 1))

    def rowCount(self, parent: Index = NOWHERE) -> int:  # noqa: N802
        return 0 if parent.isValid() else len(self._states)

    def columnCount(self, parent: Index = NOWHERE) -> int:  # noqa: N802
        return 0 if parent.isValid() else len(COLUMNS)

    def headerData(  # noqa: N802
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return _(COLUMNS[section])
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        state = self._states[index.row()]
        if role == Qt.ItemDataRole.ForegroundRole and index.column() == 1:
            return self.theme.color(COLOURS.get(state.standing, "no_data"))
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.ToolTipRole):
            return self._words(state, index.column())
        return None

    def _words(self, state: PickupState, column: int) -> str:
        words = Words(self._units)
        match column:
            case 0:
                return name_words(state)
            case 1:
                return state_words(state, words)
            case 2:
                return found_words(state, words)
        return to_do_words(state, words)


class _Table(QTableView):
    """Enter takes the pickup in hand, Delete takes it off the list."""

    opened = Signal()
    removed = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.opened.emit()
        elif event.key() == Qt.Key.Key_Delete:
            self.removed.emit()
        else:
            super().keyPressEvent(event)


class GapListPanel(QWidget):
    """Emits `chosen` with the place of the pickup taken in hand, `opened` to read it."""

    chosen = Signal(int)
    opened = Signal()
    removed = Signal()
    named = Signal(str)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._states: list[PickupState] = []
        self._places: list[int] = []
        self._at, self._units, self._filling = 0, US, False
        self.count = label("", "text")
        self.filter = QComboBox()
        self.filter.addItems(list(map(_, FILTERS)))
        self.filter.setAccessibleName(_("Which pickups to show"))
        self.search = QLineEdit()
        self.search.setPlaceholderText(_("Find a machine or side"))
        self.search.setClearButtonEnabled(True)
        self.search.setAccessibleName(_("Find a pickup by a part of its name"))
        self.fresh = QLineEdit()
        self.fresh.setPlaceholderText(_("Digger 4 / left"))
        self.fresh.setAccessibleName(_("Name of the pickup to add: machine / side"))
        self.read = button("Read this pickup", self.opened.emit, is_next=True)
        self.error = label("", "error")
        self.rows = _Rows(theme)
        self.table = self._make_table()
        self.empty = label("", "soft")
        self._lay_out()
        self.filter.currentIndexChanged.connect(self._show_rows)
        self.search.textChanged.connect(self._show_rows)
        self.fresh.returnPressed.connect(self._add)

    def set_theme(self, theme: Theme) -> None:
        self.rows.theme = theme
        self.table.verticalHeader().setDefaultSectionSize(grown(TOUCH_PX))
        self._show_rows()

    def show_list(self, states: list[PickupState], at: int, units: UnitSystem) -> None:
        """The list as it stands, the pickup at place `at` in hand."""
        self._states, self._at, self._units = states, at, units
        self._show_rows()

    def complain(self, said: str) -> None:
        """What is wrong with the name typed; '' takes that away."""
        self.error.setText(said)
        self.error.setVisible(bool(said))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self.table.setColumnHidden(3, self.width() < grown(WIDE_PX))
        self.table.scrollTo(self.table.currentIndex())

    def _make_table(self) -> _Table:
        table = _Table()
        table.setModel(self.rows)
        table.setAccessibleName(_("Pickups of the list"))
        table.verticalHeader().hide()
        table.verticalHeader().setDefaultSectionSize(grown(TOUCH_PX))
        table.setShowGrid(False)
        table.setTabKeyNavigation(False)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        table.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        header = table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setHighlightSections(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)
        header.setResizeContentsPrecision(0)  # by what is seen: a long list costs no more
        table.selectionModel().currentRowChanged.connect(self._moved)
        table.opened.connect(self.opened)
        table.removed.connect(self.removed)
        table.doubleClicked.connect(lambda _index: self.opened.emit())
        return table

    def _lay_out(self) -> None:
        column = column_of(
            self.count,
            row(self.filter, self.search, stretch=False, spacing=GRID_PX),
            (self.table, 1),
            self.empty,
            on=self,
        )
        add = button("Add pickup", self._add)
        column.addWidget(row(self.fresh, add, self.read, stretch=False, spacing=GRID_PX))
        self.error.hide()
        column.addWidget(self.error)

    def _add(self) -> None:
        self.named.emit(self.fresh.text())

    def _moved(self, now: Index, _before: Index) -> None:
        if now.isValid() and now.row() < len(self._places) and not self._filling:
            self.chosen.emit(self._places[now.row()])

    def _show_rows(self) -> None:
        words = self.search.text().casefold().split()
        wanted = list(FILTERS.values())[self.filter.currentIndex()]
        self._places = [
            at
            for at, state in enumerate(self._states)
            if wanted(state) and all(word in _searched(state) for word in words)
        ]
        self._filling = True
        self.rows.show_states([self._states[at] for at in self._places], self._units)
        if self._at in self._places:
            self.table.setCurrentIndex(self.rows.index(self._places.index(self._at), 0))
            self.table.scrollTo(self.table.currentIndex())
        else:
            self.table.setCurrentIndex(NOWHERE)
        self._filling = False
        self.empty.setVisible(not self._places)
        say(self.empty, _("No pickup of the list is like this. Choose All to see every one."))
        say(self.count, _count_words(self._states, Words(self._units)))


def _searched(state: PickupState) -> str:
    return f"{state.name} {state.held.name}".casefold()


def _count_words(states: list[PickupState], words: Words) -> str:
    """'3 of 12 pickups are done: 2 pass, 1 fail.'"""
    if len(states) == 1:
        return _("One pickup so far.")
    done = Counter(state.standing for state in states if state.done)
    counts = ", ".join(f"{many} {words.say(verdict)}" for verdict, many in sorted(done.items()))
    count, all_of_it = done.total(), len(states)
    if not counts:
        return _("0 of {all} pickups are done.").format(all=all_of_it)
    told = ngettext(
        "{count} of {all} pickups is done: {counts}.",
        "{count} of {all} pickups are done: {counts}.",
        count,
    )
    return told.format(count=count, all=all_of_it, counts=counts)

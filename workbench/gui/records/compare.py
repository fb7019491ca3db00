"""Two lines of the list side by side: figures with their difference, and both in one picture."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import Elided, label
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.parts.turns import Turns
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, Theme, grown
from workbench.jobs.keep import any_answer
from workbench.models.records.compare import compared_pictures, compared_rows
from workbench.models.records.listing import RecordEntry
from workbench.models.records.speed_lines import SpeedLines, speeds_picture
from workbench.records.entries import StoredResult
from workbench.words.language import N_, _
from workbench.words.words import Words

HEADS = ("", "A", "B", "B − A", N_("B is"))
UNLIKE_KINDS = N_("The two are of different kinds: only figures that both hold can be compared.")
ROW_PX = 28
FOR_TABLE, FEWEST_ROWS = 0.54, 3
"""Of the height the table may take; it shows whole rows, at least so many."""


class CompareView(QWidget):
    """A is the older of the two, B the newer."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._names = Elided("text"), Elided("text")
        self._above = Elided("text"), Elided("text")
        self._said = label("", "soft")
        names = _("Both results"), _("Both results, second picture")
        self.charts = [Plot(theme, name) for name in names]
        self.speeds = [Plot(theme, _("Speeds of the recording")) for _at in range(2)]
        self.table = _table()
        self._recordings, self._results = QWidget(), QWidget()
        column = column_of(on=self._recordings, gap=-1)
        for name, plot in zip(self._above, self.speeds, strict=True):
            column.addWidget(name)
            column.addWidget(plot, 1)
        beside = line_of(*((chart, 1) for chart in self.charts))
        column = column_of(*self._names, (beside, 1), self.table, on=self._results, gap=-1)
        self.views = Turns()
        for view in (self._recordings, self._results):
            self.views.add(view)
        column_of((self.views, 1), self._said, on=self)
        self._shown: tuple[StoredResult, StoredResult] | None = None
        self._lines: tuple[SpeedLines, SpeedLines] | None = None
        self.speeds[0].cursor_moved.connect(self.speeds[1].point_at)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._fit_table()

    def _fit_table(self) -> None:
        """As many whole rows as there is room for: none is cut."""
        row, head = grown(ROW_PX), self.table.horizontalHeader().sizeHint().height()
        self.table.verticalHeader().setDefaultSectionSize(row)
        room = int((FOR_TABLE * self.height() - head) // row)
        rows = max(FEWEST_ROWS, min(self.table.rowCount(), room))
        self.table.setFixedHeight(head + rows * row + 2 * self.table.frameWidth())

    def name(self, first: RecordEntry, second: RecordEntry) -> None:
        """Which two are compared."""
        for chart in self.charts:
            tell_simulated(chart, first.simulated or second.simulated)
        for plot, entry in zip(self.speeds, (first, second), strict=True):
            tell_simulated(plot, entry.simulated)
        for word, one, *where in zip("AB", (first, second), self._names, self._above, strict=True):
            verdict = f" ({one.verdict_word})" if one.verdict else ""
            simulated = _(", simulated") if one.simulated else ""
            for name in where:
                name.setText(f"{word}  {one.words}, {one.when}{verdict}{simulated}")

    def show_results(self, first: StoredResult, second: StoredResult, units: UnitSystem) -> None:
        """Two results of one kind, or their figures where they are of two kinds."""
        self._shown, self._lines = (first, second), None
        one, other = map(any_answer, (first, second))
        pictures = compared_pictures(one, other)
        self.views.show_view(self._results)
        for chart, picture in zip(self.charts, [*pictures, None, None], strict=False):
            chart.setVisible(picture is not None)
            if picture is not None:
                chart.show_picture(picture, units, anew=True)
        rows = compared_rows(one, other, Words(units))
        self.table.setRowCount(len(rows))
        for at, row in enumerate(rows):
            cells = (row.name, row.first, row.second, row.difference, row.meaning)
            for column, text in enumerate(cells):
                self.table.setItem(at, column, QTableWidgetItem(text))
        self._fit_table()
        same = first.kind == second.kind
        self._said.setText("" if same else _(UNLIKE_KINDS))
        self._said.setVisible(not same)

    def show_recordings(self, first: SpeedLines, second: SpeedLines, units: UnitSystem) -> None:
        """Two recordings, one above the other."""
        self._shown, self._lines = None, (first, second)
        self.views.show_view(self._recordings)
        for plot, lines in zip(self.speeds, (first, second), strict=True):
            plot.show_picture(speeds_picture(lines), units, anew=True)
        notes = [note for lines in (first, second) for note in lines.notes]
        self._said.setText("  ".join(dict.fromkeys(notes)))
        self._said.setVisible(bool(notes))

    def use_units(self, units: UnitSystem) -> None:
        """Show the same in other units."""
        if self._shown is not None:
            self.show_results(*self._shown, units)
        elif self._lines is not None:
            for plot in self.speeds:
                plot.use_units(units)


def _table() -> QTableWidget:
    table = QTableWidget(0, len(HEADS))
    table.setHorizontalHeaderLabels([_(head) for head in HEADS])
    table.verticalHeader().hide()
    table.setShowGrid(False)
    table.setStyleSheet(f"QTableView::item {{ padding: 0 {GRID_PX}px; }}")
    table.setTabKeyNavigation(False)
    table.setWordWrap(False)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    header = table.horizontalHeader()
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    header.setMinimumSectionSize(12 * GRID_PX)
    table.setAccessibleName(_("Figures of both, and their difference"))
    return table

"""The table of signals: a line an input, its streams below it."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font, grown
from workbench.models.signals.rows import HEADS, InputLine, SignalLine, TableLine
from workbench.words.language import N_, _

WIDEST = (
    "",
    "12.34 km/h",
    HEADS[2],
    "12345 (22 %)",
    "1234 (2 %)",
    "1234",
    N_("59 min ago"),
    N_("◆ extra pulses"),
)
"""The longest text of each column but the first, which takes what is left."""

NAME, STATE = 0, len(HEADS) - 1
ROW_PX, ROOMY_ROW_PX = 27, 36


class SignalTable(QTableWidget):
    """Shows the lines of `signal_rows.table`. A chosen pulse channel is told by `chosen`."""

    chosen = Signal(str)
    opened = Signal(str)

    def __init__(self, theme: Theme) -> None:
        super().__init__(0, len(HEADS))
        self._theme = theme
        self._lines: list[TableLine] = []
        self._plan: list[tuple[bool, str]] = []
        self._row_px = ROW_PX
        self.setHorizontalHeaderLabels([_(head) for head in HEADS])
        self.verticalHeader().hide()
        self.setShowGrid(False)
        self.setStyleSheet(f"QTableWidget::item {{ padding: 0 {GRID_PX}px; }}")
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTabKeyNavigation(False)  # the tab key leaves the table; arrows move within
        self.setAccessibleName("Signals")
        self._fit_columns()
        self.itemSelectionChanged.connect(self._tell_choice)
        self.itemActivated.connect(lambda item: self._tell_opening(item.row()))

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._plan = []
        self._fit_columns()  # the text may have grown with the window
        self.show_lines(self._lines)

    def set_roomy(self, roomy: bool) -> None:
        """Higher rows, where a large screen has the room."""
        row_px = ROOMY_ROW_PX if roomy else ROW_PX
        if row_px != self._row_px:
            self._row_px = row_px
            for at in range(self.rowCount()):
                self.setRowHeight(at, grown(row_px))

    def show_lines(self, lines: Sequence[TableLine]) -> None:
        """Show these lines."""
        self._lines = list(lines)
        plan = [(isinstance(line, InputLine), _key(line)) for line in lines]
        if plan != self._plan:
            self._plan = plan
            self._lay_out()
        for at, line in enumerate(lines):
            if isinstance(line, InputLine):
                self._set(at, NAME, " – ".join(filter(None, (line.title, line.note))), "soft_ink")
                self._set(at, STATE, line.state, line.tone)
                continue
            for column, text in enumerate(line.cells):
                self._set(at, column, text, line.tone if column == STATE else "ink")

    def needed_px(self) -> int:
        """The height at which no line is hidden."""
        return (
            self.horizontalHeader().sizeHint().height() + grown(self._row_px) * len(self._plan) + 2
        )

    def _lay_out(self) -> None:
        self.clearSpans()
        self.setRowCount(len(self._plan))
        for at, (is_input, _row) in enumerate(self._plan):
            self.setRowHeight(at, grown(self._row_px))
            for column in range(len(HEADS)):
                self.setItem(at, column, self._cell(column, is_input=is_input))
            if is_input:
                self.setSpan(at, NAME, 1, STATE)

    def _cell(self, column: int, *, is_input: bool) -> QTableWidgetItem:
        item = QTableWidgetItem()
        words = column in (NAME, STATE)
        side = Qt.AlignmentFlag.AlignLeft if words else Qt.AlignmentFlag.AlignRight
        item.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
        item.setFont(font(SMALL_PX, bold=column == STATE))
        if is_input:
            item.setFlags(Qt.ItemFlag.ItemIsEnabled)
            item.setBackground(self._theme.color("ground"))
        return item

    def _set(self, at: int, column: int, text: str, color: str) -> None:
        item = self.item(at, column)
        if item is not None and item.text() != text:
            item.setText(text)
            item.setToolTip(text if column == NAME else "")
            item.setForeground(self._theme.color(color))

    def _fit_columns(self) -> None:
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setMinimumSectionSize(4 * GRID_PX)
        measure = QFontMetrics(font(SMALL_PX, bold=True)).horizontalAdvance
        plain = QFontMetrics(font(SMALL_PX)).horizontalAdvance
        for column, widest in enumerate(WIDEST):
            words = column in (NAME, STATE)
            side = Qt.AlignmentFlag.AlignLeft if words else Qt.AlignmentFlag.AlignRight
            head = self.horizontalHeaderItem(column)
            if head is not None:
                head.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
            if column == NAME:
                header.setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)
            else:
                header.setSectionResizeMode(column, QHeaderView.ResizeMode.Fixed)
                wide = measure(widest) if words else plain(widest)
                width = (
                    max(wide, plain(HEADS[column]) + GRID_PX) + (4 if words else 2) * GRID_PX + 2
                )
                self.setColumnWidth(column, width)

    def _tell_choice(self) -> None:
        for at in {index.row() for index in self.selectedIndexes()}:
            line = self._lines[at]
            if isinstance(line, SignalLine) and line.pulses:
                self.chosen.emit(line.name)

    def _tell_opening(self, at: int) -> None:
        line = self._lines[at]
        if isinstance(line, SignalLine) and line.pulses:
            self.opened.emit(line.name)


def _key(line: TableLine) -> str:
    return line.address if isinstance(line, InputLine) else line.name

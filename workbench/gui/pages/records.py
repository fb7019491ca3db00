"""Everything that was kept: recordings and results, looked at, compared, verified, exported."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QStackedWidget,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.gui.widgets.basics import button, label, row, say
from workbench.gui.widgets.pass_answer import PassAnswer
from workbench.gui.widgets.speeds_plot import SpeedsPlot
from workbench.gui.worker import Worker
from workbench.models import archive
from workbench.models.archive import Entry, SpeedLines
from workbench.models.bench import Bench
from workbench.records.entries import StoredResult

NOTHING, SPEEDS, PASS, FIGURES = 0, 1, 2, 3
EMPTY = (
    "Nothing is kept yet. Record on the page Signals, or drive a pass: both will be listed here, "
    "with everything that was computed from them."
)


class RecordsPage(QWidget):
    """The list on the left, what is chosen on the right."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._units = bench, bench.settings.units
        self._entries: list[Entry] = []
        self._shown: list[Entry] = []
        self._worker: Worker | None = None
        self._waiting: Callable[[], object] | None = None
        self._results: list[StoredResult] = []
        self._deleted: int | None = None
        self._was_busy = False
        self._filter = QLineEdit()
        self._filter.setPlaceholderText("Filter: pass, fail, a machine, a day …")
        self._filter.setAccessibleName("Filter")
        self._filter.setMinimumHeight(TOUCH_PX)
        self._filter.textChanged.connect(self._show_list)
        self._list = _table(("What", "When", "Verdict"), "Recordings and results")
        self._list.itemSelectionChanged.connect(self._open_chosen)
        self._said = label("", "soft")
        self._speeds, self._answer = SpeedsPlot(theme), PassAnswer(theme)
        self._figures = _table((), "Main figures")
        self._nothing = label("", "text")
        self._nothing.setAlignment(Qt.AlignmentFlag.AlignTop)
        self._views = QStackedWidget()
        for view in (self._nothing, self._speeds, self._answer, self._figures):
            self._views.addWidget(view)
        self._verify = button("Verify", self._do_verify)
        self._export = button("Export", self._ask_where)
        self._delete = button("Delete", self._do_delete)
        self._undo = button("Undo delete", self._do_undo)
        self._undo.hide()
        self._lay_out()
        self._show_buttons()

    def set_theme(self, theme: Theme) -> None:
        self._speeds.set_theme(theme)
        self._answer.set_theme(theme)

    def showEvent(self, event: Any) -> None:  # noqa: N802
        super().showEvent(event)
        self.reload()

    def refresh(self) -> None:
        units = self._bench.settings.units
        if units is not self._units:
            self._units = units
            self._speeds.use_units(units)
            self._answer.use_units(units)
            self._fill_figures()
        if self._waiting is not None and not self.busy:
            waiting, self._waiting = self._waiting, None
            waiting()
        if self.busy is not self._was_busy:
            self._was_busy = self.busy
            self._show_buttons()

    @property
    def busy(self) -> bool:
        """Whether work is going on in the background."""
        return self._worker is not None and self._worker.isRunning()

    def reload(self) -> None:
        """Read the store's list again."""
        self._work(partial(archive.entries, self._bench.store), self._take_list, "")

    def chosen(self) -> list[Entry]:
        """The lines chosen, in the list's order."""
        rows = sorted({index.row() for index in self._list.selectedIndexes()})
        return [self._shown[at] for at in rows if at < len(self._shown)]

    def export_to(self, path: Path) -> None:
        """Write what is chosen: a recording as tables, a result as a report."""
        entry = self.chosen()[0]
        self._work(
            partial(archive.export, self._bench.store, entry, path), self._say, "Exporting …"
        )

    def _lay_out(self) -> None:
        left = QVBoxLayout()
        left.setSpacing(GRID_PX)
        left.addWidget(label("What is kept?", "title"))
        left.addWidget(self._filter)
        left.addWidget(self._list, 1)
        right = QVBoxLayout()
        right.setSpacing(GRID_PX)
        right.addWidget(self._views, 1)
        right.addWidget(self._said)
        right.addWidget(row(self._verify, self._export, self._delete, self._undo))
        whole = QHBoxLayout(self)
        whole.setContentsMargins(3 * GRID_PX, 2 * GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        whole.setSpacing(3 * GRID_PX)
        whole.addLayout(left, 4)
        whole.addLayout(right, 6)

    def _work(self, work: Callable[[], Any], done: Callable[[Any], object], said: str) -> None:
        """One thing at a time in the background; the newest wish waits for its turn."""
        if self.busy:
            self._waiting = partial(self._work, work, done, said)
            return
        if said:
            self._say(said)
        self._worker = Worker(work, done, self._say, self)
        self._worker.start()

    def _say(self, text: str) -> None:
        say(self._said, text)
        self._said.setVisible(bool(text))

    def _take_list(self, entries: list[Entry]) -> None:
        self._entries = entries
        self._show_list()

    def _show_list(self) -> None:
        before = {(one.is_result, one.number) for one in self.chosen()}
        self._shown = [one for one in self._entries if one.matches(self._filter.text())]
        self._list.blockSignals(True)
        self._list.clearSelection()
        self._list.setRowCount(len(self._shown))
        for at, entry in enumerate(self._shown):
            what = f"{entry.number}  {entry.what}" + (" (simulated)" if entry.simulated else "")
            when = entry.when_utc[:16].replace("T", " ")
            tip = f"{what}\n{entry.machine}\n{entry.when_utc} UTC"
            for column, text in enumerate((what, when, entry.verdict)):
                item = QTableWidgetItem(text)
                item.setToolTip(tip)
                self._list.setItem(at, column, item)
            if (entry.is_result, entry.number) in before:
                self._list.selectRow(at)
        self._list.blockSignals(False)
        if not self.chosen():
            self._views.setCurrentIndex(NOTHING)
            none = EMPTY if not self._entries else "Nothing here fits the filter."
            self._nothing.setText("Choose a line to look at it." if self._shown else none)
        self._show_buttons()

    def _show_buttons(self) -> None:
        chosen = self.chosen()
        one = len(chosen) == 1 and not self.busy
        self._verify.setEnabled(one)
        self._export.setEnabled(one)
        self._delete.setEnabled(one and not chosen[0].is_result)
        self._undo.setVisible(self._deleted is not None)
        self._undo.setEnabled(not self.busy)

    def _open_chosen(self) -> None:
        self._show_buttons()
        chosen, store = self.chosen(), self._bench.store
        results = [entry.number for entry in chosen if entry.is_result]
        if len(chosen) == 1 and not results:
            work = partial(archive.speed_lines, store, chosen[0].number)
            self._work(work, self._show_speeds, "Opening …")
        elif results and len(results) == len(chosen):
            self._work(
                lambda: [archive.result(store, number) for number in results],
                self._show_results,
                "Opening …",
            )
        elif chosen:
            self._say("Results are compared with results; choose one recording to look at it.")

    def _show_speeds(self, lines: SpeedLines) -> None:
        self._say("  ".join(lines.notes))
        if not lines.lines:
            self._nothing.setText("This recording holds no speeds that could be drawn.")
            self._views.setCurrentIndex(NOTHING)
            return
        self._speeds.show_lines(lines, self._units)
        self._views.setCurrentIndex(SPEEDS)

    def _show_results(self, results: list[StoredResult]) -> None:
        self._say("")
        self._results = results
        if len(results) == 1 and results[0].kind == "pass":
            self._answer.show_answer(results[0].answer, self._units)
            self._views.setCurrentIndex(PASS)
        else:
            self._fill_figures()
            self._views.setCurrentIndex(FIGURES)

    def _fill_figures(self) -> None:
        """The main figures, a column a result."""
        columns = [dict(archive.figures(one, self._units)) for one in self._results]
        names = list(dict.fromkeys(name for column in columns for name in column))
        self._figures.setColumnCount(1 + len(columns))
        self._figures.setHorizontalHeaderLabels(
            ["", *(f"Result {one.number}" for one in self._results)]
        )
        self._figures.setRowCount(len(names))
        for at, name in enumerate(names):
            for to, text in enumerate((name, *(column.get(name, "") for column in columns))):
                self._figures.setItem(at, to, QTableWidgetItem(text))

    def _do_verify(self) -> None:
        entry = self.chosen()[0]
        verify = archive.verify_result if entry.is_result else archive.verify_recording
        self._work(partial(verify, self._bench.store, entry.number), self._say, "Verifying …")

    def _ask_where(self) -> None:
        entry = self.chosen()[0]
        kind = "Report (*.pdf *.html *.json)" if entry.is_result else "Tables (*.csv)"
        word = "result" if entry.is_result else "recording"
        name, _ = QFileDialog.getSaveFileName(self, "Export", f"{word}-{entry.number}", kind)
        if name:
            path = Path(name)
            self.export_to(path if path.suffix or not entry.is_result else path.with_suffix(".pdf"))

    def _do_delete(self) -> None:
        self._hide(self.chosen()[0].number, hidden=True)

    def _do_undo(self) -> None:
        if self._deleted is not None:
            self._hide(self._deleted, hidden=False)

    def _hide(self, number: int, *, hidden: bool) -> None:
        def done(said: str) -> None:
            self._deleted = number if hidden else None
            self._waiting = self.reload
            self._say(said)
            self._show_buttons()

        self._work(partial(archive.hide, self._bench.store, number, hidden=hidden), done, "")


def _table(columns: tuple[str, ...], name: str) -> QTableWidget:
    table = QTableWidget(0, len(columns))
    table.setHorizontalHeaderLabels(list(columns))
    table.verticalHeader().hide()
    table.verticalHeader().setDefaultSectionSize(TOUCH_PX)
    table.setShowGrid(False)
    table.setTabKeyNavigation(False)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    header = table.horizontalHeader()
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
    header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
    if columns:
        for column in range(1, len(columns)):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
    table.setAccessibleName(name)
    return table

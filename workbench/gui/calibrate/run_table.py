"""The runs of a calibration, a row each, with its error once the answer is there."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from workbench.base.numbers import NO_VALUE, plain, with_uncertainty
from workbench.calibration.readout.runs import RunResult
from workbench.gui.parts.basics import button
from workbench.gui.theme import TOUCH_PX, grown
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.runs import TakenRun
from workbench.models.calibrate.words import laps_of
from workbench.reports.calibrate.tables import shown_text
from workbench.words.language import _
from workbench.words.words import Words

TRUE_COLUMN, LAPS_COLUMN, BUTTON_COLUMN = 2, 4, 5
BUTTON_PX = 80
TRUE_FROM_PX, LAPS_FROM_PX = 400, 520
"""Widths from which there is room for the true speed, and to say how a run was timed."""


class RunTable(QTableWidget):
    """Run, shown, true, error, how it was timed, drop or restore; as left below as found."""

    def __init__(self) -> None:
        super().__init__(0, BUTTON_COLUMN + 1)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(TOUCH_PX)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setTabKeyNavigation(False)  # the tab key goes on from button to button
        head = self.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(3, QHeaderView.ResizeMode.Stretch)
        head.setSectionResizeMode(BUTTON_COLUMN, QHeaderView.ResizeMode.Fixed)
        head.resizeSection(BUTTON_COLUMN, grown(BUTTON_PX))
        head.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName(_("Runs"))
        self.setStyleSheet(
            "QTableWidget::item { padding: 0 6px; } QHeaderView::section { padding: 8px 6px; }"
            "QPushButton { min-height: 0; padding: 0 8px; }"
        )
        self._rows: list[Row] = []

    def show_runs(self, job: CalibrateJob, words: Words) -> None:
        """Every run kept; '…' where its error is not worked out yet."""
        readout = job.machine.readout if job.machine else None
        unit, own = words.units.speed, readout.unit if readout else "mph"
        shown = _("Shown") if own == unit else _("Shown, {unit}").format(unit=own)
        true = _("True, {unit}").format(unit=unit)
        head = [_("Run"), shown, true, _("Error ± U, %"), _("Laps"), ""]
        self.setHorizontalHeaderLabels(head)
        step, found = readout.step if readout else 0.1, job.answer
        rows = _rows(job.runs, found, words, step, left=False)
        rows += _rows(job.left_runs, found and found.as_left, words, step, left=True)
        if rows == self._rows:
            return
        grown, self._rows = len(rows) > len(self._rows), rows
        old = [self.cellWidget(at, BUTTON_COLUMN) for at in range(self.rowCount())]
        self.setRowCount(0)
        for button_before in old:
            button_before.hide()  # it is destroyed a moment later
        self.setRowCount(len(rows))
        for at, (cells, number, left, dropped) in enumerate(rows):
            for column, text in enumerate(cells):
                item = QTableWidgetItem(text)
                item.setToolTip(text)
                if dropped:
                    item.setForeground(self.palette().placeholderText())
                self.setItem(at, column, item)
            self._place_button(at, job, number, left=left, dropped=dropped)
        if grown:
            self.scrollToBottom()

    def _place_button(
        self, at: int, job: CalibrateJob, number: int, *, left: bool, dropped: bool
    ) -> None:
        word = _("Restore") if dropped else _("Drop")
        made = button(word, lambda: job.drop_kept(number, left=left, dropped=not dropped))
        name = _("{word} run {number} as left") if left else _("{word} run {number}")
        made.setAccessibleName(name.format(word=word, number=number))
        made.setMinimumHeight(0)
        self.setCellWidget(at, BUTTON_COLUMN, made)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        super().paintEvent(event)
        if not self._rows:
            painter = QPainter(self.viewport())
            painter.setPen(self.palette().placeholderText().color())
            text = _("The runs you keep stand here, each with its error.")
            painter.drawText(self.viewport().rect(), Qt.AlignmentFlag.AlignCenter, text)
            painter.end()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        self.horizontalHeader().resizeSection(BUTTON_COLUMN, grown(BUTTON_PX))
        self.setColumnHidden(LAPS_COLUMN, self.width() < grown(LAPS_FROM_PX))
        self.setColumnHidden(TRUE_COLUMN, self.width() < grown(TRUE_FROM_PX))
        super().resizeEvent(event)
        self.scrollToBottom()


Row = tuple[list[str], int, bool, bool]


def _rows(
    runs: Sequence[TakenRun],
    found: CalibrateAnswer | None,
    words: Words,
    step: float,
    *,
    left: bool,
) -> list[Row]:
    results = {result.run: result for result in found.runs} if found else {}
    rows: list[Row] = []
    for number, run in enumerate(runs, 1):
        result = results.get(str(number))
        name = _("{number} as left").format(number=number) if left else f"{number}"
        cells = [name, shown_text(run.shown, step), *_worked_out(run, result, words), laps_of(run)]
        rows.append((cells, number, left, run.dropped))
    return rows


def _worked_out(run: TakenRun, result: RunResult | None, words: Words) -> tuple[str, str]:
    if run.dropped:
        return NO_VALUE, _("dropped")
    if result is None:
        return "…", "…"
    true = plain(words.quantity("speed").per_si * result.true_mps, 3)
    if result.note is not None:
        return true, _("left out: {why}").format(why=words.say(result.note))
    return true, with_uncertainty(100 * result.error, 200 * result.u_error, signed=True)

"""The runs of a calibration, a row each, with its error once the answer is there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import button
from workbench.gui.theme import TOUCH_PX
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.runs import TakenRun
from workbench.models.calibrate.words import error_words, laps_of
from workbench.reports.calibrate.tables import shown_text
from workbench.words.numbers import speed_number

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
        head = self.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(3, QHeaderView.ResizeMode.Stretch)
        head.setSectionResizeMode(BUTTON_COLUMN, QHeaderView.ResizeMode.Fixed)
        head.resizeSection(BUTTON_COLUMN, BUTTON_PX)
        head.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Runs")
        self.setStyleSheet(
            "QTableWidget::item { padding: 0 6px; } QHeaderView::section { padding: 8px 6px; }"
            "QPushButton { min-height: 0; padding: 0 8px; }"
        )
        self._rows: list[Row] = []

    def show_runs(self, job: CalibrateJob, units: UnitSystem) -> None:
        """Every run kept; '…' where its error is not worked out yet."""
        unit = job.machine.readout.unit if job.machine else "mph"
        shown = "Shown" if unit == units.speed else f"Shown, {unit}"
        head = ["Run", shown, f"True, {units.speed}", "Error ± U, %", "Laps", ""]
        self.setHorizontalHeaderLabels(head)
        answer = job.answer or {}
        step = job.machine.readout.step if job.machine else 0.1
        rows = _rows(job.runs, answer, units, step, left=False)
        rows += _rows(job.left_runs, answer.get("as_left") or {}, units, step, left=True)
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
        word = "Restore" if dropped else "Drop"
        made = button(word, lambda: job.drop_kept(number, left=left, dropped=not dropped))
        made.setAccessibleName(f"{word} run {number}{' as left' if left else ''}")
        made.setMinimumHeight(0)
        self.setCellWidget(at, BUTTON_COLUMN, made)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        super().paintEvent(event)
        if not self._rows:
            painter = QPainter(self.viewport())
            painter.setPen(self.palette().placeholderText().color())
            words = "The runs you keep stand here, each with its error."
            painter.drawText(self.viewport().rect(), Qt.AlignmentFlag.AlignCenter, words)
            painter.end()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        self.setColumnHidden(LAPS_COLUMN, self.width() < LAPS_FROM_PX)
        self.setColumnHidden(TRUE_COLUMN, self.width() < TRUE_FROM_PX)
        super().resizeEvent(event)
        self.scrollToBottom()


Row = tuple[list[str], int, bool, bool]


def _rows(
    runs: Sequence[TakenRun],
    found: Mapping[str, Any],
    units: UnitSystem,
    step: float,
    *,
    left: bool,
) -> list[Row]:
    results = {result["run"]: result for result in found.get("runs", [])}
    rows: list[Row] = []
    for number, run in enumerate(runs, 1):
        result = None if run.dropped else results.get(str(number))
        name = f"{number}, left" if left else f"{number}"
        cells = [name, shown_text(run.shown, step), *_worked_out(run, result, units), laps_of(run)]
        rows.append((cells, number, left, run.dropped))
    return rows


def _worked_out(
    run: TakenRun, result: Mapping[str, Any] | None, units: UnitSystem
) -> tuple[str, str]:
    if run.dropped:
        return "–", "dropped"
    if result is None:
        return "…", "…"
    error = error_words(result) if result["used"] else f"left out: {result['note']}"
    return speed_number(result["true_mps"], units, 3), error

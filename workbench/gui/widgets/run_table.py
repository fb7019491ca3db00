"""The runs of a calibration, a row each, with its error once the answer is there."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from workbench.models.calibrate_job import CalibrateJob
from workbench.models.wording import speed_number
from workbench.units import UnitSystem, percent


class RunTable(QTableWidget):
    """Run, shown, true, error; runs as left below those as found."""

    def __init__(self) -> None:
        super().__init__(0, 4)
        self.verticalHeader().hide()
        self.setShowGrid(False)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.horizontalHeader().setStretchLastSection(True)
        self.horizontalHeader().setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Runs")

    def show_runs(self, job: CalibrateJob, units: UnitSystem) -> None:
        """Every run kept; '…' where its error is not worked out yet."""
        unit = job.machine.readout.unit if job.machine else "mph"
        head = ["Run", f"Shown, {unit}", f"True, {units.speed}", "Error ± U"]
        self.setHorizontalHeaderLabels(head)
        answer = job.answer or {}
        groups = (("", job.runs, answer), (" as left", job.left_runs, answer.get("as_left") or {}))
        rows = []
        for word, runs, found in groups:
            for at, run in enumerate(runs):
                results: list[dict[str, Any]] = found.get("runs", [])
                result = results[at] if at < len(results) else None
                rows.append([f"{at + 1}{word}", f"{run.shown:g}"])
                rows[-1] += _worked_out(result, units)
        self.setRowCount(len(rows))
        for at, cells in enumerate(rows):
            for column, text in enumerate(cells):
                self.setItem(at, column, QTableWidgetItem(text))
        self.scrollToBottom()


def _worked_out(result: dict[str, Any] | None, units: UnitSystem) -> list[str]:
    if result is None:
        return ["…", "…"]
    error = f"{percent(result['error'], 1, signed=True)} ± {200 * result['u_error']:.1f}"
    if not result["used"]:
        error = f"left out: {result['note']}"
    return [speed_number(result["true_mps"], units, 3), error]

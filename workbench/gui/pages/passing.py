"""The test pass, made for a cab: three numbers, the tapes, the plot, one large button."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QVBoxLayout,
    QWidget,
)

from workbench.calibration.decision import Verdict
from workbench.gui.theme import CAB_PX, GRID_PX, TEXT_PX, Theme, font
from workbench.gui.widgets.basics import Caution, VerdictPill, button, label, row
from workbench.gui.widgets.drift_plot import DriftPlot
from workbench.gui.widgets.pace_strip import PaceStrip
from workbench.gui.worker import Worker
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel
from workbench.models.pass_job import Cue, PassJob
from workbench.units import FOOT_M

CAUTION = (
    "Set this up while the tractor stands; do not operate it while driving. A passenger or a "
    "stop is needed to look at it. Keep everyone clear of the digger, guards in place. The "
    "machine's manual, local codes and qualified persons have the last word."
)
BEEPS = {Cue.IN_BAND: 0, Cue.OUT_OF_BAND: 2, Cue.LOST: 3}
"""Beeps in a row when a cue begins: in band is one at its beginning, then silence."""


class PassPage(QWidget):
    """Drives a pass, then shows what came of it."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job, self._pace = bench, PassJob(bench), PaceModel(bench)
        self._worker: Worker | None = None
        self._cue: Cue | None = None
        self._beeps_left = 0
        self._frames = 0
        self._numbers = {name: _big() for name in ("belt", "ground", "difference")}
        self._captions = {name: label(name, "soft", wrap=False) for name in self._numbers}
        self._strip, self._plot = PaceStrip(theme), DriftPlot(theme)
        self._pill = VerdictPill(theme)
        self._sentence = label("", "text")
        self._why = label("", "soft")
        self._start = button("Start pass (space)", self._start_or_stop, is_next=True)
        self._start.setMinimumHeight(8 * GRID_PX)
        self._save = button("Save report", self._ask_where)
        self._sound = button("", self._switch_sound)
        QShortcut(QKeySequence(Qt.Key.Key_Space), self).activated.connect(self._start.click)
        self._lay_out()
        self._show_answer(None)

    @property
    def job(self) -> PassJob:
        return self._job

    def set_theme(self, theme: Theme) -> None:
        self._strip.set_theme(theme)
        self._plot.set_theme(theme)
        self._pill.set_theme(theme)

    def refresh(self) -> None:
        units, pace = self._bench.settings.units, self._pace.now()
        for name, text in zip(self._numbers, self._job.numbers(), strict=True):
            if self._numbers[name].text() != text:
                self._numbers[name].setText(text)
            caption = f"{name}, {units.speed}"
            if self._captions[name].text() != caption:
                self._captions[name].setText(caption)
        self._strip.set_marks(1.0 if units.length == "m" else FOOT_M, units.length)
        self._strip.show_distances(
            pace.belt_m, pace.ground_m, belt_lost=pace.belt_lost, ground_lost=pace.ground_lost
        )
        self._frames += 1
        if self._job.running:
            self._job.look()
            self._sentence.setText(self._job.sentence())
            if self._frames % 6 == 0:
                self._plot.show_pass(self._job.history, self._job.limits, units)
            self._sound_cue()
        elif self._job.answer is None:
            self._sentence.setText(self._job.said or "Nothing is being judged yet.")
        sounds = "Sound on" if self._bench.settings.now.sounds else "Sound off"
        if self._sound.text() != sounds:
            self._sound.setText(sounds)

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(3 * GRID_PX, GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        column.setSpacing(GRID_PX)
        if "pass" not in self._bench.cautions_read:
            column.addWidget(Caution(CAUTION, lambda: self._bench.cautions_read.add("pass")))
        numbers = QHBoxLayout()
        for name, number in self._numbers.items():
            pair = QVBoxLayout()
            pair.setSpacing(0)
            pair.addWidget(number)
            pair.addWidget(self._captions[name], 0, Qt.AlignmentFlag.AlignHCenter)
            numbers.addLayout(pair, 1)
        column.addLayout(numbers)
        column.addWidget(self._strip)
        column.addWidget(self._plot, 1)
        column.addWidget(row(self._pill, self._sentence, stretch=False))
        column.addWidget(self._why)
        line = QHBoxLayout()
        line.setSpacing(2 * GRID_PX)
        line.addWidget(self._start, 1)
        line.addWidget(self._save)
        line.addWidget(self._sound)
        column.addLayout(line)

    def _start_or_stop(self) -> None:
        if not self._job.running:
            self._show_answer(None)
            self._job.start()
        else:
            number = self._job.stop()
            if number is not None:
                self._sentence.setText("The pass is kept; it is being judged from the record.")
                self._worker = Worker(
                    lambda: self._job.judge(number), self._show_answer, self._failed, self
                )
                self._worker.start()
        running = self._job.running
        self._start.setText("Stop pass (space)" if running else "Start pass (space)")

    def _show_answer(self, answer: dict[str, Any] | None) -> None:
        self._job.answer = answer
        self._pill.setVisible(answer is not None)
        self._save.setVisible(answer is not None)
        self._why.setVisible(answer is not None)
        self._plot.clear_marks()
        if answer is None:
            return
        self._pill.show_verdict(Verdict(answer["verdict"]))
        ratio = ""
        if math.isfinite(answer["ratio"]):
            ratio = f"Ratio belt ÷ ground {answer['ratio']:.3f} ± {answer['U_ratio']:.3f}: "
        self._sentence.setText(f"{ratio}{answer['reason']}.")
        causes = answer.get("causes") or []
        likely = [
            f"{cause['cause']} ({100 * cause['probability']:.0f} %): {cause['check_next']}"
            for cause in causes[:2]
        ]
        self._why.setText("  ".join(likely))

    def _failed(self, said: str) -> None:
        self._sentence.setText(said)

    def _ask_where(self) -> None:
        name, _ = QFileDialog.getSaveFileName(
            self, "Save the pass report", "pass.pdf", "Report (*.pdf *.html *.json)"
        )
        if name:
            self.save_report(Path(name))

    def save_report(self, path: Path) -> None:
        """Write the report of the pass just judged, away from the screen."""
        answer, machine = self._job.answer, self._bench.machine
        if answer is None:
            return

        def work() -> Path:
            from workbench.reports.document import render
            from workbench.reports.pass_report import pass_document

            render(pass_document(answer, machine), path)
            return path

        self._worker = Worker(
            work, lambda done: self._sentence.setText(f"Saved as {done.name}."), self._failed, self
        )
        self._worker.start()

    def _switch_sound(self) -> None:
        self._bench.settings.change(sounds=not self._bench.settings.now.sounds)

    def _sound_cue(self) -> None:
        """A number of beeps when the state changes: one in band, two out of band, three lost."""
        cue = self._job.cue()
        if cue is not None and cue is not self._cue:
            self._cue = cue
            self._beeps_left = BEEPS[cue] or 1
        if self._beeps_left and self._frames % 8 == 0:
            self._beeps_left -= 1
            if self._bench.settings.now.sounds:
                QApplication.beep()


def _big() -> QLabel:
    """A number to be read at arm's length and a half."""
    number = QLabel("–")
    number.setFont(font(CAB_PX, bold=True))
    number.setStyleSheet(f"font-size: {CAB_PX}px; font-weight: 600; min-width: {TEXT_PX}px;")
    number.setAlignment(Qt.AlignmentFlag.AlignHCenter)
    return number

"""The test pass, made for a cab: three numbers, the tapes, the plot, one large button."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.theme import CAB_PX, GRID_PX, TEXT_PX, Theme, font
from workbench.gui.widgets.basics import Caution, button, label, say
from workbench.gui.widgets.drift_plot import DriftPlot
from workbench.gui.widgets.pace_strip import PaceStrip
from workbench.gui.widgets.pass_answer import PassAnswer
from workbench.gui.worker import Worker
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel
from workbench.models.pass_job import Cue, PassJob
from workbench.units import FOOT_M, UnitSystem

CAUTION = (
    "Set this up while the tractor stands; do not operate it while driving. A passenger or a "
    "stop is needed to look at it. Keep everyone clear of the digger, guards in place. The "
    "machine's manual, local codes and qualified persons have the last word."
)
BEEPS = {Cue.IN_BAND: 1, Cue.OUT_OF_BAND: 2, Cue.LOST: 3}
"""Beeps in a row when a cue begins, then silence."""

BEEP_FRAMES, PLOT_FRAMES = 8, 6
"""A beep, and the plot, come once in so many frames."""

BIG = f"font-size: {CAB_PX}px; font-weight: 600; min-width: {TEXT_PX}px;"
LIVE, AFTER = 0, 1
IDLE = "Nothing is being judged. Start the pass once the digger runs straight."


class PassPage(QWidget):
    """Drives a pass, then shows what came of it."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job, self._pace = bench, PassJob(bench), PaceModel(bench)
        self._worker: Worker | None = None
        self._cue: Cue | None = None
        self._beeps_left = 0
        self._frames = 0
        self._units = bench.settings.units
        self._numbers = {name: _big() for name in ("belt", "ground", "difference")}
        self._captions = {name: label(name, "soft", wrap=False) for name in self._numbers}
        self._strip, self._plot = PaceStrip(theme), DriftPlot(theme)
        self._sentence = label("", "text")
        self._after = PassAnswer(theme)
        self._start = button("Start pass (space)", self._start_or_stop, is_next=True)
        self._start.setMinimumHeight(7 * GRID_PX)
        self._save = button("Save report", self._ask_where)
        self._sound = button("", self._switch_sound)
        self._space = QShortcut(QKeySequence(Qt.Key.Key_Space), self)
        self._space.activated.connect(self._start.click)
        self._caution = Caution(CAUTION, self._caution_read)
        self._pages = QStackedWidget()
        self._lay_out()
        self._show_answer(None)
        self.set_theme(theme)
        unread = "pass" not in bench.cautions_read
        self._caution.setVisible(unread)
        self._space.setEnabled(not unread)

    @property
    def job(self) -> PassJob:
        return self._job

    def set_theme(self, theme: Theme) -> None:
        colors = {"belt": theme.belt, "ground": theme.earth, "difference": theme.ink}
        for name, number in self._numbers.items():
            number.setStyleSheet(f"{BIG} color: {colors[name]};")
        self._strip.set_theme(theme)
        self._plot.set_theme(theme)
        self._after.set_theme(theme)

    def refresh(self) -> None:
        units = self._bench.settings.units
        self._frames += 1
        if units is not self._units:
            self._units = units
            self._after.use_units(units)
        if self._job.running:
            self._job.look()
            self._sound_cue()
        if self._pages.currentIndex() == LIVE:
            self._show_live(units)
        say(self._sound, "Sound on" if self._bench.settings.now.sounds else "Sound off")
        self._show_buttons()

    def _show_live(self, units: UnitSystem) -> None:
        pace = self._pace.now()
        for name, text in zip(self._numbers, self._job.numbers(), strict=True):
            say(self._numbers[name], text)
            say(self._captions[name], f"{name}, {units.speed}")
        self._strip.set_marks(1.0 if units.length == "m" else FOOT_M, units.length)
        self._strip.show_distances(
            pace.belt_m, pace.ground_m, belt_lost=pace.belt_lost, ground_lost=pace.ground_lost
        )
        if self._job.running:
            say(self._sentence, self._job.sentence())
            if self._frames % PLOT_FRAMES == 0:
                self._plot.show_pass(self._job.history, self._job.limits, units)
        elif not self._judging:
            say(self._sentence, self._job.said or IDLE)

    @property
    def _judging(self) -> bool:
        return self._worker is not None and self._worker.isRunning()

    def _show_buttons(self) -> None:
        running = self._job.running
        words = "Stop pass (space)" if running else "Start pass (space)"
        say(self._start, words)
        read = self._caution.isHidden()
        self._start.setEnabled(read and not self._judging)

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(3 * GRID_PX, GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        column.setSpacing(GRID_PX)
        column.addWidget(self._caution)
        live = QWidget()
        inner = QVBoxLayout(live)
        inner.setContentsMargins(0, 0, 0, 0)
        inner.setSpacing(GRID_PX)
        numbers = QHBoxLayout()
        numbers.setSpacing(GRID_PX)
        # The difference has a sign before it and needs the room for it.
        for (name, number), share in zip(self._numbers.items(), (3, 3, 4), strict=True):
            pair = QVBoxLayout()
            pair.setSpacing(0)
            pair.addWidget(number)
            pair.addWidget(self._captions[name])
            numbers.addLayout(pair, share)
        inner.addLayout(numbers)
        inner.addWidget(self._strip)
        inner.addWidget(self._plot, 1)
        inner.addWidget(self._sentence)
        self._pages.addWidget(live)
        self._pages.addWidget(self._after)
        column.addWidget(self._pages, 1)
        line = QHBoxLayout()
        line.setSpacing(2 * GRID_PX)
        line.addWidget(self._start, 1)
        line.addWidget(self._save)
        line.addWidget(self._sound)
        column.addLayout(line)

    def _caution_read(self) -> None:
        self._bench.cautions_read.add("pass")
        self._space.setEnabled(True)
        self._plot.show()
        self._show_buttons()
        self._start.setFocus()

    def _start_or_stop(self) -> None:
        if not self._job.running:
            self._show_answer(None)
            self._cue = None
            self._job.start()
        else:
            number = self._job.stop()
            if number is None:
                self._sentence.setText(f"The pass could not be kept. {self._job.said}")
            else:
                self._sentence.setText("The pass is kept; it is being judged from the record.")
                self._worker = Worker(
                    lambda: self._job.judge(number), self._show_answer, self._failed, self
                )
                self._worker.start()
        self._show_buttons()

    def _show_answer(self, answer: dict[str, Any] | None) -> None:
        self._job.answer = answer
        self._save.setVisible(answer is not None)
        self._plot.setVisible(self._caution.isHidden() or "pass" in self._bench.cautions_read)
        self._pages.setCurrentIndex(LIVE if answer is None else AFTER)
        if answer is not None:
            self._after.show_answer(answer, self._bench.settings.units)
            self._start.setEnabled(True)
            self._start.setFocus()

    def _failed(self, said: str) -> None:
        self._job.said = said
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

            return Path(render(pass_document(answer, machine), path))

        said = self._after.sentence.setText
        self._worker = Worker(work, lambda done: said(f"Saved as {done.name}."), said, self)
        self._worker.start()

    def _switch_sound(self) -> None:
        self._bench.settings.change(sounds=not self._bench.settings.now.sounds)

    def _sound_cue(self) -> None:
        """A number of beeps when the state changes: one in band, two out of band, three lost."""
        cue = self._job.cue()
        if cue is not None and cue is not self._cue:
            self._cue = cue
            self._beeps_left = BEEPS[cue]
        if self._beeps_left and self._frames % BEEP_FRAMES == 0:
            self._beeps_left -= 1
            if self._bench.settings.now.sounds:
                QApplication.beep()


def _big() -> QLabel:
    """A number to be read at arm's length and a half."""
    number = QLabel("–")
    number.setFont(font(CAB_PX, bold=True))
    number.setFixedHeight(CAB_PX + GRID_PX)
    return number

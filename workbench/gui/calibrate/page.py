"""The calibration: runs against a reference, the error, the new setting, the certificate."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QHideEvent, QKeySequence, QShortcut, QShowEvent
from PySide6.QtWidgets import (
    QApplication,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from workbench.base.cautions import Caution
from workbench.base.errors import WrongInput
from workbench.gui.answers.file_view import FileView
from workbench.gui.calibrate.answer import AnswerStrip
from workbench.gui.calibrate.certificate import CertificateView
from workbench.gui.calibrate.run_panel import RunPanel
from workbench.gui.calibrate.run_table import RunTable
from workbench.gui.parts.basics import CautionCard, button, label, say
from workbench.gui.parts.keys import space_for, undo_for
from workbench.gui.parts.layout import Pages, column_of, line_of, scrolled
from workbench.gui.parts.rehearse import RehearseButton
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.gui.work_line import WorkLine
from workbench.models.bench import Bench
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.runs import Reference
from workbench.models.calibrate.store import Worked, warm_up
from workbench.models.calibrate.words import STEPS, NextStep, next_step
from workbench.models.rehearsal import Rehearsal
from workbench.words.language import N_, _
from workbench.words.pictures.calibrate import ALLOWED, error_picture
from workbench.words.words import Words

PANEL_PX = 47 * GRID_PX
CHOICES = (
    (N_("laps of the belt"), Reference.LAPS, False),
    (N_("laps, marked by hand"), Reference.LAPS, True),
    (N_("digit flips on a slow ramp"), Reference.FLIPS, False),
    (N_("another instrument"), Reference.READING, False),
)
"""What the true speed is taken from, as the person chooses it; laps are counted by a lap
pickup where there is one."""

TITLE = N_("Is the readout right?")


class _Column(QVBoxLayout):
    """A column that takes the height there is: its parts give way or can be scrolled. Else a
    page with wrapped sentences would ask for the height at which nothing need give way."""

    def hasHeightForWidth(self) -> bool:  # noqa: N802
        return False


class CalibratePage(QWidget):
    """Drives a calibration from the first run to the certificate."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench = bench
        self._works, self._drafts = WorkLine(self), WorkLine(self)
        self._job = CalibrateJob(bench, self._keep_draft)
        self._computed, self._said = -1, ""
        self._step = NextStep.MARK
        self._units = bench.settings.units
        self._answer = AnswerStrip(theme)
        self._plot = Plot(theme, _("Error of the readout against belt speed"))
        self._table = RunTable()
        self._references, self._wanted = QComboBox(), QLineEdit()
        self._panel = RunPanel(bench, self._job, theme, self._keep_run, self._space)
        self._undo = button("", self._take_back)
        self._drop = button("Drop run", self._drop_run)
        self._rehearse = RehearseButton(bench)
        self._anew = button("Start anew", self._start_anew)
        self._show_paper = button("Certificate …", self.show_certificate)
        self._use = button("Use this setting", self._job.use_new_setting)
        self._finish = button("Keep result", self._keep_result)
        self.paper = CertificateView(bench, self._job, self._works)
        self.file = FileView(bench, theme, self._works, "calibrate")
        self._open = button("Open file", self.file.ask)
        self._intro, self._body = QWidget(), QWidget()
        self._stack = Pages()
        self._lay_out()
        self._set_keys()
        self.paper.closed.connect(self._back)
        self.file.closed.connect(self._back)
        self.file.opened.connect(lambda: self._stack.setCurrentWidget(self.file))
        self._unsubscribe = self._job.subscribe(self._changed)
        for end in (self._works.wait, self._drafts.wait, self._job.close):
            self.destroyed.connect(end)
        self._skip_caution()
        self._changed()

    @property
    def job(self) -> CalibrateJob:
        return self._job

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        self._skip_caution()
        self.setFocus()  # so that the one key works at once

    def hideEvent(self, event: QHideEvent) -> None:  # noqa: N802
        super().hideEvent(event)
        self._job.flush()

    def refresh(self) -> None:
        self._panel.refresh()
        flips, job = self._job.state.reference is Reference.FLIPS, self._job
        rehearsal = Rehearsal.RAMP if flips else Rehearsal.CALIBRATION
        anew = not (job.running or job.ramping or job.runs or job.state.ramp is not None)
        self._rehearse.offer(rehearsal, idle=anew)
        if self._units is not self._bench.settings.units:
            self._units = self._bench.settings.units
            self._changed()
            self.paper.draw()
            self.file.use_units()
        if self._computed != self._job.version and not self._works.busy:
            self._work_out(keep=False)

    # Layout.

    def _lay_out(self) -> None:
        column = _Column(self)
        column.setContentsMargins(3 * GRID_PX, GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        column.addWidget(self._stack, 1)
        column.addWidget(WorkBar(self._works))
        for part in (self._intro, self._body, self.paper, self.file):
            self._stack.addWidget(part)
        self._lay_out_intro()
        inside = column_of(self._head(), on=self._body)
        middle, side = QHBoxLayout(), QVBoxLayout()
        middle.setSpacing(3 * GRID_PX)
        middle.addWidget(self._room_for_panel(), 4)
        side.setSpacing(GRID_PX)
        side.addWidget(self._plot, 3)
        side.addWidget(self._table, 2)
        middle.addLayout(side, 5)
        inside.addLayout(middle, 1)
        inside.addWidget(self._answer)
        ends = (self._open, self._anew, self._show_paper, self._use, self._finish)
        inside.addLayout(line_of(self._undo, self._drop, self._rehearse, 1, *ends))

    def _room_for_panel(self) -> QScrollArea:
        """On the smallest window the panel can be scrolled: nothing is cut."""
        room = scrolled(self._panel, in_turn=False)
        room.setMinimumWidth(PANEL_PX)
        return room

    def _lay_out_intro(self) -> None:
        column = column_of(on=self._intro, gap=3 * GRID_PX)
        read, running = self._bench.cautions_read, Caution.WITH_THE_BELT_RUNNING
        self._caution = caution = CautionCard(running, read, self._caution_read)
        caution.understood.setProperty("role", "next")
        column.addWidget(label(TITLE, "title", wrap=False))
        column.addWidget(caution)
        column.addWidget(label("How it goes", "title", wrap=False))
        steps = QGridLayout()
        steps.setColumnStretch(1, 1)
        steps.setSpacing(2 * GRID_PX)
        for number, words in enumerate(STEPS, 1):
            top = Qt.AlignmentFlag.AlignTop
            steps.addWidget(label(f"{number}", "text", wrap=False), number, 0, top)
            steps.addWidget(label(words, "text"), number, 1)
        column.addLayout(steps)
        column.addStretch(1)

    def _head(self) -> QHBoxLayout:
        for words, *_kind in CHOICES:
            self._references.addItem(_(words))
        self._references.setMinimumHeight(TOUCH_PX)
        self._references.setAccessibleName(_("What the true speed is taken from"))
        self._references.activated.connect(self._use_reference)
        self._wanted.setMinimumHeight(TOUCH_PX)
        self._wanted.setFixedWidth(8 * GRID_PX)
        self._wanted.setText(f"{100 * self._job.wanted_U_rel:g}")
        self._wanted.setAccessibleName(_("Uncertainty wanted of the true speed, in per cent"))
        self._wanted.editingFinished.connect(self._ask_for)
        before, after = label("within ±", wrap=False), label("%", wrap=False)
        before.setBuddy(self._wanted)
        return line_of(
            (label(TITLE, "title", wrap=False), 1),
            self._references,
            before,
            self._wanted,
            after,
            gap=GRID_PX,
        )

    def _set_keys(self) -> None:
        space_for(self, self._table, *self._panel.fields, do=self._space)
        undo_for(self, *self._panel.fields, do=self._take_back)
        QShortcut(QKeySequence.StandardKey.Undo, self).activated.connect(self._take_back)
        for key, up in ((Qt.Key.Key_Up, True), (Qt.Key.Key_Down, False)):
            arrow = QShortcut(QKeySequence(key), self)
            arrow.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            arrow.activated.connect(lambda up=up: self._panel.flip(up=up))
            arrow.setEnabled(False)
            self._panel.arrows.append(arrow)

    # What the person does.

    def _caution_read(self) -> None:
        self._begin()
        self._panel.next.setFocus()

    def _skip_caution(self) -> None:
        """Where it was read on another page."""
        if self._caution.is_read and self._stack.currentWidget() is self._intro:
            self._begin()

    def _begin(self) -> None:
        """From the caution to the calibration."""
        self._stack.setCurrentWidget(self._body)
        self._works.add(partial(warm_up, self._bench.store), lambda _done: None, self._say)

    def _use_reference(self) -> None:
        _words, reference, by_hand = CHOICES[self._references.currentIndex()]
        self._job.use_reference(reference)
        self._job.count_by_hand(by_hand)

    def _ask_for(self) -> None:
        try:
            self._job.ask_for(self._wanted.text())
        except WrongInput as error:
            self._say(Words().say(error))
            self._wanted.setText(f"{100 * self._job.wanted_U_rel:g}")

    def _space(self) -> None:
        """The one key: the mark of a lap, or the beginning and end of a ramp."""
        job = self._job
        if self._stack.currentWidget() is not self._body:
            return
        if job.state.reference is Reference.READING:
            self._keep_run()
        elif job.state.reference is Reference.FLIPS:
            job.stop_ramp() if job.ramping else job.start_ramp()
        elif job.state.counting:
            return
        elif job.counts_itself and not job.state.marks_s:
            job.start_counting()
        else:
            job.mark()

    def open_files(self, paths: Sequence[Path]) -> None:
        """A run table, or a recording with what the readout showed meanwhile."""
        self.file.open_files(paths)

    def _keep_run(self) -> None:
        try:
            self._job.keep_run(*self._panel.typed())
        except WrongInput as error:
            self._panel.complain(Words().say(error))
            return
        self._panel.clear()

    def _take_back(self) -> None:
        self._panel.complain("")
        self._job.undo()

    def _drop_run(self) -> None:
        self._panel.complain("")
        self._job.drop_run()

    def _start_anew(self) -> None:
        self._job.start_anew()

    def _keep_result(self) -> None:
        self._work_out(keep=True)

    # The answer.

    def _work_out(self, *, keep: bool) -> None:
        self._computed = version = self._job.version
        work = self._job.answer_work(keep=keep)
        if work is None:
            self._job.worked_out(None, version)
        else:
            self._works.add(work, partial(self._worked_out, version), self._failed)

    def _worked_out(self, version: int, worked: Worked) -> None:
        answer, kept = worked
        self._said = Words().say(kept.trouble) if kept.trouble else ""
        if kept.number is not None and version == self._job.version:
            self._said = _("Kept as result {number}.").format(number=kept.number)
            self.paper.show_said(kept.number, kept.said)
        self._job.worked_out(answer, version, kept.number)

    def _failed(self, said: str) -> None:
        self._said = said
        self._job.answer = None
        self._changed()

    def _say(self, said: str) -> None:
        self._said = said
        self._changed()

    def _keep_draft(self, work: Any) -> None:
        self._drafts.add(work, lambda _done: None, self._say)

    def _changed(self) -> None:
        """Show the job as it is: the answer so far, the runs, what can be done next."""
        job, machine, units = self._job, self._bench.machine, self._bench.settings.units
        answer, words = job.answer, Words(units)
        pending = self._computed != job.version or (self._works.busy and answer is None)
        pending = pending and (bool(job.runs) or job.state.ramp is not None)
        if job.said and self._said != job.said:
            self._said = ""
        self._panel.show_job()
        self._table.show_runs(job, words)
        tell_simulated(self._plot, bool(answer and answer.simulated))
        limit = machine.limits.readout_error if machine else ALLOWED
        self._plot.show_picture(error_picture(answer, limit), units)
        self._answer.show_job(job, words, pending, self._said)
        chosen = job.state.reference, job.by_hand and job.state.reference is Reference.LAPS
        self._references.setCurrentIndex([choice[1:] for choice in CHOICES].index(chosen))
        used, kept = job.state.setting_used, job.state.result is not None and answer is not None
        self._undo.setVisible(bool(job.undo_word))
        say(self._undo, _("Undo {step}").format(step=job.undo_word).strip())
        idle = not job.running
        self._drop.setVisible(job.running)
        self._open.setVisible(idle and not job.runs and job.state.ramp is None)
        self._finish.setVisible(idle and answer is not None and not kept)
        self._use.setVisible(idle and bool(answer and answer.has_new_setting) and not used)
        self._show_paper.setVisible(idle and kept)
        self._anew.setVisible(idle and (bool(job.runs) or job.state.ramp is not None))
        self._fill_next()

    def _fill_next(self) -> None:
        """One filled button: the next step; it has the focus when it becomes that."""
        step = next_step(self._job)
        buttons = {
            NextStep.MARK: self._panel.next,
            NextStep.KEEP_RUN: self._panel.keep,
            NextStep.KEEP_RESULT: self._finish,
            NextStep.USE_SETTING: self._use,
            NextStep.CERTIFICATE: self._show_paper,
        }
        for its, one in buttons.items():
            _fill(one, filled=step is its)
        if step is not self._step:
            self._step = step
            self._focus(self._panel.fields[0] if step is NextStep.KEEP_RUN else buttons[step])

    def _focus(self, widget: QWidget) -> None:
        """Move the focus there, unless the person is typing or elsewhere."""
        now = QApplication.focusWidget()
        here = now is None or self.isAncestorOf(now)
        typing = isinstance(now, QLineEdit) and bool(now.text()) and now.isVisible()
        if here and not typing and self._stack.currentWidget() is self._body:
            widget.setFocus()

    # The certificate.

    def show_certificate(self) -> None:
        """The certificate of the result kept, as it will be printed."""
        if self._job.state.result is not None:
            self._stack.setCurrentWidget(self.paper)
            self.paper.draw()
            self.paper.save.setFocus()

    def _back(self) -> None:
        read = self._caution.is_read
        self._stack.setCurrentWidget(self._body if read else self._intro)
        (self._panel.next if read else self._caution.understood).setFocus()


def _fill(one: QPushButton, *, filled: bool) -> None:
    """Dress a button as the next step, or as one of the others."""
    role = "next" if filled else ""
    if one.property("role") != role:
        one.setProperty("role", role)
        one.style().unpolish(one)
        one.style().polish(one)

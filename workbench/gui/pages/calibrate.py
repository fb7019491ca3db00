"""The calibration: runs against a reference, the error, the new setting, the certificate."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QComboBox, QFileDialog, QHBoxLayout, QVBoxLayout, QWidget

from workbench.calibration.decision import Verdict
from workbench.calibration.gap.caution import WITH_THE_BELT_RUNNING
from workbench.errors import WrongInput
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.gui.widgets.basics import Caution, VerdictPill, button, label, row
from workbench.gui.widgets.error_plot import ErrorPlot
from workbench.gui.widgets.keys import space_for
from workbench.gui.widgets.run_panel import RunPanel
from workbench.gui.widgets.run_table import RunTable
from workbench.gui.work_line import Done, Work, WorkLine
from workbench.models.bench import Bench
from workbench.models.calibrate_job import CalibrateJob, Reference
from workbench.models.calibrate_store import save_certificate
from workbench.units import METRIC

CAUTION_KEY = "belt running"


class CalibratePage(QWidget):
    """Drives a calibration from the first run to the certificate."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, CalibrateJob(bench)
        self._works = WorkLine(self)
        self._stale = False
        self._units = bench.settings.units
        self._pill, self._sentence = VerdictPill(theme), label("", "text")
        self._setting, self._setting_unit = label("", "title", wrap=False), label("", "soft")
        self._said = label("", "soft")
        self._plot, self._table = ErrorPlot(theme), RunTable()
        self._references = QComboBox()
        self._references.setMinimumHeight(TOUCH_PX)
        self._references.setAccessibleName("What the true speed is taken from")
        for reference in Reference:
            self._references.addItem(reference.value, reference)
        self._references.activated.connect(self._use_reference)
        self._panel = RunPanel(bench, self._job, self._keep_run, self._space)
        self._finish = button("Keep result", self._keep_result)
        self._use = button("Use this setting", self._use_setting)
        self._save = button("Save certificate", self._ask_where)
        self._anew = button("Start anew", self._start_anew)
        self._body = QWidget()
        self._lay_out()
        space_for(self, self._table, *self._panel.fields, do=self._space)
        if CAUTION_KEY in bench.cautions_read:
            self.setFocusProxy(self._panel.next)
        for key, up in ((Qt.Key.Key_Up, True), (Qt.Key.Key_Down, False)):
            arrow = QShortcut(QKeySequence(key), self)
            arrow.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            arrow.activated.connect(lambda up=up: self._panel.flip(up=up))
            arrow.setEnabled(False)
            self._panel.arrows.append(arrow)
        self._unsubscribe = self._job.subscribe(self._changed)
        self.destroyed.connect(self._works.wait)
        self.destroyed.connect(self._job.close)
        self._changed()

    @property
    def job(self) -> CalibrateJob:
        return self._job

    def set_theme(self, theme: Theme) -> None:
        self._pill.set_theme(theme)
        self._plot.set_theme(theme)

    def refresh(self) -> None:
        self._panel.refresh()
        if self._units is not self._bench.settings.units:
            self._units = self._bench.settings.units
            self._changed()
        if self._stale and not self._works.busy:
            self._stale = False
            self._preview()

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(3 * GRID_PX, GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        column.setSpacing(GRID_PX)
        if CAUTION_KEY not in self._bench.cautions_read:
            self._body.hide()
            column.addWidget(Caution(WITH_THE_BELT_RUNNING, self._caution_read))
        column.addWidget(self._body, 1)
        column.addStretch(0)
        inside = QVBoxLayout(self._body)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(GRID_PX)
        head = QHBoxLayout()
        head.addWidget(label("Does the readout tell the truth?", "title", wrap=False), 1)
        head.addWidget(self._references)
        inside.addLayout(head)
        middle = QHBoxLayout()
        middle.setSpacing(3 * GRID_PX)
        middle.addWidget(self._panel, 4)
        side = QVBoxLayout()
        side.setSpacing(GRID_PX)
        side.addWidget(self._plot, 3)
        side.addWidget(self._table, 2)
        middle.addLayout(side, 5)
        inside.addLayout(middle, 1)
        inside.addWidget(row(self._pill, self._sentence, stretch=False))
        inside.addWidget(self._said)
        ends = QHBoxLayout()
        ends.setSpacing(2 * GRID_PX)
        ends.addWidget(self._setting)
        ends.addWidget(self._setting_unit, 1)
        for one in (self._finish, self._use, self._save, self._anew):
            ends.addWidget(one)
        inside.addLayout(ends)

    def _caution_read(self) -> None:
        self._bench.cautions_read.add(CAUTION_KEY)
        self._body.show()
        self.setFocusProxy(self._panel.next)
        self._panel.next.setFocus()

    def _use_reference(self) -> None:
        self._job.use_reference(Reference(self._references.currentData()))

    def _space(self) -> None:
        """The one key: the mark of a lap, or the beginning and end of a ramp."""
        if self._body.isHidden():
            return
        if self._job.reference is Reference.LAPS:
            self._job.mark()
        elif self._job.reference is Reference.READING:
            self._keep_run()
        elif self._job.ramping:
            number = self._job.stop_ramp()
            if number is not None:
                self._run(self._job.ramp_work(number), self._kept)
        else:
            self._job.start_ramp()

    def _keep_run(self) -> None:
        try:
            self._job.keep_run(*self._panel.typed())
        except WrongInput as error:
            self._panel.complain(str(error))
            return
        self._panel.clear()
        self._stale = True

    def _preview(self) -> None:
        work = self._job.preview_work()
        if work is None:
            self._show_answer(None)
        else:
            self._run(work, self._show_answer)

    def _keep_result(self) -> None:
        try:
            self._run(self._job.keep_work(), self._kept)
        except WrongInput as error:
            self._failed(str(error))

    def _kept(self, answer: dict[str, Any]) -> None:
        self._show_answer(answer)
        self._said.setText(f"Kept as result {answer['result']}.")

    def _use_setting(self) -> None:
        self._job.use_new_setting()

    def _start_anew(self) -> None:
        self._job.start_anew()
        self._show_answer(None)

    def _run(self, work: Work, done: Done) -> None:
        self._said.setText("Working it out …")
        self._works.add(work, done, self._failed)

    def _failed(self, said: str) -> None:
        self._said.setText(said)

    def _show_answer(self, answer: dict[str, Any] | None) -> None:
        self._job.answer = answer
        self._job.said = ""
        self._job.changed()

    def _changed(self) -> None:
        """Show the job as it is: the answer so far, the runs, what can be done next."""
        job, machine, units = self._job, self._bench.machine, self._bench.settings.units
        answer = job.answer
        last = (answer.get("as_left") or answer) if answer else None
        self._panel.show_job()
        self._table.show_runs(job, units)
        self._plot.show_answer(answer, machine.limits.readout_error if machine else 0.02, units)
        self._pill.setVisible(last is not None)
        if last is not None:
            self._pill.show_verdict(Verdict(last["verdict"]))
            self._sentence.setText(last["sentence"])
            self._said.setText(job.said or " ".join([last["advice"], *last["warnings"][:1]]))
        else:
            self._sentence.setText("The answer stands here after the first run.")
            self._said.setText(job.said or "Three or more runs at different speeds are best.")
        has_new = answer is not None and answer["setting_new"] == answer["setting_new"]
        self._setting.setText(f"Set {answer['setting_new']:g}" if answer and has_new else "")
        self._setting_unit.setText(_setting_words(answer) if answer and has_new else "")
        kept = answer is not None and "result" in answer
        self._finish.setVisible(answer is not None and not kept)
        self._use.setVisible(has_new and not job.new_setting_used)
        self._save.setVisible(kept)
        self._anew.setVisible(answer is not None)

    def _ask_where(self) -> None:
        name, _ = QFileDialog.getSaveFileName(
            self, "Save the certificate", "certificate.pdf", "Certificate (*.pdf *.html *.json)"
        )
        if name:
            self.save_certificate(Path(name))

    def save_certificate(self, path: Path) -> None:
        """Write the certificate of the result kept, away from the screen."""
        answer = self._job.answer
        if answer is None or "result" not in answer:
            return
        number, store = answer["result"], self._bench.store
        typed = {"units": "metric" if self._bench.settings.units is METRIC else "us"}
        self._run(
            lambda: save_certificate(number, path, store, typed),
            self._saved,
        )

    def _saved(self, path: Path) -> None:
        self._said.setText(f"Saved as {path.name}.")


def _setting_words(answer: dict[str, Any]) -> str:
    return f"{answer['setting_unit']}\nin place of {answer['setting_now']:g}".strip()

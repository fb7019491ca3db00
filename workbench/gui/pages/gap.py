"""The gap: feeler readings round the wheel, the teeth by their pulses, the report."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QVBoxLayout,
    QWidget,
)

from workbench.calibration.decision import Verdict
from workbench.calibration.gap.caution import AT_THE_WHEEL, WITH_THE_BELT_RUNNING
from workbench.errors import BenchError, WrongInput
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.gui.widgets.basics import Caution, VerdictPill, button, label, row
from workbench.gui.widgets.wheel import Wheel
from workbench.gui.work_line import Done, Work, WorkLine
from workbench.models.bench import Bench
from workbench.models.gap_job import GapJob
from workbench.models.gap_store import save_gap_report
from workbench.models.gap_words import feeler_sentence, wheel_sentence

CAUTION_KEY, RUN_KEY = "at the wheel", "belt running"


class GapPage(QWidget):
    """Drives a gap check of one pickup or of a whole list."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, GapJob(bench)
        self._works = WorkLine(self)
        self._frames, self._units = 0, bench.settings.units
        self._wheel, self._pill = Wheel(theme), VerdictPill(theme)
        self._sentence, self._said = label("", "text"), label("", "soft")
        self._name, self._angle, self._gap = QLineEdit(), QLineEdit(), QLineEdit()
        self._gap_name = label("", wrap=False)
        self._error = label("", "error")
        self._list = QListWidget()
        self._list.setAccessibleName("Pickups of the list")
        self._list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._list.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self._list.setStyleSheet("QListWidget::item { min-height: 36px; }")
        self._list.currentRowChanged.connect(self._chosen)
        self._take = button("Take reading (Enter)", self._read, is_next=True)
        self._undo = button("Undo", self._job.undo)
        self._undo.setAccessibleName("Undo the last reading")
        self._add = button("Add pickup", self._add_pickup)
        self._keep = button("Keep result", self._keep_result)
        self._save = button("Save report", self._ask_where)
        self._steady = button("Start tooth run", lambda: self._start_run(drop_out=False))
        self._drop = button("Start drop-out run", lambda: self._start_run(drop_out=True))
        self._body = QWidget()
        self._run_caution = Caution(WITH_THE_BELT_RUNNING, self._run_caution_read)
        self._lay_out()
        self._job.subscribe(self._changed)
        self.destroyed.connect(self._works.wait)
        self.destroyed.connect(self._job.close)
        self._changed()

    @property
    def job(self) -> GapJob:
        return self._job

    def set_theme(self, theme: Theme) -> None:
        self._wheel.set_theme(theme)
        self._pill.set_theme(theme)

    def refresh(self) -> None:
        if self._units is not self._bench.settings.units:
            self._units = self._bench.settings.units
            self._changed()
        self._frames += 1
        # Folding the teeth once a second is enough to watch them settle.
        if self._job.running and self._frames % 30 == 0:
            late, turns = self._job.signature()
            self._wheel.show_teeth(late.tolist(), {}, marked=False)
            left_s = self._job.seconds_left()
            more = f", {left_s:.0f} s more would do" if left_s > 0 else ": enough"
            if self._job.drop_out:
                more = "; slow the belt evenly until the readout loses pulses"
            self._sentence.setText(f"{turns:.0f} turns seen{more}.")

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(3 * GRID_PX, GRID_PX, 3 * GRID_PX, 2 * GRID_PX)
        column.setSpacing(GRID_PX)
        if CAUTION_KEY not in self._bench.cautions_read:
            self._body.hide()
            column.addWidget(Caution(AT_THE_WHEEL, self._caution_read))
        self._run_caution.hide()
        column.addWidget(self._run_caution)
        column.addWidget(self._body, 1)
        column.addStretch(0)
        inside = QVBoxLayout(self._body)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(GRID_PX)
        inside.addWidget(label("Is the pickup's gap right all the way round?", "title"))
        middle = QHBoxLayout()
        middle.setSpacing(3 * GRID_PX)
        middle.addLayout(self._entries(), 4)
        middle.addWidget(self._wheel, 5)
        inside.addLayout(middle, 1)
        inside.addWidget(row(self._pill, self._sentence, stretch=False))
        inside.addWidget(self._said)
        ends = QHBoxLayout()
        ends.setSpacing(2 * GRID_PX)
        for one in (self._steady, self._drop, button("Open table", self._ask_table)):
            ends.addWidget(one)
        ends.addStretch(1)
        for one in (self._keep, self._save):
            ends.addWidget(one)
        inside.addLayout(ends)

    def _entries(self) -> QVBoxLayout:
        column = QVBoxLayout()
        column.setSpacing(GRID_PX)
        for entry, words in (
            (self._name, "Pickup"),
            (self._angle, "Angle from the mark, degrees"),
            (self._gap, "Gap, as 1/16, 0.062 in or 1.6 mm"),
        ):
            entry.setMinimumHeight(TOUCH_PX)
            entry.setAccessibleName(words)
        self._name.editingFinished.connect(self._rename)
        self._angle.returnPressed.connect(self._gap.setFocus)
        self._gap.returnPressed.connect(self._read)
        column.addWidget(self._name)
        two = QHBoxLayout()
        two.setSpacing(GRID_PX)
        angle_name = label("Angle, °", wrap=False)
        for caption, field in ((angle_name, self._angle), (self._gap_name, self._gap)):
            caption.setBuddy(field)
            two.addWidget(caption)
            two.addWidget(field, 1)
        column.addLayout(two)
        self._error.hide()
        column.addWidget(self._error)
        take = QHBoxLayout()
        take.setSpacing(GRID_PX)
        take.addWidget(self._take, 1)
        take.addWidget(self._undo)
        column.addLayout(take)
        column.addWidget(self._list, 1)
        before = button("Previous", self._job.previous)
        after = button("Next", self._job.next)
        before.setAccessibleName("Previous pickup")
        after.setAccessibleName("Next pickup")
        column.addWidget(row(before, after, self._add))
        return column

    def _caution_read(self) -> None:
        self._bench.cautions_read.add(CAUTION_KEY)
        self._body.show()
        self._gap.setFocus()

    def _run_caution_read(self) -> None:
        self._bench.cautions_read.add(RUN_KEY)
        self._body.show()
        self._said.setText("Start the run again now.")

    def _complain(self, said: str) -> None:
        self._error.setText(said)
        self._error.setVisible(bool(said))

    def _read(self) -> None:
        try:
            self._job.read(self._angle.text(), self._gap.text())
        except WrongInput as error:
            self._complain(str(error))
            return
        self._gap.clear()
        self._angle.setText(f"{self._job.next_angle_deg():g}")
        self._gap.setFocus()

    def _rename(self) -> None:
        entry = self._job.pickups.current
        if entry is None or self._name.text().strip() == entry.pickup.name:
            return
        try:
            self._job.name_pickup(self._name.text())
        except WrongInput as error:
            self._complain(str(error))

    def _add_pickup(self) -> None:
        number = len(self._job.pickups.entries) + 1
        while any(e.pickup.name == f"Pickup {number}" for e in self._job.pickups.entries):
            number += 1
        self._job.add_pickup(f"Pickup {number}")
        self._name.setFocus(Qt.FocusReason.TabFocusReason)
        self._name.selectAll()

    def _chosen(self, at: int) -> None:
        if at >= 0 and at != self._job.pickups.at:
            self._job.pickups.at = at
            self._job.changed()

    def _start_run(self, *, drop_out: bool) -> None:
        if self._job.running:
            number = self._job.stop_run()
            if number is not None:
                self._run(self._job.judge_work(number), self._kept)
        elif RUN_KEY not in self._bench.cautions_read:
            self._body.hide()
            self._run_caution.show()
        else:
            self._job.start_run(drop_out=drop_out)

    def _keep_result(self) -> None:
        try:
            self._run(self._job.keep_work(), self._kept)
        except WrongInput as error:
            self._failed(str(error))

    def _kept(self, answer: dict[str, Any]) -> None:
        self._job.answer = answer
        self._job.said = f"Kept as result {answer['result']}." if "result" in answer else ""
        self._job.changed()

    def _failed(self, said: str) -> None:
        self._job.said = said
        self._job.changed()

    def _run(self, work: Work, done: Done) -> None:
        self._said.setText("Working it out …")
        self._works.add(work, done, self._failed)

    def _ask_table(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "Open a gap table", "", "Gap table (*.csv)")
        if name:
            self.open_table(Path(name))

    def open_table(self, path: Path) -> None:
        """A gap table as the list of pickups; a wrong one says what is wrong with it."""
        from workbench.cli.gap_tables import table_text

        try:
            text = table_text(str(path))
            if text is None:
                raise WrongInput(f"{path.name}: expected a table pickup,angle_deg,gap_m.")
            self._job.open_table(text, path.name)
        except BenchError as error:
            self._complain(str(error))

    def _ask_where(self) -> None:
        name, _ = QFileDialog.getSaveFileName(
            self, "Save the gap report", "gap.pdf", "Report (*.pdf *.html *.json)"
        )
        if name:
            self.save_report(Path(name))

    def save_report(self, path: Path) -> None:
        """Write the report of the result kept, away from the screen."""
        answer, machine = self._job.answer, self._bench.machine
        if answer is not None:
            self._run(lambda: save_gap_report(answer, machine, path), self._saved)

    def _saved(self, path: Path) -> None:
        self._failed(f"Saved as {path.name}.")

    def _changed(self) -> None:
        """Show the pickup at hand, the list, the wheel and what can be done next."""
        job, units = self._job, self._bench.settings.units
        entry, judged, answer = job.pickups.current, job.judged(), job.answer
        self._complain("")
        name = entry.pickup.name if entry else ""
        if self._name.text() != name:
            self._name.setText(name)
            self._name.setCursorPosition(0)
        if not self._angle.text():
            self._angle.setText(f"{job.next_angle_deg():g}")
        self._gap_name.setText(f"Gap, {units.gap}")
        self._gap.setPlaceholderText("1/16" if units.gap == "in" else "1.6")
        self._show_list()
        by_pulses = answer is not None and bool(answer.get("spacing_rel") is not None)
        if answer is not None and by_pulses:
            late = [float("nan") if v is None else float(v) for v in answer["spacing_rel"]]
            self._wheel.show_teeth(late, job.faults(), marked=bool(answer["marked"]))
        elif not job.running:
            self._wheel.show_gap(judged, job.limits, units)
        self._show_verdict(by_pulses)
        self._said.setText(job.said)
        if not (job.said or job.running) and judged is not None and answer is None:
            self._said.setText(judged.advice)
        self._undo.setEnabled(entry is not None and bool(entry.gap_m))
        self._keep.setVisible(answer is None and judged is not None and not job.running)
        self._save.setVisible(answer is not None)
        self._steady.setText("Stop run" if job.running else "Start tooth run")
        self._drop.setVisible(not job.running)

    def _show_verdict(self, by_pulses: bool) -> None:
        job, units = self._job, self._bench.settings.units
        judged = job.judged()
        if job.answer is not None and by_pulses:
            verdict, text = Verdict(job.answer["verdict"]), wheel_sentence(job.answer)
        elif job.running or judged is None:
            self._pill.hide()
            if not job.running:
                self._sentence.setText("Read the gap at four angles or more, 90° apart.")
            return
        else:
            verdict, text = judged.verdict, feeler_sentence(judged, units)
        self._pill.show_verdict(verdict)
        self._pill.show()
        self._sentence.setText(text)

    def _show_list(self) -> None:
        self._list.blockSignals(True)
        self._list.clear()
        for entry in self._job.pickups.entries:
            judged = self._job.pickups.judge(entry)
            count = len(entry.gap_m)
            words = f"{judged.verdict}, {count} readings" if judged else "no readings yet"
            self._list.addItem(f"{entry.pickup.name}: {words}")
        self._list.setCurrentRow(self._job.pickups.at)
        self._list.blockSignals(False)

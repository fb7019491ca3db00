"""The gap: feeler readings round the wheel, the teeth by their pulses, the shop's list."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QHideEvent, QKeySequence, QResizeEvent, QShortcut, QShowEvent
from PySide6.QtWidgets import QWidget

from workbench.base.cautions import Caution
from workbench.base.errors import BenchError, WrongInput
from workbench.base.files import name_for
from workbench.gui.answers.file_view import FileView
from workbench.gui.gap.actions import GapActions
from workbench.gui.gap.feeler_panel import GapFeelerPanel
from workbench.gui.gap.head import GapHead, GapView
from workbench.gui.gap.list_panel import GapListPanel
from workbench.gui.gap.pictures import GapPictures
from workbench.gui.gap.run_panel import GapRunPanel
from workbench.gui.parts.basics import CautionCard, label, say
from workbench.gui.parts.files import ask_open, recordings_and_tables
from workbench.gui.parts.layout import PAGE, column_of, line_of
from workbench.gui.parts.paper import PaperView
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.theme import GRID_PX, Theme, grown
from workbench.gui.work_line import Done, Work, WorkLine
from workbench.models.bench import Bench
from workbench.models.gap.entry import is_table, table_at
from workbench.models.gap.job import GapJob, Step
from workbench.models.gap.store import GapReport, KeptAnswer, list_sheet, ready
from workbench.models.records.listing import ended_recordings
from workbench.words.language import N_, _
from workbench.words.words import Words

WIDE_PX, LIST_PX, LEFT_PX = 1300, 440, 440
"""Width from which the list stands beside whatever is done, and how wide it and that are then."""
ROOMY_PX = 600
"""Height of the page from which what is done is seen below the caution before it."""

KINDS = N_("Report or table (*.pdf *.html *.csv *.json)")
"""Of file that a report can be saved as."""

LARGEST = 16_777_215
"""Qt's own bound of a widget's width: none."""
FOLD_FRAMES = 30
"""Frames between two looks at how far a run has come: a second is enough to watch it settle."""
TRACE_FRAMES = 5
"""Frames between two points of the speed's trace."""


class GapPage(QWidget):
    """Drives a gap check of one pickup or of a whole list."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, GapJob(bench)
        self._works, self._drafts = WorkLine(self), WorkLine(self)
        self._frames, self._units, self._machine = 0, bench.settings.units, bench.machine
        self.view, self._wide = GapView.FEELER, False
        self.feeler = GapFeelerPanel(bench, self._job, theme)
        self.list = GapListPanel(theme)
        self.runs = {
            GapView.TEETH: GapRunPanel(bench, self._job, theme, drop_out=False),
            GapView.DROP_OUT: GapRunPanel(bench, self._job, theme, drop_out=True),
        }
        self.pictures = GapPictures(bench, self._job, theme)
        self.head = GapHead(self)
        read, running = bench.cautions_read, Caution.WITH_THE_BELT_RUNNING
        self._caution = CautionCard(Caution.AT_THE_WHEEL, read, self._caution_read)
        self._run_caution = CautionCard(running, read, self._run_caution_read)
        self._said = label("", "soft")
        self.buttons = GapActions(
            go_by=self._go_by,
            add=self._add,
            open_file=self._ask_file,
            remove=self._job.list.remove,
            keep=self._keep,
            report=self.see_report,
            list_report=self.see_list_report,
        )
        self.paper, self._check = PaperView(self._works, KINDS), QWidget()
        self.file = FileView(
            bench, theme, self._works, "gap", lambda: self.view is GapView.DROP_OUT
        )
        self._body, self._left = QWidget(), QWidget()
        self._lay_out()
        self._connect()
        self.show_view(GapView.FEELER)
        self._works.add(ready, lambda _nothing: None, self._failed)
        self._changed()

    @property
    def job(self) -> GapJob:
        return self._job

    def refresh(self) -> None:
        self._frames += 1
        if self._machine is not self._bench.machine:
            self._machine = self._bench.machine
            self._job.look_at_machine()
        elif self._units is not self._bench.settings.units:
            self._units = self._bench.settings.units
            self.file.use_units()
            self._changed()
        run = self._job.run
        run.look()
        if self._frames % TRACE_FRAMES == 0:
            run.note_speed()
        if run.running and self._frames % FOLD_FRAMES == 0 and not self._works.busy:
            self._works.add(run.fold_work(), run.folded, self._failed)
        elif self.view in self.runs and not run.running and self._frames % FOLD_FRAMES == 0:
            self.runs[self.view].show_job()
        draft = None if self._drafts.busy else self._job.draft_work()
        if draft is not None:
            self._drafts.add(draft, lambda _nothing: None, self._failed)

    def show_view(self, view: GapView) -> None:
        """Feeler, teeth, drop-out, or the list where that has no room beside them."""
        self.view = view
        self._arrange()
        if view in self.runs:
            self._works.add(
                partial(ended_recordings, self._bench.store), self.runs[view].offer, self._failed
            )
        self._changed()
        self._first_focus()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        self._show_cautions()
        self._first_focus()

    def hideEvent(self, event: QHideEvent) -> None:  # noqa: N802
        super().hideEvent(event)
        self._job.keep_draft()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._show_cautions()

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        """What is needed, for the window to scroll below it: not what the pictures would like."""
        layout = self.layout()
        return layout.minimumHeightForWidth(width) if layout else -1

    def _first_focus(self) -> None:
        """Where the next thing is typed or pressed."""
        if not self.isVisible():
            return
        if self._caution.isVisible():
            self._caution.understood.setFocus()
        elif self._run_caution.isVisible():
            self._run_caution.understood.setFocus()
        elif self.view is GapView.FEELER:
            self.feeler.gap.setFocus()
        elif self.view is GapView.LIST:
            self.list.table.setFocus()
        else:
            self.runs[self.view].start.setFocus()

    def _lay_out(self) -> None:
        column_of(self._caution, (self._body, 1), WorkBar(self._works), 0, on=self, edges=PAGE)
        column_of(self._check, self.paper, self.file, on=self._body, gap=-1)
        self._show_part(self._check)
        inside = column_of(self.head, self._run_caution, on=self._check)
        self._middle = line_of(gap=3 * GRID_PX)
        column_of(self.feeler, *self.runs.values(), on=self._left, gap=-1)
        for part in (self.list, self._left, self.pictures):
            self._middle.addWidget(part, 1)
        inside.addLayout(self._middle, 1)
        inside.addWidget(self._said)
        inside.addWidget(self.buttons)

    def _connect(self) -> None:
        self._job.subscribe(self._changed)
        self._job.run.subscribe(self._changed)
        self.head.chosen.connect(self.show_view)
        for part in (self.paper, self.file):
            part.closed.connect(self._go_back)
        self.file.opened.connect(lambda: self._show_part(self.file))
        self.feeler.step.connect(self._do)
        self.list.chosen.connect(self._job.list.go_to)
        self.list.opened.connect(lambda: self.show_view(GapView.FEELER))
        self.list.removed.connect(self._job.list.remove)
        self.list.named.connect(self._add_named)
        for panel in self.runs.values():
            panel.go.connect(self._go)
        for keys, do in (
            (QKeySequence(QKeySequence.StandardKey.Undo), self._job.undo),
            (QKeySequence("PgDown"), lambda: self._go_by(1)),
            (QKeySequence("PgUp"), lambda: self._go_by(-1)),
        ):
            shortcut = QShortcut(keys, self)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(do)
        self.destroyed.connect(self._works.wait)
        self.destroyed.connect(self._drafts.wait)
        self.destroyed.connect(self._job.keep_draft)

    def _arrange(self) -> None:
        """What stands side by side in the room there is."""
        wide = self.width() >= grown(WIDE_PX)
        if wide is not self._wide:
            self._wide = wide
            self._changed()
        if wide and self.view is GapView.LIST:
            self.view = GapView.FEELER
        self.head.show_view(self.view, with_list=wide)
        self._left.setMaximumWidth(grown(LEFT_PX) if wide else LARGEST)
        self.list.setMaximumWidth(grown(LIST_PX) if wide else LARGEST)
        in_the_way = self.view in self.runs and not self._run_caution.is_read
        alone = self.view is GapView.LIST
        self.list.read.setVisible(alone)
        self.list.setVisible((wide or alone) and not in_the_way)
        self._left.setVisible(not alone and not in_the_way)
        self.pictures.setVisible(not alone and not in_the_way)
        self._run_caution.setVisible(in_the_way)

    def _show_cautions(self) -> None:
        """Those that were not read yet, here or on another page."""
        self._caution.setVisible(not self._caution.is_read)
        self._body.setVisible(self._caution.is_read or self.height() >= grown(ROOMY_PX))
        self._body.setEnabled(self._caution.is_read)
        self._arrange()

    def _caution_read(self) -> None:
        self._show_cautions()
        self._first_focus()

    def _run_caution_read(self) -> None:
        self._arrange()
        self._changed()
        self._first_focus()

    def _do(self, step: Step) -> None:
        {
            Step.NEXT_PICKUP: self._job.go_on,
            Step.KEEP: self._keep,
            Step.REPORT: self.see_report,
        }[step]()

    def _go_by(self, many: int) -> None:
        self._job.list.go_to(self._job.list.at + many)

    def _add(self) -> None:
        self._job.list.add()
        if self.view is not GapView.LIST:
            self.show_view(GapView.FEELER)
            self.feeler.name.setFocus(Qt.FocusReason.TabFocusReason)
            self.feeler.name.selectAll()

    def _add_named(self, name: str) -> None:
        try:
            self._job.list.add(name.strip() or " ")
        except WrongInput as error:
            self.list.complain(self._words.say(error))
            return
        self.list.complain("")
        self.list.fresh.clear()

    def _go(self) -> None:
        """The one button of a run: start it, stop it, or judge an old recording."""
        panel, run = self.runs[self.view], self._job.run
        drop_out = self.view is GapView.DROP_OUT
        if run.running:
            if run.stop():
                self._run(run.judge_work(), self._job.run_judged)
        elif panel.old_number is not None:
            work = self._job.judge_old_work(panel.old_number, drop_out=drop_out)
            self._run(work, self._job.run_judged)
        else:
            self._job.start_run(drop_out=drop_out)

    def _keep(self, then: Callable[[], object] = lambda: None) -> None:
        """Keep the readings in the store, and go on with `then`."""

        def kept(answers: list[KeptAnswer]) -> None:
            self._job.kept(answers)
            then()

        try:
            self._works.add(self._job.keep_work(), kept, self._failed)
        except WrongInput as error:
            self._failed(self._words.say(error))

    def _run(self, work: Work, done: Done) -> None:
        self._works.add(work, done, self._job.run.failed)

    def _failed(self, said: str) -> None:
        self._job.said = said
        self._job.changed()

    def _ask_file(self) -> None:
        title = _("Open a gap table or a recording of the pulses")
        if paths := ask_open(self, title, recordings_and_tables()):
            self.open_files(paths)

    def open_files(self, paths: Sequence[Path]) -> None:
        """A gap table goes into the list; a recording's pulses are judged tooth by tooth."""
        if len(paths) == 1 and is_table(paths[0]):
            self._go_back()
            self.open_table(paths[0])
        else:
            self.file.open_files(paths)

    def open_table(self, path: Path) -> None:
        """A gap table's readings into the list; a wrong one says what is wrong with it."""

        def opened(text: str) -> None:
            try:
                self._job.open_table(text, path.name)
            except BenchError as error:
                self._failed(self._words.say(error))

        self._works.add(lambda: table_at(path), opened, self._failed)

    def see_report(self) -> None:
        """The report of what is shown, a run or the readings of one pickup, as pages."""
        shown = self._shown_answer()
        if shown is not None:
            self._open_paper(
                GapReport(lambda: shown, self._words, self._file_name(_("gap")), self._bench.store)
            )

    def see_list_report(self) -> None:
        """The sheet of the whole list as pages; its readings are kept first."""
        if self._job.has_readings and not self._job.kept_as:
            self._keep(self._open_list_paper)
        else:
            self._open_list_paper()

    def _open_list_paper(self) -> None:
        states, store = self._job.list.states(), self._bench.store
        numbers = [one.number for one in self._job.kept_as]
        self._open_paper(
            GapReport(
                lambda: (list_sheet(states, store), numbers),
                self._words,
                self._file_name(_("pickups")),
                store,
            )
        )

    def _file_name(self, job: str) -> str:
        machine = self._bench.machine
        return name_for(machine.name if machine else "", job, ".pdf")

    def _open_paper(self, paper: GapReport) -> None:
        self._show_part(self.paper)
        self.paper.open(paper)
        self.paper.save.setFocus()

    def _show_part(self, part: QWidget) -> None:
        """The check itself, a report or a file that was opened."""
        for one in (self._check, self.paper, self.file):
            one.setVisible(one is part)

    def _go_back(self) -> None:
        self._show_part(self._check)
        self._first_focus()

    @property
    def _words(self) -> Words:
        return Words(self._bench.settings.units)

    def _shown_answer(self) -> KeptAnswer | None:
        if self.view in self.runs:
            judged = self._job.run.judged
            mine = judged is not None and judged.drop_out is (self.view is GapView.DROP_OUT)
            return self._job.run.shown_answer() if mine else None
        return self._job.shown_answer()

    def _changed(self) -> None:
        """Show the job as it is."""
        job, units = self._job, self._bench.settings.units
        self.feeler.show_job()
        self.list.show_list(job.list.states(), job.list.at, units)
        for run in self.runs.values():
            run.show_job()
        panel = self.runs.get(self.view, self.feeler)
        for one in (self.feeler, *self.runs.values()):
            one.setVisible(one is panel)
        {
            GapView.TEETH: self.pictures.show_teeth,
            GapView.DROP_OUT: self.pictures.show_drop_out,
        }.get(self.view, self.pictures.show_feeler)()
        shown = self._shown_answer() is not None
        self.buttons.show_job(job, self.view, shown=shown, wide=self._wide)
        say(self._said, job.said)
        self._said.setVisible(bool(job.said))

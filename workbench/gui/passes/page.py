"""The test pass, made for a cab: three numbers, the tapes, the plot, one large button."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QKeySequence, QShortcut, QShowEvent
from PySide6.QtWidgets import (
    QSizePolicy,
    QWidget,
)

from workbench.base.cautions import Caution
from workbench.base.errors import Message
from workbench.base.files import name_for
from workbench.gui.answers.file_choice import FileChoice
from workbench.gui.answers.passes import NO_ROWS, PassAnswerView
from workbench.gui.parts.basics import CautionCard, Fitted, button, label, say
from workbench.gui.parts.files import ask_open, ask_save, recordings_and_tables
from workbench.gui.parts.keys import SpaceBar
from workbench.gui.parts.layout import Pages, column_of, line_of
from workbench.gui.parts.rehearse import RehearseButton
from workbench.gui.parts.report_pages import ReportPages, pictures
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.passes.cue_player import CuePlayer, platform_player
from workbench.gui.passes.past import PassPast
from workbench.gui.passes.view import PassView
from workbench.gui.theme import GRID_PX, Theme
from workbench.gui.window import BenchWindow
from workbench.gui.work_line import WorkLine
from workbench.jobs.passes.answer import PassOptions
from workbench.models.bench import Bench
from workbench.models.open_file import BELT, GROUND, OpenedFile, open_files
from workbench.models.passes import files as pass_files
from workbench.models.passes import judge as pass_judge
from workbench.models.passes.auto import AutoStep
from workbench.models.passes.job import PassJob
from workbench.models.passes.judge import Judged
from workbench.models.progress import Progress
from workbench.models.records.listing import ended_recordings
from workbench.models.rehearsal import Rehearsal
from workbench.words.language import _
from workbench.words.moments import moment_text
from workbench.words.words import Words

LIVE, AFTER, PAST, PREVIEW, FILE = 0, 1, 2, 3, 4


class PassPage(QWidget):
    """Drives a pass, then shows what came of it."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, PassJob(bench)
        self._works, self._player = WorkLine(self), CuePlayer(bench.clock, platform_player())
        self._judged: Judged | None = None
        self._units, self._machine = bench.settings.units, bench.machine
        self._framed = self._cab = False
        self._state = Fitted("title")
        self._view = PassView(bench, self._job, self._player, theme)
        self._after = PassAnswerView(theme, self._judge_otherwise)
        self._past, self._paper = PassPast(self._judge_past), ReportPages()
        self._file = FileChoice()
        self._safety = label(f"⚠ {Words().say(Caution.WHILE_STANDING)}", "soft")
        self._caution = CautionCard(Caution.IN_THE_CAB, bench.cautions_read, self._caution_read)
        self._pages = Pages()
        self._pages.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)
        self._start = button(_("Start pass (space)"), self._go_on, is_next=True)
        self._start.setMinimumHeight(7 * GRID_PX)
        self._rehearse = RehearseButton(bench)
        self._others = {
            "help": button(_("Go to Signals"), self._get_help),
            "old": button(_("Judge a recording"), self._show_past),
            "file": button(_("Open file"), self._ask_file),
            "preview": button(_("Preview report"), self._preview),
            "save": button(_("Save report or table"), self._ask_where),
            "sound": button("", self._switch_sound),
            "back": button(_("Go back"), self._go_back),
        }
        self._space = QShortcut(QKeySequence(Qt.Key.Key_Space), self)
        self._space.activated.connect(self._start.click)
        away = QShortcut(QKeySequence(Qt.Key.Key_Escape), self)
        away.activated.connect(self._others["back"].click)
        self._lay_out()
        self._keys = SpaceBar(self, self._start.click, self._start)
        self._caution.setVisible(not self._caution.is_read)
        self._show_page(LIVE)

    @property
    def job(self) -> PassJob:
        return self._job

    @property
    def judged(self) -> Judged | None:
        """The answer that is shown, None where none is."""
        return self._judged

    def refresh(self) -> None:
        units = self._bench.settings.units
        if units is not self._units:
            self._units = units
            self._after.use_units(units)
        if self._bench.machine is not self._machine:
            self._machine = self._bench.machine
            if not self._job.running and self._pages.currentIndex() in (AFTER, PREVIEW):
                self._judged = None  # an old answer never stands under another machine's name
                self._show_page(LIVE)
        self._show_cab()
        self._view.fit(self.width(), self.height())
        if self._pages.currentIndex() == LIVE:
            self._view.refresh(read=self._read)
        self._show_buttons()

    def _show_cab(self) -> None:
        """In the cab the answer is its sentence; the whole of it is seen back at the desk."""
        cab = self._bench.settings.now.cab
        if cab is not self._cab:
            self._cab = cab
            if not self._job.running:
                self._show_page(AFTER if self._judged and not cab else LIVE)

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        window = self.window()
        if isinstance(window, BenchWindow) and not self._framed:
            # A pass goes on, and is heard, also while another page is looked at.
            window.frame.connect(self._frame)
            self._framed = True

    @property
    def _read(self) -> bool:
        return self._caution.isHidden()

    def _frame(self) -> None:
        """What a pass needs at every frame, whichever page is seen."""
        self._job.look()
        tried = self._player.look()
        if tried is not None:
            self._view.ready.say_cue(tried)
        cue = self._job.take_cue()
        if cue is not None and self._bench.settings.now.sounds:
            self._player.play(cue)
        may_start = self._read and self.isVisible() and not self._works.busy
        step = self._job.look_by_itself(may_start=may_start)
        if step is AutoStep.START:
            self._begin()
        elif step is AutoStep.STOP:
            self._end()

    def _lay_out(self) -> None:
        for page in (self._view, self._after, self._past, self._paper, self._file):
            self._pages.addWidget(page)
        column = column_of(
            self._caution,
            self._state,
            self._safety,
            (self._pages, 1),
            WorkBar(self._works),
            on=self,
            edges=(3 * GRID_PX, 0, 3 * GRID_PX, 2 * GRID_PX),
        )
        line = line_of((self._start, 1), *self._others.values(), self._rehearse)
        column.addLayout(line)

    def _show_page(self, page: int) -> None:
        if page != LIVE:
            self._player.stop()
        self._pages.setCurrentIndex(page)
        self._show_buttons()

    def _show_buttons(self) -> None:
        page, running = self._pages.currentIndex(), self._job.running
        obstacle = None if running or page != LIVE else self._job.obstacle()
        idle = page == LIVE and not running
        say(self._state, self._state_words(running=running))
        self._state.setVisible(bool(self._state.text()))
        words = {
            LIVE: _("Stop pass (space)") if running else _("Start pass (space)"),
            AFTER: _("Start next pass (space)"),
            PAST: _("Judge this recording"),
            PREVIEW: _("Save report"),
            FILE: _("Judge this file"),
        }
        say(self._start, words[page])
        ready = self._read and not self._works.busy and obstacle is None
        can = {
            LIVE: running or ready,
            PAST: ready and self._past.chosen is not None,
            FILE: not self._works.busy,
        }
        self._start.setEnabled(can.get(page, True))
        self._safety.setVisible(self._read and page == LIVE)
        shown = {
            "help": obstacle is not None and bool(obstacle.page),
            "old": idle,
            "file": idle,
            "preview": page == AFTER,
            "save": page == AFTER,
            "sound": page == LIVE and running,
            "back": page in (AFTER, PAST, PREVIEW, FILE),
        }
        cab = self._bench.settings.now.cab
        for name, one in self._others.items():
            one.setVisible(shown[name] and not cab)
            free = not (self._works.busy and name in ("old", "file", "save"))
            one.setEnabled(self._read and shown[name] and free)
        self._pages.setVisible(self._read or not cab)
        self._rehearse.offer(Rehearsal.PASS, idle=idle and self._read and not cab)
        if obstacle is not None and obstacle.page:
            say(self._others["help"], _("Go to {page}").format(page=_(obstacle.page)))
        say(self._others["sound"], self._view.ready.sound.text())
        self._space.setEnabled(self._read and (running or not self._keys.is_kept()))

    def _state_words(self, *, running: bool) -> str:
        """Recording or judged, which machine and when; '' while the page itself says 'ready'."""
        machine = self._bench.machine
        name = machine.name if machine else _("no machine")
        if running:
            return _("◉ Recording, {machine}").format(machine=name)
        judged = self._judged
        if judged is None or self._pages.currentIndex() not in (AFTER, PREVIEW):
            return ""
        name = judged.machine.name if judged.machine else _("no machine")
        when = moment_text(judged.started_utc)
        return _("Judged: {when}, {machine}").format(when=when, machine=name)

    def _caution_read(self) -> None:
        self._show_buttons()
        self._start.setFocus()

    def _go_on(self) -> None:
        """The one next step of what is shown."""
        page = self._pages.currentIndex()
        if page == PAST:
            self._judge_past()
        elif page == FILE:
            self._judge_file()
        elif page == PREVIEW:
            self._ask_where()
        elif self._job.running:
            self._end()
        else:
            self._begin()  # from an answer too: one press, one pass

    def _begin(self) -> None:
        self._player.stop()
        self._judged = None
        self._job.start()
        self._show_page(LIVE)
        self._start.setFocus()

    def _end(self) -> None:
        self._player.stop()
        self._job.stop()
        self._job.said = _("The pass is kept; it is being judged from the record …")
        self._judge_with(self._job.judge)
        self._show_page(LIVE)

    def _show_judged(self, judged: Judged) -> None:
        self._judged, self._job.said = judged, ""
        fresh = judged.recording == self._bench.recording.last_number
        live = self._job.rows() if fresh else NO_ROWS
        units = self._bench.settings.units
        self._after.typed.use_for(judged.recording)
        self._after.show_answer(judged.answer, units, judged.earlier, live)
        if self._bench.settings.now.cab:
            verdict = Words().say(judged.answer.verdict)
            self._job.said = f"{verdict}: {self._after.in_short}"
        elif not self._job.running:
            self._show_page(AFTER)
            self._start.setFocus()

    def _failed(self, said: str) -> None:
        self._job.said = said
        if self._pages.currentIndex() == PAST:
            self._past.say(said)
        elif self._pages.currentIndex() == FILE:
            self._file.say(said)
        elif self._pages.currentIndex() != LIVE:
            self._after.sentence.setText(said)

    def _go_back(self) -> None:
        """From the answer to the next pass; from elsewhere to the answer, if there is one."""
        if self._pages.currentIndex() == AFTER:
            self._judged, self._job.said = None, ""
        self._show_page(LIVE if self._judged is None else AFTER)
        self._start.setFocus()

    def _get_help(self) -> None:
        obstacle, window = self._job.obstacle(), self.window()
        if obstacle is not None and obstacle.page and isinstance(window, BenchWindow):
            window.show_page(obstacle.page)

    def _show_past(self) -> None:
        self._past.show_recordings([])
        self._past.say(_("Looking through the store …"))
        self._show_page(PAST)
        work = partial(ended_recordings, self._bench.store)
        self._works.add(work, self._past.show_recordings, self._failed)

    def _judge_past(self) -> None:
        number = self._past.chosen
        if number is not None and not self._works.busy:
            self.judge_recording(number)

    def _ask_file(self) -> None:
        title = _("Open a recording of a pass")
        if paths := ask_open(self, title, recordings_and_tables()):
            self.open_files(paths)

    def open_files(self, paths: Sequence[Path]) -> None:
        """Read a recorded file, and offer its sources; a wrong one gets a sentence."""
        if self._job.running:
            self._bench.tell(_("Stop the pass first, then open the file."))
            return
        progress = Progress(Message("Reading {name} …", name=paths[0].name))
        store, machine = self._bench.store, self._bench.machine
        work = partial(open_files, "pass", paths, store, machine, progress)
        self._works.add(work, self._show_file, self._bench.tell, progress)

    def _show_file(self, opened: OpenedFile) -> None:
        self._file.show_file(opened)
        self._show_page(FILE)
        (self._file.first or self._start).setFocus()

    def _judge_file(self) -> None:
        opened, chosen = self._file.opened, self._file.chosen
        if opened is not None and not self._works.busy:
            self._judge_by(opened.number, PassOptions(chosen.get(BELT), chosen.get(GROUND)))

    def judge_recording(self, number: int) -> None:
        """Judge a stored recording as a pass, and show the answer."""
        store, machine = self._bench.store, self._bench.machine
        said = self._bench.for_whom.of(machine)
        self._judge_with(partial(pass_judge.judge_again, number, store, machine, said=said))

    def _judge_otherwise(self, options: PassOptions) -> None:
        if self._judged is not None and not self._works.busy:
            self._judge_by(self._judged.recording, options)

    def _judge_by(self, number: int | None, options: PassOptions) -> None:
        store, machine = self._bench.store, self._bench.machine
        judge = partial(pass_judge.judge_with_history, said=self._bench.for_whom.of(machine))
        self._judge_with(partial(judge, number, options, store, machine))

    def _judge_with(self, judge: Callable[[Progress], Judged]) -> None:
        progress = Progress(Message("Judging the pass …"))
        self._works.add(lambda: judge(progress), self._show_judged, self._failed, progress)

    def _preview(self) -> None:
        if self._judged is not None:
            words = Words(self._bench.settings.units)
            draw = partial(pass_files.pages, self._judged, words)
            progress = Progress(Message("Making the report …"))
            self._works.add(partial(pictures, draw), self._show_paper, self._failed, progress)

    def _show_paper(self, pages: Sequence[QImage]) -> None:
        if self._pages.currentIndex() == AFTER:
            self._paper.show_pages(pages)
            self._show_page(PREVIEW)

    def _ask_where(self) -> None:
        if (judged := self._judged) is None:
            return
        job = _("pass {number}").format(number=judged.number)
        machine = judged.machine.name if judged.machine else ""
        name = name_for(machine, job, ".pdf", judged.started_utc[:10])
        title, kinds = _("Save the pass"), pass_files.file_kinds()
        path = ask_save(self, title, name, kinds)
        if path is not None:
            self.save_report(path)

    def save_report(self, path: Path) -> None:
        """Write report, table or way of the pass just judged, as the name's ending says."""
        if self._judged is not None:
            if self._pages.currentIndex() == PREVIEW:
                self._show_page(AFTER)
            words = Words(self._bench.settings.units)
            work = partial(pass_files.save, self._judged, path, words)
            progress = Progress(Message("Writing {name} …", name=path.name))
            self._works.add(work, self._after.sentence.setText, self._failed, progress)

    def _switch_sound(self) -> None:
        self._view.ready.sound.click()

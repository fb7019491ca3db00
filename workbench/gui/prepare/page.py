"""Prepare: the machine from the hitch to the rear, measured and judged before the run."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import QHideEvent, QKeySequence, QResizeEvent, QShortcut, QShowEvent
from PySide6.QtWidgets import QButtonGroup, QPushButton, QWidget

from workbench.base.cautions import Caution
from workbench.base.errors import BenchError, WrongInput
from workbench.calibration.prepare.measures import Topic
from workbench.calibration.prepare.sheet import Whose
from workbench.calibration.prepare.table import looks_like_prepare_table
from workbench.gui.parts.basics import CautionCard, VerdictPill, button, label, say
from workbench.gui.parts.files import ask_open
from workbench.gui.parts.layout import PAGE, column_of, held, line_of, scrolled
from workbench.gui.parts.paper import PaperView
from workbench.gui.parts.sketch import SketchView
from workbench.gui.parts.turns import Turns
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.prepare.entries import PrepareEntries
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme, keep_width
from workbench.gui.work_line import WorkLine
from workbench.jobs.table import table_text
from workbench.models.bench import Bench
from workbench.models.prepare.fields import Slot
from workbench.models.prepare.job import KeptSheet, PrepareJob, SheetPaper
from workbench.words.language import N_, _
from workbench.words.pictures.places import topic_sketch
from workbench.words.pictures.prepare import check_line
from workbench.words.pictures.sketch import EMPTY
from workbench.words.prepare import (
    figure_words,
    limit_words,
    to_do_words,
    value_words,
    what_words,
)
from workbench.words.topics import DOES, HOW, QUESTIONS
from workbench.words.words import Words

TABLES = N_("Prepare table (*.csv)")
KINDS = N_("Report (*.pdf *.html *.json)")
LIST_PX, SKETCH_PX, LINE_PX = 24 * GRID_PX, 40 * GRID_PX, 36 * GRID_PX
LARGE_FROM_PX, LARGE_TIMES = 1500, 1.6
"""Width from which the drawing finds more room, and how much larger it is then."""
MOST_PX = 110 * GRID_PX
"""Wider than this, fields only become harder to read."""
LINE_FROM_PX = 700
"""Height of the window from which the number line finds room."""


class PreparePage(QWidget):
    """One topic at a time: caution, drawing, fields, answer; at its end one sheet."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench, self._job = bench, PrepareJob(bench)
        self._works, self._drafts = WorkLine(self), WorkLine(self)
        self._machine, self._units = bench.machine, bench.settings.units
        self._at: Slot | None = None
        self._cards = {
            caution: CautionCard(caution, bench.cautions_read, self._caution_read)
            for caution in (
                Caution.AT_THE_HYDRAULICS,
                Caution.AT_THE_MACHINE,
                Caution.BEFORE_A_PASS,
            )
        }
        self.topics = {topic: QPushButton() for topic in Topic}
        self.title, self._how = label("", "title"), label("")
        self._said, self._body, self._answer = label("", "soft"), QWidget(), QWidget()
        self.drawing = SketchView(theme, _("Where to measure"))
        self.entries = PrepareEntries(self._job)
        self.pill, self.sentence, self.advice = VerdictPill(theme), label("", "text"), label("")
        self.line = SketchView(theme, _("The value between its limits"))
        self.before = button("Previous part", lambda: self._go_by(-1))
        self.next = button("Next part", self._go_on, is_next=True)
        self.keep = button("Keep sheet", self._keep)
        self.rehearse = button("Rehearse", self._job.rehearse)
        self.flag = button("", self._job.flag)
        self.flag.setShortcut("F8")
        self.open, self.clear = (
            button("Open file", self._ask_file),
            button("New sheet", self._clear),
        )
        self._unread, self._buttons = QWidget(), QWidget()
        self.paper, self._turns, self._check = PaperView(self._works, KINDS), Turns(), QWidget()
        self._lay_out()
        self._connect()
        self._changed()

    @property
    def job(self) -> PrepareJob:
        return self._job

    def refresh(self) -> None:
        if self._machine is not self._bench.machine:
            self._machine = self._bench.machine
            self._job.look_at_machine()
        elif self._units is not self._bench.settings.units:
            self._units = self._bench.settings.units
            self._job.look_at_units()
        draft = None if self._drafts.busy else self._job.draft_work()
        if draft is not None:
            self._drafts.add(draft, lambda _nothing: None, self._say)

    def show_topic(self, topic: Topic) -> None:
        """Take a topic in hand; the caution first, where it was not read yet."""
        self._at = None
        self._job.go_to(topic)
        self._first_focus()

    def see_report(self) -> None:
        """The kept sheet as it will be printed."""
        if self._job.kept is not None:
            words = Words(self._bench.settings.units)
            self.paper.open(SheetPaper(self._job.kept, self._bench.store, words))
            self._turns.show_view(self.paper)
            self.paper.save.setFocus()

    def open_files(self, paths: Sequence[Path]) -> None:
        """Put a prepare table's rows into the fields; a wrong one gets a sentence."""
        try:
            text = table_text(str(paths[0]), looks_like_prepare_table)
            if text is None:
                raise WrongInput(
                    "{name}: expected a table check,place,value,unit.", name=paths[0].name
                )
            self._job.open_table(text, paths[0].name)
        except BenchError as error:
            self._say(Words().say(error))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        times = LARGE_TIMES if self.width() >= LARGE_FROM_PX else 1.0
        self.drawing.magnify(times)
        keep_width(self.drawing, round(times * SKETCH_PX))
        self._show_parts()
        self._show_answer()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        self._changed()
        self._first_focus()

    def hideEvent(self, event: QHideEvent) -> None:  # noqa: N802
        super().hideEvent(event)
        self._job.keep_draft()

    def _list_of_topics(self) -> QWidget:
        group = QButtonGroup(self)
        beside = column_of(gap=0)
        for number, (topic, place) in enumerate(self.topics.items(), 1):
            place.setProperty("role", "place")
            place.setCheckable(True)
            place.setMinimumHeight(TOUCH_PX)
            place.clicked.connect(partial(self.show_topic, topic))
            place.setToolTip(f"{_(QUESTIONS[topic])} (Alt+{number})")
            QShortcut(QKeySequence(f"Alt+{number}"), self).activated.connect(place.click)
            group.addButton(place)
            beside.addWidget(place)
        beside.addStretch(1)
        made = scrolled(held(beside), _("Parts of the machine"), in_turn=False)
        keep_width(made, LIST_PX)
        return made

    def _lay_out(self) -> None:
        keep_width(self.line, LINE_PX)
        self.entries.setMaximumWidth(MOST_PX)
        self._fields = scrolled(self.entries, _("What was read"), in_turn=False)
        answer = line_of(
            (self.pill, Qt.AlignmentFlag.AlignTop),
            (held(column_of(self.sentence, self.advice, 1, gap=0)), 1),
            self.line,
        )
        line_of((self.drawing, Qt.AlignmentFlag.AlignTop), (self._fields, 1), on=self._body)
        column_of(answer, on=self._answer)
        main = held(
            column_of(
                self.title, self._how, (self._body, 1), self._answer, (self._unread, 1), gap=GRID_PX
            )
        )
        line_of(
            self.before,
            self.clear,
            self.open,
            self.rehearse,
            self.flag,
            (self._said, 1),
            self.keep,
            self.next,
            on=self._buttons,
            gap=GRID_PX,
        )
        column_of(
            *self._cards.values(),
            (held(line_of(self._list_of_topics(), (main, 1), gap=2 * GRID_PX)), 1),
            self._buttons,
            on=self._check,
        )
        for view in (self._check, self.paper):
            self._turns.add(view)
        column_of((self._turns, 1), WorkBar(self._works), on=self, edges=PAGE)

    def _connect(self) -> None:
        self._job.subscribe(self._changed)
        self.entries.at.connect(self._look_at)
        self.entries.through.connect(self._go_on)
        self.paper.closed.connect(lambda: self._turns.show_view(self._check))
        for keys, steps in (("PgDown", 1), ("PgUp", -1)):
            shortcut = QShortcut(QKeySequence(keys), self)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(partial(self._go_by, steps))
        self.destroyed.connect(self._works.wait)
        self.destroyed.connect(self._drafts.wait)
        self.destroyed.connect(self._job.keep_draft)

    def _changed(self) -> None:
        job, topic = self._job, self._job.topic
        read = job.caution in self._bench.cautions_read
        for caution, card in self._cards.items():
            card.setVisible(caution is job.caution and not read)
        for one, place in self.topics.items():
            sign, name = self._place_words(one)
            say(place, f"{sign} {name}")
            verdict = self._job.verdict(one)
            told = f"{name}: {Words().say(verdict)}" if verdict else name
            place.setAccessibleName(told)
            place.setChecked(one is topic)
        say(self.title, QUESTIONS[topic])
        say(self._how, HOW[topic])
        self._show_parts()
        self.entries.show_job()
        self._draw()
        self._show_answer()
        last, kept = job.at_last, job.kept is not None
        step = N_("See report") if kept else N_("Keep sheet") if last else N_("Next part")
        say(self.next, step)
        self.before.setEnabled(topic is not next(iter(Topic)))
        self.keep.setVisible(not last and job.has_readings and not kept)
        self.clear.setEnabled(job.has_readings or bool(job.errors))
        second = N_("Pass second flag (F8)")
        say(self.flag, second if job.flags.under_way else N_("Pass first flag (F8)"))
        self.flag.setVisible(read and topic is Topic.COURSE)
        self.rehearse.setVisible(job.can_rehearse and not job.has_readings)
        say(self._said, job.said)

    def _show_parts(self) -> None:
        """Before its caution is read a topic shows where it is, and takes nothing."""
        read = self._job.caution in self._bench.cautions_read
        for part in (self._fields, self._answer, self._buttons):
            part.setVisible(read)
        seen = read or self.window().height() >= LINE_FROM_PX
        self._body.setVisible(seen)
        self._unread.setVisible(not seen)

    def _place_words(self, topic: Topic) -> tuple[str, str]:
        """('✓', 'Belt'): what stands of it in a sign, and its name."""
        verdict, said = self._job.verdict(topic), Words().say(topic)
        if verdict is None:
            return ("·" if self._job.is_begun(topic) else "  "), said
        return {True: "✗", False: "✓"}[verdict.is_fail], said

    def _draw(self) -> None:
        words = Words(self._bench.settings.units)
        kind, place = self._at or (None, "")
        topic, machine = self._job.topic, self._bench.machine
        self.drawing.show_sketch(topic_sketch(topic, kind, place, machine, words))

    def _show_answer(self) -> None:
        """The worst of the topic in words and on its line, what to do; else what it computes."""
        words, topic = Words(self._bench.settings.units), self._job.topic
        lines = self._job.lines(topic)
        self.pill.setVisible(bool(lines))
        figures = figure_words(self._job.sheet.figures, topic, words)
        if not lines:
            found = self._job.findings(topic, words)
            say(self.sentence, found or DOES[topic])
            say(self.advice, figures)
            self.line.show_sketch(EMPTY)
            return
        worst = lines[0]
        self.pill.show_verdict(worst.verdict)
        told = _("{what} is {value}; limits {limits}")
        if worst.limit_from is Whose.EYE:
            told = _("{what}, {value} {limits}")
        values = (what_words(worst, words), value_words(worst, words), limit_words(worst, words))
        said = told.format(what=values[0], value=values[1], limits=values[2])
        say(self.sentence, f"{said[:1].upper()}{said[1:]}.")
        more = (to_do_words(lines, words), figures, self._job.findings(topic, words))
        say(self.advice, " ".join(filter(None, more)))
        roomy = self.window().height() >= LINE_FROM_PX
        self.line.show_sketch(check_line(worst, words) if roomy else EMPTY)

    def _look_at(self, slot: Slot) -> None:
        self._at = slot
        field = self.entries.fields.get(slot)
        if field is not None:
            self._fields.ensureWidgetVisible(field)
        self._draw()

    def _first_focus(self) -> None:
        if not self.isVisible():
            return
        card = self._cards[self._job.caution]
        if not card.isHidden():
            card.understood.setFocus()
        else:
            self.entries.focus_first()

    def _caution_read(self) -> None:
        self._changed()
        self._first_focus()

    def _go_by(self, steps: int) -> None:
        self._at = None
        self._job.go_by(steps)
        self._first_focus()

    def _go_on(self) -> None:
        """The one next step: the next part, at the last the sheet, then its report."""
        if self._job.kept is not None:
            self.see_report()
        elif self._job.at_last:
            self._keep()
        else:
            self._go_by(1)

    def _keep(self) -> None:
        try:
            work = self._job.keep_work()
        except WrongInput as error:
            self._say(Words(self._bench.settings.units).say(error))
            return
        self._works.add(work, self._kept, self._say)

    def _kept(self, kept: KeptSheet) -> None:
        self._job.was_kept(kept)
        self.next.setFocus()

    def _clear(self) -> None:
        self._job.clear()
        self.show_topic(next(iter(Topic)))

    def _ask_file(self) -> None:
        paths = ask_open(self, _("Open a prepare table"), _(TABLES))
        if paths:
            self.open_files(paths)

    def _say(self, said: str) -> None:
        self._job.said = said
        say(self._said, said)

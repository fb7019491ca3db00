"""A file judged on the page where it was opened: its sources, then its answer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QScrollArea, QWidget

from workbench.base.errors import Message
from workbench.base.files import name_for
from workbench.gui.answers.file_choice import FileChoice
from workbench.gui.answers.result import ResultView
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.files import ask_open, ask_save, recordings_and_tables
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.parts.turns import Turns
from workbench.gui.theme import GRID_PX, Theme
from workbench.gui.work_line import WorkLine
from workbench.models.bench import Bench
from workbench.models.open_file import OpenedFile, judge_file, open_files
from workbench.models.progress import Progress
from workbench.models.records import archive
from workbench.records.entries import StoredResult
from workbench.words.language import N_, _
from workbench.words.words import Words

REPORT = N_("Report (*.pdf *.html *.json)")


class FileView(QWidget):
    """Takes files of a `kind` of result; `opened` when there is something to see, `closed` when
    the person goes back. `drop_out` tells whether a gap is judged by a run that slows down."""

    opened = Signal()
    closed = Signal()

    def __init__(
        self,
        bench: Bench,
        theme: Theme,
        works: WorkLine,
        kind: str,
        drop_out: Callable[[], bool] = lambda: False,
    ) -> None:
        super().__init__()
        self._bench, self._works, self._kind, self._drop_out = bench, works, kind, drop_out
        self._stored: StoredResult | None = None
        self.choice, self._turns = FileChoice(), Turns()
        self.result = ResultView(theme, lambda _options: None)
        room = QScrollArea()
        room.setWidgetResizable(True)
        room.setWidget(self.result)
        self._room = room
        for view in (self.choice, room):
            self._turns.add(view)
        self._said = label("", "text")
        self.back = button("Go back", self.go_back)
        self.back.setShortcut("Escape")
        self.judge = button("Judge this file", self._judge, is_next=True)
        self.save = button("Save report", self._ask_where, is_next=True)
        ends = line_of(self.back, (self._said, 1), self.judge, self.save, gap=GRID_PX)
        column_of((self._turns, 1), ends, on=self)

    def use_units(self) -> None:
        """Show the same in the units of now."""
        self.result.use_units(self._bench.settings.units)

    def ask(self) -> None:
        """Let the person choose a file."""
        title = _("Open a recording or a table")
        paths = ask_open(self, title, recordings_and_tables())
        if paths:
            self.open_files(paths)

    def open_files(self, paths: Sequence[Path]) -> None:
        """Read a file; a wrong one gets a sentence."""
        progress = Progress(Message("Reading {name} …", name=paths[0].name))
        store, machine = self._bench.store, self._bench.machine
        work = partial(open_files, self._kind, paths, store, machine, progress)
        self._works.add(work, self._show_file, self._refused, progress)

    def go_back(self) -> None:
        """To where the person came from."""
        self._stored = None
        self.closed.emit()

    def _show_file(self, file: OpenedFile) -> None:
        self.choice.show_file(file)
        self._seen(self.choice)
        (self.choice.first or self.judge).setFocus()

    def _refused(self, said: str) -> None:
        if self.isVisible():
            self.say(said)
        else:
            self._bench.tell(said)

    def _seen(self, view: QWidget) -> None:
        self.opened.emit()
        self.say("")
        self._turns.show_view(view)
        self.judge.setVisible(view is self.choice)
        self.save.setVisible(view is not self.choice)

    def _judge(self) -> None:
        file, bench = self.choice.opened, self._bench
        if file is None or self._works.busy:
            return
        progress = Progress(Message("Judging {name} …", name=file.name))
        chosen, drop_out = self.choice.chosen, self._drop_out()
        kind, store, machine = self._kind, bench.store, bench.machine
        judge = partial(judge_file, said=bench.for_whom.of(machine), drop_out=drop_out)

        def work() -> StoredResult:
            number = judge(kind, file, chosen, store, machine, progress)
            return archive.result(store, number)

        self._works.add(work, self._show_result, self.say, progress)

    def _show_result(self, stored: StoredResult) -> None:
        self._stored = stored
        self.result.show_result(stored, self._bench.settings.units)
        self._seen(self._room)
        self.say(_("Kept as result {number}.").format(number=stored.number))
        self.save.setFocus()

    def _ask_where(self) -> None:
        stored, bench = self._stored, self._bench
        if stored is None:
            return
        machine = stored.machine()
        name = name_for(machine.name if machine else "", stored.kind, ".pdf")
        path = ask_save(self, _("Save the report"), name, _(REPORT))
        if path is not None:
            words = Words(bench.settings.units)
            work = partial(archive.export_result, bench.store, stored.number, path, words)
            self._works.add(work, self.say, self.say)

    def say(self, sentence: str) -> None:
        """A sentence beside the buttons."""
        say(self._said, sentence)

"""A report as it will be printed, and where it goes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from PySide6.QtCore import Signal
from PySide6.QtGui import QImage, QKeySequence
from PySide6.QtWidgets import QWidget

from workbench.base.errors import Message
from workbench.gui.parts import report_pages
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.files import ask_save
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.parts.report_pages import ReportPages, pictures
from workbench.gui.theme import GRID_PX
from workbench.gui.work_line import Done, Work, WorkLine
from workbench.models.progress import Progress
from workbench.words.language import N_, _, ngettext

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter


class Paper(Protocol):
    """A report that can be looked at, printed and saved; all of it slow. Raises BenchError."""

    @property
    def file_name(self) -> str: ...
    def pages(self, ppi: float) -> list[bytes]: ...
    def save(self, path: Path) -> Path: ...


class PaperView(QWidget):
    """Pages, and below them what can be done with them. `closed` when the person goes back.

    `kinds` are the kinds of file it can be saved as, in the words of a file dialogue, `verbs`
    what stands on the buttons.
    """

    closed = Signal()

    def __init__(
        self,
        works: WorkLine,
        kinds: str,
        verbs: tuple[str, str, str] = (N_("Save report"), N_("Print report"), N_("Back")),
    ) -> None:
        super().__init__()
        self._works, self._kinds = works, kinds
        self._paper: Paper | None = None
        self.pages = ReportPages()
        self.said = label("", "soft")
        save, print_it, back = verbs
        self.save = button(save, self._ask_where, is_next=True)
        self.print = button(print_it, self._print_it)
        self.back = button(back, self.closed.emit)
        self.back.setShortcut(QKeySequence("Escape"))
        self.lay_out()

    def lay_out(self) -> None:
        """Pages above, buttons below."""
        column = column_of((self.pages, 1), on=self)
        line = line_of(self.back, (self.said, 1), self.print, self.save, gap=GRID_PX)
        column.addLayout(line)

    def now(self) -> Paper | None:
        """The report as it stands."""
        return self._paper

    def open(self, paper: Paper) -> None:
        """Draw the pages of a report, away from the screen."""
        self._paper = paper
        self.pages.show_pages([])
        self.say(_("Drawing the pages …"))
        self._work(partial(pictures, paper.pages), self._drawn)

    def save_as(self, path: Path) -> None:
        """Write the report as the name's ending says, away from the screen."""
        if (paper := self.now()) is not None:
            self._work(partial(paper.save, path), self.saved)

    def print_on(self, printer: QPrinter) -> None:
        """Draw the pages on a printer."""
        if (paper := self.now()) is not None:
            self.say(_("Printing …"))
            self._work(partial(report_pages.print_pages, paper.pages, printer), self.say)

    def open_to_print(self, path: Path) -> None:
        """Write the report as a PDF and open it with the desktop's own program."""
        if (paper := self.now()) is not None:
            self.say(_("No printer is set up: the report opens as a PDF to print from."))
            self._work(partial(paper.save, path), report_pages.open_file)

    def say(self, words: str) -> None:
        """A sentence beside the buttons."""
        say(self.said, words)

    def saved(self, path: Path) -> None:
        """It was written."""
        self.say(_("Saved as {file}.").format(file=path.name))

    def _work(self, work: Work, done: Done) -> None:
        self._works.add(work, done, self.say, Progress(Message("Making the report …")))

    def _drawn(self, pages: Sequence[QImage]) -> None:
        self.pages.show_pages(pages)
        self.say(ngettext("{count} page.", "{count} pages.", len(pages)).format(count=len(pages)))

    def _ask_where(self) -> None:
        paper = self.now()
        name = paper.file_name if paper else ""
        title, kinds = _("Save the report"), _(self._kinds)
        if path := ask_save(self, title, name, kinds):
            self.save_as(path)

    def _print_it(self) -> None:
        paper = self.now()
        if paper is not None and not report_pages.ask(self, self.print_on):
            self.open_to_print(report_pages.desktop_file(paper.file_name))

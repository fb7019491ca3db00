"""The gap report as it will be printed, and where it goes."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtGui import QImage, QKeySequence
from PySide6.QtWidgets import QFileDialog, QHBoxLayout, QVBoxLayout, QWidget

from workbench.gui.parts import printing
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.report_pages import ReportPages, pictures
from workbench.gui.theme import GRID_PX
from workbench.gui.work_line import WorkLine
from workbench.models.gap.store import Paper
from workbench.words.language import N_, _, ngettext

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter

KINDS = N_("Report or table (*.pdf *.html *.csv *.json)")


class GapPaper(QWidget):
    """Pages, and below them what can be done with them. `closed` when the person goes back."""

    closed = Signal()

    def __init__(self, works: WorkLine) -> None:
        super().__init__()
        self._works = works
        self._paper: Paper | None = None
        self.pages = ReportPages()
        self.said = label("", "soft")
        self.save = button("Save report", self._ask_where, is_next=True)
        back = button("Back", self.closed.emit)
        back.setAccessibleName(_("Back to the gap check"))
        back.setShortcut(QKeySequence("Escape"))
        self._print = button("Print report", self._print_it)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GRID_PX)
        column.addWidget(self.pages, 1)
        line = QHBoxLayout()
        line.setSpacing(GRID_PX)
        line.addWidget(back)
        line.addWidget(self.said, 1)
        line.addWidget(self._print)
        line.addWidget(self.save)
        column.addLayout(line)

    def open(self, paper: Paper) -> None:
        """Draw the pages of a report, away from the screen."""
        self._paper = paper
        self.pages.show_pages([])
        self._say(_("Drawing the pages …"))
        self._works.add(partial(pictures, paper.pages), self._drawn, self._say)

    def save_as(self, path: Path) -> None:
        """Write the report as the name's ending says, away from the screen."""
        if self._paper is not None:
            self._works.add(partial(self._paper.save, path), self._saved, self._say)

    def print_on(self, printer: QPrinter) -> None:
        """Draw the pages on a printer."""
        if self._paper is not None:
            self._say(_("Printing …"))
            work = partial(printing.print_pages, self._paper.pages, printer)
            self._works.add(work, self._say, self._say)

    def _drawn(self, pages: Sequence[QImage]) -> None:
        self.pages.show_pages(pages)
        self._say(ngettext("{count} page.", "{count} pages.", len(pages)).format(count=len(pages)))

    def _saved(self, path: Path) -> None:
        self._say(_("Saved as {file}.").format(file=path.name))

    def _say(self, words: str) -> None:
        say(self.said, words)

    def _ask_where(self) -> None:
        name = self._paper.file_name if self._paper else ""
        title, kinds = _("Save the report"), _(KINDS)
        chosen, _kind = QFileDialog.getSaveFileName(self, title, name, kinds)
        if chosen:
            self.save_as(Path(chosen))

    def _print_it(self) -> None:
        if self._paper is not None and not printing.ask(self, self.print_on):
            self._say(_("No printer is set up: the report opens as a PDF to print from."))
            work = partial(self._paper.save, printing.desktop_file(self._paper.file_name))
            self._works.add(work, printing.open_file, self._say)

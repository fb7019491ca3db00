"""The certificate as it will be printed, what is to stand on it, and where it goes."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import (
    QFileDialog,
    QHBoxLayout,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.parts import printing
from workbench.gui.parts.basics import button, label, row, say
from workbench.gui.parts.report_pages import ReportPages, pictures
from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.gui.work_line import WorkLine
from workbench.models.bench import Bench
from workbench.models.calibrate.job import CalibrateJob
from workbench.models.calibrate.runs import run_table, save_runs
from workbench.models.calibrate.store import certificate_pages, save_certificate
from workbench.words.language import N_, _, ngettext
from workbench.words.words import Words

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter

SIDE_PX = 36 * GRID_PX

FIELDS = (
    ("by", N_("Calibrated by")),
    ("environment", N_("Conditions (place, weather, oil)")),
    ("references", N_("Tape, watch or instrument used")),
    ("remarks", N_("Remarks")),
)


class CertificateView(QWidget):
    """Pages on the right, entries and buttons on the left."""

    def __init__(
        self, bench: Bench, job: CalibrateJob, works: WorkLine, back: Callable[[], object]
    ) -> None:
        super().__init__()
        self._bench, self._job, self._works = bench, job, works
        self.entries = {name: QLineEdit() for name, _caption in FIELDS}
        self.save = button("Save certificate", self._ask_where, is_next=True)
        self._print = button("Print certificate", self._ask_printer)
        self._runs = button("Save runs", self._ask_where_runs)
        self.back = button("Back to the runs", back)
        self.said = label("", "soft")
        self.pages = ReportPages()
        self._lay_out()

    def draw(self) -> None:
        """The pages of the result kept, anew, where they can be seen."""
        number = self._job.state.result
        if number is not None and self.isVisible():
            self._say(_("Drawing the pages …"))
            self._works.add(partial(pictures, self._draw(number)), self._show_pages, self._say)

    def save_certificate(self, path: Path) -> None:
        """Write the certificate of the result kept, away from the screen."""
        number = self._job.state.result
        if number is not None:
            self._works.add(self._writing(number, path), self._saved, self._say)

    def save_runs(self, path: Path) -> None:
        """Write the runs as a table that `evenpace calibrate` takes, those as left beside it."""
        self._works.add(partial(save_runs, run_table(self._job.runs), path), self._saved, self._say)
        left = run_table(self._job.left_runs)
        if left:
            stem = _("{name} as left").format(name=path.stem)
            beside = path.with_name(f"{stem}{path.suffix}")
            self._works.add(partial(save_runs, left, beside), self._saved, self._say)

    def print_on(self, printer: QPrinter) -> None:
        """Print the certificate of the result kept, away from the screen."""
        number = self._job.state.result
        if number is not None:
            self._say(_("Printing …"))
            work = partial(printing.print_pages, self._draw(number), printer)
            self._works.add(work, self._say, self._say)

    def _show_pages(self, pages: list[QImage]) -> None:
        self.pages.show_pages(pages)
        said = ngettext(
            "Result {number}, {count} page.", "Result {number}, {count} pages.", len(pages)
        )
        self._say(said.format(number=self._job.state.result, count=len(pages)))

    def _lay_out(self) -> None:
        side = QWidget()
        side.setFixedWidth(SIDE_PX)
        column = QVBoxLayout(side)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GRID_PX)
        for name, words in FIELDS:
            entry = self.entries[name]
            entry.setMinimumHeight(TOUCH_PX)
            entry.setAccessibleName(_(words))
            entry.editingFinished.connect(self.draw)
            caption = label(words, "soft", wrap=False)
            caption.setBuddy(entry)
            column.addWidget(caption)
            column.addWidget(entry)
        column.addSpacing(GRID_PX)
        column.addWidget(self.save)
        column.addWidget(row(self._print, self._runs, stretch=False))
        column.addWidget(self.back)
        column.addWidget(self.said)
        column.addStretch(1)
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(3 * GRID_PX)
        left = QScrollArea()
        left.setWidgetResizable(True)
        left.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        left.setWidget(side)
        left.setFixedWidth(SIDE_PX + 2 * GRID_PX)
        left.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.pages.setAccessibleName(_("Certificate, page by page"))
        line.addWidget(left)
        line.addWidget(self.pages, 1)

    def _draw(self, number: int) -> printing.Draw:
        store, words = self._bench.store, Words(self._bench.settings.units)
        return partial(certificate_pages, number, store, self._typed(), words)

    def _writing(self, number: int, path: Path) -> Callable[[], Path]:
        store, words = self._bench.store, Words(self._bench.settings.units)
        return partial(save_certificate, number, path, store, self._typed(), words)

    def _typed(self) -> dict[str, Any]:
        """What stands in the entries, as options of the certificate."""
        typed: dict[str, Any] = {name: entry.text().strip() for name, entry in self.entries.items()}
        used = typed["references"]
        return typed | {"references": [used] if used else []}

    def _say(self, words: str) -> None:
        say(self.said, words)

    def _saved(self, path: Path) -> None:
        self._say(_("Saved as {name}.").format(name=path.name))

    def _ask_where(self) -> None:
        kinds = _("Certificate (*.pdf *.html *.json)")
        name, _kind = QFileDialog.getSaveFileName(
            self, _("Save the certificate"), "certificate.pdf", kinds
        )
        if name:
            self.save_certificate(Path(name))

    def _ask_where_runs(self) -> None:
        name, _kind = QFileDialog.getSaveFileName(
            self, _("Save the runs"), "runs.csv", _("Runs (*.csv)")
        )
        if name:
            self.save_runs(Path(name))

    def _ask_printer(self) -> None:
        if not printing.ask(self, self.print_on):
            self.open_to_print(printing.desktop_file("certificate.pdf"))

    def open_to_print(self, path: Path) -> None:
        """Write the certificate as a PDF and open it with the desktop's own program."""
        number = self._job.state.result
        if number is not None:
            self._say(_("No printer is set up here: the certificate opens as a PDF to print from."))
            self._works.add(self._writing(number, path), printing.open_file, self._say)

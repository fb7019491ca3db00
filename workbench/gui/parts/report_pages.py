"""A report as it will be printed: its pages as pictures, one below the other."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QRect, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QImage, QPainter, QPixmap, QResizeEvent
from PySide6.QtWidgets import QLabel, QScrollArea, QVBoxLayout, QWidget

from workbench.gui.theme import GRID_PX
from workbench.words.language import _

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter


MOST_PX = 1000
"""Wider a page of text is no easier to read."""

SCREEN_PPI = 120.0


def pictures(draw: Draw) -> list[QImage]:
    """Pages for `ReportPages`; slow, to be called away from the screen."""
    return [QImage.fromData(page) for page in draw(SCREEN_PPI)]


class ReportPages(QScrollArea):
    """Shows pages as wide as there is room."""

    def __init__(self) -> None:
        super().__init__()
        self._pages: list[QImage] = []
        self._labels: list[QLabel] = []
        holder = QWidget()
        self._column = QVBoxLayout(holder)
        self._column.setSpacing(2 * GRID_PX)
        self._column.setAlignment(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop)
        self.setWidget(holder)
        self.setWidgetResizable(True)
        self.setAccessibleName(_("Preview of the report"))

    def show_pages(self, pages: Sequence[QImage]) -> None:
        """The pages, see `pictures`; [] clears."""
        for old in self._labels:
            old.hide()
            old.deleteLater()
        self._pages, self._labels = list(pages), []
        for number in range(1, len(pages) + 1):
            made = QLabel()
            name = _("Page {number} of {count}").format(number=number, count=len(pages))
            made.setAccessibleName(name)
            self._labels.append(made)
            self._column.addWidget(made)
        self.verticalScrollBar().setValue(0)
        self._scale()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._scale()

    def _scale(self) -> None:
        ratio = self.devicePixelRatioF()
        width = max(min(self.viewport().width() - 4 * GRID_PX, MOST_PX), 1)
        for page, shown in zip(self._pages, self._labels, strict=True):
            smooth = Qt.TransformationMode.SmoothTransformation
            fitted = QPixmap.fromImage(page.scaledToWidth(round(width * ratio), smooth))
            fitted.setDevicePixelRatio(ratio)
            shown.setPixmap(fitted)


PPI = 300.0

Draw = Callable[[float], Sequence[bytes]]
"""The pages of a report as PNG, with so many pixels an inch. Slow: not on the screen's thread."""


def ask(parent: QWidget, do: Callable[[QPrinter], object]) -> bool:
    """Ask for a printer and hand it to `do`; False where none is set up."""
    from PySide6.QtPrintSupport import QPrintDialog, QPrinter, QPrinterInfo

    if not QPrinterInfo.availablePrinterNames():
        return False
    dialog = QPrintDialog(QPrinter(QPrinter.PrinterMode.HighResolution), parent)
    dialog.accepted.connect(lambda: do(dialog.printer()))
    dialog.finished.connect(dialog.deleteLater)
    dialog.setModal(True)
    dialog.show()
    return True


def print_pages(draw: Draw, printer: QPrinter) -> str:
    """Draw pages on a printer, each as large as its paper; a sentence on how it went."""
    pages, painter = draw(PPI), QPainter()
    if not painter.begin(printer):
        return _("The printer could not be reached; save it as PDF instead.")
    for number, page in enumerate(pages):
        if number:
            printer.newPage()
        image, room = QImage.fromData(page), painter.viewport()
        size = image.size().scaled(room.size(), Qt.AspectRatioMode.KeepAspectRatio)
        painter.drawImage(QRect(room.topLeft(), size), image)
    painter.end()
    many = "s" if len(pages) > 1 else ""
    return _("{count} page{many} went to the printer.").format(count=len(pages), many=many)


def desktop_file(name: str) -> Path:
    """A place for a PDF that another program is to open."""
    return Path(tempfile.mkdtemp(prefix="evenpace-")) / name


def open_file(path: Path) -> None:
    """Open a file with the program that the desktop has for it."""
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))

"""Pages to a printer, or to the desktop's own program for PDFs where no printer is set up."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QRect, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QImage, QPainter
from PySide6.QtWidgets import QWidget

from workbench.words.language import _

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter

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

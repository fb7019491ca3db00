"""A report as it will be printed: its pages as pictures, one below the other."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPixmap, QResizeEvent
from PySide6.QtWidgets import QLabel, QScrollArea, QVBoxLayout, QWidget

from workbench.gui.parts.printing import Draw
from workbench.gui.theme import GRID_PX
from workbench.words.language import _

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

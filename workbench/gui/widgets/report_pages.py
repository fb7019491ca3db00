"""A report as it will be printed: its pages as pictures, one below the other."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QPixmap, QResizeEvent
from PySide6.QtWidgets import QLabel, QScrollArea, QVBoxLayout, QWidget

from workbench.gui.theme import GRID_PX

MOST_PX = 1000
"""Wider a page of text is no easier to read."""


class ReportPages(QScrollArea):
    """Shows pages given as PNG, as wide as there is room."""

    def __init__(self) -> None:
        super().__init__()
        self._pages: list[QPixmap] = []
        self._labels: list[QLabel] = []
        holder = QWidget()
        self._column = QVBoxLayout(holder)
        self._column.setSpacing(2 * GRID_PX)
        self._column.setAlignment(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop)
        self.setWidget(holder)
        self.setWidgetResizable(True)
        self.setAccessibleName("Preview of the report")

    def show_pages(self, pages: Sequence[bytes]) -> None:
        """The pages, each a PNG; [] clears."""
        for old in self._labels:
            old.hide()
            old.deleteLater()
        self._pages, self._labels = [], []
        for number, data in enumerate(pages, 1):
            picture, made = QPixmap(), QLabel()
            picture.loadFromData(data)
            made.setAccessibleName(f"Page {number} of {len(pages)}")
            self._pages.append(picture)
            self._labels.append(made)
            self._column.addWidget(made)
        self.verticalScrollBar().setValue(0)
        self._scale()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._scale()

    def _scale(self) -> None:
        width = min(self.viewport().width() - 4 * GRID_PX, MOST_PX)
        for picture, shown in zip(self._pages, self._labels, strict=True):
            smooth = Qt.TransformationMode.SmoothTransformation
            shown.setPixmap(picture.scaledToWidth(max(width, 1), smooth))

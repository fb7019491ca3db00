"""The certificate as it will be printed, what is to stand on it, and where it goes."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QImage, QPixmap, QResizeEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from workbench.gui.theme import GRID_PX, TOUCH_PX
from workbench.gui.widgets.basics import button, label, row, say

MOST_WIDTH_PX = 1000
SIDE_PX = 36 * GRID_PX

FIELDS = (
    ("by", "Calibrated by"),
    ("environment", "Conditions (place, weather, oil)"),
    ("references", "Tape, watch or instrument used"),
    ("remarks", "Remarks"),
)


class CertificateView(QWidget):
    """Pages on the right, entries and buttons on the left. `typed_anew` tells of an entry."""

    typed_anew = Signal()

    def __init__(
        self,
        save: Callable[[], object],
        print_it: Callable[[], object],
        save_runs: Callable[[], object],
        back: Callable[[], object],
    ) -> None:
        super().__init__()
        self._pages: list[QImage] = []
        self.entries = {name: QLineEdit() for name, _ in FIELDS}
        self.save = button("Save certificate", save, is_next=True)
        self._print = button("Print certificate", print_it)
        self._runs = button("Save runs", save_runs)
        self._back = button("Back to the runs", back)
        self.said = label("", "soft")
        self.scroll = QScrollArea()
        self.scroll.setAccessibleName("Certificate, page by page")
        self.scroll.setWidgetResizable(True)
        self.scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._sheets = QWidget()
        self._column = QVBoxLayout(self._sheets)
        self._column.setSpacing(2 * GRID_PX)
        self._column.setContentsMargins(0, 0, 0, 0)
        self.scroll.setWidget(self._sheets)
        self._lay_out()

    def typed(self) -> dict[str, str | list[str]]:
        """What stands in the entries, as options of the certificate."""
        words: dict[str, str | list[str]] = {
            name: entry.text().strip() for name, entry in self.entries.items()
        }
        used = str(words["references"])
        return words | {"references": [used] if used else []}

    def show_pages(self, pages: list[bytes]) -> None:
        """`pages` as PNG."""
        self._pages = [QImage.fromData(page) for page in pages]
        while self._column.count():
            item = self._column.takeAt(0)
            widget = item.widget() if item else None
            if widget is not None:
                widget.deleteLater()
        for number in range(1, len(self._pages) + 1):
            sheet = QLabel()
            sheet.setAlignment(Qt.AlignmentFlag.AlignHCenter)
            sheet.setAccessibleName(f"Page {number} of {len(self._pages)}")
            self._column.addWidget(sheet)
        self._column.addStretch(1)
        self._fit()

    @property
    def page_count(self) -> int:
        return len(self._pages)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        """The pages as wide as there is room."""
        ratio = self.devicePixelRatioF()
        width = min(self.width() - SIDE_PX - 6 * GRID_PX, MOST_WIDTH_PX)
        for at, page in enumerate(self._pages):
            item = self._column.itemAt(at)
            sheet = item.widget() if item else None
            if isinstance(sheet, QLabel) and width > 0:
                smooth = Qt.TransformationMode.SmoothTransformation
                fitted = QPixmap.fromImage(page.scaledToWidth(round(width * ratio), smooth))
                fitted.setDevicePixelRatio(ratio)
                sheet.setPixmap(fitted)

    def _lay_out(self) -> None:
        side = QWidget()
        side.setFixedWidth(SIDE_PX)
        column = QVBoxLayout(side)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GRID_PX)
        for name, words in FIELDS:
            entry = self.entries[name]
            entry.setMinimumHeight(TOUCH_PX)
            entry.setAccessibleName(words)
            entry.editingFinished.connect(self.typed_anew)
            caption = label(words, "soft", wrap=False)
            caption.setBuddy(entry)
            column.addWidget(caption)
            column.addWidget(entry)
        column.addSpacing(GRID_PX)
        column.addWidget(self.save)
        column.addWidget(row(self._print, self._runs, stretch=False))
        column.addWidget(self._back)
        column.addWidget(self.said)
        column.addStretch(1)
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(3 * GRID_PX)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFixedWidth(SIDE_PX + 2 * GRID_PX)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setWidget(side)
        line.addWidget(scroll)
        line.addWidget(self.scroll, 1)

    def say(self, words: str) -> None:
        """A sentence below the buttons."""
        say(self.said, words)

"""The box on a plot in which its values are read out."""

from __future__ import annotations

import html
from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QLabel, QWidget

from workbench.gui.plot.axes import CAPTION_PX
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font

EDGE_PX = 2


class ReadingBox(QLabel):
    """Lies on a plot beside the cursor, and lets the mouse through."""

    def __init__(self, plot: QWidget) -> None:
        super().__init__(plot)
        self._plot = plot
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setFont(font(SMALL_PX))
        self.hide()

    def dress(self, theme: Theme) -> None:
        """Take a theme's colours."""
        self.setStyleSheet(
            f"background: {theme.raised}; color: {theme.ink}; border: 1px solid {theme.line};"
            "padding: 4px 8px;"
        )

    def say(self, sentence: str, right_px: int) -> None:
        """A sentence at the top, left of `right_px`."""
        self.setText(html.escape(sentence))
        self.adjustSize()
        self.move(right_px - self.width(), EDGE_PX)
        self.show()
        self.raise_()

    def read_out(self, place: str, rows: Sequence[tuple[str, str, QColor]], at_px: float) -> None:
        """A place, and a line each of name, value and colour, beside `at_px` where there is room.

        It does not show itself: see `setVisible`.
        """
        lines = [html.escape(place)]
        lines += [
            f'<span style="color:{color.name()}">{html.escape(name)}</span> {html.escape(value)}'
            for name, value, color in rows
        ]
        self.setText("<br>".join(lines))
        self.adjustSize()
        right = int(at_px) + GRID_PX
        left = int(at_px) - GRID_PX - self.width()
        beside = right if right + self.width() < self._plot.width() else max(left, 0)
        self.move(beside, min(CAPTION_PX, max(0, self._plot.height() - self.height())))
        self.raise_()

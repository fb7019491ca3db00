"""A result on the screen: verdict and sentence, a picture, and beside it the words."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QGridLayout,
    QWidget,
)

from workbench.gui.parts.basics import VerdictPill, label, say
from workbench.gui.parts.layout import column_of, emptied, lay_beside, line_of, scrolled
from workbench.gui.theme import GRID_PX, Theme
from workbench.models.records.opened import Opened
from workbench.words.language import _

NARROW_PX = 600
"""Narrower than this, the words stand below the picture."""


class AnswerFrame(QWidget):
    """Words around a picture that its owner keeps up to date; without one, words alone."""

    def __init__(self, theme: Theme, picture: QWidget | None = None, choice: QWidget | None = None):
        super().__init__()
        self._pill = VerdictPill(theme)
        self.sentence = label("", "text")
        self._words = column_of(edges=(0, 0, GRID_PX, 0))
        beside = QWidget()
        beside.setLayout(self._words)
        head = line_of((self._pill, Qt.AlignmentFlag.AlignTop), (self.sentence, 1))
        if choice is not None:
            head.addWidget(choice, 0, Qt.AlignmentFlag.AlignTop)
        self._body = line_of()
        if picture is not None:
            self._body.addWidget(picture, 3)
        self._body.addWidget(scrolled(beside, _("The result in words")), 2)
        column_of(head, (self._body, 1), on=self)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        lay_beside(self._body, wide=event.size().width() >= NARROW_PX)

    def show_words(self, opened: Opened) -> None:
        """Fill in verdict, sentence, the setting in large type, the chapters and the table."""
        self._pill.setVisible(opened.verdict is not None)
        if opened.verdict is not None:
            self._pill.show_verdict(opened.verdict)
        say(self.sentence, opened.sentence)
        emptied(self._words)
        if opened.setting:
            self._words.addWidget(label(opened.setting, "title"))
        for title, sentences in opened.chapters.items():
            if sentences:
                self._words.addWidget(label(title, "text"))
                for sentence in sentences:
                    self._words.addWidget(label(sentence))
        if opened.rows:
            self._words.addWidget(_table(opened))
        self._words.addStretch(1)


def _table(opened: Opened) -> QWidget:
    """Rows of words, the columns in line; numbers can be marked and copied."""
    holder = QWidget()
    grid = QGridLayout(holder)
    grid.setContentsMargins(0, GRID_PX, 0, 0)
    grid.setHorizontalSpacing(2 * GRID_PX)
    grid.setVerticalSpacing(GRID_PX)
    for column, head in enumerate(opened.heads):
        grid.addWidget(label(head, "soft"), 0, column, Qt.AlignmentFlag.AlignTop)
    for at, row in enumerate(opened.rows, 1):
        for column, text in enumerate(row):
            # A value and its uncertainty stay on one line.
            whole = text.replace(" ± ", "\u00a0±\u00a0")
            cell = label(whole, "" if opened.heads or column else "soft")
            cell.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
            grid.addWidget(cell, at, column, Qt.AlignmentFlag.AlignTop)
    grid.setColumnStretch(max(len(row) for row in opened.rows) - 1, 1)
    return holder

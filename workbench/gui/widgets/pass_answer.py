"""A judged pass: its verdict, the drift plot, and beside it what to do and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from workbench.calibration.decision import Verdict
from workbench.gui.theme import GRID_PX, Theme
from workbench.gui.widgets.basics import VerdictPill, label
from workbench.gui.widgets.drift_plot import DriftPlot
from workbench.match.ratio import PaceLimits
from workbench.models.pass_words import pass_rows, pass_words
from workbench.units import UnitSystem

NARROW_PX = 600
"""Narrower than this, the words stand below the plot."""


class PassAnswer(QWidget):
    """Shows an answer of `evenpace pass`, fresh or from the store."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._answer: Mapping[str, Any] | None = None
        self._pill, self.sentence = VerdictPill(theme), label("", "text")
        self._plot = DriftPlot(theme)
        self._words = QVBoxLayout()
        self._words.setContentsMargins(0, 0, GRID_PX, 0)
        self._words.setSpacing(GRID_PX)
        beside = QWidget()
        beside.setLayout(self._words)
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(beside)
        area.setAccessibleName("What to do, why, and the parts of the pass")
        self._head = head = QHBoxLayout()
        head.setSpacing(2 * GRID_PX)
        head.addWidget(self._pill, 0, Qt.AlignmentFlag.AlignTop)
        head.addWidget(self.sentence, 1)
        self._body = body = QHBoxLayout()
        body.setSpacing(2 * GRID_PX)
        body.addWidget(self._plot, 3)
        body.addWidget(area, 2)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2 * GRID_PX)
        column.addLayout(head)
        column.addLayout(body, 1)

    def set_theme(self, theme: Theme) -> None:
        self._pill.set_theme(theme)
        self._plot.set_theme(theme)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        side = QBoxLayout.Direction.LeftToRight
        way = side if event.size().width() >= NARROW_PX else QBoxLayout.Direction.TopToBottom
        self._head.setDirection(way)
        self._body.setDirection(way)

    def show_answer(self, answer: Mapping[str, Any], units: UnitSystem) -> None:
        """Fill in the pictures and the words."""
        self._answer = answer
        self._pill.show_verdict(Verdict(answer["verdict"]))
        words = pass_words(answer, units)
        self.sentence.setText(words.sentence)
        self._fill(
            {
                "What to do": words.to_do,
                "Most likely why": words.why,
                "Along the way": words.parts,
                "Notes": words.notes,
            }
        )
        limits = PaceLimits(answer["ratio_low"], answer["ratio_high"])
        self._plot.clear_marks()
        self._plot.show_pass(pass_rows(answer), limits, units)
        for point in answer.get("change_points") or []:
            self._plot.mark(point["time_s"], f"{100 * point['change']:+.1f} %".replace("-", "−"))

    def use_units(self, units: UnitSystem) -> None:
        """Show the same answer in other units."""
        if self._answer is not None:
            self.show_answer(self._answer, units)

    def _fill(self, chapters: dict[str, list[str]]) -> None:
        while (item := self._words.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        for title, sentences in chapters.items():
            if sentences:
                self._words.addWidget(label(title, "text"))
                for sentence in sentences:
                    self._words.addWidget(label(sentence))
        self._words.addStretch(1)

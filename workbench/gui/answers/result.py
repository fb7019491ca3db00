"""One stored result at the pictures of its page."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QGridLayout,
    QWidget,
)

from workbench.base.units import UnitSystem
from workbench.calibration.gap.answer import FeelerAnswer
from workbench.gui.answers.passes import PassAnswerView
from workbench.gui.parts.basics import VerdictPill, label, say
from workbench.gui.parts.layout import column_of, emptied, lay_beside, line_of, scrolled
from workbench.gui.parts.turns import Turns
from workbench.gui.parts.wheel import Wheel
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.gap.sheet import sheet_of
from workbench.jobs.keep import answer_of
from workbench.jobs.passes.answer import PassAnswer, PassOptions
from workbench.jobs.prepare.answer import PrepareAnswer
from workbench.jobs.speed.answer import SpeedAnswer
from workbench.models.records.opened import (
    Opened,
    calibration_words,
    gap_words,
    prepare_words,
    speed_words,
)
from workbench.records.entries import StoredResult
from workbench.words.language import _
from workbench.words.pictures.calibrate import error_picture
from workbench.words.pictures.wheel import feeler_wheel, tooth_wheel
from workbench.words.words import Words

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


class ResultView(Turns):
    """A pass, a calibration, a gap check or a belt speed, each as its page shows it."""

    def __init__(self, theme: Theme, judge_again: Callable[[PassOptions], object]) -> None:
        super().__init__()
        self._stored: StoredResult | None = None
        self._units: UnitSystem | None = None
        self._passed: PassAnswer | None = None
        self.passing = PassAnswerView(theme, judge_again)
        self.curve = Plot(theme, _("Error of the readout against belt speed"))
        self.wheel = Wheel(theme)
        self.wheel.setMinimumSize(26 * GRID_PX, 26 * GRID_PX)
        self._pickups = QComboBox()
        self._pickups.setMinimumHeight(TOUCH_PX)
        self._pickups.setAccessibleName(_("Pickup"))
        self._pickups.activated.connect(self._show)
        self.calibration = AnswerFrame(theme, self.curve)
        self.gap = AnswerFrame(theme, self.wheel, self._pickups)
        self.prepared = AnswerFrame(theme)
        self.speed = AnswerFrame(theme)
        for view in (self.passing, self.calibration, self.gap, self.prepared, self.speed):
            self.add(view)

    def show_result(self, stored: StoredResult, units: UnitSystem) -> None:
        """Show this result from now on."""
        self._stored, self._units = stored, units
        self._passed = answer_of(stored, PassAnswer) if stored.kind == "pass" else None
        self.passing.typed.use_for(stored.recording)
        self._pickups.clear()
        if stored.kind == "gap":
            for one in answer_of(stored, GapAnswer).latest.pickups:
                self._pickups.addItem(f"{one.pickup}: {Words().say(one.verdict)}")
        self._pickups.setVisible(self._pickups.count() > 1)
        self._show()

    def use_units(self, units: UnitSystem) -> None:
        """Show the same in other units."""
        self._units = units
        self._show()

    def _show(self) -> None:
        stored, units = self._stored, self._units
        if stored is None or units is None:
            return
        if self._passed is not None:
            self.passing.show_answer(self._passed, units)
            self.show_view(self.passing)
        elif stored.kind == "calibrate":
            found = answer_of(stored, CalibrateAnswer)
            self.calibration.show_words(calibration_words(found, Words(units)))
            tell_simulated(self.curve, found.simulated)
            picture = error_picture(found, found.readout_error_limit)
            self.curve.show_picture(picture, units, anew=True)
            self.show_view(self.calibration)
        elif stored.kind == "gap":
            self._show_gap(stored, units)
            self.show_view(self.gap)
        elif stored.kind == "prepare":
            prepared = answer_of(stored, PrepareAnswer)
            self.prepared.show_words(prepare_words(prepared, Words(units)))
            self.show_view(self.prepared)
        else:
            self.speed.show_words(speed_words(answer_of(stored, SpeedAnswer), Words(units)))
            self.show_view(self.speed)

    def _show_gap(self, stored: StoredResult, units: UnitSystem) -> None:
        answer = answer_of(stored, GapAnswer)
        line = sheet_of(answer).lines[max(0, self._pickups.currentIndex())]
        (pickup,) = line.found
        self.gap.show_words(gap_words(pickup, Words(units), line.as_found))
        if isinstance(pickup, FeelerAnswer):
            self.wheel.show_wheel(feeler_wheel(pickup, answer.limits), units)
        else:
            self.wheel.show_wheel(tooth_wheel(pickup), units)

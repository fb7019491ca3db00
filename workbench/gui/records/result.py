"""One stored result at the pictures of its page."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QComboBox

from workbench.base.units import UnitSystem
from workbench.calibration.gap.answer import FeelerAnswer
from workbench.gui.answers.passes import PassAnswerView
from workbench.gui.parts.answer_frame import AnswerFrame
from workbench.gui.parts.turns import Turns
from workbench.gui.parts.wheel import Wheel
from workbench.gui.plot.plot import Plot
from workbench.gui.plot.save import tell_simulated
from workbench.gui.theme import GRID_PX, TOUCH_PX, Theme
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.keep import answer_of
from workbench.jobs.passes.answer import PassAnswer
from workbench.jobs.speed.answer import SpeedAnswer
from workbench.models.records.opened import (
    calibration_words,
    gap_words,
    speed_words,
)
from workbench.records.entries import StoredResult
from workbench.words.language import _
from workbench.words.pictures.calibrate import error_picture
from workbench.words.pictures.wheel import feeler_wheel, tooth_wheel
from workbench.words.words import Words


class ResultView(Turns):
    """A pass, a calibration, a gap check or a belt speed, each as its page shows it."""

    def __init__(self, theme: Theme, judge_again: Callable[[str, str], object]) -> None:
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
        self.speed = AnswerFrame(theme)
        for view in (self.passing, self.calibration, self.gap, self.speed):
            self.add(view)

    def show_result(self, stored: StoredResult, units: UnitSystem) -> None:
        """Show this result from now on."""
        self._stored, self._units = stored, units
        self._passed = answer_of(stored, PassAnswer) if stored.kind == "pass" else None
        self._pickups.clear()
        if stored.kind == "gap":
            for one in answer_of(stored, GapAnswer).pickups:
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
        else:
            self.speed.show_words(speed_words(answer_of(stored, SpeedAnswer), Words(units)))
            self.show_view(self.speed)

    def _show_gap(self, stored: StoredResult, units: UnitSystem) -> None:
        answer = answer_of(stored, GapAnswer)
        pickup = answer.pickups[max(0, self._pickups.currentIndex())]
        self.gap.show_words(gap_words(pickup, Words(units)))
        if isinstance(pickup, FeelerAnswer):
            self.wheel.show_wheel(feeler_wheel(pickup, answer.limits), units)
        else:
            self.wheel.show_wheel(tooth_wheel(pickup), units)

"""The button that brings the simulated scenario which fits where one stands."""

from __future__ import annotations

from PySide6.QtWidgets import QPushButton

from workbench.gui.parts.basics import say
from workbench.gui.theme import TOUCH_PX
from workbench.models.bench import Bench
from workbench.models.rehearsal import Rehearsal, fits, rehearse, scenarios
from workbench.words.language import N_

WORDS = {
    Rehearsal.PASS: N_("Use a simulated field"),
    Rehearsal.CALIBRATION: N_("Use a simulated shop"),
    Rehearsal.RAMP: N_("Use a simulated slow ramp"),
    Rehearsal.DROP_OUT: N_("Use a simulated drop-out run"),
}


class RehearseButton(QPushButton):
    """Seen only while another simulated scenario comes in."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench, self._rehearsal = bench, Rehearsal.PASS
        self.setMinimumHeight(TOUCH_PX)
        self.setAutoDefault(True)
        self.clicked.connect(lambda: rehearse(self._bench, self._rehearsal))
        self.hide()

    def offer(self, rehearsal: Rehearsal, *, idle: bool) -> None:
        """Offer this one from now on, if nothing runs."""
        self.setVisible(idle and not fits(self._bench, rehearsal))
        if rehearsal is not self._rehearsal or not self.text():
            self._rehearsal = rehearsal
            say(self, WORDS[rehearsal])
            self.setToolTip(scenarios()[rehearsal.value].about)

"""A pass that starts and stops by itself: the rule, and the watch that keeps it."""

from __future__ import annotations

import math
from enum import Enum, auto

from workbench.base.units import UnitSystem
from workbench.words.language import N_
from workbench.words.words import Words

START_MPS = 0.3
"""Both faster than this, and the digger is at work; below any working speed. Chosen."""
START_S = 3.0
STAND_MPS = 0.1
"""Slower than this the digger stands: a receiver's own noise stays below it. Chosen."""
STAND_S = 5.0
"""Standing for so long ends a pass; a short stop does not. Chosen."""


class AutoStep(Enum):
    """What is to be done by itself."""

    START = auto()
    STOP = auto()


def rule_words(units: UnitSystem) -> str:
    """The rule in words, in the person's units."""
    return Words(units).fill(
        N_(
            "Begins once belt and ground run faster than {start_mps:speed} for {start_s:seconds}; "
            "ends once the digger has stood for {stand_s:seconds}. After a stop by hand, the "
            "digger must stand before the next begins."
        ),
        {"start_mps": START_MPS, "start_s": START_S, "stand_s": STAND_S},
    )


class AutoPass:
    """Says when a pass should begin or end. `on` is the person's switch.

    A lost signal neither begins nor ends a pass: it is no news about the digger.
    """

    def __init__(self) -> None:
        self.on = False
        self._runs_since_s = self._stands_since_s = math.nan
        self._armed = True

    def look(
        self, now_s: float, belt_mps: float, ground_mps: float, *, running: bool
    ) -> AutoStep | None:
        """The step due at `now_s` (NaN speeds: lost). Call it several times a second."""
        at_work = belt_mps > START_MPS and ground_mps > START_MPS
        stands = abs(ground_mps) < STAND_MPS
        self._runs_since_s = _since(at_work, self._runs_since_s, now_s)
        self._stands_since_s = _since(stands, self._stands_since_s, now_s)
        stood = now_s - self._stands_since_s >= STAND_S
        if running:
            self._armed = stood
            return AutoStep.STOP if self.on and stood else None
        self._armed = self._armed or stands
        if self.on and self._armed and now_s - self._runs_since_s >= START_S:
            return AutoStep.START
        return None


def _since(holds: bool, since_s: float, now_s: float) -> float:
    """The moment from which on it has held without a break, NaN where it does not."""
    if not holds:
        return math.nan
    return now_s if math.isnan(since_s) else since_s

"""Laps of the run under way: marks by a hand or by a lap pickup, on the bench's clock."""

from __future__ import annotations

import math
from collections.abc import Callable

from workbench.live.streams import Stream

BOUNCE = 0.4
"""A mark that comes before this share of a lap is the pickup bouncing. Chosen."""

OVERDUE = 2.5
"""Laps without a mark after which the lap pickup counts as blind. Chosen."""

UNKNOWN_LAP_S = 30.0
"""Stands for the time of a lap while the belt's speed is not known."""


class LapMarks:
    """What the lap pickup sees; `seen` is called with the moment of every passing."""

    def __init__(self, seen: Callable[[float], object]) -> None:
        self._seen = seen
        self.forget()

    def forget(self) -> None:
        """The inputs were opened anew: their clocks start again."""
        self._counted = 0
        self.last_s: float | None = None

    def follow(self, laps: Stream, lap_s: float) -> None:
        """Take in the marks that have passed since; `lap_s` is the time of a lap now, NaN where
        that is not known."""
        passed = laps.pulses.after(self._counted)
        self._counted = passed.first + passed.time_s.size
        for at_s in passed.time_s.tolist():
            self._passing(at_s, lap_s)

    def blind(self, now_s: float, lap_s: float) -> bool:
        """Whether there is no lap pickup, or none that has seen a mark when it should have."""
        if self.last_s is None:
            return True
        usual_s = lap_s if math.isfinite(lap_s) else UNKNOWN_LAP_S
        return now_s - self.last_s > OVERDUE * usual_s + 1.0

    def _passing(self, at_s: float, lap_s: float) -> None:
        if self.last_s is not None and at_s - self.last_s < BOUNCE * lap_s:
            return
        self.last_s = at_s
        self._seen(at_s)


def change_rel(marks_s: tuple[float, ...]) -> float:
    """How much faster the last third of the laps was than the first; 0 below four laps."""
    laps = len(marks_s) - 1
    if laps < 4:
        return 0.0
    third = laps // 3
    first_s, last_s = marks_s[third] - marks_s[0], marks_s[-1] - marks_s[-1 - third]
    return first_s / last_s - 1

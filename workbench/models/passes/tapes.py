"""Where the two tapes of the pace strip stand: smooth between values, never by old ones.

Values come a few times a second, and each corrects what the last speed foretold. A tape
takes such a correction up within a moment instead of jumping. It stands where nothing new
comes, and counts nothing while its signal is lost: from then on both tapes go on as far
apart as they were before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.models.pace import PaceNow

SETTLE_S = 0.25
"""Time constant in which a correction is taken up: three frames in ten, seven values of a
5 Hz source. Chosen: shorter jerks, longer lags behind what the belt does."""

JUMP_M = 1.0
"""A correction larger than this is another source or a new beginning, not a movement."""


@dataclass(frozen=True, slots=True)
class TapesNow:
    """How far each tape has come, m, and whether it stands because its signal is lost."""

    belt_m: float = 0.0
    ground_m: float = 0.0
    belt_lost: bool = True
    ground_lost: bool = True


class SmoothTapes:
    """Follows a belt and a ground distance; both stand at 0 when first heard together.

    Where they come further apart than `apart_most_m` they are laid at 0 anew.
    """

    def __init__(self, apart_most_m: float = math.inf) -> None:
        self._belt, self._ground = _Tape(), _Tape()
        self._apart_most_m = apart_most_m
        self._apart_m = 0.0
        self._lost, self._counted = (True, True), True

    def align(self) -> None:
        """Lay both tapes side by side at 0."""
        self._apart_m = 0.0
        self._belt.place(0.0)
        self._ground.place(0.0)

    def follow(self, pace: PaceNow, now_s: float, *, counts: bool = True) -> TapesNow:
        """Both tapes at `now_s`, the moment `pace` tells of; call it once a frame.

        What they come apart while it does not count, as at a start, is taken back once it does.
        """
        self._belt.follow(pace.belt_m, pace.belt_mps, now_s, lost=pace.belt_lost)
        self._ground.follow(pace.ground_m, pace.ground_mps, now_s, lost=pace.ground_lost)
        lost = (pace.belt_lost, pace.ground_lost)
        if not any(lost):
            if self._lost[0]:
                self._belt.place(self._ground.at_m + self._apart_m)
            elif self._lost[1]:
                self._ground.place(self._belt.at_m - self._apart_m)
            self._apart_m = self._belt.at_m - self._ground.at_m
            if abs(self._apart_m) > self._apart_most_m:
                self.align()
        if counts and not self._counted:
            self.align()
        self._lost, self._counted = lost, counts
        return TapesNow(self._belt.at_m, self._ground.at_m, *lost)


class _Tape:
    def __init__(self) -> None:
        self._told_m = self._before_s = math.nan
        self._true_m = self._ahead_m = 0.0

    @property
    def at_m(self) -> float:
        return self._true_m + self._ahead_m

    def place(self, at_m: float) -> None:
        self._true_m, self._ahead_m = at_m, 0.0

    def follow(self, told_m: float, speed_mps: float, now_s: float, *, lost: bool) -> None:
        if lost:
            self.place(self.at_m)
            self._told_m = math.nan
            return
        step_s = now_s - self._before_s
        moved_m = told_m - self._told_m
        self._told_m, self._before_s = told_m, now_s
        if not math.isfinite(moved_m):
            return
        surprise_m = moved_m - speed_mps * step_s
        if abs(surprise_m) > JUMP_M + abs(speed_mps) * step_s:
            return
        self._true_m += moved_m
        if moved_m:
            self._ahead_m -= surprise_m
        self._ahead_m *= math.exp(-step_s / SETTLE_S)

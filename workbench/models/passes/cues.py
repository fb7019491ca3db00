"""Which sound the operator should hear, and when: often enough to know, never chattering.

A cue comes when the state changes, and again every quarter of a minute while it is one to
worry about. A ratio near a limit would flip the state with every breath of the signals: the
median of some seconds has to be clearly beyond the limit, for some seconds.
"""

from __future__ import annotations

import math
from collections import deque
from enum import Enum, auto
from statistics import median

from workbench.match.live import Snapshot
from workbench.match.live_seconds import TractorState
from workbench.match.ratio import PaceLimits

SPAN_S = 3.0
"""The ratio is the median over so long: one odd second is not heard. Chosen."""
CLEARLY = 0.1
"""A limit counts as crossed this share of the band's width beyond it; chosen."""
HOLD_S = 2.0
"""A new state must hold so long before it is heard; chosen."""
REMIND_S = 15.0
"""Out of band and lost are heard again after so long; chosen."""
WAITS_S = 5.0
"""A signal that has not come so long after the start counts as lost; chosen."""
STANDS_MPS = 0.1
"""Slower than this the digger stands, and there is nothing to hear; chosen."""


class Cue(Enum):
    """What the operator should hear without looking."""

    IN_BAND = auto()
    OUT_OF_BAND = auto()
    LOST = auto()


class CueWatch:
    """Follows a pass. `state` is what holds now, None where there is nothing to hear."""

    def __init__(self, limits: PaceLimits) -> None:
        self._limits = limits
        self._recent: deque[tuple[float, float]] = deque()
        self._next: Cue | None = None
        self._next_since_s = math.nan
        self._heard_s, self._began_s = -math.inf, math.inf
        self.state: Cue | None = None

    def look(self, now: Snapshot) -> Cue | None:
        """The cue to be heard at this moment, None for silence. Snapshots in order of time."""
        self._began_s = min(self._began_s, now.time_s)
        came = now.state is not TractorState.WAITING or now.time_s - self._began_s > WAITS_S
        lost = now.belt_lost or now.ground_lost
        if lost and came and not now.ground_mps < STANDS_MPS:
            return self._enter(Cue.LOST, now.time_s)
        if lost or now.state is not TractorState.STEADY:
            # Speeding up, turning and standing are out of pace without anything being wrong.
            self._recent.clear()
            self._next = None
            self.state = None
            return None
        return self._settle(self._wanted(now), now.time_s)

    def _settle(self, wanted: Cue | None, now_s: float) -> Cue | None:
        if wanted is None:
            return None
        if wanted is self.state:
            self._next = None
            return self._enter(wanted, now_s)
        if wanted is not self._next:
            self._next, self._next_since_s = wanted, now_s
        if now_s - self._next_since_s < HOLD_S:
            return None
        return self._enter(wanted, now_s)

    def _enter(self, cue: Cue, now_s: float) -> Cue | None:
        reminds = cue is not Cue.IN_BAND and now_s - self._heard_s >= REMIND_S
        if cue is self.state and not reminds:
            return None
        if cue is Cue.LOST:
            self._recent.clear()
        self.state, self._heard_s, self._next = cue, now_s, None
        return cue

    def _wanted(self, now: Snapshot) -> Cue | None:
        """The state the last seconds speak for; near a limit, the one that holds."""
        if not (now.ground_mps > STANDS_MPS and math.isfinite(now.belt_mps)):
            return None
        self._recent.append((now.time_s, now.belt_mps / now.ground_mps))
        while now.time_s - self._recent[0][0] > SPAN_S:
            self._recent.popleft()
        low, high = self._limits_now()
        ratio = median(row[1] for row in self._recent)
        return Cue.IN_BAND if low <= ratio <= high else Cue.OUT_OF_BAND

    def _limits_now(self) -> tuple[float, float]:
        """The limits, moved away from the state that holds."""
        low, high = self._limits.low, self._limits.high
        room = CLEARLY * (high - low)
        if self.state is Cue.IN_BAND:
            return low - room, high + room
        if self.state is Cue.OUT_OF_BAND:
            return low + room, high - room
        return low, high

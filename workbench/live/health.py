"""Missed and extra pulses of one live channel, counted as its edges come, and its last turns.

The count is that of `calibration.edges.clean` over all edges so far, made piece by piece:
only the newest edges, which a later one may still put in another light, are judged anew.
Pulses that were lost on the way to this computer are no missed ones: they never reach it,
and the count begins anew behind them.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import LOST_SHARE, CleanEdges, clean
from workbench.live.pulses import LivePulses, Passed

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

OPEN_EDGES = 512
"""The newest edges, over which no judgement is final: `clean` looks 12 blocks of 16
edges to both sides where a burst of noise may have filled some, and a little more."""

CONTEXT_EDGES = 1024
"""Edges kept before those, so that they are judged with what came before."""

MOST_WAITING = 4096
"""Edges that may wait to be counted: what nobody asks for is counted as it comes."""

FEWEST_TURNS = 5
"""Turns in which a tooth must be missed every time to be called gone. Chosen."""

RECENT_S = 30.0
"""What is said of the channel's state now is said of so many seconds."""


class DoubtSays(StrEnum):
    """Why what a channel tells is not to be taken as it stands."""

    MISSES_TEETH = auto()
    EXTRA_PULSES = auto()
    SCATTERS = auto()


@dataclass(frozen=True, slots=True)
class Counts:
    """Pulses that came, teeth that gave none, and pulses without a tooth."""

    edges: int = 0
    missed: int = 0
    extra: int = 0

    def since(self, before: Counts) -> Counts:
        return Counts(
            self.edges - before.edges, self.missed - before.missed, self.extra - before.extra
        )

    @property
    def missed_share(self) -> float:
        """Missed teeth as a share of all that passed."""
        return self.missed / max(self.edges - self.extra + self.missed, 1)

    @property
    def extra_share(self) -> float:
        """Extra pulses as a share of all that came."""
        return self.extra / max(self.edges, 1)

    @property
    def doubt(self) -> DoubtSays | None:
        """What these counts say against the speed that the pulses tell."""
        if max(self.missed_share, self.extra_share) <= LOST_SHARE:
            return None
        more_missed = self.missed_share >= self.extra_share
        return DoubtSays.MISSES_TEETH if more_missed else DoubtSays.EXTRA_PULSES


@dataclass(frozen=True, slots=True, eq=False)
class EdgeLook:
    """The last edges of a channel, one by one.

    `tooth` (n,) is the running number of the tooth at the end of each interval, from 0 at
    the first tooth seen since the last interruption; `interval_s` (n,) the time from the
    tooth before, `missed` (n,) how many teeth gave no pulse within it. `extra_at` (m,) are
    the places of extra pulses, in teeth. `median_s` is the median time for one tooth.
    """

    tooth: Ints
    interval_s: Floats
    missed: Ints
    extra_at: Floats
    median_s: float

    @property
    def off_rel(self) -> Floats:
        """(n,) how much longer than the median each interval is, a tooth, as a share."""
        return self.interval_s / (self.missed + 1) / self.median_s - 1.0

    def gone(self, teeth: int) -> list[int]:
        """Places of the turn, from 0, whose tooth gave no pulse in any of the turns looked at,
        where nothing else was missed; [] where it is not so, or under `FEWEST_TURNS` turns.
        """
        turns = int(self.tooth[-1] - self.tooth[0]) // teeth if self.tooth.size else 0
        if turns < FEWEST_TURNS:
            return []
        ends, missed = self.tooth[self.missed > 0].tolist(), self.missed[self.missed > 0].tolist()
        places = [
            (end - back) % teeth
            for end, n in zip(ends, missed, strict=True)
            for back in range(1, n + 1)
        ]
        always = [place for place in sorted(set(places)) if places.count(place) >= turns]
        return always if all(place in always for place in places) else []


NO_EDGES = EdgeLook(
    np.empty(0, dtype=np.int64), np.empty(0), np.empty(0, dtype=np.int64), np.empty(0), np.nan
)


class ChannelHealth:
    """What a channel's pulses tell of its pickup; `count` brings its numbers up to date.

    `look` and `count` may be called from any thread; `lock` is the stream's.
    """

    def __init__(self, pulses: LivePulses, lock: threading.RLock) -> None:
        self._pulses, self._lock = pulses, lock
        self._missed = self._extra = 0
        self._counts = Counts()
        self._history: deque[tuple[float, Counts]] = deque()
        self._begin(0)

    def _begin(self, first: int) -> None:
        """Nothing is known of what came before the pulse behind the first `first`."""
        self._from = self._judged = first
        self._first_tooth = 0

    @property
    def counts(self) -> Counts:
        """As of the last `count`."""
        return self._counts

    @property
    def waiting(self) -> int:
        """Pulses that have come since the last `count`."""
        return self._pulses.total - self._counts.edges

    def count(self) -> Counts:
        """The counts of all edges so far."""
        with self._lock:
            if self.waiting:
                self._follow(self._pulses.after(self._from))
                self._remember()
            return self._counts

    def recent(self) -> Counts:
        """The counts of the last half minute."""
        return self._counts.since(self._history[0][1]) if self._history else self._counts

    def look(self, teeth: int) -> EdgeLook:
        """The last `teeth` teeth, one by one; fewer where fewer have passed."""
        with self._lock:
            self.count()
            _, time_s = self._pulses.after(self._from).stretches[-1]
            first_tooth = self._first_tooth
        return _look(clean(time_s), first_tooth, teeth) if time_s.size >= 3 else NO_EDGES

    def _follow(self, passed: Passed) -> None:
        if passed.first > self._from:
            self._begin(passed.first)
        *ended, (first, time_s) = passed.stretches
        for before, old_s in ended:
            self._judge(before, old_s, open_edges=0)
            self._begin(before + old_s.size)
        missed, extra = self._judge(first, time_s, open_edges=OPEN_EDGES)
        self._counts = Counts(self._pulses.total, self._missed + missed, self._extra + extra)

    def _judge(self, first: int, time_s: Floats, open_edges: int) -> tuple[int, int]:
        """Count what is sure; (missed, extra) among the newest edges, which are still open."""
        if not time_s.size:
            return 0, 0
        found = clean(time_s)
        missed, missed_at = _missed(found), first + np.searchsorted(time_s, found.time_s[:-1])
        extra_at = first + np.searchsorted(time_s, found.extra_s)
        sure = max(self._judged, first + time_s.size - open_edges)
        self._missed += int(missed[(missed_at >= self._judged) & (missed_at < sure)].sum())
        self._extra += int(np.count_nonzero((extra_at >= self._judged) & (extra_at < sure)))
        self._judged = sure
        self._drop_old(first, time_s, found)
        return int(missed[missed_at >= sure].sum()), int(np.count_nonzero(extra_at >= sure))

    def _drop_old(self, first: int, time_s: Floats, found: CleanEdges) -> None:
        """Keep the context of what is still open, from a tooth that is no extra pulse on."""
        spare = time_s.size - OPEN_EDGES - CONTEXT_EDGES
        if spare <= 0:
            return
        at = int(np.searchsorted(found.time_s, time_s[spare]))
        self._first_tooth = int(_numbers(found, self._first_tooth)[at])
        self._from = first + int(np.searchsorted(time_s, found.time_s[at]))

    def _remember(self) -> None:
        heard_s = self._pulses.heard_s
        self._history.append((heard_s, self._counts))
        while len(self._history) > 1 and self._history[1][0] < heard_s - RECENT_S:
            self._history.popleft()


def _missed(found: CleanEdges) -> Ints:
    """(n - 1,) teeth without a pulse in each interval; 0 where they cannot be counted."""
    missed: Ints = np.maximum(np.diff(found.tooth) - 1, 0)
    missed[found.starts[1:] - 1] = 0
    return missed


def _numbers(found: CleanEdges, first_tooth: int) -> Ints:
    """(n,) running tooth numbers, from 0 again behind every interruption."""
    start = found.starts[np.searchsorted(found.starts, np.arange(found.tooth.size), "right") - 1]
    return found.tooth - found.tooth[start] + np.where(start == 0, first_tooth, 0)


def _look(found: CleanEdges, first_tooth: int, teeth: int) -> EdgeLook:
    """The last teeth of the last stretch that could be counted through."""
    start = int(found.starts[-1])
    time_s, tooth = found.time_s[start:], _numbers(found, first_tooth)[start:]
    # While a burst of noise lasts, two edges may share one tooth: the later is no tooth's.
    ahead = np.append(True, np.diff(np.maximum.accumulate(tooth)) > 0)
    extra_s = np.sort(np.concatenate((found.extra_s, time_s[~ahead])))
    time_s, tooth = time_s[ahead], tooth[ahead]
    from_at = int(np.searchsorted(tooth, tooth[-1] - teeth))
    time_s, tooth = time_s[from_at:], tooth[from_at:]
    if time_s.size < 2:
        return NO_EDGES
    extra_s = extra_s[(extra_s > time_s[0]) & (extra_s < time_s[-1])]
    missed, interval_s = np.diff(tooth) - 1, np.diff(time_s)
    return EdgeLook(
        tooth[1:],
        interval_s,
        missed,
        np.interp(extra_s, time_s, tooth.astype(np.float64)),
        float(np.median(interval_s / (missed + 1))),
    )

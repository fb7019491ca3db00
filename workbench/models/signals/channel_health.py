"""Missed and extra pulses of one live channel, counted as its edges come, and its last turns.

The count is that of `calibration.edges.clean` over all edges so far, made piece by piece:
only the newest edges, which a later one may still put in another light, are judged anew.
Pulses that were lost on the way to this computer are no missed ones: they never reach it,
and the count begins anew behind them.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivers.contract import EdgeBlock
from workbench.calibration.pulses.edges import CleanEdges, clean

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

OPEN_EDGES = 512
"""The newest edges, over which no judgement is final: `clean` looks 12 blocks of 16
edges to both sides where a burst of noise may have filled some, and a little more."""

CONTEXT_EDGES = 1024
"""Edges kept before those, so that they are judged with what came before."""

MOST_WAITING = 4096
"""Edges that may wait to be counted: the memory stays flat where nobody asks."""

FEWEST_TURNS = 5
"""Turns in which a tooth must be missed every time to be called gone. Chosen."""

RECENT_S = 30.0
"""What is said of the channel's state now is said of so many seconds."""


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
    """Takes in the blocks of one channel; `count` brings its numbers up to date."""

    def __init__(self) -> None:
        self._sure = Counts()
        self._counts = Counts()
        self._history: deque[tuple[float, Counts]] = deque()
        self._heard_s = -np.inf
        self._count: int | None = None
        self._begin()

    def _begin(self) -> None:
        """Nothing is known of what came before the next edge."""
        self._time_s: Floats = np.empty(0)
        self._waiting: list[Floats] = []
        self._waiting_edges = 0
        self._judged_s = -np.inf
        self._first_tooth = 0

    @property
    def counts(self) -> Counts:
        """As of the last `count`."""
        return self._counts

    def add(self, block: EdgeBlock) -> None:
        """Take in a block; a hole before it ends what can be counted through."""
        size = int(block.ticks.size)
        if self._count is not None and block.count - size != self._count:
            self.broken()
        self._count = block.count
        self._heard_s = block.host_s
        if not size:
            return
        time_s = np.asarray(block.ticks, dtype=np.float64) * block.tick_s
        if time_s[0] < self._last_s():
            self.broken()
        self._waiting.append(time_s)
        self._waiting_edges += size
        self._sure = Counts(self._sure.edges + size, self._sure.missed, self._sure.extra)
        if self._waiting_edges >= MOST_WAITING:
            self.count()

    def broken(self) -> None:
        """Something is missing here: what follows is counted by itself."""
        self._sure = self.count()
        self._begin()
        self._count = None

    def count(self) -> Counts:
        """The counts of all edges so far."""
        if self._waiting:
            self._judge()
            self._remember()
        return self._counts

    def recent(self) -> Counts:
        """The counts of the last half minute."""
        return self._counts.since(self._history[0][1]) if self._history else self._counts

    def look(self, teeth: int) -> EdgeLook:
        """The last `teeth` teeth, one by one; fewer where fewer have passed."""
        self.count()
        if self._time_s.size < 3:
            return NO_EDGES
        return _look(clean(self._time_s), self._first_tooth, teeth)

    def _judge(self) -> None:
        self._time_s = np.concatenate((self._time_s, *self._waiting))
        self._waiting, self._waiting_edges = [], 0
        found = clean(self._time_s)
        sure_s = self._time_s[max(0, self._time_s.size - OPEN_EDGES)]
        missed, missed_s = _missed(found), found.time_s[:-1]
        done = (missed_s >= self._judged_s) & (missed_s < sure_s)
        done_extra = (found.extra_s >= self._judged_s) & (found.extra_s < sure_s)
        sure = Counts(
            self._sure.edges,
            self._sure.missed + int(missed[done].sum()),
            self._sure.extra + int(done_extra.sum()),
        )
        self._counts = Counts(
            sure.edges,
            sure.missed + int(missed[missed_s >= sure_s].sum()),
            sure.extra + int((found.extra_s >= sure_s).sum()),
        )
        self._sure, self._judged_s = sure, max(self._judged_s, float(sure_s))
        self._drop_old(found)

    def _drop_old(self, found: CleanEdges) -> None:
        """Keep the context of what is still open, from a tooth that is no extra pulse on."""
        spare = self._time_s.size - OPEN_EDGES - CONTEXT_EDGES
        if spare <= 0:
            return
        first = int(np.searchsorted(found.time_s, self._time_s[spare]))
        self._first_tooth = int(_numbers(found, self._first_tooth)[first])
        self._time_s = self._time_s[self._time_s >= found.time_s[first]]

    def _remember(self) -> None:
        self._history.append((self._heard_s, self._counts))
        while len(self._history) > 1 and self._history[1][0] < self._heard_s - RECENT_S:
            self._history.popleft()

    def _last_s(self) -> float:
        if self._waiting:
            return float(self._waiting[-1][-1])
        return float(self._time_s[-1]) if self._time_s.size else -np.inf


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

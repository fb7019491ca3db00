"""The newest pulses of one channel: the one place from which everything live reads them."""

from __future__ import annotations

import math
import threading
from collections import deque
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from drivers.contract import EdgeBlock
from workbench.calibration.pulses.edges import CleanEdges, clean
from workbench.calibration.pulses.running_base import RunningBase
from workbench.calibration.pulses.time_base import TimeBase

Floats = NDArray[np.float64]

_FIRST_ROOM = 1024


class Rows:
    """Rows as they come, at least the newest `most`; older ones are let go.

    Memory grows with what came, up to a bound. It is not locked: whoever owns it sees to that.
    """

    def __init__(self, columns: int, most: int) -> None:
        self._most, self._size = most, 0
        self._room = np.empty((columns, min(_FIRST_ROOM, 2 * most)))
        self.total = 0
        """Rows that ever came."""

    def add(self, *columns: Floats) -> None:
        """Take in some rows, an array (n,) a column."""
        new = np.stack(columns)[:, -self._most :]
        self.total += columns[0].size
        if self._size + new.shape[1] > self._room.shape[1]:
            self._make_room(new.shape[1])
        self._room[:, self._size : self._size + new.shape[1]] = new
        self._size += new.shape[1]

    def after(self, number: int) -> tuple[int, Floats]:
        """(number before the first, a copy (columns, n)) of what came after the first `number`."""
        fresh = min(max(self.total - number, 0), self._size)
        return self.total - fresh, self._room[:, self._size - fresh : self._size].copy()

    def since(self, low: float) -> Floats:
        """(columns, n), a copy, from `low` on in the first column, which must be ascending."""
        first = int(np.searchsorted(self._room[0, : self._size], low))
        return self._room[:, first : self._size].copy()

    def last(self, column: int) -> float:
        """The newest value of a column, NaN before the first."""
        return float(self._room[column, self._size - 1]) if self._size else float("nan")

    def _make_room(self, for_rows: int) -> None:
        kept = min(self._size, self._most)
        width = self._room.shape[1]
        while width < 2 * self._most and width < kept + for_rows:
            width *= 2
        room = np.empty((self._room.shape[0], max(width, kept + for_rows)))
        room[:, :kept] = self._room[:, self._size - kept : self._size]
        self._room, self._size = room, kept


MOST_PULSES = 1 << 20
"""Pulses kept at least: half an hour of 600 a second, five hours at working speed."""

MOST_HOLES = 4096
"""Breaks remembered: a channel with more of them tells nothing anyway."""

AROUND = 1536
"""Pulses on either side of those that are counted, so that none is judged at an end."""


@dataclass(frozen=True, slots=True, eq=False)
class Passed:
    """Pulses as they passed: `time_s` (n,), ascending, on the host's line; `first` came before
    them. Something is missing before those in `breaks`, numbered as by `first`."""

    first: int
    time_s: Floats
    breaks: tuple[int, ...]

    @property
    def stretches(self) -> list[tuple[int, Floats]]:
        """(how many came before, times) of each stretch without a break, the newest last."""
        bounds = [0, *(at - self.first for at in self.breaks), self.time_s.size]
        return [(self.first + low, self.time_s[low:high]) for low, high in pairwise(bounds)]


class LivePulses:
    """Filled by a reader's thread, read by any other; `lock` is its stream's.

    Kept are the times of the device's own clock. They are put on the host's line as they are
    read, all by one line: what a better line moves is the place of all, never a spacing.
    """

    def __init__(self, clock: RunningBase, lock: threading.RLock) -> None:
        self._clock, self._lock = clock, lock
        self._rows = Rows(1, MOST_PULSES)
        self._breaks: deque[int] = deque(maxlen=MOST_HOLES)
        self._holes_s: deque[float] = deque(maxlen=MOST_HOLES)
        self._runs: deque[tuple[int, TimeBase]] = deque(maxlen=MOST_HOLES)
        self._run, self._base = clock.run, clock.base
        self._count: int | None = None
        self.heard_s = -math.inf
        """Host time of the newest block, be it without pulses."""

    @property
    def total(self) -> int:
        """Pulses that ever came."""
        return self._rows.total

    def add(self, block: EdgeBlock) -> None:
        """Take in a block after its clock has; what does not follow on the last is a break."""
        device_s = np.asarray(block.ticks, dtype=np.float64) * block.tick_s
        with self._lock:
            restarted = self._clock.run != self._run
            if restarted and self._base is not None:
                self._runs.append((self.total, self._base))
            hole = self._count is not None and block.count - device_s.size != self._count
            back = device_s.size > 0 and bool(device_s[0] < self._rows.last(0))
            if restarted or hole or back:
                self._break()
            self._count, self.heard_s = block.count, max(self.heard_s, block.host_s)
            self._run, self._base = self._clock.run, self._clock.base
            self._rows.add(device_s)

    def broken(self, at_s: float) -> None:
        """Something is missing up to the host time `at_s`: what follows stands by itself."""
        with self._lock:
            self._break()
            self._holes_s.append(at_s)
            self._count = None

    def after(self, number: int) -> Passed:
        """The pulses that came after the first `number`, as far as they are kept."""
        with self._lock:
            first, (device_s,) = self._rows.after(number)
            breaks = tuple(at for at in self._breaks if at > first)
            return Passed(first, self._to_host(first, device_s), breaks)

    def newest(self, count: int) -> Passed:
        """The newest `count` pulses, or as many as there are."""
        with self._lock:
            return self.after(self.total - count)

    def rate_hz(self, most: int, turn: int) -> float:
        """Pulses a second now: over a whole turn, so that errors of tooth spacing do not make it
        dance, or over the newest `most` where that is not known (0) or has not passed yet.

        On the host's clock; NaN where fewer than two pulses have come since a break.
        """
        with self._lock:
            since = self.total - (self._breaks[-1] if self._breaks else 0)
            intervals = turn if 0 < turn < min(since, most) else min(since, most) - 1
            _, (device_s,) = self._rows.after(self.total - intervals - 1)
            rate = self._base.rate if self._base else 1.0
            span_s = rate * float(device_s[-1] - device_s[0]) if intervals > 0 else 0.0
            return intervals / span_s if span_s > 0 else math.nan

    def teeth_between(self, from_s: float, to_s: float) -> int:
        """Teeth that passed after `from_s` up to `to_s`, extra pulses left out and missed teeth
        counted in; 0 where not all of that time was heard, or the teeth cannot be counted."""
        tooth = self.edges_between(from_s, to_s).tooth
        return int(tooth[-1] - tooth[0]) if tooth.size else 0

    def edges_between(self, from_s: float, to_s: float) -> CleanEdges:
        """The teeth from the last before `from_s` to the last before `to_s`; none where not all
        of that time was heard, or the teeth cannot be counted."""
        none = clean(np.empty(0))
        with self._lock:
            passed, heard_s, holes_s = self.after(0), self.heard_s, tuple(self._holes_s)
        ends = np.searchsorted(passed.time_s, (from_s, to_s), side="right")
        low, high = int(ends[0]), int(ends[1])
        if low == 0 or heard_s < to_s or any(from_s <= at_s <= to_s for at_s in holes_s):
            return none
        first, last = max(0, low - AROUND), min(passed.time_s.size, high + AROUND)
        if any(low <= at - passed.first < high for at in passed.breaks):
            return none
        found = clean(passed.time_s[first:last])
        before, to = np.searchsorted(found.time_s, (from_s, to_s), side="right") - 1
        if before < 0 or np.any((found.starts > before) & (found.starts <= to)):
            return none
        part = slice(before, to + 1)
        starts = np.zeros(1, dtype=np.int64)
        return replace(found, time_s=found.time_s[part], tooth=found.tooth[part], starts=starts)

    def _break(self) -> None:
        if self.total and (not self._breaks or self._breaks[-1] != self.total):
            self._breaks.append(self.total)

    def _to_host(self, first: int, device_s: Floats) -> Floats:
        """On the host's line, each by the run of the clock that counted it."""
        base = self._clock.base if self._clock.run == self._run else self._base
        time_s = base.to_host(device_s) if base else device_s
        for end, former in reversed(self._runs):
            if end <= first:
                break
            time_s[: end - first] = former.to_host(device_s[: end - first])
        return np.maximum.accumulate(time_s)

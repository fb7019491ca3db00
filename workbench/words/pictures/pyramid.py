"""Lowest and highest of ever longer stretches, so that a plot draws only what can be seen."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

STEP = 8
"""Each level holds the extremes of so many stretches of the one below."""
_STEPS = np.arange(STEP)[:, None]


class Pyramid:
    """A line of n points for ever the same time to draw, whatever n.

    `time_s` ascending (n,), `value` (n,); NaN where there is none. Where two points lie more
    than `pause_s` apart, the signal paused and nothing is drawn between them. Building takes
    one look at every point; `visible` looks at some tens of numbers for each column.
    """

    def __init__(self, time_s: Floats, value: Floats, pause_s: float = math.inf) -> None:
        self.time_s, self.value, self.pause_s = time_s, value, pause_s
        self._levels = [(value, value)]
        low = high = value
        while low.size > STEP:
            starts = np.arange(0, low.size, STEP)
            low, high = np.fmin.reduceat(low, starts), np.fmax.reduceat(high, starts)
            self._levels.append((low, high))

    def visible(self, from_s: float, to_s: float, columns: int) -> tuple[Floats, Floats]:
        """The line between two times: its points, or where they are more than two a column
        the lowest and the highest of each column, at the column's middle.

        Returns times and values, NaN where the line breaks; one point more on each side, so
        that the line leaves the picture where it should.
        """
        first = max(0, int(np.searchsorted(self.time_s, from_s)) - 1)
        last = min(self.time_s.size, int(np.searchsorted(self.time_s, to_s, "right")) + 1)
        if last - first <= 2 * columns:
            return self._broken(self.time_s[first:last], self.value[first:last])
        edges = np.linspace(from_s, to_s, columns + 1)
        places = np.searchsorted(self.time_s, edges)
        places[-1] = np.searchsorted(self.time_s, to_s, "right")
        seen = np.flatnonzero(np.diff(places))
        starts, ends = places[seen], places[seen + 1]
        low, high = self.extremes(starts, ends)
        middle = 0.5 * (edges[seen] + edges[seen + 1])
        outer = [one for one in (first, last - 1) if not places[0] <= one < places[-1]]
        time_s = np.concatenate((np.repeat(middle, 2), self.time_s[outer]))
        value = np.concatenate((np.column_stack((low, high)).ravel(), self.value[outer]))
        paused = np.flatnonzero(self.time_s[starts[1:]] - self.time_s[ends[:-1] - 1] > self.pause_s)
        time_s = np.concatenate((time_s, 0.5 * (middle[paused] + middle[paused + 1])))
        value = np.concatenate((value, np.full(paused.size, math.nan)))
        order = np.argsort(time_s, kind="stable")
        return time_s[order], value[order]

    def extremes(self, starts: Places, ends: Places) -> tuple[Floats, Floats]:
        """Lowest and highest of the points from each start up to before its end; NaN for none.

        What lies between whole stretches is looked at on each level, from the points upwards.
        """
        low, high = np.full(starts.size, math.nan), np.full(starts.size, math.nan)
        for lows, highs in self._levels:
            inner = np.minimum(-(-starts // STEP) * STEP, ends)
            outer = np.maximum(ends // STEP * STEP, inner)
            if lows.size <= STEP:
                inner, outer = ends, ends
            for begin, end in ((starts, inner), (outer, ends)):
                some = np.flatnonzero(end > begin)
                # The last one taken again and again changes neither the lowest nor the highest.
                at = np.minimum(begin[some] + _STEPS, end[some] - 1)
                low[some] = np.fmin(low[some], np.fmin.reduce(lows[at], axis=0))
                high[some] = np.fmax(high[some], np.fmax.reduce(highs[at], axis=0))
            starts, ends = inner // STEP, outer // STEP
        return low, high

    def at(self, time_s: float) -> tuple[float, float]:
        """The point nearest to a time; NaN and NaN where none is within a pause."""
        if not self.time_s.size:
            return math.nan, math.nan
        after = min(int(np.searchsorted(self.time_s, time_s)), self.time_s.size - 1)
        before = max(after - 1, 0)
        near = min((before, after), key=lambda one: abs(float(self.time_s[one]) - time_s))
        found_s = float(self.time_s[near])
        if abs(found_s - time_s) > self.pause_s:
            return math.nan, math.nan
        return found_s, float(self.value[near])

    def _broken(self, time_s: Floats, value: Floats) -> tuple[Floats, Floats]:
        paused = np.flatnonzero(np.diff(time_s) > self.pause_s) + 1
        return np.insert(time_s, paused, time_s[paused]), np.insert(value, paused, math.nan)

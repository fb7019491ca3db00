"""Lowest and highest of ever longer stretches, so that a plot draws only what can be seen."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

STEP = 4
"""Each level holds the extremes of so many stretches of the one below."""


class Pyramid:
    """A line of n points for ever the same time to draw, whatever n.

    `time_s` ascending (n,), `value` (n,), both finite. Building takes one look at every
    point; `visible` looks at no more than a few times the points asked for.
    """

    def __init__(self, time_s: Floats, value: Floats) -> None:
        self.time_s, self.value = time_s, value
        self._levels: list[tuple[Floats, Floats]] = []
        low = high = value
        while low.size > STEP * STEP:
            starts = np.arange(0, low.size, STEP)
            low, high = np.minimum.reduceat(low, starts), np.maximum.reduceat(high, starts)
            self._levels.append((low, high))

    def visible(self, from_s: float, to_s: float, columns: int) -> tuple[Floats, Floats]:
        """The line between two times, extremes kept, in at most about `columns` stretches.

        Returns times and values; one point more on each side, so that the line leaves the
        picture where it should.
        """
        first = max(0, int(np.searchsorted(self.time_s, from_s)) - 1)
        last = min(self.time_s.size, int(np.searchsorted(self.time_s, to_s, "right")) + 1)
        count = last - first
        level = 0 if count <= 2 * columns else math.ceil(math.log(count / columns, STEP))
        if level == 0 or not self._levels:
            return self.time_s[first:last], self.value[first:last]
        level = min(level, len(self._levels))
        width = STEP**level
        low, high = (side[first // width : -(-last // width)] for side in self._levels[level - 1])
        at = np.arange(first // width, -(-last // width)) * width
        time_s = np.repeat(self.time_s[at], 2)
        return time_s, np.column_stack((low, high)).ravel()

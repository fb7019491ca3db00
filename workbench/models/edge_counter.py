"""Edges of one channel on the host's clock, so that a person's key can count them."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from drivers.contract import EdgeBlock
from workbench.calibration.pulses.edges import clean

MOST_BLOCKS = 20_000
"""Blocks remembered: half an hour of ten a second."""


class EdgeCounter:
    """Counts the teeth that passed between two moments of the host's clock."""

    def __init__(self) -> None:
        self._blocks: deque[NDArray[np.float64]] = deque(maxlen=MOST_BLOCKS)
        self._offset_s = np.inf
        self._heard_s = -np.inf

    @property
    def offset_s(self) -> float:
        """Host's clock less the device's; infinite before the first edge."""
        return self._offset_s

    def add(self, block: EdgeBlock) -> None:
        """Take in a block; its device's clock is tied to the host's by the quickest block."""
        self._heard_s = block.host_s
        if block.ticks.size:
            time_s = np.asarray(block.ticks, dtype=np.float64) * block.tick_s
            if self._blocks and time_s[0] < self._blocks[-1][-1]:
                self._blocks.clear()  # the device began anew, and its clock with it
                self._offset_s = np.inf
            self._offset_s = min(self._offset_s, block.host_s - float(time_s[-1]))
            self._blocks.append(time_s)

    def between(self, from_s: float, to_s: float) -> int:
        """Teeth after `from_s` up to `to_s`, extra pulses left out and missed teeth counted in;
        0 where not all of that time was heard, or its teeth cannot be counted."""
        if not self._blocks or self._heard_s < to_s:
            return 0
        low, high = from_s - self._offset_s, to_s - self._offset_s
        if self._blocks[0][0] > low:
            return 0
        found = clean(np.concatenate(list(self._blocks)))
        first, last = np.searchsorted(found.time_s, (low, high), side="right") - 1
        if first < 0 or np.any((found.starts > first) & (found.starts <= last)):
            return 0
        return int(found.tooth[last] - found.tooth[first])

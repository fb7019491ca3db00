"""The last minutes of one speed, ready to be drawn without being copied."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

KEPT = 32_768
"""Values kept at least: over five minutes at 100 a second."""


class History:
    """(time_s, value) pairs as they come; the oldest are forgotten. Memory does not grow."""

    def __init__(self, kept: int = KEPT) -> None:
        self._kept, self._size = kept, 0
        self._room = np.empty((2, 2 * kept))

    def __len__(self) -> int:
        return self._size

    def __iter__(self) -> Iterator[tuple[float, float]]:
        time_s, value = self.since(-np.inf)
        return iter(zip(time_s.tolist(), value.tolist(), strict=True))

    def append(self, pair: tuple[float, float]) -> None:
        """Take one pair in; a time before the newest is taken as that of the newest."""
        if self._size == self._room.shape[1]:
            self._room[:, : self._kept] = self._room[:, -self._kept :]
            self._size = self._kept
        time_s, value = pair
        newest = self._room[0, self._size - 1] if self._size else time_s
        self._room[:, self._size] = max(time_s, newest), value
        self._size += 1

    def since(self, from_s: float) -> tuple[Floats, Floats]:
        """Times and values from `from_s` on, ascending; views, to be read at once."""
        time_s, value = self._room[:, : self._size]
        first = int(np.searchsorted(time_s, from_s))
        return time_s[first:], value[first:]

"""The newest rows of numbers, each known by how many came before it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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

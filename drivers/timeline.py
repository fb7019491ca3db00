"""Time stamps: those of a log on one line that never goes back; what an item tells of a clock."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drivers.contract import EdgeBlock, Floats, Item, Note, SpeedBlock, Ticks, ValueBlock

BOARD_CLOCK = "clock_s"
"""The quantity by which a counter board tells its clock, undelayed by batching."""

BACK_S = 1.0
AHEAD_S = 86_400.0
"""A step further than these is a clock that was set, not time that passed."""


class Timeline:
    """Places stamps, in the order of the log, on the recording's time line.

    Small steps back (two buses logged by one program) are levelled. Where the clock was
    set, the line goes on from the last time, and `jumps` counts it.
    """

    def __init__(self) -> None:
        self.jumps = 0
        self._origin_s: float | None = None
        self._last_stamp_s = 0.0
        self._last_s = 0.0

    def place(self, stamp_s: Floats) -> Floats:
        """Seconds since the first stamp for each stamp."""
        if not stamp_s.size:
            return stamp_s
        if self._origin_s is None:
            self._origin_s = self._last_stamp_s = float(stamp_s[0])
        steps_s = np.diff(stamp_s, prepend=self._last_stamp_s)
        jumped = (steps_s < -BACK_S) | (steps_s > AHEAD_S)
        if jumped.any():
            self.jumps += int(np.count_nonzero(jumped))
            removed_s = np.cumsum(np.where(jumped, steps_s, 0.0))
            placed_s = stamp_s - self._origin_s - removed_s
            self._origin_s += float(removed_s[-1])
        else:
            placed_s = stamp_s - self._origin_s
        placed_s = np.maximum(np.maximum.accumulate(placed_s), self._last_s)
        self._last_stamp_s, self._last_s = float(stamp_s[-1]), float(placed_s[-1])
        return placed_s

    def place_one(self, stamp_s: float) -> float:
        """`place` of a single stamp, without the arrays."""
        if self._origin_s is None:
            self._origin_s = self._last_stamp_s = stamp_s
        step_s = stamp_s - self._last_stamp_s
        jumped_s = step_s if step_s < -BACK_S or step_s > AHEAD_S else 0.0
        placed_s = stamp_s - self._origin_s - jumped_s
        self.jumps += jumped_s != 0.0
        self._origin_s += jumped_s
        self._last_stamp_s, self._last_s = stamp_s, max(placed_s, self._last_s)
        return self._last_s

    def warnings(self) -> list[str]:
        """A sentence where the clock was set while the log was made."""
        if not self.jumps:
            return []
        times = "once" if self.jumps == 1 else f"{self.jumps} times"
        return [
            Note(
                "The time stamps jump {times}, as when a clock is set; "
                "each jump was taken out, so the true time across it is unknown.",
                times=times,
            )
        ]


def clock_points(item: Item) -> tuple[str, Floats, Floats] | None:
    """What an item tells of its sender's clock: whose, its own times (n,), when they came.

    '' is the clock that all pulses of an input are counted by: its points are the last edge
    of each block and what the board tells by itself. A source that stamps its values has its
    own, by the source's name. None where the item tells nothing.
    """
    match item:
        case EdgeBlock() if item.ticks.size:
            last_s = np.array([float(item.ticks[-1]) * item.tick_s])
            return "", last_s, np.array([item.host_s])
        case ValueBlock() if item.quantity == BOARD_CLOCK:
            return "", item.value, item.host_s
        case SpeedBlock() | ValueBlock() if has_own_times(item):
            return item.source, item.time_s, item.host_s
    return None


def has_own_times(item: SpeedBlock | ValueBlock) -> bool:
    """Whether the sender has stamped these values by a clock of its own."""
    return bool(stamped(item.time_s, item.host_s, np.array([item.time_s.size])).any())


def stamped(time_s: Floats, host_s: Floats, sizes: Ticks) -> NDArray[np.bool_]:
    """(N,) Which of the values of n blocks, `sizes` (n,) of them in each, the sender has stamped
    by a clock of its own: all of a block, or none."""
    full = sizes[sizes > 0]
    if not full.size:
        return np.zeros(0, dtype=np.bool_)
    starts = np.cumsum(full) - full
    own = np.logical_or.reduceat(time_s != host_s, starts)
    own &= np.logical_and.reduceat(np.isfinite(time_s), starts)
    return np.repeat(own, full)

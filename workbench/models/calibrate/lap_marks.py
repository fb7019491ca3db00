"""Laps of the run under way: marks by a hand or by a lap pickup, on the bench's clock."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from drivers.contract import ChannelKind, EdgeBlock, Item, Lost
from workbench.models.edge_counter import EdgeCounter

BOUNCE = 0.4
"""A mark that comes before this share of a lap is the pickup bouncing. Chosen."""

OVERDUE = 2.5
"""Laps without a mark after which the lap pickup counts as blind. Chosen."""

UNKNOWN_LAP_S = 30.0
"""Stands for the time of a lap while the belt's speed is not known."""


class LapMarks:
    """Edges of the belt's pickup and of the lap pickup, as the inputs bring them.

    `seen` is called with the moment of every passing that the lap pickup saw.
    """

    def __init__(self, seen: Callable[[float], object]) -> None:
        self._seen = seen
        self._belt, self._laps = EdgeCounter(), EdgeCounter()
        self._lost_s: list[float] = []
        self.last_s: float | None = None

    def forget(self) -> None:
        """The inputs were opened anew: their clocks start again."""
        self._belt, self._laps = EdgeCounter(), EdgeCounter()
        self._lost_s.clear()
        self.last_s = None

    def take(self, item: Item, belt: str | None, *, one_clock: bool, lap_s: float) -> None:
        """Take in what an input brought. `belt` names the belt's channel, `one_clock` says
        that the lap pickup is on the same counter, `lap_s` is the time of a lap now, NaN
        where that is not known."""
        if isinstance(item, Lost) and item.stream == belt:
            self._lost_s.append(item.to_s)
        if not isinstance(item, EdgeBlock):
            return
        if item.kind is ChannelKind.LAP_MARK:
            self._laps.add(item)
            offset_s = (self._belt if one_clock else self._laps).offset_s
            if math.isfinite(offset_s):
                for at_s in np.asarray(item.ticks, dtype=np.float64) * item.tick_s + offset_s:
                    self._passing(float(at_s), lap_s)
        elif belt is None or item.channel == belt:
            self._belt.add(item)

    def blind(self, now_s: float, lap_s: float) -> bool:
        """Whether there is no lap pickup, or none that has seen a mark when it should have."""
        if self.last_s is None:
            return True
        usual_s = lap_s if math.isfinite(lap_s) else UNKNOWN_LAP_S
        return now_s - self.last_s > OVERDUE * usual_s + 1.0

    def pulses(self, from_s: float, to_s: float) -> int:
        """Belt pulses between two moments; 0 where some of them were lost."""
        if any(from_s <= at_s <= to_s for at_s in self._lost_s):
            return 0
        return self._belt.between(from_s, to_s)

    def _passing(self, at_s: float, lap_s: float) -> None:
        if self.last_s is not None and at_s - self.last_s < BOUNCE * lap_s:
            return
        self.last_s = at_s
        self._seen(at_s)


def change_rel(marks_s: tuple[float, ...]) -> float:
    """How much faster the last third of the laps was than the first; 0 below four laps."""
    laps = len(marks_s) - 1
    if laps < 4:
        return 0.0
    third = laps // 3
    first_s, last_s = marks_s[third] - marks_s[0], marks_s[-1] - marks_s[-1 - third]
    return first_s / last_s - 1

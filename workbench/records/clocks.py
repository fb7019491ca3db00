"""The clocks that stored items were stamped by, each against the host's."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from drivers.contract import EdgeBlock, Floats, Item, SpeedBlock, ValueBlock
from workbench.calibration.pulses.time_base import TimeBase, fit_segments

BOARD_CLOCK = "clock_s"
"""The quantity by which a counter board tells its clock."""

Pair = tuple[str, Item]
"""(input address, item)"""
Sender = tuple[str, str]
"""(input address, speed source)"""

_Key = TypeVar("_Key")
_Points = list[tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class InputClock:
    """One clock against the host's: a time base for each run of it between two restarts.

    `starts_s` is the host time of each run's first block.
    """

    runs: list[TimeBase]
    starts_s: list[float]

    def base_at(self, host_s: float) -> TimeBase:
        """The time base of a block that arrived at `host_s`."""
        return self.runs[max(0, bisect_right(self.starts_s, host_s) - 1)]


def input_clocks(pairs: Iterable[Pair]) -> dict[str, InputClock]:
    """The clock of every input with pulses: all channels of one board count by one crystal.

    Points of it are the last edge of each block and what the board tells of its clock by
    itself, which has not waited for a block to fill.
    """
    points: dict[str, _Points] = {}
    for address, item in pairs:
        if isinstance(item, EdgeBlock) and item.ticks.size:
            last_s = np.array([float(item.ticks[-1]) * item.tick_s])
            points.setdefault(address, []).append((np.array([item.host_s]), last_s))
        elif isinstance(item, ValueBlock) and item.quantity == BOARD_CLOCK:
            points.setdefault(address, []).append((item.host_s, item.value))
    return fitted(points)


def sender_clocks(pairs: Iterable[Pair]) -> dict[Sender, InputClock]:
    """The clock of every speed source that stamps its values itself."""
    points: dict[Sender, _Points] = {}
    for address, item in pairs:
        if isinstance(item, SpeedBlock | ValueBlock) and _has_own_times(item):
            points.setdefault((address, item.source), []).append((item.host_s, item.time_s))
    return fitted(points)


def on_host_line(address: str, item: Item, clocks: Mapping[Sender, InputClock]) -> Item:
    """A block of values with its times moved from the sender's clock to the host's."""
    if not (isinstance(item, SpeedBlock | ValueBlock) and _has_own_times(item)):
        return item
    base = clocks[address, item.source].base_at(float(item.host_s[0]))
    time_s = base.to_host(item.time_s)
    return replace(item, time_s=time_s, host_s=time_s)


def _has_own_times(block: SpeedBlock | ValueBlock) -> bool:
    own = block.time_s.size > 0 and not np.array_equal(block.time_s, block.host_s)
    return own and bool(np.isfinite(block.time_s).all())


def fitted(points: Mapping[_Key, _Points]) -> dict[_Key, InputClock]:
    """A clock from pairs of (host times, the clock's own times), in any order."""
    clocks = {}
    for key, parts in points.items():
        host_s = np.concatenate([host for host, _ in parts])
        device_s = np.concatenate([device for _, device in parts])
        order = np.lexsort((device_s, host_s))
        runs = fit_segments(device_s[order], host_s[order])
        starts_s = [float(host_s[order[run.start]]) for run, _ in runs]
        clocks[key] = InputClock([base for _, base in runs], starts_s)
    return clocks

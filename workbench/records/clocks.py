"""The clocks that stored items were stamped by, each against the host's."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from drivers.contract import Floats, Item, SpeedBlock, ValueBlock
from drivers.timeline import BOARD_CLOCK, clock_points, has_own_times
from workbench.calibration.pulses.time_base import ClockRuns, fit_clock

Pair = tuple[str, Item]
"""(input address, item)"""
Sender = tuple[str, str]
"""(input address, speed source), '' for the clock that an input's pulses are counted by."""


def clocks_of(pairs: Iterable[Pair]) -> dict[Sender, ClockRuns]:
    """The clock of every input with pulses, and of every source that stamps its values."""
    points: dict[Sender, list[tuple[Floats, Floats]]] = {}
    for address, item in pairs:
        told = clock_points(item)
        if told is not None:
            points.setdefault((address, told[0]), []).append(told[1:])
    return {sender: fit_clock(known) for sender, known in points.items()}


def on_host_line(address: str, item: Item, clocks: Mapping[Sender, ClockRuns]) -> Item:
    """A block of values with its times moved from the sender's clock to the host's."""
    if not (isinstance(item, SpeedBlock | ValueBlock) and has_own_times(item)):
        return item
    whose = "" if isinstance(item, ValueBlock) and item.quantity == BOARD_CLOCK else item.source
    base = clocks[address, whose].base_at(float(item.host_s[0]))
    time_s = base.to_host(item.time_s)
    return replace(item, time_s=time_s, host_s=time_s)

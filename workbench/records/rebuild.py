"""Stored items to a `Recording`: every stream on one time line."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drivers.contract import (
    EdgeBlock,
    EdgeTrack,
    Floats,
    Item,
    Lost,
    Notes,
    Recording,
    SpeedBlock,
    ValueBlock,
)
from drivers.recording import assemble
from workbench.calibration.timebase import TimeBase, fit_segments

_U_HOST_CLOCK_REL = 30e-6
"""30 ppm for the computer's own crystal: common practice, no source."""

_CLOCK = "clock_s"
"""The quantity by which a board tells its clock."""

Pair = tuple[str, Item]
"""(input address, item)"""
Timed = tuple[EdgeBlock, TimeBase]


def rebuild(
    pairs: Sequence[Pair], notes: Notes, started_host_s: float, name: str, simulated: bool
) -> Recording:
    """A recording from items as they came from the wire or a file.

    The time line begins at `notes.origin_s`, or at `started_host_s`. A file carries its
    times already; of a live recording the clock of each pulse counter is fitted to the
    host's. Where two inputs use one name for a channel or source, those of the second are
    called 'name@2', and so on.
    """
    origin_s = started_host_s if notes.origin_s is None else notes.origin_s
    notes = replace(notes, origin_s=origin_s)
    items = _named_apart(pairs)
    if any(address.startswith("file:") for address, _ in pairs):
        return assemble(items, notes, name=name, simulated=simulated)
    clocks = input_clocks(pairs)
    timed: dict[str, list[Timed]] = {}
    for (address, _), item in zip(pairs, items, strict=True):
        if isinstance(item, EdgeBlock):
            based = timed.setdefault(item.channel, [])
            if item.ticks.size:
                based.append((item, clocks[address].base_at(item.host_s)))
    others = [item for item in items if not isinstance(item, EdgeBlock)]
    warnings = [
        _odd_clock(address, base)
        for address, clock in clocks.items()
        for base in clock.runs
        if base.odd
    ]
    notes = replace(notes, warnings=[*notes.warnings, *warnings])
    tracks = {name: _edge_track(name, blocks, origin_s) for name, blocks in timed.items()}
    return replace(assemble(others, notes, name=name, simulated=simulated), edges=tracks)


@dataclass(frozen=True, slots=True)
class InputClock:
    """The clock of one pulse counter against the host's: a time base for each run of it.

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
    points: dict[str, list[tuple[float, float]]] = {}
    for address, item in pairs:
        if isinstance(item, EdgeBlock) and item.ticks.size:
            last_s = float(item.ticks[-1]) * item.tick_s
            points.setdefault(address, []).append((item.host_s, last_s))
        elif isinstance(item, ValueBlock) and item.quantity == _CLOCK:
            beats = zip(item.host_s.tolist(), item.value.tolist(), strict=True)
            points.setdefault(address, []).extend(beats)
    clocks = {}
    for address, pairs_s in points.items():
        host_s, device_s = np.array(sorted(pairs_s)).T
        runs = fit_segments(device_s, host_s)
        starts_s = [float(host_s[run.start]) for run, _ in runs]
        clocks[address] = InputClock([base for _, base in runs], starts_s)
    return clocks


def _edge_track(channel: str, blocks: Sequence[Timed], origin_s: float) -> EdgeTrack:
    time_s = _joined([base.to_host(block.ticks * block.tick_s) for block, base in blocks])
    fall_s = peak_v = None
    if any(block.fall_ticks is not None for block, _ in blocks):
        fall_s = _joined([_falls_s(block, base) for block, base in blocks]) - origin_s
    if any(block.peak_v is not None for block, _ in blocks):
        peak_v = _joined(
            [_absent(block) if block.peak_v is None else block.peak_v for block, _ in blocks]
        )
    u_rate = max((base.u_rate for _, base in blocks), default=0.0)
    # Two runs of a restarted clock may overlap by their uncertainty; time never goes back.
    ascending_s = np.maximum.accumulate(time_s) - origin_s
    return EdgeTrack(channel, ascending_s, fall_s, peak_v, math.hypot(_U_HOST_CLOCK_REL, u_rate))


def _falls_s(block: EdgeBlock, base: TimeBase) -> Floats:
    if block.fall_ticks is None:
        return _absent(block)
    return np.where(block.fall_ticks == 0, np.nan, base.to_host(block.fall_ticks * block.tick_s))


def _absent(block: EdgeBlock) -> Floats:
    return np.full(block.ticks.size, np.nan)


def _joined(parts: Sequence[Floats]) -> Floats:
    return np.concatenate(parts) if parts else np.empty(0)


def _odd_clock(address: str, base: TimeBase) -> str:
    way = "fast" if base.drift_ppm > 0 else "slow"
    return (
        f"The clock of {address} runs {abs(base.drift_ppm):.0f} ppm {way} against the "
        "computer's, more than a crystal can: check the clock rate its board reports. Times "
        "here follow the computer's clock."
    )


def _named_apart(pairs: Iterable[Pair]) -> list[Item]:
    users: dict[str, list[str]] = {}
    items: list[Item] = []
    for address, item in pairs:
        name = _name(item)
        if name:
            inputs = users.setdefault(name, [])
            if address not in inputs:
                inputs.append(address)
            if address != inputs[0]:
                item = _renamed(item, f"{name}@{inputs.index(address) + 1}")
        items.append(item)
    return items


def _name(item: Item) -> str:
    match item:
        case EdgeBlock():
            return item.channel
        case SpeedBlock() | ValueBlock():
            return item.source
        case Lost():
            return item.stream
    return ""


def _renamed(item: Item, name: str) -> Item:
    match item:
        case EdgeBlock():
            return replace(item, channel=name)
        case SpeedBlock() | ValueBlock():
            return replace(item, source=name)
        case Lost():
            return replace(item, stream=name)
    return item

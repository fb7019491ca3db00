"""Stored items to a `Recording`: every stream on one time line."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.contract import (
    ChannelKind,
    EdgeBlock,
    EdgeTrack,
    Item,
    Lost,
    Notes,
    Recording,
    SpeedBlock,
    ValueBlock,
)
from drivers.recording import assemble
from workbench.calibration.pulses.time_base import TimeBase
from workbench.records.clocks import InputClock, Pair, input_clocks, on_host_line, sender_clocks

_U_HOST_CLOCK_REL = 30e-6
"""30 ppm for the computer's own crystal: common practice, no source."""

Timed = tuple[EdgeBlock, TimeBase]
Array = NDArray[Any]


def rebuild(
    pairs: Sequence[Pair], notes: Notes, started_host_s: float, name: str, simulated: bool
) -> Recording:
    """A recording from items as they came from the wire or a file.

    The time line begins at `notes.origin_s`, or at `started_host_s`. A file carries its
    times already; of a live recording each clock, of a pulse counter or of a sender that
    stamps its values, is fitted to the host's. Where two inputs use one name for a channel
    or source, those of the second are called 'name@2', and so on.
    """
    origin_s = started_host_s if notes.origin_s is None else notes.origin_s
    notes = replace(notes, origin_s=origin_s)
    if any(address.startswith("file:") for address, _ in pairs):
        return assemble(_named_apart(pairs), notes, name=name, simulated=simulated)
    clocks, senders = input_clocks(pairs), sender_clocks(pairs)
    items = _named_apart([(a, on_host_line(a, item, senders)) for a, item in pairs])
    timed: dict[str, list[Timed]] = {}
    kinds: dict[str, ChannelKind] = {}
    for (address, _), item in zip(pairs, items, strict=True):
        if isinstance(item, EdgeBlock):
            kinds[item.channel] = item.kind
            based = timed.setdefault(item.channel, [])
            if item.ticks.size:
                based.append((item, clocks[address].base_at(item.host_s)))
    notes = replace(notes, warnings=[*notes.warnings, *odd_clocks(clocks)])
    others = [item for item in items if not isinstance(item, EdgeBlock)]
    tracks = {
        name: replace(_edge_track(name, blocks, origin_s), kind=kinds[name])
        for name, blocks in timed.items()
    }
    return replace(assemble(others, notes, name=name, simulated=simulated), edges=tracks)


def _edge_track(channel: str, blocks: Sequence[Timed], origin_s: float) -> EdgeTrack:
    has_falls = any(block.fall_ticks is not None for block, _ in blocks)
    has_peaks = any(block.peak_v is not None for block, _ in blocks)
    times, falls, peaks, u_rate = [], [], [], 0.0
    for _, run in groupby(blocks, key=lambda timed: id(timed[1])):
        group = list(run)
        base = group[0][1]
        u_rate = max(u_rate, base.u_rate)
        tick_s = np.repeat([b.tick_s for b, _ in group], [b.ticks.size for b, _ in group])
        times.append(base.to_host(_joined([block.ticks for block, _ in group]) * tick_s))
        if has_falls:
            ticks = _joined([_or(block.fall_ticks, block, 0) for block, _ in group])
            falls.append(np.where(ticks == 0, np.nan, base.to_host(ticks * tick_s)))
        if has_peaks:
            peaks.append(_joined([_or(block.peak_v, block, np.nan) for block, _ in group]))
    # Two runs of a restarted clock may overlap by their uncertainty; time never goes back.
    return EdgeTrack(
        channel,
        np.maximum.accumulate(_joined(times)) - origin_s,
        _joined(falls) - origin_s if has_falls else None,
        _joined(peaks) if has_peaks else None,
        math.hypot(_U_HOST_CLOCK_REL, u_rate),
    )


def _or(values: Array | None, block: EdgeBlock, absent: float) -> Array:
    return np.full(block.ticks.size, absent) if values is None else values


def _joined(parts: Sequence[Array]) -> Array:
    return np.concatenate(parts) if parts else np.empty(0)


def odd_clocks(clocks: Mapping[str, InputClock]) -> list[str]:
    """A sentence for each counter whose clock is off by more than a crystal can be."""
    return [
        f"The clock of {address} runs {abs(base.drift_ppm):.0f} ppm "
        f"{'fast' if base.drift_ppm > 0 else 'slow'} against the computer's, more than a "
        "crystal can: check the clock rate its board reports. Times here follow the "
        "computer's clock."
        for address, clock in clocks.items()
        for base in clock.runs
        if base.odd
    ]


def _named_apart(pairs: Sequence[Pair]) -> list[Item]:
    if len({address for address, _ in pairs}) == 1:
        return [item for _, item in pairs]
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

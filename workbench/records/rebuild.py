"""Stored items to a `Recording`: every stream on one time line."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.contract import (
    EdgeBlock,
    EdgeTrack,
    Item,
    Lost,
    Note,
    Notes,
    Recording,
    SpeedBlock,
    ValueBlock,
)
from drivers.recording import assemble
from workbench.calibration.pulses.time_base import ClockRuns
from workbench.records.clocks import Pair, Sender, clocks_of, on_host_line

_U_HOST_CLOCK_REL = 30e-6
"""30 ppm for the computer's own crystal: common practice, no source."""

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
    clocks = clocks_of(pairs)
    items = _named_apart([(a, on_host_line(a, item, clocks)) for a, item in pairs])
    channels: dict[str, tuple[str, list[EdgeBlock]]] = {}
    for (address, _), item in zip(pairs, items, strict=True):
        if isinstance(item, EdgeBlock):
            channels.setdefault(item.channel, (address, []))[1].append(item)
    notes = replace(notes, warnings=[*notes.warnings, *odd_clocks(clocks)])
    others = [item for item in items if not isinstance(item, EdgeBlock)]
    tracks = {
        name: _edge_track(blocks, clocks.get((address, "")), origin_s)
        for name, (address, blocks) in channels.items()
    }
    return replace(assemble(others, notes, name=name, simulated=simulated), edges=tracks)


def _edge_track(blocks: Sequence[EdgeBlock], clock: ClockRuns | None, origin_s: float) -> EdgeTrack:
    first, blocks = blocks[0], [block for block in blocks if block.ticks.size]
    if clock is None or not blocks:
        return EdgeTrack(first.channel, np.empty(0), kind=first.kind)
    sizes = [block.ticks.size for block in blocks]
    tick_s = np.repeat([block.tick_s for block in blocks], sizes)
    arrived_s = np.repeat([block.host_s for block in blocks], sizes)
    fall_s = amplitude_v = None
    if any(block.fall_ticks is not None for block in blocks):
        ticks = _joined([_or(block.fall_ticks, block, 0) for block in blocks])
        fall_s = np.where(ticks == 0, np.nan, clock.to_host(ticks * tick_s, arrived_s)) - origin_s
    if any(block.peak_v is not None for block in blocks):
        amplitude_v = _joined([_or(block.peak_v, block, np.nan) for block in blocks])
    rise_s = clock.to_host(_joined([block.ticks for block in blocks]) * tick_s, arrived_s)
    u_rate = max(clock.base_at(block.host_s).u_rate for block in blocks)
    # Two runs of a restarted clock may overlap by their uncertainty; time never goes back.
    rise_s = np.maximum.accumulate(rise_s) - origin_s
    u_clock_rel = math.hypot(_U_HOST_CLOCK_REL, u_rate)
    return EdgeTrack(first.channel, rise_s, fall_s, amplitude_v, u_clock_rel, first.kind)


def _or(values: Array | None, block: EdgeBlock, absent: float) -> Array:
    return np.full(block.ticks.size, absent) if values is None else values


def _joined(parts: Sequence[Array]) -> Array:
    return np.concatenate(parts) if parts else np.empty(0)


def odd_clocks(clocks: Mapping[Sender, ClockRuns]) -> list[str]:
    """A sentence for each counter whose clock is off by more than a crystal can be."""
    return [
        Note(_FAST if base.drift_ppm > 0 else _SLOW, address=address, off_ppm=abs(base.drift_ppm))
        for (address, whose), clock in clocks.items()
        for base in clock.bases
        if base.odd and not whose
    ]


_FAST = Note(
    "The clock of {address} runs {off_ppm:.0f} ppm fast against the computer's, more than a "
    "crystal can: check the clock rate its board reports. Times here follow the computer's clock."
)
_SLOW = Note(
    "The clock of {address} runs {off_ppm:.0f} ppm slow against the computer's, more than a "
    "crystal can: check the clock rate its board reports. Times here follow the computer's clock."
)


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

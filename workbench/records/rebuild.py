"""Stored items to a `Recording`: every stream on one time line."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

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

Pair = tuple[str, Item]
"""(input address, item)"""


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
    blocks = _edge_blocks(items)
    tracks, warnings = {}, []
    for channel, group in blocks.items():
        bases = clock_of(group)
        tracks[channel] = _edge_track(channel, bases, origin_s)
        warnings += [_odd_clock(channel, base) for _, base in bases if base.odd]
    others = [item for item in items if not isinstance(item, EdgeBlock)]
    notes = replace(notes, warnings=[*notes.warnings, *warnings])
    rest = assemble(others, notes, name=name, simulated=simulated)
    return replace(rest, edges=tracks)


def clocks(pairs: Sequence[Pair]) -> dict[str, list[TimeBase]]:
    """The time bases of every pulse channel of a live recording, one a run of its clock."""
    blocks = _edge_blocks(_named_apart(pairs))
    return {channel: [base for _, base in clock_of(group)] for channel, group in blocks.items()}


def clock_of(blocks: Sequence[EdgeBlock]) -> list[tuple[Sequence[EdgeBlock], TimeBase]]:
    """The blocks of one channel in runs of its clock, each with its time base."""
    full = [block for block in blocks if block.ticks.size]
    if not full:
        return []
    device_s = np.array([block.ticks[-1] * block.tick_s for block in full])
    host_s = np.array([block.host_s for block in full])
    return [(full[run], base) for run, base in fit_segments(device_s, host_s)]


def _edge_blocks(items: Iterable[Item]) -> dict[str, list[EdgeBlock]]:
    blocks: dict[str, list[EdgeBlock]] = {}
    for item in items:
        if isinstance(item, EdgeBlock):
            blocks.setdefault(item.channel, []).append(item)
    return blocks


def _edge_track(
    channel: str,
    runs: Sequence[tuple[Sequence[EdgeBlock], TimeBase]],
    origin_s: float,
) -> EdgeTrack:
    pairs = [(block, base) for group, base in runs for block in group]
    time_s = _joined([base.to_host(block.ticks * block.tick_s) for block, base in pairs])
    fall_s = peak_v = None
    if any(block.fall_ticks is not None for block, _ in pairs):
        fall_s = _joined([_falls_s(block, base) for block, base in pairs]) - origin_s
    if any(block.peak_v is not None for block, _ in pairs):
        peak_v = _joined(
            [_absent(block) if block.peak_v is None else block.peak_v for block, _ in pairs]
        )
    u_rate = max((base.u_rate for _, base in runs), default=0.0)
    u_clock_rel = math.hypot(_U_HOST_CLOCK_REL, u_rate)
    # Two runs of a restarted clock may overlap by their uncertainty; time never goes back.
    ascending_s = np.maximum.accumulate(time_s) - origin_s
    return EdgeTrack(channel, ascending_s, fall_s, peak_v, u_clock_rel)


def _falls_s(block: EdgeBlock, base: TimeBase) -> Floats:
    if block.fall_ticks is None:
        return _absent(block)
    return np.where(block.fall_ticks == 0, np.nan, base.to_host(block.fall_ticks * block.tick_s))


def _absent(block: EdgeBlock) -> Floats:
    return np.full(block.ticks.size, np.nan)


def _joined(parts: Sequence[Floats]) -> Floats:
    return np.concatenate(parts) if parts else np.empty(0)


def _odd_clock(channel: str, base: TimeBase) -> str:
    way = "fast" if base.drift_ppm > 0 else "slow"
    return (
        f"The clock of '{channel}' runs {abs(base.drift_ppm):.0f} ppm {way} against the "
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

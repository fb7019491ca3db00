"""Items of a driver put together to a `Recording`: one time line, a track a stream."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drivers.contract import (
    Driver,
    EdgeBlock,
    EdgeTrack,
    Floats,
    FrameBlock,
    Item,
    Lost,
    Notes,
    Recording,
    SpeedBlock,
    SpeedTrack,
    ValueBlock,
    ValueTrack,
)

_Groups = tuple[
    dict[str, list[EdgeBlock]],
    dict[str, list[SpeedBlock]],
    dict[tuple[str, str], list[ValueBlock]],
    list[Lost],
]
_POLL_S = 0.5
_JUMP_S = 2.0
"""A sender's clock that moves this much against the host's has been set or restarted."""

_LABELS = {
    "65096": "wheel-based speed",
    "65097": "ground-based speed",
    "61474": "machine selected speed",
    "65265": "vehicle speed of the cruise control message",
    "65256": "navigation-based vehicle speed",
    "129026": "speed over ground",
    "128259-water": "speed through water",
    "128259-ground": "speed over ground of the speed message",
    "rmc": "GNSS speed over ground, RMC sentence",
    "vtg": "GNSS speed over ground, VTG sentence",
    "nav-pvt": "GNSS speed over ground, UBX NAV-PVT",
}


def speed_label(source: str) -> str:
    """What a speed source is, in words: '65096/240' is a wheel-based speed, sender 240."""
    named = re.fullmatch(r"(?P<message>(?P<pgn>\d+)(?:-\w+)?)/(?P<sender>\d+)", source)
    if named and named["message"] in _LABELS:
        return f"{_LABELS[named['message']]} (PGN {named['pgn']}, sender {named['sender']})"
    return _LABELS.get(source, source)


def collect(driver: Driver, for_s: float) -> Recording:
    """Open `driver`, read it for `for_s` seconds of its own clock or to its end, close it.

    Raises what the driver raises (InputError).
    """
    items: list[Item] = []
    driver.open()
    try:
        end_s = driver.clock() + for_s
        while not driver.ended and (left_s := end_s - driver.clock()) > 0:
            items += driver.read(min(_POLL_S, left_s))
    finally:
        driver.close()
    name = driver.address.removeprefix("file:")
    return assemble(items, driver.notes, name=name, simulated=driver.simulated)


def assemble(
    items: Iterable[Item], notes: Notes | None = None, *, name: str = "", simulated: bool = False
) -> Recording:
    """A recording from items of one input in the order they came.

    Every stream keeps the spacing of its own clock; its place on the common line is where
    its fastest delivery to the host puts it. All pulse channels of an input count by one
    clock and share their place, so that a mark that comes once a lap stands where it was
    among the teeth. Times start at `notes.origin_s`.
    """
    notes = notes or Notes()
    edge_blocks, speed_blocks, value_blocks, lost = _grouped(items)
    placed = _placed(edge_blocks)
    edges = [_edge_track(blocks, placed) for blocks in edge_blocks.values()]
    speeds = [_speed_track(blocks, notes.timed) for blocks in speed_blocks.values()]
    values = [_value_track(blocks) for blocks in value_blocks.values()]
    tracks: list[EdgeTrack | SpeedTrack | ValueTrack] = [*edges, *speeds, *values]
    origin_s = notes.origin_s
    if origin_s is None:
        origin_s = min((track.time_s[0] for track in tracks if track.time_s.size), default=0.0)
    return Recording(
        name=name,
        kind=notes.kind,
        edges={track.channel: _shift_edges(track, origin_s) for track in edges},
        speeds={t.source: replace(t, time_s=t.time_s - origin_s) for t in speeds},
        values={(t.source, t.quantity): replace(t, time_s=t.time_s - origin_s) for t in values},
        lost=[replace(i, from_s=i.from_s - origin_s, to_s=i.to_s - origin_s) for i in lost],
        messages=dict(notes.messages),
        rejects=dict(notes.rejects),
        warnings=list(notes.warnings),
        simulated=simulated,
        sha256=notes.sha256,
    )


def _grouped(items: Iterable[Item]) -> _Groups:
    """The blocks by stream, and what was lost."""
    edges: dict[str, list[EdgeBlock]] = {}
    speeds: dict[str, list[SpeedBlock]] = {}
    values: dict[tuple[str, str], list[ValueBlock]] = {}
    lost: list[Lost] = []
    for item in items:
        match item:
            case EdgeBlock():
                edges.setdefault(item.channel, []).append(item)
            case SpeedBlock():
                speeds.setdefault(item.source, []).append(item)
            case ValueBlock():
                values.setdefault((item.source, item.quantity), []).append(item)
            case Lost():
                lost.append(item)
            case FrameBlock():
                pass  # raw frames stay in the store; nothing is computed from them
    return edges, speeds, values, lost


def _offsets_s(own_s: Floats, host_s: Floats) -> Floats:
    """What to add to a sender's times to put them on the host's line, one a time.

    Delivery can only be late, so the smallest difference is the best one. It is taken
    anew from where the sender's clock was set or restarted.
    """
    ahead_s = host_s - own_s
    return _fastest(ahead_s, np.flatnonzero((np.diff(own_s) < 0) | _jumps(ahead_s)) + 1)


def _jumps(ahead_s: Floats) -> NDArray[np.bool_]:
    return np.abs(np.diff(ahead_s)) > _JUMP_S


def _fastest(ahead_s: Floats, restarts: NDArray[np.int64]) -> Floats:
    """The smallest of `ahead_s` in each part between restarts, one a time."""
    parts = np.split(ahead_s, restarts)
    return np.concatenate([np.full(part.size, part.min(initial=np.inf)) for part in parts])


def _placed(edge_blocks: dict[str, list[EdgeBlock]]) -> dict[int, float]:
    """What to add to the times of each block with edges, by the block's identity.

    The channels' last edges lie apart within a frame; only a jump shows a new start.
    """
    blocks = [block for channel in edge_blocks.values() for block in channel if block.ticks.size]
    blocks.sort(key=lambda block: block.host_s)
    host_s = np.array([block.host_s for block in blocks])
    own_s = np.array([float(block.ticks[-1]) * block.tick_s for block in blocks])
    offsets_s = _fastest(host_s - own_s, np.flatnonzero(_jumps(host_s - own_s)) + 1)
    return {id(block): float(at_s) for block, at_s in zip(blocks, offsets_s, strict=True)}


def _edge_track(blocks: Sequence[EdgeBlock], placed: dict[int, float]) -> EdgeTrack:
    blocks = [block for block in blocks if block.ticks.size] or blocks[:1]
    pairs = [(block, placed.get(id(block), 0.0)) for block in blocks]
    time_s = _joined([_rise_s(block) + offset_s for block, offset_s in pairs])
    fall_s = amplitude_v = None
    if any(block.fall_ticks is not None for block in blocks):
        fall_s = _joined([_fall_s(block) + offset_s for block, offset_s in pairs])
    if any(block.peak_v is not None for block in blocks):
        amplitude_v = _joined([_or_nan(block.peak_v, block.ticks.size) for block, _ in pairs])
    time_s, first = np.maximum.accumulate(time_s), blocks[0]
    return EdgeTrack(first.channel, time_s, fall_s, amplitude_v, kind=first.kind)


def _rise_s(block: EdgeBlock) -> Floats:
    return np.asarray(block.ticks * block.tick_s, dtype=np.float64)


def _fall_s(block: EdgeBlock) -> Floats:
    if block.fall_ticks is None:
        return np.full(block.ticks.size, np.nan)
    return np.where(block.fall_ticks == 0, np.nan, block.fall_ticks * block.tick_s)


def _shift_edges(track: EdgeTrack, origin_s: float) -> EdgeTrack:
    fall_s = None if track.fall_s is None else track.fall_s - origin_s
    return replace(track, time_s=track.time_s - origin_s, fall_s=fall_s)


def _speed_track(blocks: Sequence[SpeedBlock], timed: bool) -> SpeedTrack:
    source = blocks[0].source
    return SpeedTrack(
        source,
        speed_label(source),
        _times(blocks),
        _joined([block.speed_mps for block in blocks]),
        _joined([_or_nan(block.u_mps, block.speed_mps.size) for block in blocks]),
        timed,
        blocks[0].kind,
    )


def _value_track(blocks: Sequence[ValueBlock]) -> ValueTrack:
    values, first = _joined([block.value for block in blocks]), blocks[0]
    return ValueTrack(first.source, first.quantity, _times(blocks), values, first.kind)


def _times(blocks: Sequence[SpeedBlock] | Sequence[ValueBlock]) -> Floats:
    own_s = _joined([block.time_s for block in blocks])
    return own_s + _offsets_s(own_s, _joined([block.host_s for block in blocks]))


def _or_nan(values: Floats | None, size: int) -> Floats:
    return np.full(size, np.nan) if values is None else values


def _joined(parts: Sequence[Floats]) -> Floats:
    return np.concatenate(parts) if parts else np.empty(0)

"""Items of a driver put together to a `Recording`: one time line, a track a stream."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.contract import (
    ChannelKind,
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
    Ticks,
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
_PART_EDGES = 1 << 16

Place = Callable[[Floats, Floats, Ticks], Floats]
"""(times (n,) of the clock that counts a channel's pulses, when each block arrived, how many
pulses it holds) -> times on the recording's line."""


@dataclass(frozen=True, slots=True, eq=False)
class EdgeColumns:
    """Edges of one channel, those of n blocks in a row, N in all.

    `sizes`, `tick_s`, `host_s` (n,) are those of each block; `ticks` (N,), `fall_ticks` (N,) with
    0 and `peak_v` (N,) with NaN where none was seen, None where no block has any.
    """

    sizes: Ticks
    tick_s: Floats
    host_s: Floats
    ticks: Ticks
    fall_ticks: Ticks | None = None
    peak_v: Floats | None = None

    def times(self, ticks: Ticks, place: Place) -> Floats:
        """Where each of those ticks (N,) lies on the recording's line; an array of its own."""
        tick_s: float | Floats = self.tick_s[0]
        if np.any(self.tick_s != tick_s):
            tick_s = np.repeat(self.tick_s, self.sizes)
        return place(np.multiply(ticks, tick_s, dtype=np.float64), self.host_s, self.sizes)


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


def read_for(driver: Driver, for_s: float) -> list[Item]:
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
    return items


def assemble(
    items: Iterable[Item],
    notes: Notes | None = None,
    *,
    name: str = "",
    simulated: bool = False,
) -> Recording:
    """A recording from items in the order they came, whose times lie on one line as they are,
    as those of a file do. Times start at `notes.origin_s`."""
    notes = notes or Notes()
    edge_blocks, speed_blocks, value_blocks, lost = _grouped(items)
    edges = [
        edge_track(blocks[0].channel, blocks[0].kind, *_in_parts(blocks))
        for blocks in edge_blocks.values()
    ]
    speeds = [_speed_track(blocks, notes.timed) for blocks in speed_blocks.values()]
    values = [_value_track(blocks) for blocks in value_blocks.values()]
    return put_together(edges, speeds, values, lost, notes, name=name, simulated=simulated)


def put_together(
    edges: Sequence[EdgeTrack],
    speeds: Sequence[SpeedTrack],
    values: Sequence[ValueTrack],
    lost: Sequence[Lost],
    notes: Notes,
    *,
    name: str = "",
    simulated: bool = False,
) -> Recording:
    """A recording of tracks on one line of time, which starts at `notes.origin_s`, or else with
    the first of them."""
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


def _in_parts(blocks: Sequence[EdgeBlock]) -> tuple[Iterator[EdgeColumns], int]:
    """The edges of blocks, some at a time, and how many there are."""
    count = sum(block.ticks.size for block in blocks)
    step = max(1, len(blocks) * _PART_EDGES // max(count, 1))
    some = (blocks[at : at + step] for at in range(0, len(blocks), step))
    return map(_edge_columns, some), count


def _edge_columns(blocks: Sequence[EdgeBlock]) -> EdgeColumns:
    falls = peaks = None
    if any(block.fall_ticks is not None for block in blocks):
        falls = _joined([_or(block.fall_ticks, block.ticks.size, 0) for block in blocks])
    if any(block.peak_v is not None for block in blocks):
        peaks = _joined([_or(block.peak_v, block.ticks.size, np.nan) for block in blocks])
    return EdgeColumns(
        np.array([block.ticks.size for block in blocks], np.int64),
        np.array([block.tick_s for block in blocks]),
        np.array([block.host_s for block in blocks]),
        _joined([block.ticks for block in blocks]),
        falls,
        peaks,
    )


def edge_track(
    channel: str,
    kind: ChannelKind,
    parts: Iterable[EdgeColumns],
    count: int | None = None,
    place: Place = lambda own_s, _host_s, _sizes: own_s,
) -> EdgeTrack:
    """The track of one channel, its times by `place`.

    Its edges come in parts, `count` in all: each is worked on while it lies in the processor's
    cache, and hours of pulses cost little more than their own memory.
    """
    parts = parts if count is not None else list(parts)
    if count is None:
        count = sum(part.ticks.size for part in parts)
    rise_s, fall_s, peak_v = np.empty(count), None, None
    at, last_s = 0, -np.inf
    for part in parts:
        if not part.ticks.size:
            continue
        mine = slice(at, at + part.ticks.size)
        # Two runs of a restarted clock may overlap by their uncertainty; time never goes back.
        placed_s = part.times(part.ticks, place)
        placed_s[0] = max(placed_s[0], last_s)
        if np.any(placed_s[1:] < placed_s[:-1]):
            np.maximum.accumulate(placed_s, out=placed_s)
        rise_s[mine] = placed_s
        if part.fall_ticks is not None:
            fall_s = np.full(count, np.nan) if fall_s is None else fall_s
            fell_s = part.times(part.fall_ticks, place)
            np.copyto(fall_s[mine], fell_s, where=part.fall_ticks != 0)
        if part.peak_v is not None:
            peak_v = np.full(count, np.nan) if peak_v is None else peak_v
            peak_v[mine] = part.peak_v
        at, last_s = mine.stop, float(rise_s[mine.stop - 1])
    return EdgeTrack(channel, rise_s, fall_s, peak_v, kind=kind)


def _shift_edges(track: EdgeTrack, origin_s: float) -> EdgeTrack:
    """In place: it has just been made, and may be long."""
    track.time_s[:] -= origin_s
    if track.fall_s is not None:
        track.fall_s[:] -= origin_s
    return track


def _speed_track(blocks: Sequence[SpeedBlock], timed: bool) -> SpeedTrack:
    source = blocks[0].source
    return SpeedTrack(
        source,
        speed_label(source),
        _joined([block.time_s for block in blocks]),
        _joined([block.speed_mps for block in blocks]),
        _joined([_or(block.u_mps, block.speed_mps.size, np.nan) for block in blocks]),
        timed,
        blocks[0].kind,
    )


def _value_track(blocks: Sequence[ValueBlock]) -> ValueTrack:
    time_s, first = _joined([block.time_s for block in blocks]), blocks[0]
    values = _joined([block.value for block in blocks])
    return ValueTrack(first.source, first.quantity, time_s, values, first.kind)


def _or(values: NDArray[Any] | None, size: int, absent: float) -> NDArray[Any]:
    return np.full(size, absent) if values is None else values


def _joined(parts: Sequence[NDArray[Any]]) -> NDArray[Any]:
    return np.concatenate(parts) if parts else np.empty(0)

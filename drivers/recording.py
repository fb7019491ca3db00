"""Items of a driver put together to a `Recording`: one time line, a track a stream."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

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

Place = Callable[[str, Floats, Floats], Floats]
"""(pulse channel, times (n,) of the clock that counts it, when each arrived) -> times on the
recording's line."""

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
    place: Place = lambda _channel, own_s, _arrived_s: own_s,
) -> Recording:
    """A recording from items in the order they came, whose times lie on one line as they are.

    So do those of a file. What devices have stamped by clocks of their own is put there
    before, and their pulses by `place`. Times start at `notes.origin_s`.
    """
    notes = notes or Notes()
    edge_blocks, speed_blocks, value_blocks, lost = _grouped(items)
    edges = [_edge_track(blocks, place) for blocks in edge_blocks.values()]
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


def _edge_track(blocks: Sequence[EdgeBlock], place: Place) -> EdgeTrack:
    first, blocks = blocks[0], [block for block in blocks if block.ticks.size]
    if not blocks:
        return EdgeTrack(first.channel, np.empty(0), kind=first.kind)
    sizes = [block.ticks.size for block in blocks]
    tick_s = np.repeat([block.tick_s for block in blocks], sizes)
    arrived_s = np.repeat([block.host_s for block in blocks], sizes)
    rise_s = place(first.channel, _joined([block.ticks for block in blocks]) * tick_s, arrived_s)
    fall_s = amplitude_v = None
    if any(block.fall_ticks is not None for block in blocks):
        ticks = _joined([_or(block.fall_ticks, block.ticks.size, 0) for block in blocks])
        fall_s = np.where(ticks == 0, np.nan, place(first.channel, ticks * tick_s, arrived_s))
    if any(block.peak_v is not None for block in blocks):
        amplitude_v = _joined([_or(block.peak_v, block.ticks.size, np.nan) for block in blocks])
    # Two runs of a restarted clock may overlap by their uncertainty; time never goes back.
    rise_s = np.maximum.accumulate(rise_s)
    return EdgeTrack(first.channel, rise_s, fall_s, amplitude_v, kind=first.kind)


def _shift_edges(track: EdgeTrack, origin_s: float) -> EdgeTrack:
    fall_s = None if track.fall_s is None else track.fall_s - origin_s
    return replace(track, time_s=track.time_s - origin_s, fall_s=fall_s)


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

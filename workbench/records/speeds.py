"""Pulses and speeds of a stored recording straight from its blocks into arrays.

`Store.load_recording` makes every item again, as it came from the wire; hours of pulses are
millions of them. What a plot needs are the times alone, and here they come some ten times
sooner, on the same line of time. A few blocks from all along the recording give an overview
of it at once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray
from sqlalchemy.engine import Connection

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack
from drivers.timeline import BOARD_CLOCK
from workbench.base.errors import StoreError
from workbench.calibration.pulses.time_base import ClockRuns, fit_clock
from workbench.records import schema
from workbench.records.codec import CodecError, StreamKey, arrays_of
from workbench.records.entries import notes_of
from workbench.records.reader import OnDamage, last_sequence, recording_row, stream_keys
from workbench.records.rebuild import odd_clocks

Array = NDArray[Any]
Report = Callable[[float], object]

WANTED = {
    "edges": ("sizes", "ticks", "tick_s", "host_s"),
    "speeds": ("sizes", "speed_mps", "time_s", "host_s"),
    "values": ("sizes", "value", "host_s"),
}
OVERVIEW = 400
"""Places all along the recording that an overview looks at."""
AT_ONCE, PACK = 500, 4
"""Blocks asked for at once; so many such times between two packings."""


@dataclass(slots=True)
class _Stream:
    """The arrays of one stream's blocks as they are read.

    Many blocks at a time become one chunk of each array: to join, or to free, a hundred
    thousand small ones in one go would keep every other thread waiting.
    """

    key: StreamKey
    kind: ChannelKind = ChannelKind.UNKNOWN
    parts: dict[str, list[Array]] = field(default_factory=dict)
    chunks: dict[str, list[Array]] = field(default_factory=dict)

    def add(self, arrays: dict[str, Array]) -> None:
        """Take a block's arrays; of edges the board's times, and each item's last one."""
        if self.key.kind == "edges":
            sizes, ticks = arrays["sizes"], arrays.pop("ticks")
            device_s = ticks * np.repeat(arrays.pop("tick_s"), sizes)
            filled = sizes > 0
            arrays["device_s"] = device_s
            arrays["last_s"] = device_s[np.cumsum(sizes)[filled] - 1]
            arrays["last_host_s"] = arrays["host_s"][filled]
        for name, array in arrays.items():
            self.parts.setdefault(name, []).append(array)

    def pack(self) -> None:
        """Make one chunk of what was added since the last call."""
        for name, parts in self.parts.items():
            self.chunks.setdefault(name, []).append(np.concatenate(parts))
        self.parts = {}

    def joined(self, name: str) -> Array:
        """All of one array."""
        return joined(self.chunks.get(name, []))


def joined(chunks: Sequence[Array]) -> Array:
    """Arrays one behind the other, copied chunk by chunk so that other threads come in between."""
    whole = np.empty(sum(chunk.size for chunk in chunks), chunks[0].dtype if chunks else float)
    at = 0
    for chunk in chunks:
        whole[at : at + chunk.size] = chunk
        at += chunk.size
    return whole


def overview_places(connection: Connection, number: int) -> list[range]:
    """Blocks that show a long recording roughly: a few neighbours at each of some places.

    Neighbours, because what was written in one go holds a block of each stream. [] where
    reading all takes no longer.
    """
    streams, blocks = len(stream_keys(connection, number)), last_sequence(connection, number) + 1
    if blocks < 4 * OVERVIEW * streams:
        return []
    starts = np.linspace(0, blocks - streams, OVERVIEW).astype(int).tolist()
    return [range(start, start + streams) for start in starts]


def whole_places(connection: Connection, number: int) -> list[range]:
    """All blocks of a recording, some at a time."""
    blocks = last_sequence(connection, number) + 1
    return [range(at, min(at + AT_ONCE, blocks)) for at in range(0, blocks, AT_ONCE)]


def read_speeds(
    connection: Connection,
    number: int,
    places: Sequence[range],
    on_damage: OnDamage,
    report: Report,
) -> Recording | None:
    """Pulses and speeds of those blocks on the recording's line of time; no other tracks.

    None where the recording was imported from a file, which carries its own line of time.
    A damaged block is left out and told. `report` hears how far it is, 0 to 1.
    """
    row = recording_row(connection, number)
    streams = {key: _Stream(name) for key, name in stream_keys(connection, number).items()}
    if any(stream.key.input.startswith("file:") for stream in streams.values()):
        return None
    wanted = {key: one for key, one in streams.items() if one.key.kind in WANTED}
    for at, found in enumerate(_batches(connection, number, wanted, places)):
        report(at / max(len(places), 1))
        for block in found:
            stream = wanted[block.stream]
            try:
                if hashlib.sha256(block.data).digest() != block.sha256:
                    raise CodecError("its checksum does not match")
                stream.kind, arrays = arrays_of(block.data, WANTED[stream.key.kind])
                stream.add(arrays)
            except CodecError as error:
                on_damage(
                    StoreError(
                        "Block {sequence} of recording {recording} is damaged: {what}.",
                        sequence=block.sequence,
                        recording=number,
                        what=error,
                    )
                )
        if at % PACK == PACK - 1:
            for stream in wanted.values():
                stream.pack()
    for stream in wanted.values():
        stream.pack()
    return _recording(list(streams.values()), row, on_damage)


def _batches(
    connection: Connection, number: int, wanted: dict[int, _Stream], places: Sequence[range]
) -> Iterator[Sequence[Any]]:
    """The blocks of those places, in the order stored."""
    block = schema.block
    columns = (block.c.sequence, block.c.stream, block.c.sha256, block.c.data)
    query = sa.select(*columns).where(
        block.c.recording == number,
        block.c.stream.in_(list(wanted)),
        block.c.sequence.between(sa.bindparam("first"), sa.bindparam("last")),
    )
    query = query.order_by(block.c.sequence)
    for some in places:
        yield connection.execute(query, {"first": some.start, "last": some.stop - 1}).all()


def _recording(
    streams: Sequence[_Stream], row: Mapping[str, Any], on_damage: OnDamage
) -> Recording:
    origin_s, warnings = row["started_host_s"], []
    try:
        notes = notes_of(row["summary"])
        origin_s, warnings = notes.origin_s or origin_s, list(notes.warnings)
    except StoreError as error:
        on_damage(error)
    points: dict[str, list[tuple[Array, Array]]] = {}
    for stream in streams:
        points.setdefault(stream.key.input, []).extend(_board_points(stream))
    clocks = {(address, ""): fit_clock(known) for address, known in points.items() if known}
    edges: dict[str, EdgeTrack] = {}
    speeds: dict[str, SpeedTrack] = {}
    for stream, name in zip(streams, _names(streams), strict=True):
        if stream.key.kind == "edges" and stream.chunks:
            time_s = _edge_times(stream, clocks[stream.key.input, ""]) - origin_s
            ascending_s = np.maximum.accumulate(time_s, out=time_s)
            edges[name] = EdgeTrack(name, ascending_s, kind=stream.kind)
        elif stream.key.kind == "speeds" and stream.chunks:
            time_s, speed = _sender_times(stream) - origin_s, stream.joined("speed_mps")
            order = np.argsort(time_s, kind="stable")
            unknown = np.full(order.size, np.nan)
            told = (time_s[order], speed[order], unknown)
            speeds[name] = SpeedTrack(name, name, *told, kind=stream.kind)
    warnings += odd_clocks(clocks)
    return Recording(row["name"], "", edges, speeds, warnings=warnings)


def _names(streams: Sequence[_Stream]) -> list[str]:
    """As `load_recording` names them: of two inputs with one name the second's is 'name@2'."""
    users: dict[str, list[str]] = {}
    names = []
    for stream in streams:
        inputs = users.setdefault(stream.key.name, [])
        if stream.key.input not in inputs:
            inputs.append(stream.key.input)
        at = inputs.index(stream.key.input) + 1
        names.append(stream.key.name if at == 1 else f"{stream.key.name}@{at}")
    return names


def _board_points(stream: _Stream) -> list[tuple[Array, Array]]:
    """What a stream tells of its input's clock: see `drivers.timeline.clock_points`."""
    if stream.key.kind == "edges" and stream.chunks:
        return [(stream.joined("last_s"), stream.joined("last_host_s"))]
    if stream.key.quantity == BOARD_CLOCK and stream.chunks:
        return [(stream.joined("value"), stream.joined("host_s"))]
    return []


def _edge_times(stream: _Stream, clock: ClockRuns) -> Array:
    """Of each edge its time on the host's line."""
    chunks = zip(*(stream.chunks[name] for name in ("device_s", "host_s", "sizes")), strict=True)
    return joined([clock.to_host(device, np.repeat(host, sizes)) for device, host, sizes in chunks])


def _sender_times(stream: _Stream) -> Array:
    """Times of a source's values on the host's line: see `clocks.on_host_line`."""
    sizes = stream.joined("sizes").astype(np.intp)
    time_s, host_s = stream.joined("time_s").astype(float), stream.joined("host_s")
    sizes = sizes[sizes > 0]
    if not sizes.size:
        return time_s
    starts = np.concatenate(([0], np.cumsum(sizes)[:-1]))
    own = np.logical_or.reduceat(time_s != host_s, starts)
    own &= np.logical_and.reduceat(np.isfinite(time_s), starts)
    mine = np.repeat(own, sizes)
    if mine.any():
        clock = fit_clock([(time_s[mine], host_s[mine])])
        arrived_s = np.repeat(host_s[starts], sizes)[mine]
        time_s[mine] = clock.to_host(time_s[mine], arrived_s)
    return time_s

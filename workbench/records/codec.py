"""Items of one stream ↔ the bytes of one block, exactly.

A block is zlib over a JSON head and arrays one after another. Each array is delta coded
on its bit patterns (differences modulo 2^bits, so floating point and NaN come back bit
for bit) and its bytes are regrouped by significance, which is what makes slowly varying
numbers small.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import accumulate, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.contract import (
    ChannelKind,
    EdgeBlock,
    FrameBlock,
    Item,
    Lost,
    SpeedBlock,
    Ticks,
    ValueBlock,
)
from workbench.base.errors import Message

Array = NDArray[Any]
Arrays = dict[str, Array]
Head = dict[str, Any]
Stored = Item | bytes
"""What a block can hold; `bytes` are a piece of the file an import was made from."""

_LEVEL = 5
_NO_BLOCK = (
    *(KeyError, ValueError, TypeError, IndexError, RecursionError, struct.error, zlib.error),
    MemoryError,  # what was packed to fill any memory
)


class CodecError(Message, Exception):
    """Bytes that are no block."""


@dataclass(frozen=True, slots=True)
class StreamKey:
    """Which stream a block belongs to: what it holds, from which input, by which name."""

    kind: str
    input: str
    name: str
    quantity: str = ""


def key_of(address: str, item: Stored) -> StreamKey:
    """The stream of an item that came from the input `address`."""
    match item:
        case EdgeBlock():
            name, quantity = item.channel, ""
        case SpeedBlock():
            name, quantity = item.source, ""
        case ValueBlock():
            name, quantity = item.source, item.quantity
        case FrameBlock():
            name, quantity = item.channel, ""
        case _:
            name, quantity = "", ""
    return StreamKey(_KINDS[type(item)], address, name, quantity)


def encode(items: Sequence[Stored]) -> bytes:
    """The block of some items of one stream, at least one."""
    return _pack(*columns_of(items))


def columns_of(items: Sequence[Stored]) -> tuple[Head, Arrays]:
    """Some items of one stream, at least one, as arrays: what all have in common, and the rest."""
    return _CODERS[_KINDS[type(items[0])]][0](items)


def items_of(key: StreamKey, head: Head, arrays: Arrays) -> list[Stored]:
    """The items again, bit for bit. Raises CodecError where those are no such arrays."""
    with _no_block(key.kind):
        return _CODERS[key.kind][1](key, head, arrays)


def unpack(blocks: Sequence[bytes]) -> list[tuple[Head, Arrays]]:
    """What `columns_of` gave of the items of each of these blocks.

    Those laid out alike, as most of a stream are, are unfolded in one go. Raises CodecError where
    the bytes of one are no block.
    """
    with _no_block("items"):
        return _unpack([zlib.decompress(data) for data in blocks])


@contextmanager
def _no_block(kind: str) -> Iterator[None]:
    try:
        yield
    except _NO_BLOCK as error:
        raise CodecError(
            "a block of {kind} cannot be decoded ({error})", kind=kind, error=str(error)
        ) from None


def channel_kind(head: Head) -> ChannelKind:
    """What the driver said of the channel; a block of an older program does not say, and the
    name tells."""
    return ChannelKind(head.get("kind", ChannelKind.UNKNOWN))


def _pack(head: Mapping[str, Any], arrays: Mapping[str, Array]) -> bytes:
    listed = [[name, array.dtype.str, int(array.size)] for name, array in arrays.items()]
    text = json.dumps({**head, "arrays": listed}, separators=(",", ":")).encode()
    parts = [struct.pack("<I", len(text)), text, *(_fold(array) for array in arrays.values())]
    return zlib.compress(b"".join(parts), _LEVEL)


def _unpack(blocks: Sequence[bytes]) -> list[tuple[Head, Arrays]]:
    alike: dict[tuple[bytes, int], list[int]] = {}
    for place, raw in enumerate(blocks):
        (size,) = struct.unpack_from("<I", raw)
        alike.setdefault((raw[4 : 4 + size], len(raw)), []).append(place)
    found: list[tuple[Head, Arrays]] = [({}, {})] * len(blocks)
    for (text, length), places in alike.items():
        joined = b"".join([blocks[place] for place in places])
        table = np.frombuffer(joined, np.uint8).reshape(len(places), length)
        head, at, arrays = json.loads(text), 4 + len(text), {}
        for name, dtype, count in head.pop("arrays"):
            end = at + np.dtype(dtype).itemsize * count
            arrays[name] = _unfold(table[:, at:end], np.dtype(dtype), count)
            at = end
        for row, place in enumerate(places):
            found[place] = head, {name: array[row] for name, array in arrays.items()}
    return found


def _fold(array: Array) -> bytes:
    size = array.dtype.itemsize
    bits = np.ascontiguousarray(array).view(f"<u{size}")
    deltas = bits.copy()
    deltas[1:] -= bits[:-1]
    return deltas.view(np.uint8).reshape(-1, size).T.tobytes()


def _unfold(table: NDArray[np.uint8], dtype: np.dtype[Any], count: int) -> Array:
    """The arrays (n, count) of n blocks from the bytes of each, a row a block."""
    columns = table.reshape(len(table), dtype.itemsize, count).transpose(0, 2, 1)
    deltas = np.ascontiguousarray(columns).view(f"<u{dtype.itemsize}")[:, :, 0]
    return np.cumsum(deltas, axis=1, dtype=deltas.dtype).view(dtype)


def _sizes(parts: Sequence[Any]) -> Ticks:
    """Lengths of optional arrays, −1 where one is absent."""
    return np.array([-1 if part is None else len(part) for part in parts], np.int64)


def _joined(parts: Sequence[Array | None], dtype: str) -> Array:
    present = [np.asarray(part, dtype) for part in parts if part is not None]
    return np.concatenate(present) if present else np.empty(0, dtype)


def _optional(name: str, parts: Sequence[Array | None], dtype: str) -> Arrays:
    """Arrays that some items may lack; nothing at all where every item lacks them."""
    if all(part is None for part in parts):
        return {}
    return {f"{name} sizes": _sizes(parts), name: _joined(parts, dtype)}


def _split(array: Array, sizes: Array) -> list[Array | None]:
    lengths = sizes.tolist()
    ends = accumulate(max(length, 0) for length in lengths)
    return [
        None if length < 0 else array[end - length : end]
        for length, end in zip(lengths, ends, strict=True)
    ]


def _present(array: Array, sizes: Array) -> list[Array]:
    return [part for part in _split(array, sizes) if part is not None]


def _where_given(arrays: Arrays, name: str, count: int) -> list[Array | None]:
    if name not in arrays:
        return [None] * count
    return _split(arrays[name], arrays[f"{name} sizes"])


_F8, _I8 = "<f8", "<i8"


def _kind_to(items: Sequence[EdgeBlock | SpeedBlock | ValueBlock]) -> Head:
    """What the driver said of the channel, which is one thing all along a stream."""
    return {"kind": items[0].kind}


def _kinds_from(head: Any, a: Arrays) -> list[ChannelKind]:
    return [channel_kind(head)] * int(a["sizes"].size)


def _edges_to(items: Sequence[EdgeBlock]) -> tuple[Head, Arrays]:
    return _kind_to(items), {
        "sequence": np.array([i.sequence for i in items], _I8),
        "tick_s": np.array([i.tick_s for i in items], _F8),
        "host_s": np.array([i.host_s for i in items], _F8),
        "count": np.array([i.count for i in items], _I8),
        "sizes": _sizes([i.ticks for i in items]),
        "ticks": _joined([i.ticks for i in items], _I8),
        **_optional("falls", [i.fall_ticks for i in items], _I8),
        **_optional("peaks", [i.peak_v for i in items], _F8),
    }


def _edges_from(key: StreamKey, head: Any, a: Arrays) -> list[Stored]:
    columns = zip(
        a["sequence"].tolist(),
        _present(a["ticks"], a["sizes"]),
        a["tick_s"].tolist(),
        a["host_s"].tolist(),
        a["count"].tolist(),
        _where_given(a, "falls", a["sizes"].size),
        _where_given(a, "peaks", a["sizes"].size),
        _kinds_from(head, a),
        strict=True,
    )
    return [EdgeBlock(key.name, *column) for column in columns]


def _speeds_to(items: Sequence[SpeedBlock]) -> tuple[Head, Arrays]:
    return _kind_to(items), {
        "sizes": _sizes([i.speed_mps for i in items]),
        "speed_mps": _joined([i.speed_mps for i in items], _F8),
        "time_s": _joined([i.time_s for i in items], _F8),
        "host_s": _joined([i.host_s for i in items], _F8),
        **_optional("u_mps", [i.u_mps for i in items], _F8),
    }


def _speeds_from(key: StreamKey, head: Any, a: Arrays) -> list[Stored]:
    columns = zip(
        *(_present(a[name], a["sizes"]) for name in ("speed_mps", "time_s", "host_s")),
        _where_given(a, "u_mps", a["sizes"].size),
        _kinds_from(head, a),
        strict=True,
    )
    return [SpeedBlock(key.name, *column) for column in columns]


def _values_to(items: Sequence[ValueBlock]) -> tuple[Head, Arrays]:
    return _kind_to(items), {
        "sizes": _sizes([i.value for i in items]),
        "value": _joined([i.value for i in items], _F8),
        "time_s": _joined([i.time_s for i in items], _F8),
        "host_s": _joined([i.host_s for i in items], _F8),
    }


def _values_from(key: StreamKey, head: Any, a: Arrays) -> list[Stored]:
    names = ("value", "time_s", "host_s")
    parts = (_present(a[name], a["sizes"]) for name in names)
    columns = zip(*parts, _kinds_from(head, a), strict=True)
    return [ValueBlock(key.name, key.quantity, *column) for column in columns]


def _frames_to(items: Sequence[FrameBlock]) -> tuple[Head, Arrays]:
    return {}, {
        "sizes": _sizes([i.can_id for i in items]),
        "can_id": _joined([i.can_id for i in items], "<u4"),
        "length": _joined([i.length for i in items], "u1"),
        "time_s": _joined([i.time_s for i in items], _F8),
        "host_s": _joined([i.host_s for i in items], _F8),
        "data_sizes": _sizes([i.data for i in items]),
        "data": np.frombuffer(b"".join(i.data for i in items), np.uint8),
    }


def _frames_from(key: StreamKey, head: Any, a: Arrays) -> list[Stored]:
    data = [part.tobytes() for part in _present(a["data"], a["data_sizes"])]
    ids, lengths, times, arrivals = (
        _present(a[name], a["sizes"]) for name in ("can_id", "length", "time_s", "host_s")
    )
    columns = zip(ids, lengths, data, times, arrivals, strict=True)
    return [FrameBlock(key.name, *column) for column in columns]


def _lost_to(items: Sequence[Lost]) -> tuple[Head, Arrays]:
    holes = [[i.stream, i.count, i.reason] for i in items]
    times = np.array([[i.from_s, i.to_s] for i in items], _F8)
    return {"lost": holes}, {"from_s": times[:, 0], "to_s": times[:, 1]}


def _lost_from(key: StreamKey, head: Any, a: Arrays) -> list[Stored]:
    rows = zip(head["lost"], a["from_s"].tolist(), a["to_s"].tolist(), strict=True)
    return [Lost(name, count, start, end, why) for (name, count, why), start, end in rows]


def _file_to(items: Sequence[bytes]) -> tuple[Head, Arrays]:
    return {"sizes": [len(i) for i in items]}, {"raw": np.frombuffer(b"".join(items), "V1")}


def _file_from(key: StreamKey, head: Any, a: Arrays) -> list[Stored]:
    raw = a["raw"].tobytes()
    ends = np.cumsum([0, *head["sizes"]]).tolist()
    return [raw[start:end] for start, end in pairwise(ends)]


_Coder = tuple[
    Callable[[Any], tuple[Head, Arrays]],
    Callable[[StreamKey, Any, Arrays], list[Stored]],
]

_KINDS: dict[type, str] = {
    EdgeBlock: "edges",
    SpeedBlock: "speeds",
    ValueBlock: "values",
    FrameBlock: "frames",
    Lost: "lost",
    bytes: "file",
}

_CODERS: dict[str, _Coder] = {
    "edges": (_edges_to, _edges_from),
    "speeds": (_speeds_to, _speeds_from),
    "values": (_values_to, _values_from),
    "frames": (_frames_to, _frames_from),
    "lost": (_lost_to, _lost_from),
    "file": (_file_to, _file_from),
}

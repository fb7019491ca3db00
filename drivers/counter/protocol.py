"""The pulse counter's protocol, read: `firmware/PROTOCOL.md` says what each byte means.

`decode` turns one frame's payload into a `Hello`, `EdgeFrame` or `Heartbeat`. What
encodes them is `firmware/counter_core.py`, the board's own source.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from drivers.contract import ChannelKind, Floats, Note, Ticks
from drivers.firmware.counter_core import (
    EDGES,
    FALLS,
    HEARTBEAT,
    HELLO,
    MASK_32,
    NO_PEAK,
    PEAKS,
    VERSION,
)

FRAME_TYPES = (HELLO, EDGES, HEARTBEAT)
KINDS = (
    ChannelKind.BELT,
    ChannelKind.LAP_MARK,
    ChannelKind.RADAR,
    ChannelKind.INDEX_MARK,
    ChannelKind.WHEEL,
)
"""The kinds of channel, by number; any other number is some other pulse."""


class Malformed(ValueError):
    """A payload whose CRC is right and whose content is not; says what."""


class NewerProtocol(Exception):
    """The board speaks a version of the protocol that is not known here."""

    def __init__(self, version: int) -> None:
        self.version = version
        super().__init__(
            Note(
                "it speaks version {version} of the counter protocol, and this program "
                "knows versions up to {version_2}; a newer Evenpace, or older firmware, is needed",
                version=version,
                version_2=VERSION,
            )
        )


@dataclass(frozen=True, slots=True)
class BoardInput:
    """One input of the board: its name, its kind, what it tells of each edge."""

    name: str
    kind: ChannelKind
    falls: bool = False
    peaks: bool = False


@dataclass(frozen=True, slots=True)
class Hello:
    """What the board is. `boot` differs each time the board starts."""

    board: str
    clock_hz: int
    boot: int
    channels: tuple[BoardInput, ...]


@dataclass(frozen=True, slots=True, eq=False)
class EdgeFrame:
    """Edges of channel number `channel`.

    `since_first` (int64) are ticks after `first_tick`; `widths` ticks from each rise to
    its fall, 0 where it was not seen; `peaks_v` volts, NaN where not measured.
    """

    channel: int
    sequence: int
    count: int
    first_tick: int
    since_first: Ticks
    widths: Ticks | None
    peaks_v: Floats | None


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """The board's tick now, and each channel's count after its last edge frame."""

    tick: int
    counts: tuple[int, ...]


def decode(payload: bytes) -> Hello | EdgeFrame | Heartbeat | None:
    """One payload; None for a type of frame that is not known, which a reader skips.

    Raises Malformed, or NewerProtocol for the hello of a newer board.
    """
    try:
        if payload[0] == HELLO:
            return _hello(payload)
        if payload[0] == EDGES:
            return _edges(payload)
        if payload[0] == HEARTBEAT:
            return _heartbeat(payload)
    except (struct.error, IndexError):
        raise Malformed("the frame is shorter than its content") from None
    return None


def _hello(payload: bytes) -> Hello:
    if payload[1] > VERSION:
        raise NewerProtocol(payload[1])
    if payload[1] == 0:
        raise Malformed("a protocol version 0")
    clock_hz, boot = struct.unpack_from("<II", payload, 2)
    if clock_hz == 0:
        raise Malformed("the clock rate is 0")
    board, at = _text(payload, 10)
    n, at = payload[at], at + 1
    channels = []
    for _ in range(n):
        kind, flags = payload[at], payload[at + 1]
        name, at = _text(payload, at + 2)
        known = KINDS[kind] if kind < len(KINDS) else ChannelKind.OTHER
        channels.append(BoardInput(name, known, bool(flags & FALLS), bool(flags & PEAKS)))
    if len({channel.name for channel in channels}) != n:
        raise Malformed("two channels have one name")
    return Hello(board, clock_hz, boot, tuple(channels))


def _text(payload: bytes, at: int) -> tuple[str, int]:
    """A text with its length before it, and where the next field stands."""
    end = at + 1 + payload[at]
    if end > len(payload):
        raise IndexError
    try:
        return payload[at + 1 : end].decode("utf-8"), end
    except UnicodeDecodeError:
        raise Malformed("a name is not UTF-8") from None


def _edges(payload: bytes) -> EdgeFrame:
    channel, sequence, count, n, flags, first = struct.unpack_from("<BHIBBI", payload, 1)
    if n == 0:
        raise Malformed("an edge frame holds no edge")
    varints = n - 1 + (n if flags & FALLS else 0)
    numbers, at = _varints(payload, 14, varints)
    since_first = np.concatenate(([0], np.cumsum(numbers[: n - 1], dtype=np.int64)))
    widths = np.array(numbers[n - 1 :], dtype=np.int64) if flags & FALLS else None
    peaks_v = None
    if flags & PEAKS:
        raw = np.array(struct.unpack_from(f"<{n}H", payload, at))
        peaks_v = np.where(raw == NO_PEAK, np.nan, raw / 1000.0)
    return EdgeFrame(channel, sequence, count, first, since_first, widths, peaks_v)


def _varints(payload: bytes, at: int, n: int) -> tuple[list[int], int]:
    numbers = []
    for _ in range(n):
        value = shift = 0
        while True:
            byte = payload[at]
            at += 1
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                break
            if shift > 28:
                raise Malformed("a number is longer than 5 bytes")
        if value > MASK_32:
            raise Malformed("a number does not fit 32 bits")
        numbers.append(value)
    return numbers, at


def _heartbeat(payload: bytes) -> Heartbeat:
    tick, n = struct.unpack_from("<IB", payload, 1)
    return Heartbeat(tick, struct.unpack_from(f"<{n}I", payload, 6))

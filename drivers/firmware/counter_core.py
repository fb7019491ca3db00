"""What the pulse counter does that needs no pins: frames, batches, heartbeat, ring.

One source for the board (MicroPython), the simulator and the tests (CPython), so it
imports nothing but `struct`. `PROTOCOL.md` beside this file says what each byte means.
"""

import struct

VERSION = 1

HELLO, EDGES, HEARTBEAT = 1, 2, 3
"""Types of frame."""

PICKUP, LAP_MARK, RADAR = 0, 1, 2
"""Kinds of channel."""

FALLS, PEAKS = 1, 2
"""Flags: what a channel or an edge frame tells besides its rising edges."""

NO_PEAK = 0xFFFF
MASK_32 = 0xFFFFFFFF
MOST_PAYLOAD = 251
"""Longest payload in bytes: with the CRC it fits one COBS block."""

MOST_EDGES = 20
"""Edges a batch holds: even with falls and peaks and the longest differences it fits a frame."""


def _crc_table() -> tuple[int, ...]:
    table = []
    for byte in range(256):
        crc = byte << 8
        for _ in range(8):
            crc = ((crc << 1) ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
        table.append(crc)
    return tuple(table)


_CRC = _crc_table()


def crc16(data: bytes) -> int:
    """CRC-16/CCITT-FALSE (polynomial 0x1021, start 0xFFFF, nothing reflected)."""
    crc = 0xFFFF
    for byte in data:
        crc = ((crc << 8) & 0xFFFF) ^ _CRC[(crc >> 8) ^ byte]
    return crc


def frame(payload: bytes) -> bytes:
    """A payload as it goes on the wire: CRC after it, COBS, a zero byte at the end.

    Raises ValueError for a payload that is empty or longer than `MOST_PAYLOAD`.
    """
    if not 0 < len(payload) <= MOST_PAYLOAD:
        raise ValueError(f"a payload has 1 to {MOST_PAYLOAD} bytes, not {len(payload)}")
    # Shorter than 254 bytes, a COBS block ends at each zero and nowhere else.
    blocks = (payload + struct.pack(">H", crc16(payload))).split(b"\x00")
    return b"".join([bytes([len(block) + 1]) + block for block in blocks]) + b"\x00"


def varint(value: int) -> bytes:
    """An unsigned number in groups of 7 bits, lowest first, the top bit set on all but the last."""
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def hello(board: str, clock_hz: int, boot: int, channels: list[tuple[str, int, int]]) -> bytes:
    """Payload of a hello frame; `channels` are (name, kind, flags), flags what it tells.

    `boot` is a number that differs each time the board starts.
    """
    name = board.encode()
    out = struct.pack("<BBIIB", HELLO, VERSION, clock_hz, boot, len(name)) + name
    out += bytes([len(channels)])
    for channel, kind, flags in channels:
        text = channel.encode()
        out += bytes([kind, flags, len(text)]) + text
    return out


def edges(
    channel: int,
    sequence: int,
    count: int,
    rises: list[int],
    falls: list[int | None] | None = None,
    peaks_mv: list[int] | None = None,
) -> bytes:
    """Payload of an edge frame.

    `rises` (at least one) and `falls` are ticks, a fall None where it was not seen;
    `count` is the channel's count of rising edges after this frame; a peak in mV is
    `NO_PEAK` where it was not measured.
    """
    flags = (FALLS if falls is not None else 0) | (PEAKS if peaks_mv is not None else 0)
    out = struct.pack(
        "<BBHIBBI",
        EDGES,
        channel,
        sequence & 0xFFFF,
        count & MASK_32,
        len(rises),
        flags,
        rises[0] & MASK_32,
    )
    parts = [out]
    parts += [varint((rises[i] - rises[i - 1]) & MASK_32) for i in range(1, len(rises))]
    if falls is not None:
        parts += [
            varint(0 if fall is None else (fall - rises[i]) & MASK_32)
            for i, fall in enumerate(falls)
        ]
    if peaks_mv is not None:
        parts += [struct.pack("<H", peak) for peak in peaks_mv]
    return b"".join(parts)


def heartbeat(tick: int, counts: list[int]) -> bytes:
    """Payload of a heartbeat: the tick now, and each channel's count after its last edge frame."""
    out = struct.pack("<BIB", HEARTBEAT, tick & MASK_32, len(counts))
    return out + b"".join([struct.pack("<I", count & MASK_32) for count in counts])


class Batch:
    """The edges of one channel that have not been sent yet."""

    def __init__(self, flags: int) -> None:
        self.flags = flags
        self.sequence = 0
        self.count = 0
        self.missed = 0
        self.rises: list[int] = []
        self.falls: list[int | None] = []
        self.peaks: list[int] = []

    def take(self, channel: int, keep: int) -> bytes:
        """All edges but the newest `keep` as a framed edge frame; b"" where there are none."""
        n = len(self.rises) - keep
        if n <= 0:
            return b""
        self.count = (self.count + self.missed + n) & MASK_32
        payload = edges(
            channel,
            self.sequence,
            self.count,
            self.rises[:n],
            self.falls[:n] if self.flags & FALLS else None,
            self.peaks[:n] if self.flags & PEAKS else None,
        )
        self.missed = 0
        self.sequence = (self.sequence + 1) & 0xFFFF
        self.rises, self.falls, self.peaks = self.rises[n:], self.falls[n:], self.peaks[n:]
        return frame(payload)


class PulseCounter:
    """Gathers edges and says what is to be sent; ticks are taken modulo 2**32.

    An edge waits 1/20 s at most, or, where the channel tells falls and the newest edge's
    has not come yet, 1 s at most. Hello and heartbeat go out at the first `poll` and
    every half second.
    """

    def __init__(
        self, board: str, clock_hz: int, boot: int, channels: list[tuple[str, int, int]]
    ) -> None:
        self._hello = frame(hello(board, clock_hz, boot, channels))
        self._batches = [Batch(flags) for _, _, flags in channels]
        self._clock_hz = clock_hz
        self._beat_tick = 0
        self._silent = True
        self._full: list[bytes] = []

    def rise(self, channel: int, tick: int, peak_mv: int = NO_PEAK) -> None:
        """A rising edge, in the order they came."""
        batch = self._batches[channel]
        if len(batch.rises) >= MOST_EDGES:
            self._full.append(batch.take(channel, 0))
        batch.rises.append(tick & MASK_32)
        batch.falls.append(None)
        batch.peaks.append(peak_mv)

    def fall(self, channel: int, tick: int) -> None:
        """The falling edge after the newest rising edge."""
        batch = self._batches[channel]
        if batch.falls:
            batch.falls[-1] = tick & MASK_32

    def missed(self, channel: int, n: int) -> None:
        """`n` rising edges were counted whose ticks are lost; call before the next `rise`."""
        batch = self._batches[channel]
        self._full.append(batch.take(channel, 0))
        batch.missed += n

    def poll(self, tick: int) -> bytes:
        """What is to be sent at `tick`, ready for the wire; b"" when there is nothing."""
        out = self._full
        self._full = []
        for channel, batch in enumerate(self._batches):
            if batch.rises and self._age(batch.rises[0], tick) >= self._clock_hz // 20:
                falls_late = batch.flags & FALLS and batch.falls[-1] is None
                young = self._age(batch.rises[-1], tick) < self._clock_hz
                out.append(batch.take(channel, 1 if falls_late and young else 0))
        if self._silent or self._age(self._beat_tick, tick) >= self._clock_hz // 2:
            self._silent = False
            self._beat_tick = tick
            counts = [batch.count for batch in self._batches]
            out += [self._hello, frame(heartbeat(tick, counts))]
        return b"".join(out)

    def _age(self, since: int, tick: int) -> int:
        return (tick - since) & MASK_32


class Ring:
    """Reads what a DMA channel writes round and round into `words`.

    `words` is a list or an array of even length. Words alternate: rising edge, falling edge.
    """

    def __init__(self, words: list[int]) -> None:
        self._words = words
        self._taken = 0

    def take(self, written: int) -> tuple[int, int, list[int]]:
        """(pairs lost, index of the first word, words) since the last call.

        `written` is how many words were ever written. Where the writer is about to lap
        the reader the older half is given up, a whole number of pairs; the first word is
        a rising edge where its index is even.
        """
        size = len(self._words)
        waiting = written - self._taken
        lost = 0
        if waiting > size * 3 // 4:
            lost = (waiting - size // 2) // 2 * 2
        first = self._taken + lost
        words = [self._words[index % size] for index in range(first, written)]
        self._taken = written
        return lost // 2, first, words

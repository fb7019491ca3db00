"""Bytes to frames: parsers that take data in any pieces, find their feet again after
damage, count what they reject and never raise on data."""

from __future__ import annotations

import binascii
import functools
import operator
import re

import numpy as np
from cobs import cobs


class CobsFrames:
    """COBS frames with a CRC-16/CCITT-FALSE behind the payload, high byte first.

    A zero byte ends each frame. `rejects` counts damaged frames by reason. Whatever
    stands before the first zero byte may be the tail of a frame whose head was sent
    before we listened, so it is no reject.
    """

    def __init__(self, most_bytes: int = 255) -> None:
        self.rejects: dict[str, int] = {}
        self._most_bytes = most_bytes
        self._held = bytearray()
        self._joined = False
        self._overlong = False

    def feed(self, data: bytes) -> list[bytes]:
        """Payloads of the frames that `data` completes, in order."""
        *ended, rest = bytes(data).split(b"\x00")
        payloads: list[bytes] = []
        for piece in ended:
            self._hold(piece)
            if (payload := self._finish()) is not None:
                payloads.append(payload)
        self._hold(rest)
        return payloads

    def reset(self) -> None:
        """Forget a half frame, as after the cable was pulled; the counts stay."""
        self._held.clear()
        self._joined = self._overlong = False

    def _hold(self, piece: bytes) -> None:
        room = self._most_bytes - len(self._held)
        self._overlong |= len(piece) > room
        self._held += piece[: max(0, room)]

    def _finish(self) -> bytes | None:
        coded, overlong, joined = bytes(self._held), self._overlong, self._joined
        self._held.clear()
        self._overlong, self._joined = False, True
        if not coded:
            return None
        found, payload = ("too long", b"") if overlong else _unframe(coded)
        if found and joined:
            self.rejects[found] = self.rejects.get(found, 0) + 1
        return None if found else payload


def _unframe(coded: bytes) -> tuple[str, bytes]:
    """(why it is refused or '', payload)."""
    try:
        plain = cobs.decode(coded)
    except cobs.DecodeError:
        return "not COBS", b""
    if len(plain) < 3:
        return "too short", b""
    # With the CRC sent high byte first, the CRC of payload and CRC together is zero.
    if binascii.crc_hqx(plain, 0xFFFF) != 0:
        return "bad CRC", b""
    return "", plain[:-2]


class TextLines:
    """Lines of printable ASCII, handed out without their ends.

    What stands before the first line end may be the tail of a longer line, so it is
    neither handed out nor a reject.
    """

    def __init__(self, most_bytes: int = 256) -> None:
        self.rejects: dict[str, int] = {}
        self._most_bytes = most_bytes
        self._held = bytearray()
        self._joined = False

    def feed(self, data: bytes) -> list[str]:
        """The lines that `data` completes, in order; empty lines are left out."""
        *ended, rest = re.split(rb"[\r\n]", bytes(data))
        lines: list[str] = []
        for piece in ended:
            self._hold(piece)
            if (line := self._finish()) is not None:
                lines.append(line)
        self._hold(rest)
        return lines

    def reset(self) -> None:
        """Forget a half line, as after the cable was pulled; the counts stay."""
        self._held.clear()
        self._joined = False

    def _hold(self, piece: bytes) -> None:
        self._held += piece[: self._most_bytes + 1 - len(self._held)]

    def _finish(self) -> str | None:
        line, joined = bytes(self._held), self._joined
        self._held.clear()
        self._joined = True
        if not (line and joined):
            return None
        if len(line) > self._most_bytes:
            _reject(self.rejects, "too long")
        elif not _PRINTABLE.fullmatch(line):
            _reject(self.rejects, "not text")
        else:
            return line.decode("ascii")
        return None


class GnssFrames:
    """NMEA 0183 sentences and UBX frames, also mixed on one wire, checksums held.

    A sentence begins with `$` or `!` and is handed out without its line end; one without
    a checksum is refused. A UBX frame begins with the bytes B5 62. After a damaged frame
    the search goes on inside it. Bytes outside frames are counted as 'stray bytes'.
    """

    def __init__(self) -> None:
        self.rejects: dict[str, int] = {}
        self._held = b""

    def feed(self, data: bytes) -> list[bytes]:
        """Frames that `data` completes, in order."""
        self._held += data
        return self._take(more_may_come=True)

    def finish(self) -> list[bytes]:
        """Frames left in what is held when nothing more comes: a file's end."""
        self._held += b"\n"
        return self._take(more_may_come=False)

    def reset(self) -> None:
        """Forget a half frame, as after the cable was pulled; the counts stay."""
        self._held = b""

    def _take(self, more_may_come: bool) -> list[bytes]:
        held, done = self._held, 0
        frames: list[bytes] = []
        while (begin := _GNSS_BEGIN.search(held, done)) is not None:
            at = begin.start()
            self._count_stray(held[done:at])
            size, found = _ubx_size(held, at) if held[at] == _UBX[0] else _nmea_size(held, at)
            if not size and not found:
                if more_may_come:
                    self._held = held[at:]
                    return frames
                found = "cut off"
            if found:
                _reject(self.rejects, found)
                done = at + 1
            else:
                frames.append(held[at : at + size])
                done = at + size
        self._count_stray(held[done:])
        self._held = b""
        return frames

    def _count_stray(self, data: bytes) -> None:
        if count := len(data) - sum(map(data.count, (b"\r", b"\n"))):
            self.rejects["stray bytes"] = self.rejects.get("stray bytes", 0) + count


_PRINTABLE = re.compile(rb"[ -~\t]*")
_UBX = b"\xb5\x62"
_UBX_MOST_PAYLOAD = 8192
_NMEA_MOST_BYTES = 512
"""The standard allows 82; proprietary sentences are longer."""
_GNSS_BEGIN = re.compile(rb"[$!]|\xb5(?:\x62|\Z)")
_NMEA_BODY = re.compile(rb"[ -~]*?(?=[^ -~]|[$!])")
_NMEA_SENTENCE = re.compile(rb"[$!]([0-9A-Z]+,[^*]*)\*([0-9A-Fa-f]{2}) *")


def _nmea_size(held: bytes, at: int) -> tuple[int, str]:
    """(bytes of the sentence at `at` or 0, why it is refused or ''); (0, '') is 'wait'."""
    body = _NMEA_BODY.match(held, at + 1, at + 2 + _NMEA_MOST_BYTES)
    if body is None:
        return 0, "too long" if len(held) > at + 1 + _NMEA_MOST_BYTES else ""
    if held[body.end()] not in b"\r\n":
        return 0, "cut off"
    sentence = _NMEA_SENTENCE.fullmatch(held, at, body.end())
    if sentence is None:
        return 0, "no checksum"
    if functools.reduce(operator.xor, sentence[1]) != int(sentence[2], 16):
        return 0, "bad checksum"
    return body.end() - at, ""


def _ubx_size(held: bytes, at: int) -> tuple[int, str]:
    """As `_nmea_size`, for a UBX frame."""
    if len(held) < at + 6:
        return 0, ""
    payload = int.from_bytes(held[at + 4 : at + 6], "little")
    if payload > _UBX_MOST_PAYLOAD:
        return 0, "too long"
    size = payload + 8
    if len(held) < at + size:
        return 0, ""
    if ubx_checksum(held[at + 2 : at + size - 2]) != held[at + size - 2 : at + size]:
        return 0, "bad checksum"
    return size, ""


def ubx_checksum(data: bytes) -> bytes:
    """The two bytes of the 8-bit Fletcher sum over class, id, length and payload."""
    values = np.frombuffer(data, np.uint8).astype(np.int64)
    weights = np.arange(values.size, 0, -1)
    return bytes([int(values.sum()) & 0xFF, int(values @ weights) & 0xFF])


def _reject(rejects: dict[str, int], found: str) -> None:
    rejects[found] = rejects.get(found, 0) + 1

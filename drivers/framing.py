"""Bytes to frames: parsers that take data in any pieces, find their feet again after
damage, count what they reject and never raise on data."""

from __future__ import annotations

import binascii

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

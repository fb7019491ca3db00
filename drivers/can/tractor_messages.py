"""Columns of CAN frames → speeds and values: the messages of a tractor's or a boat's bus.

Layouts and constants, little endian, byte 1 first: ISO 11783-7 A.5 to A.12, A.20.2 and A.30
(isobus.net); SAE J1939-71 SPN 84, 190, 517; NMEA 2000 as in the canboat database; hydraulic
oil temperature (SPN 1638) second hand. A field that is no value is NaN, never 0, and every
field is judged for itself. Messages are told by their PGN alone, since senders differ in
priority; streams are kept apart by PGN and source address.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drivers.contract import Floats, Item, Notes, SpeedBlock, ValueBlock

_KMH_MPS = 1 / 3.6
_RPM_HZ = 1 / 60
_J1939, _NMEA2000, _NMEA2000_SIGNED = "J1939", "NMEA 2000", "NMEA 2000, signed"


@dataclass(frozen=True, slots=True, eq=False)
class Frames:
    """Frames of one bus in the order they came; all arrays have one length n.

    `pgn` int32, −1 where the frame is none of J1939's; `sender` uint8 source address;
    `data` (n, 8) uint8, padded with FF ('not available') where a frame is shorter;
    `time_s` the log's or interface's time, `host_s` the host's.
    """

    pgn: NDArray[np.int32]
    sender: NDArray[np.uint8]
    data: NDArray[np.uint8]
    time_s: Floats
    host_s: Floats


@dataclass(frozen=True, slots=True)
class Number:
    """A number in a message: quantity, first byte (from 1), bytes, one unit in SI, rules."""

    quantity: str
    first: int
    size: int
    scale: float
    rules: str = _J1939
    offset: float = 0.0
    stream: str = ""


@dataclass(frozen=True, slots=True)
class Bits:
    """Some bits of a byte (bit 1 is the lowest); codes above `most` are no value."""

    quantity: str
    byte: int
    first: int
    size: int
    most: int


@dataclass(frozen=True, slots=True)
class TractorMessage:
    """One PGN: its name and what is in it. Quantity 'speed_mps' becomes a speed."""

    pgn: int
    name: str
    numbers: tuple[Number, ...]
    bits: tuple[Bits, ...] = field(default=())


def _direction(byte: int) -> Bits:
    """0 reverse, 1 forward, 2 error, 3 not available."""
    return Bits("direction", byte, first=1, size=2, most=1)


_SPEED_AND_DISTANCE = (
    Number("speed_mps", 1, 2, 0.001),
    Number("distance_m", 3, 4, 0.001),
)

MESSAGES: dict[int, TractorMessage] = {
    message.pgn: message
    for message in (
        TractorMessage(
            65096,
            "wheel-based speed and distance",
            _SPEED_AND_DISTANCE,
            (_direction(8), Bits("key_switch", 8, first=3, size=2, most=1)),
        ),
        TractorMessage(
            65097, "ground-based speed and distance", _SPEED_AND_DISTANCE, (_direction(8),)
        ),
        TractorMessage(
            61474,
            "machine selected speed",
            _SPEED_AND_DISTANCE,
            (
                Bits("exit_code", 7, first=1, size=6, most=62),
                _direction(8),
                # 0 wheel, 1 ground, 2 navigation, 3 blended, 4 simulated
                Bits("speed_source_code", 8, first=3, size=3, most=4),
                Bits("limit_status_code", 8, first=6, size=3, most=6),
            ),
        ),
        TractorMessage(
            65265, "cruise control and vehicle speed", (Number("speed_mps", 2, 2, _KMH_MPS / 256),)
        ),
        TractorMessage(
            65256,
            "vehicle direction and speed",
            (Number("speed_mps", 3, 2, _KMH_MPS / 256), Number("course_deg", 1, 2, 1 / 128)),
        ),
        TractorMessage(61444, "engine speed", (Number("engine_speed_hz", 4, 2, 0.125 * _RPM_HZ),)),
        TractorMessage(65091, "rear PTO shaft", (Number("pto_speed_hz", 1, 2, 0.125 * _RPM_HZ),)),
        TractorMessage(
            65128, "vehicle fluids", (Number("oil_temperature_c", 1, 1, 1.0, offset=-40.0),)
        ),
        TractorMessage(
            129025,
            "position",
            (
                Number("latitude_deg", 1, 4, 1e-7, _NMEA2000_SIGNED),
                Number("longitude_deg", 5, 4, 1e-7, _NMEA2000_SIGNED),
            ),
        ),
        TractorMessage(
            129026,
            "course and speed over ground",
            (
                Number("speed_mps", 5, 2, 0.01, _NMEA2000),
                Number("course_deg", 3, 2, 1e-4 * 180 / math.pi, _NMEA2000),
            ),
        ),
        TractorMessage(
            128259,
            "speed through water and over ground",
            (
                Number("speed_mps", 2, 2, 0.01, _NMEA2000, stream="-water"),
                Number("speed_mps", 4, 2, 0.01, _NMEA2000, stream="-ground"),
            ),
        ),
    )
}


def split_id(can_id: NDArray[np.uint32]) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
    """PGN and source address of 29-bit identifiers, each of the shape of `can_id`.

    Priority 3 bits, EDP 1, DP 1, PF 8, PS 8, SA 8; with PF < 240 PS is a destination and
    no part of the PGN (SAE J1939-21).
    """
    pgn = (can_id >> np.uint32(8) & np.uint32(0x3FFFF)).astype(np.int32)
    to_one = (pgn & 0xFF00) < 0xF000
    return np.where(to_one, pgn & 0x3FF00, pgn), can_id.astype(np.uint8)


def decode(frames: Frames, notes: Notes) -> list[Item]:
    """Speeds and values in these frames; what was met is counted in `notes.messages`."""
    _count(notes, "frames", frames.pgn.size)
    items: list[Item] = []
    counts = np.bincount(frames.pgn + 1, minlength=max(MESSAGES) + 2)
    for message in MESSAGES.values():
        count = int(counts[message.pgn + 1])
        if count:
            _count(notes, f"{message.pgn} {message.name}", count)
            mine = _taken(frames, frames.pgn == message.pgn, count)
            for sender, its_count in enumerate(np.bincount(mine.sender).tolist()):
                if its_count:
                    stream = _taken(mine, mine.sender == sender, its_count)
                    items += _decode_stream(message, sender, stream)
    return items


def _taken(frames: Frames, which: NDArray[np.bool_], count: int) -> Frames:
    """Those of the frames; no copy where that is all of them, as on a quiet bus."""
    if count == frames.pgn.size:
        return frames
    rows = np.flatnonzero(which)
    # A frame is taken as one number of 8 bytes, ten times as fast as byte by byte.
    data = np.ascontiguousarray(frames.data).view(np.uint64)[rows].view(np.uint8)
    return Frames(
        frames.pgn[rows], frames.sender[rows], data, frames.time_s[rows], frames.host_s[rows]
    )


def _decode_stream(message: TractorMessage, sender: int, frames: Frames) -> list[Item]:
    """All fields of one message from one sender."""
    time_s, host_s = frames.time_s, frames.host_s
    items: list[Item] = []
    standing: NDArray[np.bool_] | None = None
    for number in message.numbers:
        value, valid = _number(frames.data, number)
        source = f"{message.pgn}{number.stream}/{sender}"
        if number.quantity == "speed_mps":
            u_mps = np.full(value.size, number.scale / math.sqrt(12))
            np.putmask(u_mps, ~valid, np.nan)
            items.append(SpeedBlock(source, value, time_s, host_s, u_mps))
            standing = value == 0
        else:
            items.append(ValueBlock(source, number.quantity, value, time_s, host_s))
    for bits in message.bits:
        value = _bits(frames.data, bits)
        if bits.quantity == "direction" and standing is not None:
            np.putmask(value, standing, np.nan)  # senders leave the bits as they are at standstill
        items.append(ValueBlock(f"{message.pgn}/{sender}", bits.quantity, value, time_s, host_s))
    return items


def _number(data: NDArray[np.uint8], number: Number) -> tuple[Floats, NDArray[np.bool_]]:
    """A field's values, NaN where it is none, and where it is one."""
    begin = number.first - 1
    field_bytes = data[:, begin : begin + number.size]
    raw = field_bytes.view(f"<u{number.size}")[:, 0]
    bits = 8 * number.size
    if number.rules == _J1939:
        # FB.. to FD.. is reserved, FE.. an error, FF.. not available: judged by the top byte.
        valid = raw <= (0xFB << (bits - 8)) - 1
    elif number.rules == _NMEA2000:
        valid = raw < (1 << bits) - 2
    else:
        raw = field_bytes.view(f"<i{number.size}")[:, 0]
        valid = raw < (1 << (bits - 1)) - 2
    value = raw * number.scale
    if number.offset:
        value += number.offset
    np.putmask(value, ~valid, np.nan)
    return value, valid


def _bits(data: NDArray[np.uint8], bits: Bits) -> Floats:
    codes = np.arange(256) >> (bits.first - 1) & ((1 << bits.size) - 1)
    of_byte = np.where(codes <= bits.most, codes, np.nan)
    return of_byte[data[:, bits.byte - 1]]


def _count(notes: Notes, name: str, count: int) -> None:
    notes.messages[name] = notes.messages.get(name, 0) + count

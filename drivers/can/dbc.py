"""`dbc:FILE.dbc@can:…?NAME=Message.Signal:KIND`: signals of a user's own DBC on a CAN bus.

`KIND` says what a signal is; a block is named after `NAME`:

=====================================  =====================================================
`pulses`                               a running count: `ValueBlock` `pulse_count`
`hz`                                   pulses a second: `ValueBlock` `pulse_rate_hz`
`1/min`                                turns of a shaft: `ValueBlock` `shaft_speed_hz`
`m/s`, `km/h`, `mph`                   a speed in that unit: `SpeedBlock`
`speed`                                a speed in the unit that the DBC gives
=====================================  =====================================================

The tractor's own messages are decoded as on `can:`. A 29-bit message is told by its PGN,
whatever priority and sender, and streams are kept apart as `NAME/SENDER`; where the DBC has
several messages of one PGN that differ only in the sender, each by its whole identifier.
"""

from __future__ import annotations

import math
import re
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import cantools
import numpy as np
from cantools.database.can import Database, Message, Signal
from numpy.typing import NDArray

from drivers.can.bus import OPTIONS, CanDriver
from drivers.can.tractor_messages import split_id
from drivers.catalogue import full_address
from drivers.contract import (
    AddressError,
    Clock,
    FileRefused,
    Floats,
    FrameBlock,
    Item,
    Lost,
    Note,
    Notes,
    SpeedBlock,
    ValueBlock,
)
from drivers.source_file import SourceFile

_SPEEDS_MPS = {"m/s": 1.0, "km/h": 1 / 3.6, "mph": 1609.344 / 3600}
_UNITS = {
    "pulses": ("pulse_count", 1.0),
    "hz": ("pulse_rate_hz", 1.0),
    "1/min": ("shaft_speed_hz", 1 / 60),
} | {unit: ("speed_mps", size) for unit, size in _SPEEDS_MPS.items()}
"""Kind -> (quantity, one of its units in SI)."""

KINDS = (*_UNITS, "speed")
_NAME = re.compile(r"[A-Za-z0-9_-]+")
_CHOICE = re.compile(r"([^.:]+)\.([^.:]+):(.+)")
_ID_MASK = np.uint32(0x1FFFFFFF)


@dataclass(slots=True)
class _Count:
    """A running count of one stream, its overflows taken out."""

    raw: int
    total: int
    host_s: float


@dataclass(slots=True)
class ChosenSignal:
    """One signal that the user chose, and how its streams' counts stand."""

    name: str
    message: Message
    signal: Signal
    quantity: str
    unit: float
    by_pgn: bool
    counts: dict[str, _Count] = field(default_factory=dict)

    @property
    def no_value_from(self) -> int:
        """The first raw value that is none.

        SAE J1939-71: none has a top byte of FB or more, nor all bits set where it has
        fewer than 8. A message told by its whole identifier has no such rule.
        """
        bits = self.signal.length
        if not self.by_pgn:
            return 1 << bits
        return 0xFB << (bits - 8) if bits in (8, 16, 24, 32) else (1 << bits) - 1

    def items(self, block: FrameBlock, notes: Notes) -> list[Item]:
        """Blocks of this signal, one a sender, from the frames of `block` that carry it."""
        ends = np.cumsum(block.length, dtype=np.int64)
        items: list[Item] = []
        for source, rows in self._streams(block):
            raws: list[float] = []
            kept: list[int] = []
            for row in rows.tolist():
                data = block.data[ends[row] - block.length[row] : ends[row]]
                raw = self._raw(data, notes)
                if raw is not None:
                    raws.append(raw)
                    kept.append(row)
            if kept:
                items += self._blocks(source, raws, block.time_s[kept], block.host_s[kept])
        return items

    def _streams(self, block: FrameBlock) -> Iterator[tuple[str, NDArray[np.intp]]]:
        """(source, its rows of the block)."""
        can_id = block.can_id & _ID_MASK
        flags = block.can_id >> np.uint32(29)
        mine = flags == (0b100 if self.message.is_extended_frame else 0)
        if not self.by_pgn:
            rows = np.flatnonzero(mine & (can_id == self.message.frame_id))
            yield self.name, rows
            return
        pgn, sender = split_id(can_id)
        mine &= pgn == _pgn(self.message)
        for one in np.unique(sender[mine]).tolist():
            yield f"{self.name}/{one}", np.flatnonzero(mine & (sender == one))

    def _raw(self, data: bytes, notes: Notes) -> float | None:
        """The raw number, NaN for 'no value'; None where the frame does not carry it."""
        try:
            fields = self.message.decode(
                data, decode_choices=False, scaling=False, allow_truncated=True
            )
        except (cantools.database.DecodeError, ValueError, LookupError):
            fields = {}
        raw = fields.get(self.signal.name) if isinstance(fields, dict) else None
        if not isinstance(raw, int | float):
            if not self.signal.multiplexer_ids:
                name = f"{self.message.name} without {self.signal.name}"
                notes.rejects[name] = notes.rejects.get(name, 0) + 1
            return None
        key = f"{self.message.name}.{self.signal.name}"
        notes.messages[key] = notes.messages.get(key, 0) + 1
        if isinstance(raw, int) and raw % (1 << self.signal.length) >= self.no_value_from:
            return math.nan
        return raw

    def _blocks(self, source: str, raws: list[float], time_s: Floats, host_s: Floats) -> list[Item]:
        if self.quantity == "pulse_count":
            return self._count_blocks(source, raws, time_s, host_s)
        value = np.array([self._scaled(raw) for raw in raws]) * self.unit
        if self.quantity == "speed_mps":
            step_mps = abs(self.signal.scale) * self.unit
            u_mps = np.where(np.isnan(value), np.nan, step_mps / math.sqrt(12))
            return [SpeedBlock(source, value, time_s, host_s, u_mps)]
        return [ValueBlock(source, self.quantity, value, time_s, host_s)]

    def _scaled(self, raw: float) -> float:
        """In the DBC's unit; NaN outside of the range that the DBC gives."""
        if math.isnan(raw):
            return raw
        value = raw * self.signal.scale + self.signal.offset
        low, high = self.signal.minimum, self.signal.maximum
        if (low is not None and value < low) or (high is not None and value > high):
            return math.nan
        return float(value)

    def _count_blocks(
        self, source: str, raws: list[float], time_s: Floats, host_s: Floats
    ) -> list[Item]:
        """A count that overflows goes on; one that goes back is a `Lost`."""
        items: list[Item] = []
        totals = np.full(len(raws), np.nan)
        for place, raw in enumerate(raws):
            if math.isnan(raw):
                continue
            now = int(raw) % (1 << self.signal.length)
            before = self.counts.get(source)
            step = 0 if before is None else (now - before.raw) % self.no_value_from
            if before is not None and step > self.no_value_from // 2:
                reason = "its count went back: the sender restarted"
                items.append(Lost(source, None, before.host_s, host_s[place], reason))
                step = 0
            total = now if before is None else before.total + step
            self.counts[source] = _Count(now, total, host_s[place])
            totals[place] = total * self.signal.scale
        return [*items, ValueBlock(source, self.quantity, totals, time_s, host_s)]


class DbcDriver(CanDriver):
    """`dbc:FILE.dbc@can:INTERFACE:CHANNEL?NAME=Message.Signal:KIND&…`."""

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        address = full_address("dbc", rest, options)
        file, at, bus = rest.rpartition("@can:")
        if not (file and at and bus):
            raise AddressError(
                "'{address}': expected dbc:FILE.dbc@can:INTERFACE:CHANNEL"
                "?NAME=Message.Signal:KIND.",
                address=address,
            )
        super().__init__(bus, {key: options[key] for key in OPTIONS if key in options}, clock)
        self.address = address
        named = {key: value for key, value in options.items() if key not in OPTIONS}
        self.choices = choose(address, load_dbc(file), named)
        self.notes.kind += Note(" with the signals of {name}", name=Path(file).name)

    def _decode(self, block: FrameBlock) -> list[Item]:
        items = super()._decode(block)
        for choice in self.choices:
            items += choice.items(block, self.notes)
        return items


_MOST_DBC_BYTES = 50_000_000


def load_dbc(path: str) -> Database:
    """The messages of a DBC file. Raises FileRefused."""
    text = (
        SourceFile(path, expected="a DBC file").whole(_MOST_DBC_BYTES).decode("cp1252", "replace")
    )
    try:
        database = cantools.database.load_string(text, database_format="dbc", strict=False)
    except Exception as error:  # a parser's own troubles, of many kinds, with a user's file
        found = Note("it is not understood ({split})", split=" ".join(str(error).split())[:200])
        raise FileRefused(path, found, "a DBC file") from None
    if not isinstance(database, Database) or not database.messages:
        raise FileRefused(path, "it holds no message", "a DBC file with messages")
    return database


def choose(address: str, database: Database, named: dict[str, str]) -> list[ChosenSignal]:
    """The signals that an address chooses, by name. Raises AddressError."""
    if not named:
        signals = [f"{m.name}.{s.name}" for m in database.messages for s in m.signals]
        more = f" and {len(signals) - 8} more" if len(signals) > 8 else ""
        raise AddressError(
            "'{address}' chooses no signal; add NAME=Message.Signal:KIND for one of "
            "{signals}{more}; KIND is one of {kinds}.",
            address=address,
            signals=", ".join(signals[:8]),
            more=more,
            kinds=", ".join(KINDS),
        )
    return [_choice(address, database, name, text) for name, text in named.items()]


def _choice(address: str, database: Database, name: str, text: str) -> ChosenSignal:
    parts = _CHOICE.fullmatch(text)
    if parts is None or not _NAME.fullmatch(name):
        raise AddressError(
            "'{address}': found '{name}={text}', expected NAME=Message.Signal:KIND, as in "
            "belt=Conveyor.BeltPulses:hz.",
            address=address,
            name=name,
            text=text,
        )
    message = next((m for m in database.messages if m.name == parts[1]), None)
    if message is None:
        known = ", ".join(m.name for m in database.messages[:8])
        raise AddressError(
            "'{address}': the DBC has no message '{parts}'; it has {known}.",
            address=address,
            parts=parts[1],
            known=known,
        )
    signal = next((s for s in message.signals if s.name == parts[2]), None)
    if signal is None:
        known = ", ".join(s.name for s in message.signals)
        raise AddressError(
            "'{address}': message '{name}' has no signal '{parts}'; it has {known}.",
            address=address,
            name=message.name,
            parts=parts[2],
            known=known,
        )
    kind = (signal.unit or "").strip() if parts[3] == "speed" else parts[3]
    if parts[3] == "speed" and kind not in _SPEEDS_MPS:
        units = ", ".join(_SPEEDS_MPS)
        raise AddressError(
            "'{address}': the DBC gives '{name}' the unit '{kind}'; say which it is, "
            "one of {units}, in the place of 'speed'.",
            address=address,
            name=signal.name,
            kind=kind,
            units=units,
        )
    if kind not in _UNITS:
        raise AddressError(
            "'{address}': no kind '{kind}'; known are {kinds}.",
            address=address,
            kind=kind,
            kinds=", ".join(KINDS),
        )
    quantity, unit = _UNITS[kind]
    same_pgn = [m for m in database.messages if m.is_extended_frame and _pgn(m) == _pgn(message)]
    by_pgn = message.is_extended_frame and len(same_pgn) == 1
    return ChosenSignal(name, message, signal, quantity, unit, by_pgn)


def _pgn(message: Message) -> int:
    return int(split_id(np.array([message.frame_id], np.uint32))[0][0])

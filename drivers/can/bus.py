"""`can:INTERFACE:CHANNEL?bitrate=…`: a tractor's CAN bus, listened to and nothing else.

Frames are decoded in small batches by `drivers.can.tractor_messages` and also handed out raw
as a `FrameBlock`. A damaged frame is counted and shows as `Lost`.
"""

from __future__ import annotations

import struct
import time
from collections.abc import Sequence
from dataclasses import dataclass, field

import can
import numpy as np

from drivers.can.listen_only import (
    CONSENT,
    TRACTOR_BITRATE,
    ListenOnlyBus,
    check_interface,
    lost,
    open_bus,
)
from drivers.can.tractor_messages import Frames, decode, split_id
from drivers.catalogue import check_options, full_address
from drivers.contract import (
    AddressError,
    BaseDriver,
    Clock,
    DeviceLost,
    FrameBlock,
    Item,
    Lost,
    Note,
)

POLL_S = 0.005
"""Pause between looks at the bus; a frame's host time is that of its look."""

BATCH_S = 0.02
"""So long frames are gathered, since decoding many at once costs little more than one."""

MOST_FRAMES = 512
MOST_FAILURES = 50
"""So many looks in a row that failed, a quarter of a second, are a device that is gone; an
error of the system says so at once."""

_GARBLED = (ValueError, LookupError, TypeError, struct.error)
"""What python-can raises of a short or garbled frame, apart from its own errors."""

_OWN_TIME = ("kvaser", "nixnet", "pcan", "socketcan", "vector")
"""Interfaces whose frames are stamped by the device or the kernel (python-can 4.6.1)."""

OPTIONS = ("bitrate", CONSENT)


@dataclass(slots=True)
class _Batch:
    """Frames gathered, each with the host's time when it was taken."""

    messages: list[can.Message] = field(default_factory=list)
    host_s: list[float] = field(default_factory=list)
    damaged: int = 0


class CanDriver(BaseDriver):
    """`can:INTERFACE:CHANNEL?bitrate=250000&may_transmit=yes`."""

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        super().__init__(full_address("can", rest, options), clock)
        check_options(self.address, options, OPTIONS)
        self._interface, colon, self._channel = rest.partition(":")
        if not (colon and self._channel):
            raise AddressError(
                "'{address}': expected can:INTERFACE:CHANNEL, as in can:socketcan:can0.",
                address=self.address,
            )
        bitrate = options.get("bitrate", str(TRACTOR_BITRATE))
        self._bitrate = int(bitrate) if bitrate.isascii() and bitrate.isdigit() else 0
        self._consent = _consent(self.address, options)
        check_interface(self.address, self._interface, self._bitrate, self._consent)
        self._bus: ListenOnlyBus | None = None
        self._heard_s = clock()
        self._failures = 0
        self.notes.kind = Note("CAN bus by {interface}", interface=self._interface)
        if self._consent:
            self.notes.warnings.append(
                Note(
                    "{rest} was opened by consent without knowing that it only listens.", rest=rest
                )
            )

    def _open(self) -> None:
        self._bus = open_bus(self._interface, self._channel, self._bitrate, self._consent)
        self._heard_s = self.clock()
        self._failures = 0

    def _read_some(self, timeout_s: float) -> Sequence[Item]:
        batch = _Batch()
        for look in range(1 + int(min(timeout_s, BATCH_S) / POLL_S)):
            if look:
                time.sleep(POLL_S)
            if not self._drain(batch):
                break
        return self._items(batch)

    def _close(self) -> None:
        if self._bus is not None:
            self._bus.close()
            self._bus = None

    def _drain(self, batch: _Batch) -> bool:
        """Add what has come by now; False where the batch is full, or nothing more can come."""
        bus = self._bus
        if bus is None:
            raise DeviceLost("{address} is not open.", address=self.address)
        host_s = self.clock()
        while len(batch.messages) + batch.damaged < MOST_FRAMES:
            try:
                message = bus.recv()
            except _GARBLED:
                batch.damaged += 1
                continue
            except (can.CanError, OSError) as error:
                self._failures += 1
                gone = isinstance(error, OSError) or isinstance(error.__cause__, OSError)
                if not gone and self._failures < MOST_FAILURES:
                    batch.damaged += 1
                    return True
                if batch.messages:
                    return False  # what came before is handed out; the next look fails again
                self.close()
                raise lost(self._interface, self._channel) from None
            self._failures = 0
            if message is None:
                return True
            if message.is_error_frame:
                batch.damaged += 1
            else:
                batch.messages.append(message)
                batch.host_s.append(host_s)
        return False

    def _items(self, batch: _Batch) -> list[Item]:
        items: list[Item] = []
        if batch.damaged:
            name = "damaged frame"
            self.rejects[name] = self.rejects.get(name, 0) + batch.damaged
            now_s = self.clock()
            items.append(Lost("", batch.damaged, self._heard_s, now_s, "damaged frames"))
        if batch.messages:
            self._heard_s = batch.host_s[-1]
            block = self._block(batch)
            items += self._decode(block)
            items.append(block)
        return items

    def _decode(self, block: FrameBlock) -> list[Item]:
        return decode(frames_of(block), self.notes)

    def _block(self, batch: _Batch) -> FrameBlock:
        messages, host_s = batch.messages, np.array(batch.host_s)
        own = self._interface in _OWN_TIME
        return FrameBlock(
            self._channel,
            np.array([_flagged_id(message) for message in messages], np.uint32),
            np.array([len(message.data) for message in messages], np.uint8),
            b"".join(message.data for message in messages),
            np.array([message.timestamp for message in messages]) if own else host_s,
            host_s,
        )


def frames_of(block: FrameBlock) -> Frames:
    """The block's frames as columns; a frame of 11 bits, or a remote one, is none of J1939's."""
    pgn, sender = split_id(block.can_id & np.uint32(0x1FFFFFFF))
    extended = block.can_id >> np.uint32(29) == 0b100
    data = np.full((block.can_id.size, 8), 0xFF, np.uint8)
    starts = np.cumsum(block.length, dtype=np.int64) - block.length
    every = np.frombuffer(block.data, np.uint8)
    for place in range(8):
        there = block.length > place
        data[there, place] = every[starts[there] + place]
    return Frames(np.where(extended, pgn, -1), sender, data, block.time_s, block.host_s)


def _flagged_id(message: can.Message) -> int:
    flags = 0x80000000 if message.is_extended_id else 0
    return int(message.arbitration_id | flags | (0x40000000 if message.is_remote_frame else 0))


def _consent(address: str, options: dict[str, str]) -> bool:
    word = options.get(CONSENT, "no")
    if word not in ("yes", "no"):
        raise AddressError(
            "'{address}': {consent} is '{word}', expected yes or no.",
            address=address,
            consent=CONSENT,
            word=word,
        )
    return word == "yes"

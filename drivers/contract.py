"""What every driver hands out, and how it fails.

A driver turns what is on a wire (or in a file, or in the simulator) into five kinds
of item: `EdgeBlock`, `SpeedBlock`, `ValueBlock`, `FrameBlock` and `Lost`. Times are seconds, speeds
metres a second, everywhere; an absent value is NaN, never 0.

How it fails stands in `drivers.errors`; both are had from here.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from types import TracebackType
from typing import Protocol, Self, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from drivers.errors import AddressError as AddressError
from drivers.errors import DeviceBusy as DeviceBusy
from drivers.errors import DeviceDenied as DeviceDenied
from drivers.errors import DeviceError as DeviceError
from drivers.errors import DeviceLost as DeviceLost
from drivers.errors import DeviceMissing as DeviceMissing
from drivers.errors import FileRefused as FileRefused
from drivers.errors import InputError as InputError
from drivers.errors import Note as Note
from drivers.kinds import ChannelKind as ChannelKind
from drivers.kinds import pulse_kind, speed_kind, tell_kind, value_kind

Clock = Callable[[], float]
"""Monotonic seconds; handed in so that tests and the simulator own the time."""

Floats = NDArray[np.float64]
Ticks = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class EdgeBlock:
    """Rising edges of one pulse channel, in the order they came.

    `ticks` and `fall_ticks` count the device's clock, unwrapped to int64, `tick_s`
    seconds each. `count` is the device's cumulative count of rising edges after this
    block, so that a hole in `sequence` shows how many edges it cost. `host_s` is the
    host's monotonic time when the block arrived. `fall_ticks` (0 where a fall was not
    seen) and `peak_v` have the length of `ticks` where the device gives them. A `kind`
    that is not given is told by the channel's name, here as in all blocks and tracks.
    """

    channel: str
    sequence: int
    ticks: Ticks
    tick_s: float
    host_s: float
    count: int
    fall_ticks: Ticks | None = None
    peak_v: Floats | None = None
    kind: ChannelKind = ChannelKind.UNKNOWN

    def __post_init__(self) -> None:
        tell_kind(self, pulse_kind(self.channel))


@dataclass(frozen=True, slots=True, eq=False)
class SpeedBlock:
    """Speeds from one source; NaN where the sender said 'no value'.

    All arrays have one length. `time_s` is the sender's own time where it has one
    (any origin), else equal to `host_s`. `u_mps` is the standard uncertainty of each
    value where known: the sender's own accuracy figure, or its resolution over √12.
    """

    source: str
    speed_mps: Floats
    time_s: Floats
    host_s: Floats
    u_mps: Floats | None = None
    kind: ChannelKind = ChannelKind.UNKNOWN

    def __post_init__(self) -> None:
        tell_kind(self, speed_kind(self.source))


@dataclass(frozen=True, slots=True, eq=False)
class ValueBlock:
    """Any other number from a source, for example `engine_speed_hz` or `latitude_deg`.

    The quantity's name ends in its unit. NaN where the sender said 'no value'.
    """

    source: str
    quantity: str
    value: Floats
    time_s: Floats
    host_s: Floats
    kind: ChannelKind = ChannelKind.UNKNOWN

    def __post_init__(self) -> None:
        tell_kind(self, value_kind(self.source, self.quantity))


@dataclass(frozen=True, slots=True, eq=False)
class FrameBlock:
    """Raw frames of one CAN bus, kept beside what was decoded from them.

    They make a recording exportable as a CAN log; nothing is computed from them. All
    arrays have one length. `can_id` (uint32) carries the flags of `linux/can.h` in its
    top bits: 0x80000000 extended, 0x40000000 remote, 0x20000000 error. `length` (uint8)
    is each frame's number of data bytes, `data` the bytes of all frames in a row.
    `time_s` is the interface's own time where it has one (any origin), else `host_s`.
    """

    channel: str
    can_id: NDArray[np.uint32]
    length: NDArray[np.uint8]
    data: bytes
    time_s: Floats
    host_s: Floats


@dataclass(frozen=True, slots=True)
class Lost:
    """Something is missing: a hole in a stream, said aloud.

    `stream` is a channel or source, or '' for the whole input. `count` is the number
    of edges or frames missing, None where it cannot be known. `from_s` and `to_s` are
    host times around the hole.
    """

    stream: str
    count: int | None
    from_s: float
    to_s: float
    reason: str


@dataclass(frozen=True, slots=True)
class Fault:
    """An input's reader met an error; handed to whoever watches the input."""

    address: str
    host_s: float
    error: InputError


Item = EdgeBlock | SpeedBlock | ValueBlock | FrameBlock | Lost


@dataclass(slots=True)
class Notes:
    """What an input says of itself, growing while it is read; all of it ends in `Recording`.

    `kind` names the format in words. `messages` counts what was decoded, by message
    name; `rejects` what was not, by kind. `warnings` are sentences for the person.
    `timed` is False where the input carries no times. `sha256` is the hash of a file's
    bytes, '' until its end. `origin_s` is the host time that is 0 on the recording's
    time line, None where that is the earliest time of all.
    """

    kind: str = ""
    messages: dict[str, int] = field(default_factory=dict)
    rejects: dict[str, int] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    timed: bool = True
    sha256: str = ""
    origin_s: float | None = None


@runtime_checkable
class Driver(Protocol):
    """An input that can be opened, read and closed.

    `read` waits at most `timeout_s` (by `clock`) for data and may return an empty list;
    `ended` is True once nothing more will ever come (a file's end). `simulated` data is
    marked as such wherever it goes. `rejects` are those of `notes`. `close` may be called
    twice and from another thread.
    """

    @property
    def address(self) -> str: ...
    @property
    def clock(self) -> Clock: ...
    @property
    def notes(self) -> Notes: ...
    @property
    def ended(self) -> bool: ...
    @property
    def simulated(self) -> bool: ...
    @property
    def rejects(self) -> dict[str, int]: ...
    def open(self) -> None: ...
    def read(self, timeout_s: float) -> list[Item]: ...
    def close(self) -> None: ...


class BaseDriver:
    """The public half of a driver: it owns the timeout, the clock and the open state.

    A back end writes `_open`, `_read_some` and `_close`. `_read_some(timeout_s)` returns
    what has come, waiting no longer than `timeout_s`; a short read is an ordinary answer.
    """

    simulated = False

    def __init__(self, address: str, clock: Clock = time.monotonic) -> None:
        self.address = address
        self.clock = clock
        self.ended = False
        self.notes = Notes()
        self.rejects = self.notes.rejects
        self._opened = False

    def open(self) -> None:
        """Open the device or file. Raises a DeviceError or FileRefused."""
        if not self._opened:
            self._open()
            self._opened = True

    def read(self, timeout_s: float) -> list[Item]:
        """Items that came within `timeout_s` seconds. Raises DeviceLost, FileRefused.

        A close from another thread ends it at once, also where the clock stands still.
        """
        if not self._opened:
            raise DeviceLost(f"{self.address} is not open.")
        end_s = self.clock() + timeout_s
        while not self.ended and self._opened:
            items = self._read_some(max(0.0, end_s - self.clock()))
            if items or self.clock() >= end_s:
                return list(items)
        return []

    def close(self) -> None:
        """Close; harmless when already closed."""
        if self._opened:
            self._opened = False
            self._close()

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _open(self) -> None:
        raise NotImplementedError

    def _read_some(self, timeout_s: float) -> Sequence[Item]:
        raise NotImplementedError

    def _close(self) -> None:
        raise NotImplementedError


@dataclass(frozen=True, slots=True, eq=False)
class EdgeTrack:
    """All rising edges of one channel of a recording, on the recording's time line.

    `time_s` is ascending, float64. `fall_s` and `amplitude_v` have its length, NaN
    where unknown. `u_clock_rel` is the relative standard uncertainty of the clock, NaN
    where nobody tells whose it was.
    """

    channel: str
    time_s: Floats
    fall_s: Floats | None = None
    amplitude_v: Floats | None = None
    u_clock_rel: float = math.nan
    kind: ChannelKind = ChannelKind.UNKNOWN

    def __post_init__(self) -> None:
        tell_kind(self, pulse_kind(self.channel))

    @property
    def name(self) -> str:
        return self.channel

    @property
    def is_pulses(self) -> bool:
        return True


@dataclass(frozen=True, slots=True, eq=False)
class SpeedTrack:
    """All values of one speed source of a recording; NaN in `speed_mps` is 'no value'.

    `label` says in words what it is. `u_mps` is the standard uncertainty of each value
    from resolution and the sender's own accuracy figure. `timed` is False where the
    recording holds no times: `time_s` is then only the order of the values.
    """

    source: str
    label: str
    time_s: Floats
    speed_mps: Floats
    u_mps: Floats
    timed: bool = True
    kind: ChannelKind = ChannelKind.UNKNOWN

    def __post_init__(self) -> None:
        tell_kind(self, speed_kind(self.source))

    @property
    def name(self) -> str:
        return self.source

    @property
    def is_pulses(self) -> bool:
        return False


@dataclass(frozen=True, slots=True, eq=False)
class ValueTrack:
    """All values of one other quantity of a recording (see `ValueBlock`)."""

    source: str
    quantity: str
    time_s: Floats
    value: Floats
    kind: ChannelKind = ChannelKind.UNKNOWN

    def __post_init__(self) -> None:
        tell_kind(self, value_kind(self.source, self.quantity))


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """A whole recording in memory, whatever it came from.

    `kind` names the format in words ('console dump of a CAN bus'). `messages` counts
    what was decoded, by message name; `rejects` what was not, by kind. `warnings` are
    sentences for the person. `sha256` is the hash of the bytes it came from, '' where
    there are none.
    """

    name: str
    kind: str
    edges: dict[str, EdgeTrack] = field(default_factory=dict)
    speeds: dict[str, SpeedTrack] = field(default_factory=dict)
    values: dict[tuple[str, str], ValueTrack] = field(default_factory=dict)
    lost: list[Lost] = field(default_factory=list)
    messages: dict[str, int] = field(default_factory=dict)
    rejects: dict[str, int] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    simulated: bool = False
    sha256: str = ""

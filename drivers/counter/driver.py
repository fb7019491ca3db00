"""`counter:PORT`: the pulse counter board, or with `?lines=…` a simple board that prints.

Edges come as `EdgeBlock`s named after the board's channels. A hole in the cumulative
count becomes a `Lost` with the exact number of edges; it is found again after the plug
was pulled if the board kept running. A board that restarted begins its ticks anew,
announced by a `Lost` of the whole input. Each heartbeat is handed on as a `ValueBlock`
`clock_s`: the board's clock against the host's, undelayed by batching.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from drivers.catalogue import check_options, full_address
from drivers.contract import (
    AddressError,
    BaseDriver,
    ChannelKind,
    Clock,
    DeviceError,
    DeviceLost,
    EdgeBlock,
    Item,
    Lost,
    Note,
    Notes,
    ValueBlock,
)
from drivers.counter.lines import LineStream
from drivers.counter.protocol import EdgeFrame, Heartbeat, Hello, Malformed, NewerProtocol, decode
from drivers.framing import CobsFrames
from drivers.serial_port import PATIENCE_S, SerialPort, baud_option

BAUD = 115200
"""A USB port ignores it; it matters where the board hangs on a real serial line."""

RESTARTED = "the counter restarted; its clock and counts began anew"
_HALF, _WHOLE = 2**31, 2**32
_MOST_HELD = 2000


@dataclass(slots=True)
class _ChannelState:
    """Where one channel stands; None until its first frame or heartbeat."""

    host_s: float
    count: int | None = None
    sequence: int | None = None


class _BoardRun:
    """One run of one board, from its start to its restart: its counts and its clock."""

    def __init__(self, hello: Hello, notes: Notes, host_s: float) -> None:
        self.hello = hello
        self.interrupted = False
        self.heard_s = host_s
        self._notes = notes
        self._states = [_ChannelState(host_s) for _ in hello.channels]
        self._tick: int | None = None
        self._tick_host_s = host_s

    def is_same(self, hello: Hello) -> bool:
        return (hello.boot, hello.channels) == (self.hello.boot, self.hello.channels)

    def take(self, message: EdgeFrame | Heartbeat, host_s: float) -> list[Item]:
        self.heard_s = host_s
        if isinstance(message, Heartbeat):
            return self._beat(message, host_s)
        if message.channel >= len(self._states):
            _count(self._notes.rejects, "unknown channel")
            return []
        return self._edges(message, host_s)

    def _beat(self, beat: Heartbeat, host_s: float) -> list[Item]:
        _count(self._notes.messages, "heartbeat")
        items: list[Item] = []
        for channel, (state, count) in enumerate(zip(self._states, beat.counts, strict=False)):
            missing = 0 if state.count is None else (count - state.count) % _WHOLE
            if missing < _HALF:
                items += self._missing(channel, missing, host_s, "a frame was lost")
                state.count = count if state.count is None else state.count + missing
                state.host_s = host_s
        self.interrupted = False
        clock_s = np.array([self._unwrap(beat.tick, host_s) / self.hello.clock_hz])
        items.append(ValueBlock(self.hello.board, "clock_s", clock_s, clock_s, np.array([host_s])))
        return items

    def _edges(self, frame: EdgeFrame, host_s: float) -> list[Item]:
        state, n = self._states[frame.channel], frame.since_first.size
        missing, followed, sequence = 0, True, frame.sequence
        if state.count is not None:
            missing = (frame.count - n - state.count) % _WHOLE
        if missing >= _HALF:
            _count(self._notes.rejects, "count went back")
            return []
        if state.sequence is not None:
            step = (frame.sequence - state.sequence) % 65536
            followed, sequence = step == 1, state.sequence + step
        reason = "the counter could not keep up" if followed else "a frame was lost"
        items = self._missing(frame.channel, missing, host_s, reason)
        state.count = frame.count if state.count is None else state.count + missing + n
        state.sequence, state.host_s = sequence, host_s
        ticks = frame.since_first + self._unwrap(frame.first_tick, host_s)
        falls = None
        if frame.widths is not None:
            falls = np.where(frame.widths > 0, ticks + frame.widths, 0)
        said, tick_s = self.hello.channels[frame.channel], 1.0 / self.hello.clock_hz
        told = (tick_s, host_s, state.count, falls, frame.peaks_v, said.kind)
        items.append(EdgeBlock(said.name, sequence, ticks, *told))
        _count(self._notes.messages, "edges")
        return items

    def _missing(self, channel: int, n: int, host_s: float, reason: str) -> list[Item]:
        if n == 0:
            return []
        if self.interrupted:
            reason = "the counter was not connected"
        name = self.hello.channels[channel].name
        return [Lost(name, n, self._states[channel].host_s, host_s, reason)]

    def _unwrap(self, tick: int, host_s: float) -> int:
        """A 32-bit tick on the long scale, nearest to where the host's time puts it.

        The signed modular difference to the expected tick; the expectation only has to be
        right within half a turn of the counter.
        """
        if self._tick is None:
            self._tick, self._tick_host_s = tick, host_s
            return tick
        expected = self._tick + round((host_s - self._tick_host_s) * self.hello.clock_hz)
        long_tick = expected + (tick - expected + _HALF) % _WHOLE - _HALF
        if long_tick > self._tick:
            self._tick, self._tick_host_s = long_tick, host_s
        return long_tick


class CounterStream:
    """Bytes of one board to items. Knows nothing of ports; the host time is handed in.

    After `connected` whatever comes is held until a hello tells whether it is the same
    board, still running, so that a hole can be counted.
    """

    def __init__(self, notes: Notes) -> None:
        self._notes = notes
        self._frames = CobsFrames()
        self._frames.rejects = notes.rejects
        self._board: _BoardRun | None = None
        self._greeted = False
        self._held: deque[tuple[EdgeFrame | Heartbeat, float]] = deque()

    @property
    def channels(self) -> Mapping[str, ChannelKind]:
        """The board's pulse channels by name; none until it has said them."""
        board = self._board
        return {} if board is None else {one.name: one.kind for one in board.hello.channels}

    def connected(self) -> None:
        """The bytes begin, or begin again."""
        self._frames.reset()
        self._held.clear()
        self._greeted = False
        if self._board is not None:
            self._board.interrupted = True

    def feed(self, data: bytes, host_s: float) -> list[Item]:
        """Items that `data`, which arrived at `host_s`, completes. Raises NewerProtocol."""
        items: list[Item] = []
        for payload in self._frames.feed(data):
            try:
                message = decode(payload)
            except Malformed as error:
                _count(self._notes.rejects, str(error))
                continue
            if message is None:
                _count(self._notes.rejects, "unknown type of frame")
            elif isinstance(message, Hello):
                items += self._greet(message, host_s)
            elif self._greeted and self._board is not None:
                items += self._board.take(message, host_s)
            else:
                self._hold(message, host_s)
        return items

    def _greet(self, hello: Hello, host_s: float) -> list[Item]:
        _count(self._notes.messages, "hello")
        items: list[Item] = []
        if self._board is None or not self._board.is_same(hello):
            if self._board is not None:
                items.append(Lost("", None, self._board.heard_s, host_s, RESTARTED))
            n = len(hello.channels)
            self._notes.kind = Note(
                "pulse counter '{board}', {n} channel{n_2}",
                board=hello.board,
                n=n,
                n_2="s" * (n != 1),
            )
            self._board = _BoardRun(hello, self._notes, host_s)
        self._greeted = True
        while self._held:
            items += self._board.take(*self._held.popleft())
        return items

    def _hold(self, message: EdgeFrame | Heartbeat, host_s: float) -> None:
        self._held.append((message, host_s))
        if len(self._held) > _MOST_HELD:
            self._held.popleft()
            _count(self._notes.rejects, "no hello before it")


def _count(counts: dict[str, int], name: str) -> None:
    counts[name] = counts.get(name, 0) + 1


class CounterDriver(BaseDriver):
    """`counter:PORT?baud=…` or `counter:PORT?lines=PATTERN&channel=NAME&baud=…`."""

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        super().__init__(full_address("counter", rest, options), clock)
        check_options(self.address, options, ("baud", "lines", "channel"))
        if "channel" in options and "lines" not in options:
            raise AddressError(
                "'{address}': 'channel' names what 'lines' finds; the counter board "
                "names its channels itself.",
                address=self.address,
            )
        self._port = SerialPort(rest, baud_option(self.address, options, BAUD))
        self._opened_s = clock()
        self._stream: CounterStream | LineStream
        if "lines" in options:
            channel = options.get("channel", "pulse")
            self._stream = LineStream(self.address, options["lines"], channel, self.notes)
            self._expected = Note("a line of '{options}'", options=options["lines"])
        else:
            self._stream = CounterStream(self.notes)
            self._expected = Note("a frame of a pulse counter")

    @property
    def channels(self) -> Mapping[str, ChannelKind]:
        """The pulse channels the board has, by name, as far as it has said them."""
        return self._stream.channels

    def _open(self) -> None:
        self._port.open()
        self._stream.connected()
        self._opened_s = self.clock()

    def _read_some(self, timeout_s: float) -> Sequence[Item]:
        try:
            data = self._port.read(timeout_s)
            if not data:
                return []
            now_s = self.clock()
            items = self._stream.feed(data, now_s)
            if not self.notes.messages and now_s - self._opened_s > PATIENCE_S:
                self._port.complain(self.notes, self._expected)
            return items
        except DeviceLost:
            self.close()
            raise
        except NewerProtocol as error:
            self.close()
            raise DeviceError("{name}: {error}.", name=self._port.name, error=error) from None

    def _close(self) -> None:
        self._port.close()

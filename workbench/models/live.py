"""What the inputs say right now: rates, speeds, ages, losses, and the last minutes of each.

Drains the session's ring when asked to (the screen asks 30 times a second); work for each
call follows the new items only. The recorder, which loses nothing, is fed by the session.
"""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drivers.catalogue import open_input
from drivers.contract import (
    ChannelKind,
    Clock,
    Driver,
    EdgeBlock,
    InputError,
    Item,
    Lost,
    SpeedBlock,
    ValueBlock,
)
from workbench.base.errors import BenchError
from workbench.base.machine import Machine
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.live.session import InputState, InputStatus, Keep, Session
from workbench.models.observable import Observable
from workbench.models.plot.history import History
from workbench.models.signals.channel_health import ChannelHealth

Floats = NDArray[np.float64]

SILENT_S = 1.5
"""Without news for this long, and four times its usual pause, a stream counts as lost."""

HISTORY_S = 300.0
RATE_EDGES = 256
"""Edges kept for the pulse rate, at most."""

Opener = Callable[[str, Clock], Driver]


@dataclass(slots=True)
class Stream:
    """One pulse channel or speed source as it stands; NaN where there is no value."""

    name: str
    address: str
    is_pulses: bool
    kind: ChannelKind
    rate_hz: float = math.nan
    speed_mps: float = math.nan
    distance_m: float = 0.0
    edges: int = 0
    lost: int = 0
    last_host_s: float = -math.inf
    pause_s: float = 0.1
    history: History = field(default_factory=History)
    edge_s: deque[float] = field(default_factory=lambda: deque(maxlen=RATE_EDGES))
    health: ChannelHealth | None = None
    """Missed and extra pulses of a target wheel's channel; None of any other stream."""

    @property
    def heard_of(self) -> bool:
        """Whether anything has come at all."""
        return math.isfinite(self.last_host_s)

    def age_s(self, now_s: float) -> float:
        """Seconds since the last news."""
        return now_s - self.last_host_s

    def silent(self, now_s: float) -> bool:
        """Whether nothing has come for so long that the signal counts as lost."""
        return self.age_s(now_s) > max(SILENT_S, 4 * self.pause_s)

    def heard(self, host_s: float) -> None:
        if math.isfinite(self.last_host_s) and host_s > self.last_host_s:
            self.pause_s += 0.1 * (host_s - self.last_host_s - self.pause_s)
        self.last_host_s = max(self.last_host_s, host_s)


class LiveInputs(Observable):
    """The inputs in use and their streams, by name."""

    def __init__(self, clock: Clock = time.monotonic, opener: Opener = open_input) -> None:
        super().__init__()
        self.clock, self._opener = clock, opener
        self.streams: dict[str, Stream] = {}
        self.values: dict[tuple[str, str], float] = {}
        self.simulated = False
        self.machine_text = ""
        self.problems: list[str] = []
        self._session: Session | None = None
        self._drivers: list[Driver] = []
        self._seen = 0
        self._metre_per_pulse_m, self._teeth = math.nan, 0
        self._takers: list[Callable[[Item], None]] = []

    @property
    def running(self) -> bool:
        return self._session is not None

    @property
    def drivers(self) -> Sequence[Driver]:
        return self._drivers

    def use_machine(self, machine: Machine | None) -> None:
        """Turn pulses into metres by this machine's drive line from now on."""
        self._metre_per_pulse_m = metres_per_pulse(machine).value_m if machine else math.nan
        self._teeth = machine.drive.target_teeth if machine else 0

    @property
    def all_read(self) -> bool:
        """Whether every input is being read, or will be once its device is back."""
        return self.running and all(s.state is not InputState.ENDED for s in self.statuses())

    def make(self, address: str) -> Driver:
        """The driver of an address, not opened. Raises AddressError where it is wrong."""
        return self._opener(address, self.clock)

    def start(self, addresses: Sequence[str], keep: Keep | None = None) -> None:
        """Open the inputs, in place of those open now. A wrong one becomes a problem.

        Does not wait for a device: the old inputs end, and the new ones are opened, on
        threads of their own. For `keep` see there.
        """
        self.streams, self.values, self._seen = {}, {}, 0
        self.problems, self._drivers = [], []
        closed = self._let_go()
        for address in addresses:
            try:
                self._drivers.append(self._opener(address, self.clock))
            except InputError as error:
                self.problems.append(str(error))
        if self._drivers:
            try:
                self._session = Session(self._drivers)
            except BenchError as error:
                self.problems.append(str(error))
            else:
                self._session.start(keep, after=closed)
        self.simulated = any(driver.simulated for driver in self._drivers)
        texts = [getattr(driver, "machine_text", "") for driver in self._drivers]
        self.machine_text = next((text for text in texts if text), "")
        self.changed()

    def stop(self) -> None:
        """Close the inputs, and wait until they are: at most a moment, whatever they do."""
        if self._session is not None:
            self._let_go().wait()
            self.changed()

    def keep(self, keep: Keep | None) -> None:
        """Give every item from now on to `keep`, on the reader's own thread."""
        if self._session is not None:
            self._session.keep(keep)

    def _let_go(self) -> threading.Event:
        """Have the inputs closed; the event is set once they are."""
        closed, session, problems = threading.Event(), self._session, self.problems
        self._session = None
        if session is None:
            closed.set()
            return closed

        def close() -> None:
            try:
                stuck = session.stop()
                problems.extend(f"{address} did not let go of its device." for address in stuck)
            finally:
                closed.set()  # the next inputs wait for it

        threading.Thread(target=close, name="inputs being closed", daemon=True).start()
        return closed

    def statuses(self) -> list[InputStatus]:
        return self._session.statuses if self._session else []

    def listen(self, taker: Callable[[Item], None]) -> Callable[[], None]:
        """Hand every item to `taker` as `update` meets it, until the returned call."""
        self._takers.append(taker)
        return lambda: self._takers.remove(taker) if taker in self._takers else None

    def update(self) -> None:
        """Take in what has come since the last call."""
        if self._session is None:
            return
        fresh, self._seen = self._session.ring.since(self._seen)
        self._expect_channels()
        for address, item in fresh:
            self.take(address, item)
        if fresh:
            self.changed()

    def take(self, address: str, item: Item) -> None:
        """Take in one item of an input, and hand it to those who listen."""
        self._follow(address, item)
        for taker in tuple(self._takers):
            taker(item)

    def _follow(self, address: str, item: Item) -> None:
        if isinstance(item, EdgeBlock):
            self._edges(self._stream(item.channel, address, item.kind, is_pulses=True), item)
        elif isinstance(item, SpeedBlock):
            self._speed(self._stream(item.source, address, item.kind, is_pulses=False), item)
        elif isinstance(item, ValueBlock) and item.value.size:
            self.values[item.source, item.quantity] = float(item.value[-1])
        elif isinstance(item, Lost):
            self._lost(address, item)

    def _expect_channels(self) -> None:
        """A channel that an input names is shown although it has given no pulse yet."""
        for driver in self._drivers:
            for name, kind in getattr(driver, "channels", {}).items():
                self._stream(name, driver.address, kind, is_pulses=True)

    def _stream(self, name: str, address: str, kind: ChannelKind, *, is_pulses: bool) -> Stream:
        if name not in self.streams:
            self.streams[name] = Stream(name, address, is_pulses, kind)
            if is_pulses and kind is ChannelKind.BELT:
                self.streams[name].health = ChannelHealth()
        return self.streams[name]

    def _lost(self, address: str, item: Lost) -> None:
        """A hole in one stream, or in all of an input's: pulses are not counted through it."""
        if item.stream in self.streams:
            self.streams[item.stream].lost += item.count or 0
        for stream in self.streams.values():
            hurt = item.stream in ("", stream.name) and stream.address == address
            if hurt and stream.health is not None:
                stream.health.broken()

    def _edges(self, stream: Stream, block: EdgeBlock) -> None:
        if stream.health is not None:
            stream.health.add(block)
        # A block without pulses is no news of the belt: it may stand, or the pickup be silent.
        if not block.ticks.size:
            return
        stream.heard(block.host_s)
        stream.edges += block.ticks.size
        stream.edge_s.extend((block.ticks[-RATE_EDGES:] * block.tick_s).tolist())
        # A whole turn, so that tooth spacing errors do not make the number dance.
        turns = len(stream.edge_s) - 1
        if self._teeth and turns >= self._teeth:
            turns -= turns % self._teeth
            turns = min(turns, self._teeth)
        if turns > 0:
            span_s = stream.edge_s[-1] - stream.edge_s[-1 - turns]
            stream.rate_hz = turns / span_s if span_s > 0 else math.nan
        if stream.kind is not ChannelKind.BELT:
            return
        stream.speed_mps = stream.rate_hz * self._metre_per_pulse_m
        stream.distance_m += block.ticks.size * self._metre_per_pulse_m
        stream.history.append((block.host_s, stream.speed_mps))

    def _speed(self, stream: Stream, block: SpeedBlock) -> None:
        known = np.isfinite(block.speed_mps)
        stream.speed_mps = float(block.speed_mps[-1]) if block.speed_mps.size else math.nan
        if not known.any():
            return
        host_s = block.host_s[known]
        for at_s, speed_mps in zip(host_s.tolist(), block.speed_mps[known].tolist(), strict=True):
            step_s = at_s - stream.last_host_s
            if 0 < step_s < SILENT_S:
                stream.distance_m += speed_mps * step_s
            stream.heard(at_s)
            stream.history.append((at_s, speed_mps))

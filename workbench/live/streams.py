"""Every pulse channel and speed source that comes in, as it stands now and in its last minutes.

The readers' threads fill it, a block at a time; pages read what they need whenever they
look. Nothing here waits, and memory is bounded.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drivers.contract import ChannelKind, EdgeBlock, Item, Lost, SpeedBlock, ValueBlock
from drivers.timeline import clock_points, has_own_times
from workbench.calibration.pulses.running_base import RunningBase
from workbench.calibration.pulses.speed import SpeedSeries
from workbench.live.health import MOST_WAITING, ChannelHealth, DoubtSays
from workbench.live.pulses import LivePulses, Rows
from workbench.match.ratio import MOVING_MPS
from workbench.match.sources import UNNAMED, quality

Floats = NDArray[np.float64]

SILENT_S = 1.5
"""Without news for this long, and four times its usual pause, a stream counts as lost."""

HISTORY_S = 300.0
KEPT_SPEEDS = 32_768
"""Speeds kept at least: over five minutes at 100 a second."""

JUDGED_S = 60.0
"""A source's noise is judged by so many seconds, at most once a second."""

WORKING_MPS = 0.6
"""Slower, a receiver's noise is no longer held against its speed. Chosen: half of working speed."""

RATE_EDGES = 256
"""Pulses that the rate is taken from, at most."""


@dataclass(slots=True, eq=False)
class Stream:
    """One pulse channel or speed source as it stands; NaN where there is no value."""

    name: str
    address: str
    is_pulses: bool
    kind: ChannelKind
    clock: RunningBase = field(default_factory=RunningBase)
    lock: threading.RLock = field(default_factory=threading.RLock)
    rate_hz: float = math.nan
    speed_mps: float = math.nan
    distance_m: float = 0.0
    lost: int = 0
    last_host_s: float = -math.inf
    pause_s: float = 0.1
    noisy: bool = False
    """Whether a speed gives so few values, or such that scatter so much, that for the ground
    another is to be taken while there is one."""
    pulses: LivePulses = field(init=False)
    health: ChannelHealth | None = field(init=False, default=None)
    """Missed and extra pulses of a target wheel's channel; None of any other stream."""
    _speeds: Rows = field(init=False)
    _judged_s: float = -math.inf

    def __post_init__(self) -> None:
        self.pulses = LivePulses(self.clock, self.lock)
        self._speeds = Rows(3, KEPT_SPEEDS)
        if self.is_pulses and self.kind is ChannelKind.BELT:
            self.health = ChannelHealth(self.pulses, self.lock)

    @property
    def edges(self) -> int:
        """Pulses that ever came."""
        return self.pulses.total

    def has_been_heard(self) -> bool:
        """Whether anything has come at all."""
        return math.isfinite(self.last_host_s)

    def age_s(self, now_s: float) -> float:
        """Seconds since the last news."""
        return now_s - self.last_host_s

    def silent(self, now_s: float) -> bool:
        """Whether nothing has come for so long that the signal counts as lost."""
        return self.age_s(now_s) > max(SILENT_S, 4 * self.pause_s)

    @property
    def doubt(self) -> DoubtSays | None:
        """Why its speed is not to be taken as it stands: the one decision for every page."""
        if self.health is not None:
            return self.health.recent().doubt
        return DoubtSays.SCATTERS if self.noisy else None

    def keeps_speed(self, now_s: float, for_s: float, within_rel: float) -> bool:
        """Whether it moves, and the means of the first and the last third of the last `for_s`
        agree."""
        time_s, speed_mps = self.history(now_s - for_s)
        known = np.isfinite(speed_mps)
        time_s, speed_mps = time_s[known], speed_mps[known]
        if time_s.size < 6 or now_s - time_s[0] < 0.8 * for_s:
            return False
        third = time_s.size // 3
        first, last = float(speed_mps[:third].mean()), float(speed_mps[-third:].mean())
        return first > MOVING_MPS and abs(last - first) <= within_rel * first

    def mean_mps(self, now_s: float, for_s: float) -> float:
        """The mean speed of the last `for_s`, NaN where there is none."""
        speed_mps = self.history(now_s - for_s)[1]
        known = np.isfinite(speed_mps)
        return float(speed_mps[known].mean()) if known.any() else math.nan

    def history(self, from_s: float) -> tuple[Floats, Floats]:
        """(time_s, speed_mps) from a moment on, ascending; on the host's line."""
        with self.lock:
            time_s, speed_mps, _ = self._speeds.since(from_s)
        return time_s, speed_mps

    def speeds_after(self, number: int) -> tuple[int, Floats]:
        """(how many came in all, (3, n)) of the speeds after the first `number`: time on the
        host's line, speed, its u; NaN where the sender gave none."""
        with self.lock:
            return self._speeds.total, self._speeds.after(number)[1]

    def add_speeds(self, time_s: Floats, speed_mps: Floats, u_mps: Floats | None) -> None:
        """Take in speeds (n,); a time before the newest is taken as that of the newest."""
        unknown = np.full(time_s.size, math.nan)
        with self.lock:
            ascending_s = np.fmax(np.maximum.accumulate(time_s), self._speeds.last(0))
            self._speeds.add(ascending_s, speed_mps, unknown if u_mps is None else u_mps)

    def judge(self, now_s: float) -> None:
        """See to what `doubt` tells, where that was not seen to within the last second."""
        if self.health is not None and self.health.waiting >= MOST_WAITING:
            self.health.count()
        if now_s - self._judged_s < 1.0:
            return
        self._judged_s = now_s
        if self.health is not None:
            self.health.count()
            return
        with self.lock:
            time_s, speed_mps, u_mps = self._speeds.since(now_s - JUDGED_S)
        found = quality(self.name, UNNAMED, SpeedSeries(time_s, speed_mps, u_mps, 0.0))
        moving_mps = speed_mps[np.abs(speed_mps) > MOVING_MPS]
        slow = math.isfinite(found.noise_rel) and np.median(moving_mps) < WORKING_MPS
        self.noisy = self.noisy if slow else not found.usable

    def heard(self, host_s: float) -> None:
        """There is news, from this moment."""
        if self.has_been_heard() and host_s > self.last_host_s:
            self.pause_s += 0.1 * (host_s - self.last_host_s - self.pause_s)
        self.last_host_s = max(self.last_host_s, host_s)


class Streams:
    """The streams by name; of two inputs with one name the second's is 'name@2', as in a
    recording. `values` are the newest of all other quantities, `news` counts what has come.

    Both mappings are replaced, never changed: who holds one may go over it at leisure.
    """

    def __init__(self, metre_per_pulse_m: float = math.nan, teeth: int = 0) -> None:
        self.by_name: Mapping[str, Stream] = {}
        self.values: Mapping[tuple[str, str], float] = {}
        self.news = 0
        self._metre_per_pulse_m, self._teeth = metre_per_pulse_m, teeth
        self._lock = threading.RLock()
        self._clocks: dict[tuple[str, str], RunningBase] = {}
        self._names: dict[tuple[str, str], str] = {}

    def use_scale(self, metre_per_pulse_m: float, teeth: int) -> None:
        """Turn pulses into metres by this drive line from now on."""
        self._metre_per_pulse_m, self._teeth = metre_per_pulse_m, teeth

    def expect(self, address: str, channels: Mapping[str, ChannelKind]) -> None:
        """Channels that an input has, though they may have given no pulse yet."""
        with self._lock:
            for name, kind in channels.items():
                self._stream(name, address, kind, is_pulses=True)

    def take(self, address: str, items: Sequence[Item]) -> None:
        """Take in what an input has brought; from any thread."""
        with self._lock:
            for item in items:
                self._take(address, item)
            self.news += len(items)

    def _take(self, address: str, item: Item) -> None:
        points = clock_points(item)
        if points is not None:
            self._clock(address, points[0]).add(*points[1:])
        if isinstance(item, EdgeBlock):
            self._edges(self._stream(item.channel, address, item.kind, is_pulses=True), item)
        elif isinstance(item, SpeedBlock):
            self._speed(self._stream(item.source, address, item.kind, is_pulses=False), item)
        elif isinstance(item, ValueBlock) and item.value.size:
            key = item.source, item.quantity
            self.values = {**self.values, key: float(item.value[-1])}
        elif isinstance(item, Lost):
            self._lost(address, item)

    def _clock(self, address: str, whose: str) -> RunningBase:
        return self._clocks.setdefault((address, whose), RunningBase())

    def _stream(self, name: str, address: str, kind: ChannelKind, *, is_pulses: bool) -> Stream:
        alike = sum(other == name for _, other in self._names) + 1
        new = name if alike == 1 else f"{name}@{alike}"
        known = self._names.setdefault((address, name), new)
        if known not in self.by_name:
            clock = self._clock(address, "" if is_pulses else name)
            stream = Stream(known, address, is_pulses, kind, clock, self._lock)
            self.by_name = {**self.by_name, known: stream}
        return self.by_name[known]

    def _lost(self, address: str, item: Lost) -> None:
        """A hole in one stream, or in all of an input's: pulses are not counted through it."""
        hurt = self._names.get((address, item.stream))
        for stream in self.by_name.values():
            if stream.name == hurt:
                stream.lost += item.count or 0
            if stream.name == hurt or (not item.stream and stream.address == address):
                stream.pulses.broken(item.to_s)

    def _edges(self, stream: Stream, block: EdgeBlock) -> None:
        stream.pulses.add(block)
        # A block without pulses is no news of the belt: it may stand, or the pickup be silent.
        if not block.ticks.size:
            return
        stream.heard(block.host_s)
        stream.rate_hz = stream.pulses.rate_hz(RATE_EDGES, self._teeth)
        if stream.kind is not ChannelKind.BELT:
            return
        stream.speed_mps = stream.rate_hz * self._metre_per_pulse_m
        stream.distance_m += block.ticks.size * self._metre_per_pulse_m
        stream.add_speeds(np.array([block.host_s]), np.array([stream.speed_mps]), None)
        stream.judge(block.host_s)

    def _speed(self, stream: Stream, block: SpeedBlock) -> None:
        if not block.speed_mps.size:
            return
        stream.speed_mps = float(block.speed_mps[-1])
        own = has_own_times(block)
        time_s = stream.clock.to_host(block.time_s) if own else block.host_s
        stream.add_speeds(time_s, block.speed_mps, block.u_mps)
        known = np.isfinite(block.speed_mps)
        for at_s, speed_mps in zip(block.host_s[known], block.speed_mps[known], strict=True):
            step_s = float(at_s) - stream.last_host_s
            if 0 < step_s < SILENT_S:
                stream.distance_m += float(speed_mps) * step_s
            stream.heard(float(at_s))
        stream.judge(float(block.host_s[-1]))

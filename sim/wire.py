"""The same run as bytes and frames, so that the real parsers hear what a machine says.

`Wire` gives slot after slot of a run: bytes of the pulse counter (by the board's own
source), NMEA 0183 of the receiver, frames of the tractor's bus as (29-bit id, 8 bytes).
Who has a port or a bus sends them on: `sim.terminal` for a pseudo-terminal, a test for
python-can's virtual bus.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from drivers.firmware.counter_core import FALLS, LAP_MARK, NO_PEAK, PEAKS, PICKUP, PulseCounter
from sim.run import RunStretch, Simulation
from sim.scenarios import Scenario, load
from sim.sensors import Samples
from sim.truth import Truth

SLOT_S = 0.05
TRACTOR, RECEIVER = 0xF0, 0x19
"""Source addresses on the bus, chosen."""

_NOT_AVAILABLE_16 = 0xFFFF
_KNOT_MPS = 1852 / 3600
_POSITION_STEPS_PER_DEG = 10_000_000
_FORWARD = 0xFD
"""Byte 8 of the speed messages: direction forward (01), all other bits not available."""

CanFrame = tuple[int, bytes]


@dataclass(frozen=True, slots=True)
class Slot:
    """What went over the wires within `SLOT_S` up to `to_s` (true seconds of the run)."""

    to_s: float
    counter: bytes
    nmea: bytes
    can: list[CanFrame]


class Wire:
    """One scenario under one seed, as it goes over the wires. Raises AddressError."""

    def __init__(self, scenario: Scenario | str | Path, seed: int = 0) -> None:
        scenario = scenario if isinstance(scenario, Scenario) else load(scenario)
        self._simulation = Simulation(scenario, seed)
        self._board = _Board(self._simulation, seed)
        self._bus = _Bus()
        self._slots = 0
        self._take_segment()

    @property
    def truth(self) -> Truth:
        return self._simulation.truth

    def slot(self) -> Slot:
        """The next slot."""
        from_s = self._slots * SLOT_S
        self._slots += 1
        to_s = self._slots * SLOT_S
        if to_s > self._segment.to_s + 1e-9:
            self._take_segment()
        counter = self._board.until(to_s)
        return Slot(to_s, counter, self._nmea(from_s, to_s), self._can(from_s, to_s))

    def _take_segment(self) -> None:
        self._segment = self._simulation.advance()
        self._board.take(self._segment)

    def _can(self, from_s: float, to_s: float) -> list[CanFrame]:
        segment = self._segment
        streams = {"engine": segment.values["engine", "engine_speed_hz"]}
        for name in ("wheel", "radar", "gnss"):
            if name in segment.speeds:
                streams[name] = segment.speeds[name]
        if ("oil", "oil_temperature_c") in segment.values:
            streams["oil"] = segment.values["oil", "oil_temperature_c"]
        timed: list[tuple[float, CanFrame]] = []
        for name, samples in streams.items():
            for place in _within(samples, from_s, to_s):
                frame = self._bus.frame(name, float(samples.value[place]))
                timed.append((float(samples.host_s[place]), frame))
        for place in self._fixes(from_s, to_s):
            latitude, longitude = (self._position(name, place) for name in _POSITION)
            host_s = float(self._segment.speeds["gnss"].host_s[place])
            timed.append((host_s, self._bus.position(latitude, longitude)))
        return [frame for _, frame in sorted(timed, key=lambda pair: pair[0])]

    def _nmea(self, from_s: float, to_s: float) -> bytes:
        sentences = []
        for place in self._fixes(from_s, to_s):
            speed = self._segment.speeds["gnss"]
            latitude, longitude = (self._position(name, place) for name in _POSITION)
            speed_mps, utc_s = float(speed.value[place]), float(speed.time_s[place])
            sentences.append(rmc(utc_s, speed_mps, latitude, longitude))
            sentences.append(vtg(speed_mps))
        return b"".join(sentences)

    def _fixes(self, from_s: float, to_s: float) -> range:
        speed = self._segment.speeds.get("gnss")
        return range(0) if speed is None else _within(speed, from_s, to_s)

    def _position(self, quantity: str, place: int) -> float:
        return float(self._segment.values["gnss", quantity].value[place])


_POSITION = ("latitude_deg", "longitude_deg")


def _within(samples: Samples, from_s: float, to_s: float) -> range:
    """Places of what reaches the host in [from, to)."""
    low, high = np.searchsorted(samples.host_s, [from_s, to_s])
    return range(int(low), int(high))


class _Board:
    """The counter's firmware, fed with the edges of one segment after the other."""

    def __init__(self, simulation: Simulation, seed: int) -> None:
        self._simulation = simulation
        plan = simulation.plan
        sides = [name for name in ("left", "right") if getattr(plan, name).fitted]
        flags = [
            FALLS | (PEAKS if getattr(plan, name).kind == "variable-reluctance" else 0)
            for name in sides
        ]
        channels = [(name, PICKUP, flag) for name, flag in zip(sides, flags, strict=True)]
        if plan.counter.lap_mark:
            channels.append(("lap", LAP_MARK, FALLS))
        self._names = [name for name, _, _ in channels]
        clock_hz = round(1 / plan.counter.tick_s)
        self._core = PulseCounter("simulated counter", clock_hz, seed & 0xFFFFFFFF, channels)
        self._events: list[tuple[int, int, int, int]] = []
        self._next = 0

    def take(self, segment: RunStretch) -> None:
        """Put the segment's edges in order: (tick, 0 rise or 1 fall, channel, peak in mV)."""
        events = self._events[self._next :]
        for channel, name in enumerate(self._names):
            edges = segment.edges[name]
            peaks = np.where(np.isnan(edges.peak_v), NO_PEAK, np.round(1000 * edges.peak_v))
            peaks = np.minimum(peaks, NO_PEAK).astype(int)
            rises, falls = (
                self._simulation.ticks(times).tolist() for times in (edges.rise_s, edges.fall_s)
            )
            none = [channel] * len(rises)
            events += zip(rises, [0] * len(rises), none, peaks.tolist(), strict=True)
            events += zip(falls, [1] * len(falls), none, [0] * len(falls), strict=True)
        self._events, self._next = sorted(events), 0

    def until(self, to_s: float) -> bytes:
        """What the board has sent by then."""
        now = int(self._simulation.ticks(np.array([to_s]))[0])
        while self._next < len(self._events) and self._events[self._next][0] <= now:
            tick, is_fall, channel, peak_mv = self._events[self._next]
            if is_fall:
                self._core.fall(channel, tick)
            else:
                self._core.rise(channel, tick, peak_mv)
            self._next += 1
        return self._core.poll(now)


class _Bus:
    """The tractor's and the receiver's messages (ISO 11783-7, SAE J1939-71, NMEA 2000)."""

    def __init__(self) -> None:
        self._distance_m = {"wheel": 0.0, "radar": 0.0}

    def frame(self, name: str, value: float) -> CanFrame:
        """One message: a speed in m/s, an engine speed in Hz, or an oil temperature in °C."""
        if name in self._distance_m:
            self._distance_m[name] += value * 0.1  # sent every 100 ms
            raw = (round(value / 0.001), round(self._distance_m[name] / 0.001))
            data = struct.pack("<HIBB", *raw, 0xFF, _FORWARD)
            return _identifier(3, {"wheel": 65096, "radar": 65097}[name], TRACTOR), data
        if name == "engine":
            data = b"\xff" * 3 + struct.pack("<H", round(value * 60 / 0.125)) + b"\xff" * 3
            return _identifier(3, 61444, TRACTOR), data
        if name == "oil":
            return _identifier(6, 65128, TRACTOR), bytes([round(value) + 40]) + b"\xff" * 7
        speed = _NOT_AVAILABLE_16 if math.isnan(value) else round(value / 0.01)
        data = struct.pack("<BBHHH", 0, 0xFC, _NOT_AVAILABLE_16, speed, _NOT_AVAILABLE_16)
        return _identifier(2, 129026, RECEIVER), data

    def position(self, latitude_deg: float, longitude_deg: float) -> CanFrame:
        """129025; a position that is none is the largest signed number."""
        if math.isnan(latitude_deg):
            return _identifier(2, 129025, RECEIVER), struct.pack("<ii", 2**31 - 1, 2**31 - 1)
        raw = (
            round(latitude_deg * _POSITION_STEPS_PER_DEG),
            round(longitude_deg * _POSITION_STEPS_PER_DEG),
        )
        return _identifier(2, 129025, RECEIVER), struct.pack("<ii", *raw)


def _identifier(priority: int, pgn: int, sender: int) -> int:
    return priority << 26 | pgn << 8 | sender


def rmc(utc_s: float, speed_mps: float, latitude_deg: float, longitude_deg: float) -> bytes:
    """An RMC sentence; NaN in speed or position is status V, no fix."""
    day_s = utc_s % 86400
    clock = f"{int(day_s // 3600):02d}{int(day_s % 3600 // 60):02d}{day_s % 60:05.2f}"
    if math.isnan(speed_mps) or math.isnan(latitude_deg):
        return _sentence(f"GNRMC,{clock},V,,,,,,,140625,,,N")
    where = f"{_angle(latitude_deg, 2)},{'NS'[latitude_deg < 0]},"
    where += f"{_angle(longitude_deg, 3)},{'EW'[longitude_deg < 0]}"
    return _sentence(f"GNRMC,{clock},A,{where},{speed_mps / _KNOT_MPS:.3f},,140625,,,A")


def vtg(speed_mps: float) -> bytes:
    """A VTG sentence: speed in knots and km/h; empty where there is no fix."""
    if math.isnan(speed_mps):
        return _sentence("GNVTG,,T,,M,,N,,K,N")
    return _sentence(f"GNVTG,,T,,M,{speed_mps / _KNOT_MPS:.3f},N,{speed_mps * 3.6:.3f},K,A")


def _angle(degrees: float, digits: int) -> str:
    """ddmm.mmmmm as NMEA 0183 writes it."""
    minutes = round(abs(degrees) * 60, 5)
    return f"{int(minutes // 60):0{digits}d}{minutes % 60:08.5f}"


def _sentence(body: str) -> bytes:
    check = 0
    for byte in body.encode():
        check ^= byte
    return f"${body}*{check:02X}\r\n".encode()

"""What the tractor and its receiver say: wheel, radar and satellite speed, engine, oil.

Each sensor samples the motion at its own rate and adds its own noise from its own stream.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drivers.contract import Floats
from sim import spec
from sim.ground import positions_deg
from sim.motion import Motion
from sim.streams import Wander, stream

RATE_HZ = 10.0
BUS_DELAY_S = 0.005
"""From measuring to the host, on the tractor's bus, chosen."""
GNSS_DELAY_S = 0.08
"""From the receiver's epoch to the host, chosen; part of `gnss_latency_s`."""
GNSS_ORIGIN_S = 43200.0
"""The receiver's own clock at the start of the run: noon."""
BUS_STEP_MPS = 0.001
"""Resolution of the wheel- and ground-based speed messages (ISO 11783-7)."""


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """One stream in one segment; all (n,). `host_s` in true seconds of the run."""

    value: Floats
    time_s: Floats
    host_s: Floats
    u: Floats | None = None


class Sampler:
    """The instants at which one sensor measures."""

    def __init__(
        self, seed: int, name: str, rate_hz: float = RATE_HZ, delay_s: float = BUS_DELAY_S
    ) -> None:
        self._rate_hz, self._delay_s = rate_hz, delay_s
        self._phase = float(stream(seed, f"{name}.phase").random())

    def within(self, from_s: float, to_s: float) -> Floats:
        """Instants of what reaches the host in [from, to)."""
        first, last = (
            np.ceil((host_s - self._delay_s) * self._rate_hz - self._phase)
            for host_s in (from_s, to_s)
        )
        return np.asarray((np.arange(first, last) + self._phase) / self._rate_hz)


class TractorSensors:
    """Wheel and radar speed, engine speed, oil temperature: the tractor's bus."""

    def __init__(self, plan: spec.GroundSensors, seed: int) -> None:
        self._plan = plan
        self._samplers = {
            name: Sampler(seed, name, rate)
            for name, rate in (("wheel", 10.0), ("radar", 10.0), ("engine", 10.0), ("oil", 1.0))
        }
        self._radar_rng = stream(seed, "radar")
        self._oil_rng = stream(seed, "oil")

    def speeds(self, motion: Motion, from_s: float, to_s: float) -> dict[str, Samples]:
        """Speeds by source."""
        plan, found = self._plan, {}
        if plan.wheel:
            scale = (1 - plan.wheel_known_slip) * (1 + plan.wheel_scale_rel)
            at_s = self._samplers["wheel"].within(from_s, to_s)
            found["wheel"] = _bus(np.interp(at_s, motion.time_s, motion.wheel_mps) * scale, at_s)
        if plan.radar:
            at_s = self._samplers["radar"].within(from_s, to_s)
            true_mps = np.interp(at_s, motion.time_s, motion.ground_mps)
            noise = plan.radar_noise_rel * self._radar_rng.standard_normal(at_s.size)
            found["radar"] = _bus(true_mps * (1 + plan.radar_scale_rel + noise), at_s)
        return found

    def values(self, motion: Motion, from_s: float, to_s: float) -> dict[tuple[str, str], Samples]:
        """Other quantities by (source, quantity)."""
        at_s = self._samplers["engine"].within(from_s, to_s)
        step_hz = 0.125 / 60  # resolution of the engine speed message (SAE J1939-71 SPN 190)
        engine = np.interp(at_s, motion.time_s, motion.engine_hz)
        found = {("engine", "engine_speed_hz"): _plain(np.round(engine / step_hz) * step_hz, at_s)}
        if self._plan.oil_sensor:
            at_s = self._samplers["oil"].within(from_s, to_s)
            noise = 0.3 * self._oil_rng.standard_normal(at_s.size)
            oil = np.interp(at_s, motion.time_s, motion.oil_c) + noise
            found["oil", "oil_temperature_c"] = _plain(np.round(oil), at_s)
        return found


def _bus(speed_mps: Floats, at_s: Floats) -> Samples:
    value = np.maximum(np.round(speed_mps / BUS_STEP_MPS), 0) * BUS_STEP_MPS
    u = np.full(value.size, BUS_STEP_MPS / np.sqrt(12))
    host_s = at_s + BUS_DELAY_S
    return Samples(value, host_s, host_s, u)


def _plain(value: Floats, at_s: Floats) -> Samples:
    host_s = at_s + BUS_DELAY_S
    return Samples(value, host_s, host_s)


class Gnss:
    """A satellite receiver: Doppler speed with noise, latency, outages; position."""

    def __init__(self, plan: spec.GroundSensors, field: spec.Ground, seed: int) -> None:
        self._plan, self._field = plan, field
        self._sampler = Sampler(seed, "gnss", delay_s=GNSS_DELAY_S)
        step_s = 1 / RATE_HZ
        self._slow = Wander(stream(seed, "gnss.slow"), plan.gnss_noise_s, step_s)
        self._accuracy = Wander(stream(seed, "gnss.accuracy"), 20.0, step_s)
        self._white = stream(seed, "gnss.white")
        self._outages = stream(seed, "gnss.outages")
        self._north = Wander(stream(seed, "gnss.north"), 40.0, step_s)
        self._east = Wander(stream(seed, "gnss.east"), 40.0, step_s)
        self._away: list[tuple[float, float]] = []

    def sample(
        self, motion: Motion, from_s: float, to_s: float
    ) -> tuple[Samples, Samples, Samples]:
        """(speed, latitude, longitude); NaN where there is no fix."""
        plan, at_s = self._plan, self._sampler.within(from_s, to_s)
        host_s = at_s + GNSS_DELAY_S
        seen_s = host_s - plan.gnss_latency_s
        speed = np.interp(seen_s, motion.time_s, motion.ground_mps)
        speed = speed + plan.gnss_noise_mps * self._slow(at_s.size)
        speed += plan.gnss_white_mps * self._white.standard_normal(at_s.size)
        speed = np.round(np.abs(speed) / plan.gnss_step_mps) * plan.gnss_step_mps
        u = plan.gnss_u_mps * np.exp(0.1 * self._accuracy(at_s.size))
        travelled = np.interp(at_s, motion.time_s, motion.ground_m)
        lane = np.interp(at_s, motion.time_s, motion.lane)
        latitude, longitude = positions_deg(
            travelled,
            lane,
            self._field,
            plan.position_noise_m * self._north(at_s.size),
            plan.position_noise_m * self._east(at_s.size),
        )
        away = self._no_fix(at_s, from_s, to_s)
        for values in (speed, u, latitude, longitude):
            values[away] = np.nan
        own_s = at_s + GNSS_ORIGIN_S
        return (
            Samples(speed, own_s, host_s, u),
            Samples(latitude, own_s, host_s),
            Samples(longitude, own_s, host_s),
        )

    def _no_fix(self, at_s: Floats, from_s: float, to_s: float) -> np.ndarray:
        plan, rng = self._plan, self._outages
        count = rng.poisson(plan.gnss_outages_per_s * (to_s - from_s))
        start_s = from_s + rng.random(count) * (to_s - from_s)
        end_s = start_s + rng.exponential(plan.gnss_outage_s, count)
        self._away = [span for span in self._away if span[1] > from_s]
        self._away += zip(start_s.tolist(), end_s.tolist(), strict=True)
        away = np.zeros(at_s.size, dtype=np.bool_)
        for begin_s, over_s in self._away:
            away |= (at_s >= begin_s) & (at_s < over_s)
        return away

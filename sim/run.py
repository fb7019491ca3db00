"""A whole simulated run: machine, sensors and truth, one segment after the other.

Segments have one length whatever is asked for, so the same seed gives the same bytes
however they are read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drivers.contract import ChannelKind, EdgeTrack, Floats, Note, Recording, SpeedTrack, ValueTrack
from sim import typed
from sim.motion import SEGMENT_S, Motion, Mover
from sim.pickup import NO_EDGES, Edges, RunningPickup
from sim.readout import RunningReadout
from sim.scenarios import Scenario, load
from sim.sensors import Gnss, Samples, TractorSensors
from sim.streams import stream
from sim.truth import Truth
from sim.wiring import Wiring

PULSES = {
    "left": ChannelKind.BELT,
    "right": ChannelKind.BELT,
    "lap": ChannelKind.LAP_MARK,
}
SPEEDS = {
    "wheel": ChannelKind.WHEEL,
    "radar": ChannelKind.RADAR,
    "gnss": ChannelKind.SATELLITE,
}
LABELS = {
    "wheel": "wheel-based speed, simulated",
    "radar": "radar ground speed, simulated",
    "gnss": "GNSS speed over ground, simulated",
}
_MARK_M = 0.02
"""Length of the mark on the belt that the lap pickup sees, chosen."""


@dataclass(frozen=True, slots=True, eq=False)
class RunStretch:
    """What came in one stretch of the run, by channel, source, (source, quantity).

    Edge times in true seconds of the run; `Samples` as their sender stamped them.
    """

    from_s: float
    to_s: float
    edges: dict[str, Edges]
    speeds: dict[str, Samples]
    values: dict[tuple[str, str], Samples]


class Simulation:
    """One scenario under one seed. `advance` gives the next segment; `truth` grows along.

    `setting` is the number in the readout, where it is not the scenario's own.
    """

    def __init__(self, scenario: Scenario, seed: int, setting: float | None = None) -> None:
        plan = scenario.draw(seed)
        self.scenario, self.plan = scenario, plan
        self._mover = Mover(plan, seed)
        built = self._mover.built
        self._mark_m = float(stream(seed, "lap").random()) * built.lap_m
        # When the belt's mark first comes by, tooth 1 is the next of either wheel: "counted
        # from the mark" means the same tooth here and to whoever counts in the recording.
        mark_turns = self._mark_m / built.wheel_turn_m + 0.4 / built.teeth
        self.start_turns = math.ceil(mark_turns) - mark_turns
        """Where either wheel stands when the run begins, tooth 1 at 0."""
        self._sides = {
            name: (
                RunningPickup(side, built.teeth, seed, name, self.start_turns),
                Wiring(side, seed, name),
            )
            for name, side in (("left", plan.left), ("right", plan.right))
            if side.fitted
        }
        clock = stream(seed, "clock")
        clock_rel = plan.counter.clock_rel + plan.counter.u_clock_rel * clock.standard_normal()
        self.first_tick = int(clock.integers(0, 2**32))
        """The counter's 32-bit microsecond count at the start; it wraps where it will."""
        self._lap = 0
        self._tractor = TractorSensors(plan.sensors, seed)
        self._gnss = Gnss(plan.sensors, plan.ground, seed)
        self.readout = RunningReadout(plan.readout, setting or typed.setting(scenario))
        self._segments = 0
        self.setting_entered = False
        self.truth = Truth(
            scenario=scenario.name,
            seed=seed,
            cause=scenario.cause,
            speed_is=scenario.speed_is,
            plan=plan,
            built=built,
            clock_rel=float(clock_rel),
            readout_metres_per_pulse=self.readout.metres_per_pulse,
            wheels={name: pickup.wheel for name, (pickup, _) in self._sides.items()},
        )

    def enter_setting(self, setting: float) -> None:
        """Another number in the readout from now on: `readout.shown` tells what it shows."""
        self.readout.enter(setting)
        self.setting_entered = True
        self.truth.readout_metres_per_pulse = self.readout.metres_per_pulse

    def advance(self) -> RunStretch:
        """The next `SEGMENT_S` seconds."""
        from_s = self._segments * SEGMENT_S
        self._segments += 1
        self.setting_entered = False
        to_s = self._segments * SEGMENT_S
        motion = self._mover.advance()
        self.truth.add_motion(motion)
        edges = self._edges(motion, from_s, to_s)
        speeds = self._tractor.speeds(motion, from_s, to_s)
        values = self._tractor.values(motion, from_s, to_s)
        if self.plan.sensors.gnss:
            speeds["gnss"], latitude, longitude = self._gnss.sample(motion, from_s, to_s)
            values["gnss", "latitude_deg"] = latitude
            values["gnss", "longitude_deg"] = longitude
        shown = self.readout.show(edges.get("left", NO_EDGES), to_s)
        values["readout", "readout_shown"] = shown
        return RunStretch(from_s, to_s, edges, speeds, values)

    def _edges(self, motion: Motion, from_s: float, to_s: float) -> dict[str, Edges]:
        turns = motion.shaft_turns / self._mover.built.turns_per_target_turn
        edges: dict[str, Edges] = {}
        for name, (pickup, wiring) in self._sides.items():
            passed, lost = pickup.sense(motion.time_s, turns)
            edges[name] = wiring.carry(passed, from_s, to_s)
            self.truth.add_edges(name, passed, lost, edges[name])
        if self.plan.counter.lap_mark:
            edges["lap"] = self._lap_marks(motion)
        return edges

    def _lap_marks(self, motion: Motion) -> Edges:
        """When the mark on the belt passes its pickup: once a lap of true belt travel."""
        lap_m = self._mover.built.lap_m
        last = int(np.floor((motion.belt_m[-1] - self._mark_m) / lap_m)) + 1
        laps = np.arange(self._lap, max(last, self._lap), dtype=np.float64)
        at_m = self._mark_m + laps * lap_m
        self._lap = max(last, self._lap)
        if not at_m.size:
            return NO_EDGES
        rise_s = self.truth.when_belt_at(at_m)
        fall_s = self.truth.when_belt_at(np.minimum(at_m + _MARK_M, motion.belt_m[-1]))
        none = np.full(at_m.size, np.nan)
        fall_s = np.maximum(fall_s, rise_s + 1e-5)
        return Edges(rise_s, fall_s, none, np.zeros(at_m.size, dtype=np.int64))

    def counter_s(self, time_s: Floats) -> Floats:
        """True times as whole ticks of the counter's clock since the start, s; NaN stays NaN."""
        tick_s = self.plan.counter.tick_s
        seconds: Floats = np.floor(self.truth.recording_s(time_s) / tick_s) * tick_s
        return seconds

    def ticks(self, time_s: Floats) -> NDArray[np.int64]:
        """True times as the counter's clock counts them, unwrapped; 0 for NaN."""
        exact = self.truth.recording_s(time_s) / self.plan.counter.tick_s
        return np.where(np.isnan(exact), 0, np.floor(exact) + self.first_tick).astype(np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedRun:
    """A finished run: what was recorded, and the truth."""

    recording: Recording
    truth: Truth
    machine_text: str


def simulate(scenario: Scenario | str | Path, seed: int = 0, for_s: float = 60.0) -> SimulatedRun:
    """Simulate `for_s` seconds at once. Raises AddressError for an unknown scenario.

    The recording's time line begins with the run; its edges keep the counter's own clock.
    """
    scenario = scenario if isinstance(scenario, Scenario) else load(scenario)
    simulation = Simulation(scenario, seed)
    segments: list[RunStretch] = []
    while not segments or simulation.truth.until_s < for_s - 1e-9:
        segments.append(simulation.advance())
    recording = Recording(
        name=f"sim:{scenario.name}?seed={seed}",
        kind=Note("simulated digger: {title}", title=scenario.title),
        edges={name: _edge_track(simulation, name, segments, for_s) for name in segments[0].edges},
        speeds={name: _speed_track(name, segments, for_s) for name in segments[0].speeds},
        values={key: _value_track(key, segments, for_s) for key in segments[0].values},
        simulated=True,
    )
    return SimulatedRun(recording, simulation.truth, scenario.machine_text)


def _edge_track(
    simulation: Simulation, name: str, segments: list[RunStretch], for_s: float
) -> EdgeTrack:
    parts = [segment.edges[name] for segment in segments]
    rise_s = np.concatenate([part.rise_s for part in parts])
    kept = rise_s < for_s
    fall_s = np.concatenate([part.fall_s for part in parts])[kept]
    peak_v = np.concatenate([part.peak_v for part in parts])[kept]
    return EdgeTrack(
        name,
        simulation.counter_s(rise_s[kept]),
        simulation.counter_s(fall_s),
        None if np.isnan(peak_v).all() else peak_v,
        simulation.plan.counter.u_clock_rel,
        kind=PULSES[name],
    )


def _kept(parts: list[Samples], for_s: float) -> tuple[Floats, Floats, Floats]:
    """(value, time on the host's line, u) of what reached the host within `for_s`."""
    host_s = np.concatenate([part.host_s for part in parts])
    kept = host_s < for_s
    value = np.concatenate([part.value for part in parts])[kept]
    us = [np.full(part.value.size, np.nan) if part.u is None else part.u for part in parts]
    return value, host_s[kept], np.concatenate(us)[kept]


def _speed_track(name: str, segments: list[RunStretch], for_s: float) -> SpeedTrack:
    value, time_s, u = _kept([segment.speeds[name] for segment in segments], for_s)
    return SpeedTrack(name, LABELS[name], time_s, value, u, kind=SPEEDS[name])


def _value_track(key: tuple[str, str], segments: list[RunStretch], for_s: float) -> ValueTrack:
    value, time_s, _ = _kept([segment.values[key] for segment in segments], for_s)
    return ValueTrack(key[0], key[1], time_s, value)

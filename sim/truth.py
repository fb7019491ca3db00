"""What was true of a simulated run."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np

from drivers.contract import Floats
from sim import spec
from sim.machine import polygon_advance_m
from sim.motion import Built, Motion
from sim.pickup import Edges, TargetWheel, decay_m, join, reluctance_amplitude_v


@dataclass(frozen=True, slots=True, eq=False)
class LostTeeth:
    """Teeth that passed unseen: when (true time) and which, 0 at the mark; (n,) each."""

    time_s: Floats
    tooth: np.ndarray[tuple[int], np.dtype[np.int64]]


@dataclass(slots=True, eq=False)
class Truth:
    """The truth of one run, known up to `until_s`; times are true seconds of the run.

    `cause` is one of `sim.scenarios.CAUSES`; `plan` every value drawn; `built` the true
    drive line; `wheels` the target wheels by channel.
    """

    scenario: str
    seed: int
    cause: str
    speed_is: str
    plan: spec.Plan
    built: Built
    clock_rel: float
    readout_metres_per_pulse: float
    wheels: dict[str, TargetWheel]
    _nodes: list[tuple[Floats, ...]] = field(default_factory=list)
    _lost: dict[str, list[LostTeeth]] = field(default_factory=dict)
    _extra: dict[str, list[Floats]] = field(default_factory=dict)

    _NAMES: ClassVar[tuple[str, ...]] = (
        "time_s",
        "shaft_turns",
        "belt_m",
        "ground_m",
        "slip",
        "belt_slip",
    )

    def add_motion(self, motion: Motion) -> None:
        first = motion.new if self._nodes else motion.new - 1
        self._nodes.append(tuple(getattr(motion, name)[first:] for name in self._NAMES))

    def add_edges(self, channel: str, passed: Edges, lost: Edges, arrived: Edges) -> None:
        """Note what of the teeth that passed did not arrive, and what arrived unbidden."""
        if not np.array_equal(passed.rise_s, arrived.rise_s):
            unseen = ~np.isin(passed.rise_s, arrived.rise_s)
            lost = join([lost, passed[unseen]])
        self._lost.setdefault(channel, []).append(LostTeeth(lost.rise_s, lost.tooth))
        self._extra.setdefault(channel, []).append(arrived.rise_s[arrived.tooth < 0])

    @property
    def until_s(self) -> float:
        """How far the run has been simulated."""
        return float(self._nodes[-1][0][-1]) if self._nodes else 0.0

    def shaft_turns(self, time_s: Any) -> Floats:
        """Drive shaft turns since the run began."""
        return self._at(time_s, "shaft_turns")

    def belt_m(self, time_s: Any) -> Floats:
        """True belt travel since the run began, polygon effect included."""
        even = self._at(time_s, "belt_m")
        if self.built.kind == "roll":
            return even
        angle = 2 * np.pi * self.shaft_turns(time_s)
        return even + polygon_advance_m(angle, self.built.rod_pitch_m, self.built.sprocket_teeth)

    def when_belt_at(self, belt_m: Floats) -> Floats:
        """True times at which the belt has travelled so far (the inverse of `belt_m`)."""
        time_s, even_m = self._nodes_of("time_s"), self._nodes_of("belt_m")
        found = np.interp(belt_m, even_m, time_s)
        for _ in range(3):  # the polygon effect is a fraction of a millimetre: it settles at once
            found = np.interp(
                belt_m - (self.belt_m(found) - self._at(found, "belt_m")), even_m, time_s
            )
        return found

    def ground_m(self, time_s: Any) -> Floats:
        """True ground travel since the run began."""
        return self._at(time_s, "ground_m")

    def belt_speed_mps(self, from_s: float, to_s: float) -> float:
        """True mean belt speed over a window."""
        return float(np.diff(self.belt_m([from_s, to_s]))[0] / (to_s - from_s))

    def ground_speed_mps(self, from_s: float, to_s: float) -> float:
        """True mean ground speed over a window."""
        return float(np.diff(self.ground_m([from_s, to_s]))[0] / (to_s - from_s))

    def ratio(self, from_s: float, to_s: float) -> float:
        """True belt ÷ ground over a window; NaN where the ground did not move."""
        ground = self.ground_speed_mps(from_s, to_s)
        return self.belt_speed_mps(from_s, to_s) / ground if ground > 0 else float("nan")

    def wheel_slip(self, from_s: float, to_s: float) -> float:
        """Mean slip of the tractor's wheels over a window."""
        return float(self._at(np.linspace(from_s, to_s, 1001), "slip").mean())

    def belt_slip(self, from_s: float, to_s: float) -> float:
        """Mean slip of the belt on its drive over a window."""
        return float(self._at(np.linspace(from_s, to_s, 1001), "belt_slip").mean())

    def lost(self, channel: str) -> LostTeeth:
        """Teeth that passed unseen."""
        parts = self._lost.get(channel, [])
        times = [part.time_s for part in parts] or [np.empty(0)]
        teeth = [part.tooth for part in parts] or [np.empty(0, dtype=np.int64)]
        return LostTeeth(np.concatenate(times), np.concatenate(teeth))

    def extra_s(self, channel: str) -> Floats:
        """True times of the edges that no tooth made."""
        return np.concatenate(self._extra.get(channel, []) or [np.empty(0)])

    def recording_s(self, true_s: Any) -> Floats:
        """Times on the pulse counter's line, which runs by its own crystal."""
        return np.asarray(true_s, dtype=np.float64) * (1 + self.clock_rel)

    def true_s(self, recording_s: Any) -> Floats:
        """The inverse of `recording_s`."""
        return np.asarray(recording_s, dtype=np.float64) / (1 + self.clock_rel)

    def drop_out_mps(self, channel: str) -> Floats:
        """(Z,) belt speed below which each tooth of a wheel goes unseen, noise aside.

        From amplitude = threshold for a variable-reluctance pickup; 0 for the others,
        which see a tooth at standstill or never.
        """
        pickup: spec.PickupPlan = getattr(self.plan, channel)
        wheel = self.wheels[channel]
        if pickup.kind != "variable-reluctance":
            return np.zeros(wheel.teeth)
        at_1_mps = reluctance_amplitude_v(
            np.ones(wheel.teeth), wheel.gap_m, pickup.volts_per_mps, decay_m(pickup, wheel.pitch_m)
        )
        # Surface speed to belt speed: one pitch of the tip circle against one pulse of belt.
        return pickup.threshold_v / at_1_mps * self.built.metres_per_pulse / wheel.pitch_m

    @property
    def readout_error_rel(self) -> float:
        """Shown ÷ true − 1 of the readout, from its setting and the true drive line."""
        return self.readout_metres_per_pulse / self.built.metres_per_pulse - 1

    def _at(self, time_s: Any, name: str) -> Floats:
        values: Floats = np.interp(time_s, self._nodes_of("time_s"), self._nodes_of(name))
        return values

    def _nodes_of(self, name: str) -> Floats:
        if len(self._nodes) > 1:
            joined = [np.concatenate(parts) for parts in zip(*self._nodes, strict=True)]
            self._nodes[:] = [tuple(joined)]
        values: Floats = self._nodes[0][self._NAMES.index(name)]
        return values

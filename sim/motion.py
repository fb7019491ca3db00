"""The machine and the tractor in motion: everything that turns or travels, on a fine grid.

`Motion` is one segment of the run; the next continues where it ended. Within a step of
the grid every speed is constant, so angle and distance are straight lines between nodes:
that is the truth by definition, and an edge's time is an exact inverse of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from drivers.contract import Floats
from sim import ground, machine, spec
from sim.streams import Lag, Wander, stream

STEP_S = 0.02
SEGMENT_STEPS = 3000
SEGMENT_S = STEP_S * SEGMENT_STEPS
_TAIL_S = 6.0
"""What is kept of the past for sensors that lag, and for teeth that straddle a segment."""


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """Nodes of one segment and of the past still needed, (n,) each; `new` the first new node.

    `shaft_turns` of the drive shaft, `belt_m` without the polygon effect, `ground_m`
    since the run began; the speeds hold from the node before to the node.
    """

    time_s: Floats
    shaft_turns: Floats
    belt_m: Floats
    ground_m: Floats
    ground_mps: Floats
    wheel_mps: Floats
    engine_hz: Floats
    oil_c: Floats
    lane: Floats
    slip: Floats
    belt_slip: Floats
    new: int

    def since(self, node: int) -> Motion:
        """The same from `node` on, all of it past."""
        kept: dict[str, Any] = {name: getattr(self, name)[node:] for name in _ARRAYS}
        return Motion(**kept, new=self.time_s.size - node)


_ARRAYS = [entry.name for entry in fields(Motion) if entry.name != "new"]


@dataclass(frozen=True, slots=True)
class Built:
    """One seed's drive line as it truly is."""

    kind: str
    teeth: int
    turns_per_target_turn: float
    sprocket_teeth: int
    rod_pitch_m: float
    roll_radius_m: float
    lap_m: float

    @property
    def turn_m(self) -> float:
        """Belt travel a turn of the drive shaft, without slip or mud: N·P, or 2π·radius."""
        if self.kind == "sprocket":
            return self.sprocket_teeth * self.rod_pitch_m
        return 2 * math.pi * self.roll_radius_m

    @property
    def wheel_turn_m(self) -> float:
        """Belt travel a turn of the target wheel, without slip or mud."""
        return self.turn_m * self.turns_per_target_turn

    @property
    def metres_per_pulse(self) -> float:
        return self.wheel_turn_m / self.teeth


def build(drive: spec.DrivePlan, seed: int) -> Built:
    """Draw the true drive line: each length normal about its nominal, with its stated u."""
    return _built(drive, stream(seed, "drive").standard_normal(4))


def _built(drive: spec.DrivePlan, deviate: Floats) -> Built:
    """The drive line whose pitch, roll, pitch line and lap lie `deviate` (4,) times u off."""
    pitch, diameter, offset, lap = (float(value) for value in deviate)
    rod_pitch_m = drive.rod_pitch_m + pitch * drive.u_rod_pitch_m
    lap_m = drive.lap_rods * drive.rod_pitch_m + lap * drive.u_lap_length_m
    diameter_m = drive.roll_diameter_m + diameter * drive.u_roll_diameter_m
    offset_m = drive.pitch_line_offset_m + offset * drive.u_pitch_line_offset_m
    return Built(
        kind=drive.kind,
        teeth=int(drive.target_teeth),
        turns_per_target_turn=drive.turns_per_target_turn,
        sprocket_teeth=int(drive.sprocket_teeth),
        rod_pitch_m=rod_pitch_m,
        roll_radius_m=diameter_m / 2 + offset_m,
        lap_m=drive.lap_rods * rod_pitch_m if drive.kind == "sprocket" else lap_m,
    )


class Mover:
    """Makes one segment of motion after the other."""

    def __init__(self, plan: spec.Plan, seed: int) -> None:
        self.plan, self.built = plan, build(plan.drive, seed)
        hydraulics, field = plan.hydraulics, plan.ground
        nominal = _built(plan.drive, np.zeros(4))  # what the operator goes by
        ratio = field.ratio + field.ratio_spread * stream(seed, "operator").standard_normal()
        self._flow_m3_per_s = self._set_flow(nominal.turn_m, ratio)
        self._load_noise = Wander(stream(seed, "engine load"), 4.0, STEP_S)
        self._crop_noise = Wander(stream(seed, "crop"), 2.0, STEP_S)
        self._slip_noise = Wander(stream(seed, "wheel slip"), 5.0, STEP_S)
        self._pace_noise = Wander(stream(seed, "driver"), field.wander_s, STEP_S)
        self._engine_lag = Lag(hydraulics.engine_lag_s, STEP_S)
        self._drive_lag = Lag(hydraulics.drive_lag_s, STEP_S)
        self._steps = 0
        start: dict[str, Any] = dict.fromkeys(_ARRAYS, np.zeros(1))
        self._past = Motion(**start, new=1)

    def advance(self) -> Motion:
        """The next segment."""
        number = np.arange(self._steps + 1, self._steps + SEGMENT_STEPS + 1, dtype=np.float64)
        first, self._steps = self._steps == 0, self._steps + SEGMENT_STEPS
        fresh, past = self._fresh(number * STEP_S), self._past
        if first:  # nothing moved before 0; the sensors' past is as the first step
            values = ("ground_mps", "wheel_mps", "engine_hz", "oil_c", "slip", "belt_slip")
            past = replace(past, **{name: getattr(fresh, name)[:1] for name in values})
        joined: dict[str, Any] = {
            name: np.concatenate((getattr(past, name), getattr(fresh, name))) for name in _ARRAYS
        }
        motion = Motion(**joined, new=past.time_s.size)
        self._past = motion.since(self._tail_node(motion))
        return motion

    def _tail_node(self, motion: Motion) -> int:
        """The first node the next segment may still need: 6 s back, or four teeth."""
        pitch_turns = self.built.turns_per_target_turn / self.built.teeth
        shaft = np.searchsorted(motion.shaft_turns, motion.shaft_turns[-1] - 4 * pitch_turns)
        time = np.searchsorted(motion.time_s, motion.time_s[-1] - _TAIL_S)
        return max(0, min(int(shaft), int(time)) - 1)

    def _fresh(self, time_s: Floats) -> Motion:
        """New nodes only. Each thing drives the next: field, engine, tractor, oil, belt."""
        hydraulics, field = self.plan.hydraulics, self.plan.ground
        share, crop, into_s = ground.pass_phase(time_s, field)
        soft = ground.in_soft_spot(into_s, field)
        engine_hz = self._engine_hz(crop, soft)
        slip = field.slip + field.soft_slip * soft
        slip = np.clip(slip + field.slip_noise * self._slip_noise(time_s.size), 0, 0.95)
        wheel_mps = self._wheel_mps(time_s, share, engine_hz)
        ground_mps = ground.ground_speed_mps(wheel_mps, slip)
        oil_c = machine.oil_temperature_c(
            time_s, hydraulics.oil_start_c, hydraulics.oil_work_c, hydraulics.oil_warming_s
        )
        force_n = self._force_n(crop * ground_mps)
        shaft_hz = self._drive_lag(self._shaft_hz(time_s, engine_hz, oil_c, force_n))
        belt_slip, turn_m = self._belt(time_s, force_n)
        past = self._past
        return Motion(
            time_s=time_s,
            shaft_turns=past.shaft_turns[-1] + np.cumsum(shaft_hz) * STEP_S,
            belt_m=past.belt_m[-1] + np.cumsum(shaft_hz * turn_m * (1 - belt_slip)) * STEP_S,
            ground_m=past.ground_m[-1] + np.cumsum(ground_mps) * STEP_S,
            ground_mps=ground_mps,
            wheel_mps=wheel_mps,
            engine_hz=engine_hz,
            oil_c=oil_c,
            lane=ground.lane(time_s, field),
            slip=slip,
            belt_slip=belt_slip,
            new=0,
        )

    def _engine_hz(self, crop: Floats, soft: Floats) -> Floats:
        """Engine speed under the load of work, of the soft spot, and of what else comes."""
        hydraulics = self.plan.hydraulics
        load = hydraulics.engine_load * (0.4 + 0.6 * crop) + self.plan.ground.soft_load * soft
        load += hydraulics.engine_load_noise * self._load_noise(crop.size)
        return self._engine_lag(
            machine.engine_speed_hz(
                hydraulics.engine_speed_hz,
                hydraulics.droop_rel,
                np.clip(load, 0, 1.2),
                hydraulics.engine_load,
            )
        )

    def _wheel_mps(self, time_s: Floats, share: Floats, engine_hz: Floats) -> Floats:
        """Wheel speed: in one gear it follows the engine; always the driver's foot."""
        field = self.plan.ground
        working = field.speed_mps / (1 - field.slip)
        pace = ground.moved(time_s, self.plan.pace)
        wander = 1 + field.wander_rel * self._pace_noise(time_s.size)
        engine = engine_hz / self.plan.hydraulics.engine_speed_hz
        if field.transmission == "variable":
            engine = np.ones_like(engine)
        return np.maximum(working * share * pace * wander * engine, 0.0)

    def _force_n(self, crop_mps: Floats) -> Floats:
        """Pull on the belt: running empty, and the crop that lies on it.

        A metre of row brings its mass; at working speed the belt holds a span of it.
        """
        belt, field = self.plan.belt, self.plan.ground
        on_belt_kg = field.crop_kg_per_m * belt.span_m * crop_mps / max(field.speed_mps, 0.1)
        noise = 1 + field.crop_noise_rel * self._crop_noise(crop_mps.size)
        return belt.empty_force_n + field.crop_force_n_per_kg * on_belt_kg * np.maximum(noise, 0)

    def _radius_m(self) -> float:
        built = self.built
        if built.kind == "roll":
            return built.roll_radius_m
        return machine.sprocket_pitch_diameter_m(built.rod_pitch_m, built.sprocket_teeth) / 2

    def _leak_m3_per_s(self, force_n: Floats, oil_c: Floats) -> Floats:
        hydraulics = self.plan.hydraulics
        pressure_pa = machine.motor_pressure_pa(
            force_n * self._radius_m(), hydraulics.motor_m3, hydraulics.motor_torque_efficiency
        )
        mu_pa_s = machine.oil_viscosity_pa_s(oil_c)
        return machine.motor_leak_m3_per_s(
            pressure_pa, hydraulics.motor_m3, hydraulics.motor_leak, mu_pa_s
        )

    def _set_flow(self, turn_m: float, ratio: float) -> float:
        """Flow at which belt ÷ ground is `ratio` by the pulses, in crop, oil as at the start."""
        hydraulics, field = self.plan.hydraulics, self.plan.ground
        shaft_hz = ratio * field.speed_mps / turn_m
        crop_kg = field.crop_kg_per_m * self.plan.belt.span_m
        force_n = self.plan.belt.empty_force_n + field.crop_force_n_per_kg * crop_kg
        leak = self._leak_m3_per_s(np.array([force_n]), np.array([hydraulics.oil_start_c]))
        return float(shaft_hz * hydraulics.motor_m3 + leak[0])

    def _shaft_hz(
        self, time_s: Floats, engine_hz: Floats, oil_c: Floats, force_n: Floats
    ) -> Floats:
        hydraulics = self.plan.hydraulics
        flow = self._flow_m3_per_s * ground.moved(time_s, self.plan.valve)
        pump = machine.pump_flow_m3_per_s(engine_hz, hydraulics.pump_m3, hydraulics.pump_efficiency)
        if hydraulics.valve == "divider":  # a fixed share of what the pump gives
            flow = flow * engine_hz / hydraulics.engine_speed_hz
        flow = np.minimum(flow, pump)
        leak = np.minimum(self._leak_m3_per_s(force_n, oil_c), flow)
        efficiency = 1 - leak / np.maximum(flow, 1e-12)
        return machine.motor_speed_hz(flow, hydraulics.motor_m3, efficiency)

    def _belt(self, time_s: Floats, force_n: Floats) -> tuple[Floats, Floats]:
        """(belt slip, belt travel a turn): a sprocket does neither slip nor gather mud."""
        belt, built = self.plan.belt, self.built
        if built.kind == "sprocket":
            return np.zeros_like(time_s), np.full_like(time_s, built.turn_m)
        mud_m = belt.mud_m + belt.mud_growth_m_per_s * time_s
        tension_n = machine.sag_tension_n(belt.mass_kg_per_m, belt.span_m, belt.sag_m)
        grip = machine.grip_n(tension_n, belt.friction, belt.wrap_rad)
        slip = machine.belt_slip_rel(force_n, grip, belt.creep_rel, belt.gross_slip_rel)
        return slip, built.turn_m + 2 * math.pi * mud_m

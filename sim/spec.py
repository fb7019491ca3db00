"""Everything a scenario may set, in SI, with its source or 'chosen' beside it.

Each class is one section of a scenario's TOML file, each field one key. A key that may
differ from seed to seed also takes a pair `[low, high]`, from which each seed draws
evenly. `within` holds what is physically in sense; `sim.scenarios` checks against it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

ALWAYS_SAME = "always same"
"""Metadata key of a value that may not be drawn: it stands in the machine file."""


def within(default: float, low: float, high: float, *, same: bool = False) -> Any:
    """A number from `low` to `high`."""
    return field(default=default, metadata={"low": low, "high": high, ALWAYS_SAME: same})


def one_of(*words: str) -> Any:
    """One of some words; the first is the default."""
    return field(default=words[0], metadata={"words": words, ALWAYS_SAME: True})


@dataclass(frozen=True, slots=True)
class DrivePlan:
    """The drive line as built. The machine file says the same, unless [typed] differs.

    Standard uncertainties: the seed's own machine departs from the nominal by a normal
    deviate of just this size, so that an interval that counts them is put to the test.
    """

    kind: str = one_of("sprocket", "roll")
    target_teeth: int = within(30, 4, 500, same=True)  # chosen
    turns_per_target_turn: float = within(1.0, 0.01, 100, same=True)
    sprocket_teeth: int = within(8, 3, 200, same=True)  # chosen
    rod_pitch_m: float = within(0.0508, 0.005, 0.5, same=True)  # chosen, 2 in
    u_rod_pitch_m: float = within(30e-6, 0, 0.01, same=True)  # chosen, 0.06 %
    roll_diameter_m: float = within(0.150, 0.02, 2, same=True)  # chosen
    u_roll_diameter_m: float = within(0.0005, 0, 0.01, same=True)  # the machine file's default
    pitch_line_offset_m: float = within(0.004, 0, 0.05, same=True)  # chosen, 8 mm belt
    u_pitch_line_offset_m: float = within(0.0003, 0, 0.01, same=True)  # chosen
    lap_rods: int = within(180, 10, 5000, same=True)  # chosen, 9.144 m
    u_lap_length_m: float = within(0.005, 0, 0.1, same=True)  # a steel tape, chosen


@dataclass(frozen=True, slots=True)
class BeltPlan:
    """How the belt hangs and what it carries on."""

    span_m: float = within(2.0, 0.2, 20)  # chosen
    sag_m: float = within(0.057, 0.002, 0.5)  # 2 1/4 in, common practice, no source
    mass_kg_per_m: float = within(25.0, 0.5, 200)  # chosen: steel rods 1.8 m wide
    friction: float = within(0.35, 0.02, 1.2)  # belt on roll, chosen
    wrap_rad: float = within(3.1416, 0.3, 6.3)  # half a turn
    creep_rel: float = within(0.003, 0, 0.05)  # slip at the limit of grip, chosen
    gross_slip_rel: float = within(0.25, 0, 1)  # slip per load beyond the grip, chosen
    mud_m: float = within(0.0, 0, 0.05)  # thickness on the roll at the start
    mud_growth_m_per_s: float = within(0.0, 0, 0.001)
    empty_force_n: float = within(800.0, 0, 20000)  # chosen


@dataclass(frozen=True, slots=True)
class Hydraulics:
    """Engine, pump, flow control, motor and oil."""

    valve: str = one_of("compensated", "divider")
    engine_speed_hz: float = within(31.7, 8, 60)  # 1900 1/min, chosen
    droop_rel: float = within(0.06, 0, 0.4)  # no load to full load, from memory 5 to 10 %
    engine_lag_s: float = within(1.0, 0.05, 20)  # governor and flywheel, chosen
    engine_load: float = within(0.5, 0, 1)  # share of full load at work, chosen
    engine_load_noise: float = within(0.03, 0, 0.5)  # chosen
    pump_m3: float = within(45e-6, 1e-6, 1e-3)  # a turn, chosen: 90 L/min, over 15 gal/min
    pump_efficiency: float = within(0.92, 0.3, 1)  # volumetric, chosen
    motor_m3: float = within(160e-6, 1e-6, 5e-3)  # a turn, chosen
    motor_leak: float = within(6e-9, 0, 1e-6)  # Wilson's slip coefficient, from memory
    motor_torque_efficiency: float = within(0.88, 0.3, 1)  # chosen
    drive_lag_s: float = within(0.15, 0.02, 10)  # belt inertia against the oil, chosen
    oil_start_c: float = within(55.0, -30, 110)
    oil_work_c: float = within(55.0, -30, 110)  # chosen
    oil_warming_s: float = within(400.0, 10, 20000)  # time constant, chosen


@dataclass(frozen=True, slots=True)
class Ground:
    """The pass: stand, approach, steady run with a soft spot, headland, and again."""

    ratio: float = within(1.0, 0.2, 5)  # belt ÷ ground the operator's valve setting gives
    ratio_spread: float = within(0.005, 0, 0.2)  # how near he gets, chosen, 1 sigma
    transmission: str = one_of("gear", "variable")  # "variable" holds the speed set
    speed_mps: float = within(1.23, 0, 5)  # 2.75 mph, common practice, no source
    stand_s: float = within(3.0, 0, 100000)
    approach_s: float = within(8.0, 0.5, 600)
    run_s: float = within(240.0, 10, 100000)
    headland_s: float = within(25.0, 4, 600)
    headland_speed: float = within(0.5, 0.05, 1)  # share of the working speed
    soft_at_s: float = within(100.0, 0, 100000)  # after the steady run's start
    soft_s: float = within(15.0, 0, 1000)
    soft_slip: float = within(0.05, 0, 0.6)  # added wheel slip there, chosen
    soft_load: float = within(0.10, 0, 1)  # added engine load there, chosen
    slip: float = within(0.08, 0, 0.6)  # 8 to 15 % is usual, Oklahoma State Extension
    slip_noise: float = within(0.004, 0, 0.1)  # chosen
    wander_rel: float = within(0.01, 0, 0.5)  # the driver's own, 1 sigma, chosen
    wander_s: float = within(8.0, 0.5, 600)  # its correlation time, chosen
    crop_kg_per_m: float = within(5.5, 0, 100)  # vines and soil on a metre of row, chosen
    crop_noise_rel: float = within(0.15, 0, 1)  # chosen
    crop_force_n_per_kg: float = within(50.0, 0, 1000)  # lift, friction, shaking, chosen
    heading_deg: float = within(35.0, 0, 360)
    latitude_deg: float = within(31.5, -80, 80)  # invented
    longitude_deg: float = within(-84.0, -180, 180)  # invented


@dataclass(frozen=True, slots=True)
class PickupPlan:
    """One pickup and the target wheel it faces."""

    kind: str = one_of("variable-reluctance", "hall", "inductive")
    fitted: int = within(1, 0, 1)
    gap_m: float = within(0.0016, 0.0002, 0.02)  # 1/16 in, common practice, no source
    tip_radius_m: float = within(0.055, 0.01, 0.5)  # chosen
    spacing_rel: float = within(0.006, 0, 0.2)  # tooth spacing error, 1 sigma of a pitch, chosen
    runout_m: float = within(0.00004, 0, 0.005)  # eccentricity of the tip circle, chosen
    play_m: float = within(0.000002, 0, 0.002)  # bearing play, 1 sigma, chosen
    bent_tooth: int = within(0, 0, 500)  # which, counted from the mark; 0 is none
    bent_shift_rel: float = within(0.12, -0.45, 0.45)  # of a tooth pitch
    bent_gap_m: float = within(0.0004, -0.001, 0.02)  # farther from the pickup
    worn_tooth: int = within(0, 0, 500)
    worn_gap_m: float = within(0.001, 0, 0.02)
    missing_tooth: int = within(0, 0, 500)
    volts_per_mps: float = within(3.0, 0.01, 500)  # amplitude at 1 m/s and 1.6 mm, chosen
    decay_m: float = within(0.0, 0, 0.1)  # e-folding length of the gap; 0: tooth pitch ÷ 2 pi
    threshold_v: float = within(0.5, 0.001, 50)  # comparator on, chosen
    hysteresis_v: float = within(0.2, 0, 50)  # chosen
    noise_v: float = within(0.01, 0, 20)  # rms at the comparator, chosen
    operate_rel: float = within(0.14, 0.001, 1)  # Hall, inductive: share of the field at gap 0
    release_rel: float = within(0.10, 0.001, 1)  # chosen
    most_hz: float = within(3000.0, 1, 100000)  # inductive: highest switching rate, chosen
    angle_noise_rel: float = within(0.0005, 0, 0.1)  # Hall, inductive: jitter, of a pitch, chosen
    bounce: float = within(0.0, 0, 1)  # share of edges that bounce
    bounce_s: float = within(0.0008, 1e-5, 0.05)  # mean delay of the bounce, chosen
    bursts_per_s: float = within(0.0, 0, 2)  # ignition noise
    burst_hz: float = within(110.0, 1, 2000)  # rate of sparks within a burst
    burst_s: float = within(0.25, 0.001, 10)  # mean length of a burst
    hum_hz: float = within(0.0, 0, 400)  # mains or alternator pick-up, a false edge each cycle
    breaks_per_s: float = within(0.0, 0, 10)  # cable breaks
    break_s: float = within(0.5, 0.001, 1000)  # mean length of a break


@dataclass(frozen=True, slots=True)
class Counter:
    """The pulse counter's clock and the lap mark."""

    tick_s: float = within(1e-6, 1e-9, 1e-3, same=True)
    clock_rel: float = within(0.0, -0.01, 0.01)  # a constant error on top of the crystal's
    u_clock_rel: float = within(30e-6, 0, 0.01)  # common crystal, common practice, no source
    lap_mark: int = within(1, 0, 1)  # a second pickup that sees one mark on the belt


@dataclass(frozen=True, slots=True)
class GroundSensors:
    """Wheel and radar messages, the engine's values, the satellite receiver."""

    wheel: int = within(1, 0, 1)
    wheel_scale_rel: float = within(0.0, -0.5, 0.5)  # tyre pressure and wear
    wheel_known_slip: float = within(0.08, 0, 0.6)  # slip at which the wheel factor was set
    radar: int = within(1, 0, 1)
    radar_scale_rel: float = within(0.01, -0.5, 0.5)  # mounting angle: 1 deg is 1.3 % at 36 deg
    radar_noise_rel: float = within(0.01, 0, 0.5)  # chosen
    gnss: int = within(1, 0, 1)
    gnss_latency_s: float = within(0.4, 0, 5)  # low-cost receivers lag, Trans. CSAE 2010
    gnss_noise_mps: float = within(0.02, 0, 2)  # correlated part, 1 sigma, chosen
    gnss_noise_s: float = within(3.0, 0.05, 600)  # its correlation time, chosen
    gnss_white_mps: float = within(0.02, 0, 2)  # chosen
    gnss_step_mps: float = within(0.001, 1e-4, 0.2)  # resolution of the message
    gnss_u_mps: float = within(0.04, 0, 5)  # accuracy the receiver states, chosen
    gnss_outages_per_s: float = within(0.0, 0, 1)
    gnss_outage_s: float = within(8.0, 0.1, 10000)  # mean length
    position_noise_m: float = within(0.6, 0, 100)  # slow, chosen
    oil_sensor: int = within(1, 0, 1)  # oil temperature on the bus


@dataclass(frozen=True, slots=True)
class ReadoutPlan:
    """The display in the cab; it counts the left pickup's pulses."""

    unit: str = one_of("mph", "km/h", "m/s", "ft/min")
    step: float = within(0.1, 0.0001, 100, same=True)
    reads: str = one_of("inverse", "direct")
    setting_error_rel: float = within(0.0, -0.9, 5, same=True)
    """How far the number set in it lies from the right one."""
    rounds: str = one_of("nearest", "down")
    averaging_s: float = within(1.0, 0, 30)  # exponential, chosen
    hysteresis_steps: float = within(0.0, 0, 2)  # of the last digit, against flicker


@dataclass(frozen=True, slots=True)
class Move:
    """From `at_s` on, within `over_s`, go to `to` times the value at the start."""

    at_s: float = within(0.0, 0, 1e6)
    to: float = within(1.0, 0, 20)
    over_s: float = within(1.0, 0, 1e5)


@dataclass(frozen=True, slots=True)
class Plan:
    """One seed's scenario: every value drawn."""

    drive: DrivePlan
    belt: BeltPlan
    hydraulics: Hydraulics
    ground: Ground
    left: PickupPlan
    right: PickupPlan
    counter: Counter
    sensors: GroundSensors
    readout: ReadoutPlan
    valve: tuple[Move, ...]
    pace: tuple[Move, ...]


SECTIONS: dict[str, type] = {
    "drive": DrivePlan,
    "belt": BeltPlan,
    "hydraulics": Hydraulics,
    "ground": Ground,
    "left": PickupPlan,
    "right": PickupPlan,
    "counter": Counter,
    "sensors": GroundSensors,
    "readout": ReadoutPlan,
}
MOVES = ("valve", "pace")
"""Lists of moves: the flow control's opening, and the ground speed."""

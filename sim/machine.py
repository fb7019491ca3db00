"""The machine's physics: engine, pump, valve, motor, oil, and what drives the belt.

Plain functions in SI, each with its source; `tests/sim` checks them against handbook
examples. Turns are revolutions a second, flows m³/s, pressures Pa, oil μ in Pa·s.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from drivers.contract import Floats

GRAVITY_MPS2 = 9.80665
OIL_DENSITY_KG_PER_M3 = 870.0
"""A tractor's transmission and hydraulic oil, from memory."""
_OIL_40_MM2_PER_S, _OIL_100_MM2_PER_S = 60.0, 9.4
"""Kinematic viscosities of such an oil at 40 and 100 °C, chosen."""


def _floats(values: ArrayLike) -> Floats:
    return np.asarray(values, dtype=np.float64)


def motor_speed_hz(flow_m3_per_s: ArrayLike, volume_m3: float, efficiency: ArrayLike) -> Floats:
    """Turns a second of a hydraulic motor: Q·ηv/D (Esposito, Fluid Power, ch. 7)."""
    return _floats(flow_m3_per_s) * _floats(efficiency) / volume_m3


def pump_flow_m3_per_s(speed_hz: ArrayLike, volume_m3: float, efficiency: float) -> Floats:
    """Flow of a pump: n·D·ηv (Esposito, ch. 6)."""
    return _floats(speed_hz) * volume_m3 * efficiency


def motor_pressure_pa(torque_nm: ArrayLike, volume_m3: float, efficiency: float) -> Floats:
    """Pressure across a motor for a torque: 2π·T/(D·ηm) (Esposito, ch. 7)."""
    return 2 * math.pi * _floats(torque_nm) / (volume_m3 * efficiency)


def motor_leak_m3_per_s(
    pressure_pa: ArrayLike, volume_m3: float, slip_coefficient: float, mu_pa_s: ArrayLike
) -> Floats:
    """Laminar slip of a motor: Cs·(D/2π)·Δp/μ (Wilson's model, Merritt 1967, from memory)."""
    radian_m3 = volume_m3 / (2 * math.pi)
    return slip_coefficient * radian_m3 * _floats(pressure_pa) / _floats(mu_pa_s)


def oil_viscosity_pa_s(oil_c: ArrayLike) -> Floats:
    """Dynamic viscosity by ASTM D341 (Walther), lg lg(ν + 0.7) = A − B·lg T, from memory."""
    lglg = [math.log10(math.log10(nu + 0.7)) for nu in (_OIL_40_MM2_PER_S, _OIL_100_MM2_PER_S)]
    lg_t = [math.log10(273.15 + c) for c in (40.0, 100.0)]
    b = (lglg[0] - lglg[1]) / (lg_t[1] - lg_t[0])
    a = lglg[0] + b * lg_t[0]
    lg_now = a - b * np.log10(273.15 + _floats(oil_c))
    nu_mm2_per_s = 10.0 ** (10.0**lg_now) - 0.7
    return _floats(nu_mm2_per_s * 1e-6 * OIL_DENSITY_KG_PER_M3)


def oil_temperature_c(time_s: ArrayLike, start_c: float, work_c: float, warming_s: float) -> Floats:
    """Oil warming to its working temperature, first order."""
    left = np.exp(-_floats(time_s) / warming_s)
    return work_c + (start_c - work_c) * left


def engine_speed_hz(set_hz: float, droop_rel: float, load: ArrayLike, load_set: float) -> Floats:
    """Speed under a governor with droop; `set_hz` is what it is at `load_set` (0 to 1)."""
    return set_hz * (1 - droop_rel * (_floats(load) - load_set))


def sprocket_pitch_diameter_m(pitch_m: float, teeth: int) -> float:
    """P/sin(180°/N): the handbook's sprocket formula."""
    return pitch_m / math.sin(math.pi / teeth)


def polygon_advance_m(angle_rad: Floats, pitch_m: float, teeth: int) -> Floats:
    """How far the belt is ahead of even running, m, at a shaft angle (polygon effect).

    Between two engagements the strand moves as the seat's projection, ω·r·cos φ with
    φ from −π/N to π/N, so a turn moves exactly N·P and the speed ripples by 1 − cos(π/N).
    """
    step = 2 * math.pi / teeth
    phi = np.mod(angle_rad, step) - step / 2
    radius_m = sprocket_pitch_diameter_m(pitch_m, teeth) / 2
    return _floats(radius_m * np.sin(phi) - pitch_m * phi / step)


def sag_tension_n(mass_kg_per_m: float, span_m: float, sag_m: float) -> float:
    """Pull in a hanging strand, the parabola's H = w·l²/(8·f)."""
    return mass_kg_per_m * GRAVITY_MPS2 * span_m**2 / (8 * sag_m)


def sag_length_m(span_m: float, sag_m: float) -> float:
    """Length of a hanging strand: l·(1 + 8f²/(3l²))."""
    return span_m * (1 + 8 * sag_m**2 / (3 * span_m**2))


def grip_n(slack_tension_n: float, friction: float, wrap_rad: float) -> float:
    """Greatest pull a roll gives a belt: H·(exp(μβ) − 1) (Euler, Eytelwein)."""
    return slack_tension_n * math.expm1(friction * wrap_rad)


def belt_slip_rel(
    force_n: ArrayLike, grip_limit_n: float, creep_rel: float, gross_rel: float
) -> Floats:
    """Slip of a belt on its roll, 0 to 0.9, for a pull and the greatest there can be.

    Elastic creep grows with the share of the grip in use; beyond it the belt slips
    bodily, the more the greater the excess (the slope is chosen).
    """
    share = _floats(force_n) / grip_limit_n
    creep = creep_rel * np.minimum(share, 1.0)
    return np.clip(creep + gross_rel * np.maximum(share - 1.0, 0.0), 0.0, 0.9)

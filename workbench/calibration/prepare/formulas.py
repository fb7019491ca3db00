"""The physics and the geometry behind the checks before a run; SI, angles in degrees."""

from __future__ import annotations

import math

from workbench.base.units import INCH_M

GRAVITY_MPS2 = 9.80665
SINGLE_OUT_M = 10 * INCH_M
TWIN_OUT_M = {7 * INCH_M: 9 * INCH_M, 9 * INCH_M: 8 * INCH_M}
"""From the middle of a single row, or the outer twin, out to the inner edge of its shank, by the
twins' distance (common practice, no source); between the two it goes in a straight line."""
OIL_DENSITY_KG_PER_M3 = 870.0
_OIL_40_MM2_PER_S, _OIL_100_MM2_PER_S = 60.0, 9.4
"""A tractor's transmission and hydraulic oil, as the simulator has it: density from memory,
kinematic viscosities at 40 and 100 °C chosen."""


def sag_tension_n(kg_per_m: float, span_m: float, sag_m: float) -> float:
    """Pull along a strand that hangs `sag_m` below the straight line: H = w·l²/(8·f), the
    parabola (engineering mechanics; Gupta, Elements of Power System, ex. 10.2)."""
    return kg_per_m * GRAVITY_MPS2 * span_m**2 / (8 * sag_m)


def elongation_rel(length_m: float, links: float, pitch_m: float) -> float:
    """How much longer a chain of so many links is than when new (ANSI B29.1: pitch × links)."""
    return length_m / (links * pitch_m) - 1


def motor_turns_hz(flow_m3_per_s: float, volume_m3: float, efficiency: float) -> float:
    """Turns a second of a hydraulic motor: Q·ηv/D (Esposito, Fluid Power, ch. 7)."""
    return flow_m3_per_s * efficiency / volume_m3


def flow_needed_m3_per_s(turns_hz: float, volume_m3: float, efficiency: float) -> float:
    """The flow for so many turns a second, leakage included: n·D/ηv."""
    return turns_hz * volume_m3 / efficiency


def oil_viscosity_pa_s(oil_c: float) -> float:
    """Dynamic viscosity by ASTM D341 (Walther), lg lg(ν + 0.7) = A − B·lg T, from memory: the
    simulator's own law."""
    lglg = [math.log10(math.log10(nu + 0.7)) for nu in (_OIL_40_MM2_PER_S, _OIL_100_MM2_PER_S)]
    lg_t = [math.log10(273.15 + c) for c in (40.0, 100.0)]
    b = (lglg[0] - lglg[1]) / (lg_t[1] - lg_t[0])
    a = lglg[0] + b * lg_t[0]
    nu_mm2_per_s = 10.0 ** (10.0 ** (a - b * math.log10(273.15 + oil_c))) - 0.7
    return float(nu_mm2_per_s * 1e-6 * OIL_DENSITY_KG_PER_M3)


def efficiency_at(oil_c: float, warm_c: float, efficiency: float) -> float:
    """The share of the oil that turns the motor at another temperature, 0 at the least.

    What leaks goes as 1/μ at one pressure (Wilson's model; Merritt 1967, from memory).
    """
    leak = (1 - efficiency) * oil_viscosity_pa_s(warm_c) / oil_viscosity_pa_s(oil_c)
    return max(0.0, 1 - leak)


def tilt_deg(left_m: float, right_m: float, width_m: float) -> float:
    """How far the machine leans, + where the left side is the higher."""
    return math.degrees(math.atan2(left_m - right_m, width_m))


def shank_offset_m(rows: str, twin_m: float) -> float:
    """From a row's middle out to the inner edge of its shank, by common practice, no source;
    NaN for twins nearer than 6 or farther apart than 10 in, of which nobody says."""
    if rows == "single":
        return SINGLE_OUT_M
    if not 6 * INCH_M - 1e-9 <= twin_m <= 10 * INCH_M + 1e-9:
        return math.nan
    (near, near_out), (far, far_out) = TWIN_OUT_M.items()
    out_m = near_out + (twin_m - near) * (far_out - near_out) / (far - near)
    return twin_m / 2 + out_m


def shank_distances_m(row_count: int, row_m: float, offset_m: float) -> tuple[float, ...]:
    """Of each shank's inner edge from the conveyor's centre line, on either side alike, from the
    centre outwards: the rows lie half a row, one and a half … from it."""
    return tuple((at + 0.5) * row_m + offset_m for at in range(row_count // 2))

"""How far the drop-out speed lies below the lowest working speed, and in gap."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum, auto

from workbench.base.statements import Statement, statement
from workbench.calibration.gap.amplitude import AmplitudeLaw
from workbench.calibration.gap.dropout import DropOut
from workbench.calibration.gap.judgement import Estimate
from workbench.calibration.pulses.drive_line import MetresPerPulse
from workbench.calibration.statistics.decision import Decision, Verdict, decide


class DropOutSays(StrEnum):
    """What a drop-out run shows of the working speeds, and why the verdict is so."""

    NONE_MISSING = auto()
    NONE_MISSING_YET = auto()
    MISSING_AT_WORK = auto()
    MISSING_BELOW_WORK = auto()
    BELOW_ALL_WORK = auto()
    SLOWED_TOO_LITTLE = auto()


@dataclass(frozen=True, slots=True)
class DropOutShown:
    """At what tooth rate and belt speed teeth go missing; NaN where none did. U with k = 2.

    `margin` is lowest working speed ÷ drop-out speed; `gap_at_limit_m` the gap at which teeth
    would go missing at the lowest working speed, NaN where the voltage does not tell it.
    """

    tooth_rate_hz: float
    u_tooth_rate_hz: float
    speed_mps: float
    u_speed_mps: float
    U_speed_mps: float
    margin: float
    first_tooth: int | None
    first_angle_deg: float
    first_missed_mps: float
    slowest_mps: float
    missed: int
    passages: int
    sentence: Statement
    gap_at_limit_m: float = math.nan
    u_gap_at_limit_m: float = math.nan
    U_gap_at_limit_m: float = math.nan


def judge_drop_out(
    found: DropOut, per_pulse: MetresPerPulse, low_mps: float
) -> tuple[DropOutShown, Decision]:
    """Hold a drop-out rate against the lowest working speed `low_mps`."""
    speed_mps, slowest_mps = (per_pulse.value_m * hz for hz in (found.tooth_hz, found.lowest_hz))
    u_mps = speed_mps * math.hypot(found.u_rel, per_pulse.u_rel)
    if math.isnan(found.tooth_hz):
        decision, sentence = _none_missing(slowest_mps, low_mps)
    else:
        decision = decide(speed_mps, u_mps, 0.0, low_mps)
        sentence = _what_goes_missing(found.tooth, speed_mps, low_mps)
    shown = DropOutShown(
        tooth_rate_hz=found.tooth_hz,
        u_tooth_rate_hz=found.tooth_hz * found.u_rel,
        speed_mps=speed_mps,
        u_speed_mps=u_mps,
        U_speed_mps=2 * u_mps,
        margin=low_mps / speed_mps,
        first_tooth=found.tooth or None,
        first_angle_deg=found.angle_deg,
        first_missed_mps=per_pulse.value_m * found.first_hz,
        slowest_mps=slowest_mps,
        missed=found.missed,
        passages=found.passages,
        sentence=sentence,
    )
    return shown, decision


def _none_missing(slowest_mps: float, low_mps: float) -> tuple[Decision, Statement]:
    if slowest_mps <= low_mps:
        passed = Decision(Verdict.PASS, 1.0, statement(DropOutSays.BELOW_ALL_WORK))
        return passed, statement(DropOutSays.NONE_MISSING, slowest_mps=slowest_mps)
    untold = Decision(Verdict.CANNOT_TELL, math.nan, statement(DropOutSays.SLOWED_TOO_LITTLE))
    speeds = {"slowest_mps": slowest_mps, "low_mps": low_mps}
    return untold, statement(DropOutSays.NONE_MISSING_YET, **speeds)


def _what_goes_missing(tooth: int, speed_mps: float, low_mps: float) -> Statement:
    speeds = {"speed_mps": speed_mps, "low_mps": low_mps}
    if speed_mps > low_mps:
        return statement(DropOutSays.MISSING_AT_WORK, tooth=tooth, **speeds)
    times = low_mps / speed_mps
    return statement(DropOutSays.MISSING_BELOW_WORK, tooth=tooth, times=times, **speeds)


def with_gap_at_limit(shown: DropOutShown, gap: Estimate, law: AmplitudeLaw) -> DropOutShown:
    """With the gap at which teeth would go missing at the lowest working speed.

    The drop-out speed grows as exp(g/δ), so the gap may grow by δ·ln(margin).
    """
    room, u_margin_rel = math.log(shown.margin), shown.u_speed_mps / shown.speed_mps
    u_m = math.hypot(gap.u, law.decay_m * u_margin_rel, law.u_decay_m * room)
    return replace(
        shown,
        gap_at_limit_m=gap.value + law.decay_m * room,
        u_gap_at_limit_m=u_m,
        U_gap_at_limit_m=2 * u_m,
    )

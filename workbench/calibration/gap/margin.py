"""How far the drop-out speed lies below the lowest working speed, and in gap."""

from __future__ import annotations

import math
from dataclasses import dataclass
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
class DropOutMargin:
    """Drop-out as a belt speed; `margin` is lowest working speed ÷ drop-out speed.

    Speeds in m/s; NaN where no tooth went missing. `sentence` is the answer.
    """

    speed: Estimate
    margin: float
    first_missed_mps: float
    slowest_mps: float
    decision: Decision
    sentence: Statement


def judge_drop_out(found: DropOut, per_pulse: MetresPerPulse, low_mps: float) -> DropOutMargin:
    """Hold a drop-out rate against the lowest working speed `low_mps`."""
    speed_mps = per_pulse.value_m * found.tooth_hz
    speed = Estimate(speed_mps, speed_mps * math.hypot(found.u_rel, per_pulse.u_rel))
    slowest_mps = per_pulse.value_m * found.lowest_hz
    if math.isnan(found.tooth_hz):
        decision, sentence = _none_missing(slowest_mps, low_mps)
    else:
        decision = decide(speed.value, speed.u, 0.0, low_mps)
        sentence = _what_goes_missing(found.tooth, speed_mps, low_mps)
    return DropOutMargin(
        speed=speed,
        margin=low_mps / speed_mps,
        first_missed_mps=per_pulse.value_m * found.first_hz,
        slowest_mps=slowest_mps,
        decision=decision,
        sentence=sentence,
    )


def _none_missing(slowest_mps: float, low_mps: float) -> tuple[Decision, Statement]:
    if slowest_mps <= low_mps:
        passed = Decision(Verdict.PASS, 1.0, statement(DropOutSays.BELOW_ALL_WORK))
        return passed, statement(DropOutSays.NONE_MISSING, slowest_mps=slowest_mps)
    untold = Decision(Verdict.CANNOT_TELL, math.nan, statement(DropOutSays.SLOWED_TOO_LITTLE))
    speeds = {"slowest_mps": slowest_mps, "low_mps": low_mps}
    return untold, statement(DropOutSays.NONE_MISSING_YET, **speeds)


def _what_goes_missing(tooth: int, speed_mps: float, low_mps: float) -> Statement:
    if speed_mps > low_mps:
        return statement(
            DropOutSays.MISSING_AT_WORK, tooth=tooth, speed_mps=speed_mps, low_mps=low_mps
        )
    return statement(
        DropOutSays.MISSING_BELOW_WORK,
        tooth=tooth,
        speed_mps=speed_mps,
        low_mps=low_mps,
        times=low_mps / speed_mps,
    )


def gap_at_limit(gap: Estimate, margin: float, u_margin_rel: float, law: AmplitudeLaw) -> Estimate:
    """The gap at which teeth would go missing at the lowest working speed.

    The drop-out speed grows as exp(g/δ), so the gap may grow by δ·ln(margin).
    """
    room_m = law.decay_m * math.log(margin)
    u_decay_m = law.u_decay_m * math.log(margin)
    u_m = math.sqrt(gap.u**2 + (law.decay_m * u_margin_rel) ** 2 + u_decay_m**2)
    return Estimate(gap.value + room_m, u_m)

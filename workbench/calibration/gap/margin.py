"""How far the drop-out speed lies below the lowest working speed, and in gap."""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.base.statements import as_written
from workbench.calibration.gap.amplitude import AmplitudeLaw
from workbench.calibration.gap.dropout import DropOut
from workbench.calibration.gap.judgement import Estimate
from workbench.calibration.pulses.drive_line import MetresPerPulse
from workbench.calibration.statistics.decision import Decision, Verdict, decide


@dataclass(frozen=True, slots=True)
class DropOutMargin:
    """Drop-out as a belt speed; `margin` is lowest working speed ÷ drop-out speed.

    Speeds in m/s; NaN where no tooth went missing. `sentence` is the answer in words.
    """

    speed: Estimate
    margin: float
    first_missed_mps: float
    slowest_mps: float
    decision: Decision
    sentence: str


def judge_drop_out(found: DropOut, per_pulse: MetresPerPulse, low_mps: float) -> DropOutMargin:
    """Hold a drop-out rate against the lowest working speed `low_mps`."""
    speed_mps = per_pulse.value_m * found.tooth_hz
    speed = Estimate(speed_mps, speed_mps * math.hypot(found.u_rel, per_pulse.u_rel))
    slowest_mps = per_pulse.value_m * found.lowest_hz
    if math.isnan(found.tooth_hz):
        decision, sentence = _none_missing(slowest_mps, low_mps)
    else:
        decision = decide(speed.value, speed.u, 0.0, low_mps)
        sentence = _in_words(found.tooth, speed_mps, low_mps)
    return DropOutMargin(
        speed=speed,
        margin=low_mps / speed_mps,
        first_missed_mps=per_pulse.value_m * found.first_hz,
        slowest_mps=slowest_mps,
        decision=decision,
        sentence=sentence,
    )


def _none_missing(slowest_mps: float, low_mps: float) -> tuple[Decision, str]:
    text = f"No tooth went missing down to {slowest_mps:.3g} m/s."
    if slowest_mps <= low_mps:
        return Decision(
            Verdict.PASS, 1.0, as_written("the drop-out speed is below all working speeds")
        ), text
    text += f" Slow the belt below its lowest working speed, {low_mps:.3g} m/s."
    return Decision(
        Verdict.CANNOT_TELL, math.nan, as_written("the belt was not slowed far enough")
    ), text


def _in_words(tooth: int, speed_mps: float, low_mps: float) -> str:
    if speed_mps > low_mps:
        return (
            f"Tooth {tooth} goes missing at {speed_mps:.3g} m/s already, above the lowest working "
            f"speed of {low_mps:.3g} m/s: set the pickup closer."
        )
    return (
        f"Tooth {tooth} goes missing first, at {speed_mps:.3g} m/s: the lowest working speed, "
        f"{low_mps:.3g} m/s, is {low_mps / speed_mps:.2f} times that."
    )


def gap_at_limit(gap: Estimate, margin: float, u_margin_rel: float, law: AmplitudeLaw) -> Estimate:
    """The gap at which teeth would go missing at the lowest working speed.

    The drop-out speed grows as exp(g/δ), so the gap may grow by δ·ln(margin).
    """
    room_m = law.decay_m * math.log(margin)
    u_decay_m = law.u_decay_m * math.log(margin)
    u_m = math.sqrt(gap.u**2 + (law.decay_m * u_margin_rel) ** 2 + u_decay_m**2)
    return Estimate(gap.value + room_m, u_m)

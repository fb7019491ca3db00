"""What to do about it: in per cent of belt speed, as a ground speed, or in steps of the valve.

What a mismatch costs is never put in numbers: trials disagree even on whether it costs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from workbench.base.machine import Limits
from workbench.base.units import from_mps
from workbench.calibration.statistics.decision import Decision, Verdict
from workbench.calibration.statistics.fit import straight_line
from workbench.match.ratio import Pace


@dataclass(frozen=True, slots=True)
class Advice:
    """`belt_change_rel` brings the ratio to 1 at the same ground speed, `ground_target_mps`
    is the ground speed at which this belt would keep pace; NaN where nothing is to be done.
    `steps_to_go` are the flow control's, positive the way that was positive before."""

    belt_change_rel: float = math.nan
    u_belt_change_rel: float = math.nan
    ground_target_mps: float = math.nan
    u_ground_target_mps: float = math.nan
    ratio_per_step: float = math.nan
    u_ratio_per_step: float = math.nan
    steps_to_go: float = math.nan
    u_steps_to_go: float = math.nan
    sentences: list[str] = field(default_factory=list)


def advise(
    found: Pace, limits: Limits, unit: str = "m/s", response: Response | None = None
) -> Advice:
    """What to do after a pass; the sentences speak in `unit`, a key of `SPEED_UNITS_MPS`."""
    ratio, u_ratio = found.ratio, found.u_ratio
    if not (math.isfinite(ratio) and ratio > 0):
        return Advice()
    learned = _learned(response)
    warnings = _range_warnings(found, limits, unit)
    if not _to_change(found.decision):
        keep = "Leave belt and ground speed as they are."
        return Advice(**learned, sentences=[keep, *warnings])
    change, u_change = 1 / ratio - 1, u_ratio / ratio**2
    if 2 * u_change > abs(change):
        unsure = "The ratio is too unsure to say what to change: drive a longer pass."
        return Advice(**learned, sentences=[unsure, *warnings])
    target = found.belt_speed_mps
    way = "faster" if change > 0 else "slower"
    sentences = [
        f"Run the belt {100 * abs(change):.1f} % ± {200 * u_change:.1f} % {way}, or drive at "
        f"{_said(target, unit)} instead of {_said(found.ground_speed_mps, unit)}."
    ]
    if response is not None:
        sentences.append(
            f"One step of the flow control changes the ratio belt ÷ ground by "
            f"{100 * response.ratio_per_step:+.2f} % ± {200 * response.u_ratio_per_step:.2f} %: "
            f"{learned['steps_to_go']:+.1f} ± {2 * learned['u_steps_to_go']:.1f} steps to go."
        )
    if not limits.speed_low_mps <= target <= limits.speed_high_mps:
        sentences.append(
            f"{_said(target, unit)} lies outside the working range of "
            f"{_said(limits.speed_low_mps, unit)} to {_said(limits.speed_high_mps, unit)}: change "
            "the belt, not the ground speed."
        )
    return Advice(
        belt_change_rel=change,
        u_belt_change_rel=u_change,
        ground_target_mps=target,
        u_ground_target_mps=target * u_ratio / ratio,
        **learned,
        sentences=[*sentences, *warnings],
    )


def _learned(response: Response | None) -> dict[str, float]:
    """The flow control's part of the advice."""
    if response is None:
        return {}
    steps, u_steps = response.steps_to(1.0)
    return {
        "ratio_per_step": response.ratio_per_step,
        "u_ratio_per_step": response.u_ratio_per_step,
        "steps_to_go": steps,
        "u_steps_to_go": u_steps,
    }


def _said(speed_mps: float, unit: str) -> str:
    """'2.75 mph'."""
    return f"{from_mps(speed_mps, unit):.3g} {unit}"


def _to_change(decision: Decision) -> bool:
    return decision.verdict not in (Verdict.PASS, Verdict.CONDITIONAL_PASS)


def _range_warnings(found: Pace, limits: Limits, unit: str) -> list[str]:
    """What tends to happen, in words; common practice, and K. Kirk, Clemson, in the trade press
    (too fast bunches the plants, too slow rips the vines)."""
    speed, warnings = found.ground_speed_mps, []
    if speed < limits.speed_low_mps:
        warnings.append(
            f"At {_said(speed, unit)} the ground speed is below the working range (from "
            f"{_said(limits.speed_low_mps, unit)}): losses tend to come at the front, where the "
            "blades hand the crop to the conveyor."
        )
    if speed > limits.speed_high_mps:
        warnings.append(
            f"At {_said(speed, unit)} the ground speed is above the working range (up to "
            f"{_said(limits.speed_high_mps, unit)}): losses tend to come at the rear, where the "
            "conveyor hands the crop on."
        )
    if found.decision.verdict.is_fail:
        warnings.append(
            "A belt faster than the ground tends to bunch the plants."
            if found.ratio > 1
            else "A belt slower than the ground tends to rip the vines."
        )
    return warnings


@dataclass(frozen=True, slots=True)
class Response:
    """What a step of the flow control does: ratio = at_zero + ratio_per_step · steps.

    `position` is where the control stands now, in steps from where it was first.
    """

    ratio_per_step: float
    u_ratio_per_step: float
    at_zero: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    position: float

    def steps_to(self, ratio: float) -> tuple[float, float]:
        """Steps from the present position to a ratio, and their standard uncertainty."""
        at = (ratio - self.at_zero) / self.ratio_per_step
        row = np.array([1.0, at])
        variance = float(row @ np.array(self.covariance) @ row)
        return at - self.position, math.sqrt(variance) / abs(self.ratio_per_step)


def learn_response(
    positions: Sequence[float], ratios: Sequence[float], u_ratios: Sequence[float]
) -> Response:
    """The response from ratios seen at known positions of the control, the last the present.

    Raises ValueError where there are fewer than two positions, or they do not tell a change
    (the slope within its expanded uncertainty of 0).
    """
    fit = straight_line(positions, ratios, cov_y=np.asarray(u_ratios, dtype=np.float64))
    widen = max(1.0, fit.chi_square / fit.dof) if fit.dof > 0 else 1.0
    covariance = fit.covariance * widen
    u_slope = math.sqrt(covariance[1, 1])
    if abs(fit.slope) <= 2 * u_slope:
        raise ValueError("the steps of the flow control made no clear change")
    (a, b), (c, d) = covariance.tolist()
    return Response(fit.slope, u_slope, fit.intercept, ((a, b), (c, d)), float(positions[-1]))

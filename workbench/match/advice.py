"""What to do about it: in per cent of belt speed, as a ground speed, or in steps of the valve.

What a mismatch costs is never put in numbers: trials disagree even on whether it costs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum, auto

import numpy as np

from workbench.base.machine import Limits
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.statistics.decision import Verdict
from workbench.calibration.statistics.fit import straight_line
from workbench.match.ratio import Pace


class AdviceSays(StrEnum):
    """What to change after a pass, and what tends to happen as it is."""

    LEAVE_BOTH = auto()
    BY_LATEST_STRETCH = auto()
    TOO_UNSURE_TO_CHANGE = auto()
    RUN_BELT_FASTER = auto()
    RUN_BELT_SLOWER = auto()
    STEP_OF_FLOW_CONTROL = auto()
    CHANGE_BELT_NOT_GROUND = auto()
    GROUND_TOO_SLOW = auto()
    GROUND_TOO_FAST = auto()
    FAST_BELT_BUNCHES = auto()
    SLOW_BELT_RIPS = auto()
    LEAVE_UNTIL_ANOTHER_PASS = auto()
    LEAVE_UNTIL_JUDGED_AGAIN = auto()
    JUDGE_AGAIN_WITH = auto()
    TAKE_A_SURER_GROUND = auto()


@dataclass(frozen=True, slots=True)
class Advice:
    """`belt_change_rel` brings the ratio to 1 at the same ground speed, `ground_target_mps`
    is the ground speed at which this belt would keep pace; NaN where nothing is to be done.
    `steps_to_go` are the flow control's, positive the way that was positive before.
    `judge_again_with` is another source of ground speed that would settle it, '' for none."""

    belt_change_rel: float = math.nan
    u_belt_change_rel: float = math.nan
    ground_target_mps: float = math.nan
    u_ground_target_mps: float = math.nan
    ratio_per_step: float = math.nan
    u_ratio_per_step: float = math.nan
    steps_to_go: float = math.nan
    u_steps_to_go: float = math.nan
    judge_again_with: str = ""
    sentences: tuple[Statement, ...] = ()


def advise(found: Pace, limits: Limits, response: Response | None = None) -> Advice:
    """What to do after a pass."""
    ratio, u_ratio = found.ratio, found.u_ratio
    if not (math.isfinite(ratio) and ratio > 0):
        return Advice()
    learned = _learned(response)
    tends = _what_tends_to_happen(found, limits)
    if found.decision.verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS):
        return replace(learned, sentences=(statement(AdviceSays.LEAVE_BOTH), *tends))
    change, u_change = 1 / ratio - 1, u_ratio / ratio**2
    if found.decision.verdict is Verdict.CANNOT_TELL or 2 * u_change > abs(change):
        return replace(learned, sentences=(statement(AdviceSays.TOO_UNSURE_TO_CHANGE), *tends))
    changed = replace(
        learned,
        belt_change_rel=change,
        u_belt_change_rel=u_change,
        ground_target_mps=found.belt_speed_mps,
        u_ground_target_mps=found.belt_speed_mps * u_ratio / ratio,
    )
    return replace(changed, sentences=(*_what_to_change(changed, found, limits), *tends))


def _learned(response: Response | None) -> Advice:
    """The flow control's part of the advice."""
    if response is None:
        return Advice()
    steps, u_steps = response.steps_to(1.0)
    return Advice(
        ratio_per_step=response.ratio_per_step,
        u_ratio_per_step=response.u_ratio_per_step,
        steps_to_go=steps,
        u_steps_to_go=u_steps,
    )


def _what_to_change(advice: Advice, found: Pace, limits: Limits) -> list[Statement]:
    change, target_mps = advice.belt_change_rel, advice.ground_target_mps
    said = [
        statement(
            AdviceSays.RUN_BELT_FASTER if change > 0 else AdviceSays.RUN_BELT_SLOWER,
            change_rel=PlusMinus(abs(change), 2 * advice.u_belt_change_rel),
            target_mps=target_mps,
            ground_mps=found.ground_speed_mps,
        )
    ]
    if math.isfinite(advice.ratio_per_step):
        said.append(
            statement(
                AdviceSays.STEP_OF_FLOW_CONTROL,
                step_rel=PlusMinus(advice.ratio_per_step, 2 * advice.u_ratio_per_step),
                steps=PlusMinus(advice.steps_to_go, 2 * advice.u_steps_to_go),
            )
        )
    low_mps, high_mps = limits.speed_low_mps, limits.speed_high_mps
    if not low_mps <= target_mps <= high_mps:
        said.append(
            statement(
                AdviceSays.CHANGE_BELT_NOT_GROUND,
                target_mps=target_mps,
                low_mps=low_mps,
                high_mps=high_mps,
            )
        )
    return said


def _what_tends_to_happen(found: Pace, limits: Limits) -> list[Statement]:
    """Common practice, and K. Kirk, Clemson, in the trade press (too fast bunches the plants,
    too slow rips the vines)."""
    speed_mps, low_mps, high_mps = (
        found.ground_speed_mps,
        limits.speed_low_mps,
        limits.speed_high_mps,
    )
    said = []
    if speed_mps < low_mps:
        said.append(statement(AdviceSays.GROUND_TOO_SLOW, ground_mps=speed_mps, low_mps=low_mps))
    if speed_mps > high_mps:
        said.append(statement(AdviceSays.GROUND_TOO_FAST, ground_mps=speed_mps, high_mps=high_mps))
    if found.decision.verdict.is_fail:
        fast = found.ratio > 1
        said.append(statement(AdviceSays.FAST_BELT_BUNCHES if fast else AdviceSays.SLOW_BELT_RIPS))
    return said


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

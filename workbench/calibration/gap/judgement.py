"""From a closest and a widest gap to a verdict, and to what should be done."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from workbench.base.machine import Pickup
from workbench.calibration.statistics.decision import Decision, Verdict, decide

_FROM_BEST = (
    Verdict.PASS,
    Verdict.CONDITIONAL_PASS,
    Verdict.CANNOT_TELL,
    Verdict.CONDITIONAL_FAIL,
    Verdict.FAIL,
)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard uncertainty and, where it has one, its angle."""

    value: float
    u: float
    angle_deg: float = math.nan


def worst(decisions: Iterable[Decision]) -> Decision:
    """The worst of one or more decisions; 'cannot tell' is worse than any pass."""
    return max(decisions, key=lambda decision: _FROM_BEST.index(decision.verdict))


def judge(closest: Estimate, widest: Estimate, k: float, pickup: Pickup) -> Decision:
    """The worse of two answers: is the widest point within, and does the closest not touch?"""
    return worst(
        decide(point.value, point.u, 0.0, pickup.gap_max_m, U=k * point.u)
        for point in (widest, closest)
    )


def advice(mean_m: float, closest_m: float, widest_m: float, pickup: Pickup) -> str:
    """What to do with the pickup, in one sentence."""
    room_m = 0.5 * (pickup.gap_max_m - pickup.gap_best_m)
    runout_m = widest_m - closest_m
    if runout_m > pickup.gap_max_m:
        return (
            f"The gap swings by {mm(runout_m)}, more than the most allowed gap: no setting "
            "can be right; look at the wheel's seat, shaft and bearing."
        )
    move_m = mean_m - pickup.gap_best_m
    if abs(move_m) <= 0.25 * room_m and widest_m <= pickup.gap_max_m:
        return "Leave the pickup where it is."
    # With much run-out the middle of the room is better than the best gap.
    target_m = max(pickup.gap_best_m, 0.75 * runout_m)
    move_m = mean_m - target_m
    if abs(move_m) < 0.00005:
        return "Leave the pickup where it is."
    way = "closer" if move_m > 0 else "away"
    return f"Set the pickup {mm(abs(move_m))} {way}, to {mm(target_m)} on average."


def gap_warnings(mean_m: float, closest: Estimate, k: float, pickup: Pickup) -> list[str]:
    """Sentences about a gap that may be within its limits and still not be right."""
    warnings = []
    where = f" at {closest.angle_deg:.0f}°" if math.isfinite(closest.angle_deg) else ""
    if closest.value - k * closest.u <= 0:
        warnings.append(
            f"The closest point, {mm(closest.value)}{where}, may touch: a tooth that hits the "
            "pickup destroys it."
        )
    elif closest.value < 0.5 * pickup.gap_best_m:
        warnings.append(
            f"The closest point, {mm(closest.value)}{where}, is under half the best gap; with "
            "bearing play or dirt a tooth may touch the pickup."
        )
    if mean_m > 4 * pickup.gap_max_m:
        warnings.append(
            f"A mean gap of {mm(mean_m)} is over four times the most allowed; were the readings "
            "typed in another unit?"
        )
    elif abs(mean_m - pickup.gap_best_m) > 0.5 * (pickup.gap_max_m - pickup.gap_best_m):
        warnings.append(
            f"The mean gap of {mm(mean_m)} is far from the best, {mm(pickup.gap_best_m)}."
        )
    return warnings


def mm(length_m: float) -> str:
    """A gap as a sentence says it: '1.60 mm'."""
    return f"{length_m * 1000:.2f} mm"

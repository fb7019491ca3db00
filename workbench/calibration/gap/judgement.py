"""From a closest and a widest gap to a verdict, and to what should be done."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum, auto

import numpy as np

from workbench.base.machine import Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.statistics.decision import Decision, badness, decide


class GapSays(StrEnum):
    """What to do with a pickup, and what its gap warns of."""

    LEAVE_IT = auto()
    SET_CLOSER = auto()
    SET_AWAY = auto()
    NO_SETTING_FITS = auto()
    MAY_TOUCH = auto()
    NEARLY_TOUCHES = auto()
    FAR_TOO_WIDE = auto()
    FAR_FROM_BEST = auto()


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its standard uncertainty and, where it has them, its angle and a `U` of its
    own: teeth that were not read may stand out farther than k·u. `guard` is how far inside its
    limit it must lie for a plain verdict, where that is more than U."""

    value: float
    u: float
    angle_deg: float = math.nan
    U: float = math.nan
    guard: float = math.nan


@dataclass(frozen=True, slots=True)
class GapFound:
    """A gap all the way round the wheel, in m; `k` is the factor from u to U of what has none of
    its own."""

    mean: Estimate
    runout: Estimate
    closest: Estimate
    widest: Estimate
    k: float

    def half_width_m(self, one: Estimate) -> float:
        """U of one of them: half the interval that holds 95.45 %."""
        return self.k * one.u if math.isnan(one.U) else one.U

    def without_guard(self) -> GapFound:
        """The same by the uncertainties alone."""
        widest, closest = (
            replace(self.widest, guard=math.nan),
            replace(self.closest, guard=math.nan),
        )
        return replace(self, widest=widest, closest=closest)

    def guard_m(self, one: Estimate) -> float:
        """How far inside its limit one must lie for a plain verdict."""
        return float(np.fmax(self.half_width_m(one), one.guard))


def worst(decisions: Iterable[Decision]) -> Decision:
    """The worst of one or more decisions."""
    return max(decisions, key=lambda decision: badness(decision.verdict))


def judge(gap: GapFound, pickup: Pickup) -> Decision:
    """The worse of two answers: is the widest point within, and does the closest not touch?"""
    return worst(
        decide(point.value, point.u, 0.0, pickup.gap_max_m, U=gap.guard_m(point))
        for point in (gap.widest, gap.closest)
    )


def advice(gap: GapFound, pickup: Pickup) -> Statement:
    """What to do with the pickup."""
    mean_m, widest_m = gap.mean.value, gap.widest.value
    room_m = 0.5 * (pickup.gap_max_m - pickup.gap_best_m)
    runout_m = widest_m - gap.closest.value
    if runout_m > pickup.gap_max_m:
        return statement(GapSays.NO_SETTING_FITS, runout_m=runout_m)
    move_m = mean_m - pickup.gap_best_m
    if abs(move_m) <= 0.25 * room_m and widest_m <= pickup.gap_max_m:
        return statement(GapSays.LEAVE_IT)
    # With much run-out the middle of the room is better than the best gap.
    target_m = max(pickup.gap_best_m, 0.75 * runout_m)
    move_m = mean_m - target_m
    if abs(move_m) < 0.00005:
        return statement(GapSays.LEAVE_IT)
    says = GapSays.SET_CLOSER if move_m > 0 else GapSays.SET_AWAY
    return statement(says, by_m=abs(move_m), target_m=target_m)


def gap_warnings(gap: GapFound, pickup: Pickup) -> list[Statement]:
    """What is to be said of a gap that may be within its limits and still not be right."""
    warnings, mean_m, closest = [], gap.mean.value, gap.closest
    point = {"closest_m": closest.value, "at_deg": closest.angle_deg}
    if closest.value - gap.half_width_m(closest) <= 0:
        warnings.append(statement(GapSays.MAY_TOUCH, **point))
    elif closest.value < 0.5 * pickup.gap_best_m:
        warnings.append(statement(GapSays.NEARLY_TOUCHES, **point))
    if mean_m > 4 * pickup.gap_max_m:
        warnings.append(statement(GapSays.FAR_TOO_WIDE, mean_m=mean_m))
    elif abs(mean_m - pickup.gap_best_m) > 0.5 * (pickup.gap_max_m - pickup.gap_best_m):
        best_m = pickup.gap_best_m
        warnings.append(statement(GapSays.FAR_FROM_BEST, mean_m=mean_m, best_m=best_m))
    return warnings

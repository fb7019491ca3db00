"""The shop's own repeat measurements of one gap that stays put, as a control chart.

A set block, or a pickup kept for the purpose, is measured again each day: if the values
wander, blades are worn or hands have changed, and no verdict of that day can be trusted.
EWMA (weight 0.3) and CUSUM (slack half a sigma), NIST/SEMATECH 6.3.2. The usual limits, 3
and 5 sigma, hold for a sigma that is known; from a shop's few values they raise a false alarm
in every fifth chart of 40. Wider ones do in 2 to 3 of 100, and still see a shift of 1.5 sigma
within some ten values (computed).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np

from workbench.base.statements import Statement, statement
from workbench.calibration.statistics.control_chart import (
    cusum,
    ewma,
    sigma_from_ranges,
)

FEWEST = 8
"""Values from which a chart says something; chosen."""
PHASE_ONE = 20
"""Values that set the target where none is given; chosen."""
WIDTH, DECISION = 3.5, 7.0


class RepeatSays(StrEnum):
    """What the shop's repeat measurements say of its blades and hands."""

    FEW_REPEATS = auto()
    REPEATS_HOLD = auto()
    REPEATS_WIDER = auto()
    REPEATS_CLOSER = auto()


@dataclass(frozen=True, slots=True)
class RepeatChart:
    """The chart of all values, the newest last, of which `new_m` are those of today.

    `in_control` is None, and no mean or sum is there, where there are too few values.
    `sentence` says what it means.
    """

    name: str
    new_m: tuple[float, ...]
    gap_m: tuple[float, ...]
    target_m: float
    sigma_m: float
    in_control: bool | None
    sentence: Statement
    ewma_m: tuple[float, ...] | None
    ewma_low_m: float = math.nan
    ewma_high_m: float = math.nan
    cusum_high_m: tuple[float, ...] = ()
    cusum_low_m: tuple[float, ...] = ()
    cusum_decision_m: float = math.nan


def repeat_chart(
    name: str,
    earlier_m: Sequence[float],
    new_m: Sequence[float],
    blade_step_m: float,
    target_m: float = math.nan,
) -> RepeatChart:
    """Chart of the repeated readings `name` of one gap, `target_m` its known value if it has one.

    The spread comes from the ranges of neighbours, never less than the blades' own step.
    """
    new, values = tuple(new_m), (*earlier_m, *new_m)
    gap_m, count = np.array(values), len(values)
    if count < FEWEST:
        few = statement(RepeatSays.FEW_REPEATS, count=count, more=FEWEST - count)
        return RepeatChart(name, new, values, math.nan, math.nan, None, few, None)
    target = float(np.mean(gap_m[:PHASE_ONE])) if math.isnan(target_m) else target_m
    sigma = max(sigma_from_ranges(gap_m), blade_step_m / math.sqrt(12))
    by_mean = ewma(gap_m, target=target, sigma=sigma, width=WIDTH)
    by_sum = cusum(gap_m, target=target, slack=0.5 * sigma, decision=DECISION * sigma)
    alarms = sorted({*by_mean.alarms, *by_sum.alarms})
    said = statement(RepeatSays.REPEATS_HOLD, count=count, target_m=target)
    if alarms:
        wider = by_sum.high[alarms[0]] > by_sum.low[alarms[0]]
        says = RepeatSays.REPEATS_WIDER if wider else RepeatSays.REPEATS_CLOSER
        said = statement(says, first=alarms[0] + 1, target_m=target)
    return RepeatChart(
        name,
        new,
        values,
        target,
        sigma,
        not alarms,
        said,
        tuple(by_mean.mean.tolist()),
        by_mean.low,
        by_mean.high,
        tuple(by_sum.high.tolist()),
        tuple(by_sum.low.tolist()),
        by_sum.decision,
    )

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
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.statements import Statement, statement
from workbench.calibration.statistics.control_chart import (
    Cusum,
    Ewma,
    cusum,
    ewma,
    sigma_from_ranges,
)

Floats = NDArray[np.float64]

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


@dataclass(frozen=True, slots=True, eq=False)
class RepeatChart:
    """The chart of the values (n,), the newest last. `sentence` says what it means.

    `in_control` is None where there are too few values to say.
    """

    gap_m: Floats
    target_m: float
    sigma_m: float
    ewma: Ewma | None
    cusum: Cusum | None
    in_control: bool | None
    sentence: Statement


def repeat_chart(gap_m: Floats, blade_step_m: float, target_m: float | None = None) -> RepeatChart:
    """Chart of repeated readings (n,) of one gap, `target_m` its known value if it has one.

    The spread comes from the ranges of neighbours, never less than the blades' own step.
    """
    count = int(gap_m.size)
    if count < FEWEST:
        few = statement(RepeatSays.FEW_REPEATS, count=count, more=FEWEST - count)
        return RepeatChart(gap_m, math.nan, math.nan, None, None, None, few)
    target = float(np.mean(gap_m[:PHASE_ONE])) if target_m is None else target_m
    sigma = max(sigma_from_ranges(gap_m), blade_step_m / math.sqrt(12))
    by_mean = ewma(gap_m, target=target, sigma=sigma, width=WIDTH)
    by_sum = cusum(gap_m, target=target, slack=0.5 * sigma, decision=DECISION * sigma)
    alarms = sorted({*by_mean.alarms, *by_sum.alarms})
    if not alarms:
        said = statement(RepeatSays.REPEATS_HOLD, count=count, target_m=target)
    else:
        first_out = alarms[0]
        wider = by_sum.high[first_out] > by_sum.low[first_out]
        says = RepeatSays.REPEATS_WIDER if wider else RepeatSays.REPEATS_CLOSER
        said = statement(says, first=first_out + 1, target_m=target)
    return RepeatChart(gap_m, target, sigma, by_mean, by_sum, not alarms, said)

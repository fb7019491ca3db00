"""Control charts: has a row of values that should stay put begun to wander?

EWMA and tabular CUSUM after the NIST/SEMATECH e-Handbook of Statistical Methods,
6.3.2.4 and 6.3.2.3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MEAN_RANGE_PER_SIGMA = 1.128
"""Mean range of two normal values over their sigma (d₂, NIST/SEMATECH 6.3.2)."""


@dataclass(frozen=True, slots=True, eq=False)
class Ewma:
    """The weighted mean after each value, its limits, and which values lie outside them."""

    mean: Floats
    low: float
    high: float
    alarms: list[int]


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """The sums above and below target after each value, and where one exceeds the decision."""

    high: Floats
    low: Floats
    decision: float
    alarms: list[int]


def ewma(
    values: Floats, *, target: float, sigma: float, weight: float = 0.3, width: float = 3.0
) -> Ewma:
    """EWMA started at `target`, limits `target` ± width·sigma·√(weight/(2 − weight)).

    `sigma` is the standard deviation of one value, in the unit of `values`, shape (n,).
    Alarms are indices from 0. Raises ValueError unless 0 < weight <= 1 and sigma > 0.
    """
    if not (0 < weight <= 1 and sigma > 0):
        raise ValueError(f"weight {weight:g} must be in 0 to 1 and sigma {sigma:g} above 0")
    mean = np.empty(len(values))
    last = target
    for at, value in enumerate(values):
        last = weight * float(value) + (1 - weight) * last
        mean[at] = last
    half = width * sigma * math.sqrt(weight / (2 - weight))
    alarms = np.flatnonzero(np.abs(mean - target) > half)
    return Ewma(mean, target - half, target + half, alarms.tolist())


def cusum(values: Floats, *, target: float, slack: float, decision: float) -> Cusum:
    """Tabular CUSUM: S⁺ = max(0, S⁺ + x − target − slack), S⁻ likewise downwards.

    `slack` (k) and `decision` (h) are in the unit of `values`, shape (n,); half a sigma
    and four to five sigma are usual. Alarms are indices from 0.
    """
    away = np.asarray(values, dtype=np.float64) - target
    high, low = _sum_above_zero(away - slack), _sum_above_zero(-away - slack)
    alarms = np.flatnonzero((high > decision) | (low > decision))
    return Cusum(high, low, decision, alarms.tolist())


def sigma_from_ranges(values: Floats) -> float:
    """Standard deviation of single values from the mean range of neighbours, shape (n >= 2,).

    Unlike the plain standard deviation it is hardly widened by a slow drift.
    """
    if len(values) < 2:
        raise ValueError("a range needs two values")
    return float(np.mean(np.abs(np.diff(values)))) / MEAN_RANGE_PER_SIGMA


def _sum_above_zero(steps: Floats) -> Floats:
    """Running sum that is set back to 0 whenever it would fall below."""
    total = np.concatenate([[0.0], np.cumsum(steps)])
    summed: Floats = (total - np.minimum.accumulate(total))[1:]
    return summed

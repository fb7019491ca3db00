"""When did a row of values change: change points, and a chart that watches.

Binary segmentation (Scott & Knott, Biometrics 30, 1974), its threshold widened for values that
hang together in time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.statistics.control_chart import Cusum, cusum
from workbench.match.mean import autocorrelated_mean

Floats = NDArray[np.float64]

LEAST_PART = 5
"""Values on each side of a change point."""

MOST_CHANGES = 3
"""In one row. More would let the scatter pass for changes; measured with the price below."""

PENALTY = 6.0
"""Times ln n: what a change point must gain in units of the values' own variance. Dearer than the
Bayesian information criterion's price for a place and a level, since noise that hangs
together has more ways to look like a step; measured in tests/workbench/match/test_trend.py."""

LEAST_CHANGE = 0.01
"""A smaller change of the ratio is no news to anyone; chosen."""

CUSUM_SLACK, CUSUM_DECISION = 0.5, 5.0
"""In standard deviations (NIST/SEMATECH 6.3.2.3: half the shift to be found, four to five)."""


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """The first value after a change, and its size (mean after − mean before)."""

    index: int
    change: float


def change_points(values: Floats, least: float = LEAST_CHANGE) -> list[ChangePoint]:
    """Every change of the mean of evenly spaced `values` (n,), in order.

    Split as often as `MOST_CHANGES` allows, then joined again as far as the splits are not
    worth their price: the scatter is that about the finest means, since a change left in
    would hide itself and its like.
    """
    bounds, gains = [0, values.size], [(0.0, [0, values.size])]
    for _ in range(MOST_CHANGES):
        splits = [(*_best_split(values[low:high]), low) for low, high in pairwise(bounds)]
        gain, at, low = max(splits)
        if gain <= 0:
            break
        bounds = sorted([*bounds, low + at])
        gains.append((gain, bounds))
    price = PENALTY * math.log(max(values.size, 2)) * max(_long_run_variance(values, bounds), 1e-18)
    kept = next((bounds for gain, bounds in reversed(gains) if gain > price), gains[0][1])
    points = []
    for before, at, after in zip(kept[:-2], kept[1:-1], kept[2:], strict=True):
        change = float(values[at:after].mean() - values[before:at].mean())
        if abs(change) >= least:
            points.append(ChangePoint(at, change))
    return points


def watch(values: Floats) -> Cusum:
    """A CUSUM of `values` against the mean of their first quarter, in their own scatter.

    The scatter is that of independent values: it is widened where they hang together.
    """
    first = values[: max(3, values.size // 4)]
    sigma = math.sqrt(max(_long_run_variance(values, [0, values.size // 2, values.size]), 1e-18))
    return cusum(
        values,
        target=float(first.mean()),
        slack=CUSUM_SLACK * sigma,
        decision=CUSUM_DECISION * sigma,
    )


def _best_split(part: Floats) -> tuple[float, int]:
    """(gain in the sum of squares, place) of the best split of `part` in two."""
    n = part.size
    if n < 2 * LEAST_PART:
        return 0.0, 0
    k = np.arange(LEAST_PART, n - LEAST_PART + 1)
    total = np.concatenate(([0.0], np.cumsum(part)))
    apart = total[k] / k - (total[-1] - total[k]) / (n - k)
    gain = k * (n - k) / n * apart**2
    best = int(np.argmax(gain))
    return float(gain[best]), int(k[best])


def _long_run_variance(values: Floats, bounds: list[int]) -> float:
    """Variance of one value as it counts in a mean, within the parts between `bounds`."""
    left = np.concatenate([values[a:b] - values[a:b].mean() for a, b in pairwise(bounds)])
    u = autocorrelated_mean(left).u
    return float(u**2 * left.size) if math.isfinite(u) else 0.0

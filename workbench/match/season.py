"""One machine over a season: what stayed within its own scatter, and what changed between visits.

Control limits for single values, mean ± 3σ with σ from the mean range of neighbours
(NIST/SEMATECH 6.3.2.2), and an EWMA (6.3.2.4) for a slow drift. What is usual is told by the
visits that do not stand far off: a bad one must not widen the limits that are to show it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.statistics.control_chart import ewma, sigma_from_ranges

Floats = NDArray[np.float64]

LEAST_VISITS = 5
"""Fewer values give no limits worth the name; chosen."""

FAR_OFF = 5.0
"""Standard deviations from the median, by the median range, beyond which a visit does not tell
what is usual: of sound ones hardly any. Chosen."""

MEDIAN_RANGE = 0.9539
"""Median range of two normal values, in standard deviations: √2 · 0.67449."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One value on one day; `u` its standard uncertainty, 0 where it is exact (a setting)."""

    when_utc: str
    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Chart:
    """Values of one quantity with their limits; NaN and empty where there are too few.

    `outside` and `drifting` are indices of visits beyond the limits, and at which the
    weighted mean left its own; `steps` those that differ from the visit before by more than
    both uncertainties.
    """

    visits: tuple[Visit, ...]
    mean: float = math.nan
    low: float = math.nan
    high: float = math.nan
    outside: tuple[int, ...] = ()
    drifting: tuple[int, ...] = ()
    steps: tuple[int, ...] = ()


def chart(visits: Sequence[Visit]) -> Chart:
    """The control chart of one quantity, visits in order of time."""
    known = tuple(visit for visit in visits if math.isfinite(visit.value))
    steps = _steps(known)
    if len(known) < LEAST_VISITS:
        return Chart(known, steps=steps)
    values = np.array([visit.value for visit in known])
    usual = _usual(values)
    mean, sigma = float(usual.mean()), sigma_from_ranges(usual)
    if sigma == 0:
        return Chart(known, mean, mean, mean, steps=steps)
    low, high = mean - 3 * sigma, mean + 3 * sigma
    outside = tuple(np.flatnonzero((values < low) | (values > high)).tolist())
    drift = tuple(ewma(values, target=mean, sigma=sigma).alarms)
    return Chart(known, mean, low, high, outside, drift, steps)


def _usual(values: Floats) -> Floats:
    """The values (n,) that tell what is usual: all, or those that do not stand far off."""
    scale = float(np.median(np.abs(np.diff(values)))) / MEDIAN_RANGE
    near = np.abs(values - np.median(values)) <= FAR_OFF * scale
    return values[near] if scale > 0 and np.count_nonzero(near) >= LEAST_VISITS else values


def _steps(visits: Sequence[Visit]) -> tuple[int, ...]:
    """Indices of the visits that changed from the one before by more than both uncertainties."""
    found = []
    for at, (before, after) in enumerate(pairwise(visits), 1):
        change, u = after.value - before.value, math.hypot(before.u, after.u)
        if abs(change) > 2 * u and abs(change) > 1e-6 * abs(before.value):
            found.append(at)
    return tuple(found)

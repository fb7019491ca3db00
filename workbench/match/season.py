"""One machine over a season: what stayed within its own scatter, and what changed between visits.

Control limits for single values, mean ± 3σ with σ from the mean range of neighbours
(NIST/SEMATECH 6.3.2.2), and an EWMA (6.3.2.4) for a slow drift.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from workbench.calibration.statistics.control_chart import ewma, sigma_from_ranges

LEAST_VISITS = 5
"""Fewer values give no limits worth the name; chosen."""

QUANTITIES = {
    "ratio": "ratio belt ÷ ground",
    "error_at_work": "error of the readout as found",
    "setting": "setting of the readout",
    "gap_m": "gap of the pickup, m",
    "metres_per_pulse": "belt metres per pulse",
}

QUANTITIES_OF = {
    "pass": (("ratio", "ratio", "u_ratio"),),
    "calibrate": (
        ("error_at_work", "error_at_work", "u_error_at_work"),
        ("setting", "setting_now", ""),
        ("metres_per_pulse", "metres_per_pulse", "u_metres_per_pulse"),
    ),
    "gap": (("gap_m", "gap_m", "u_gap_m"),),
}
"""Kind of result -> (quantity, its key in the answer, the key of its standard uncertainty)."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One value on one day; `u` its standard uncertainty, 0 where it is exact (a setting)."""

    when_utc: str
    value: float
    u: float


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """Values of one quantity with their limits; NaN and empty where there are too few.

    `outside` and `drifting` are indices of visits beyond the limits, and at which the
    weighted mean left its own; `steps` those that differ from the visit before by more than
    both uncertainties, and `changes` the same in words.
    """

    quantity: str
    visits: tuple[Visit, ...]
    mean: float = math.nan
    low: float = math.nan
    high: float = math.nan
    outside: list[int] = field(default_factory=list)
    drifting: list[int] = field(default_factory=list)
    steps: list[int] = field(default_factory=list)
    changes: list[str] = field(default_factory=list)


def chart(quantity: str, visits: Sequence[Visit]) -> Chart:
    """The control chart of one quantity, a key of `QUANTITIES`, visits in order of time."""
    known = tuple(visit for visit in visits if math.isfinite(visit.value))
    steps = _steps(known)
    changes = [_change(quantity, known[at - 1], known[at]) for at in steps]
    if len(known) < LEAST_VISITS:
        return Chart(quantity, known, steps=steps, changes=changes)
    values = np.array([visit.value for visit in known])
    mean, sigma = float(values.mean()), sigma_from_ranges(values)
    if sigma == 0:
        return Chart(quantity, known, mean, mean, mean, steps=steps, changes=changes)
    low, high = mean - 3 * sigma, mean + 3 * sigma
    outside = np.flatnonzero((values < low) | (values > high)).tolist()
    drift = ewma(values, target=mean, sigma=sigma).alarms
    return Chart(quantity, known, mean, low, high, outside, drift, steps, changes)


def _steps(visits: Sequence[Visit]) -> list[int]:
    """Indices of the visits that changed from the one before by more than both uncertainties."""
    found = []
    for at, (before, after) in enumerate(pairwise(visits), 1):
        change, u = after.value - before.value, math.hypot(before.u, after.u)
        if abs(change) > 2 * u and abs(change) > 1e-6 * abs(before.value):
            found.append(at)
    return found


def _change(quantity: str, before: Visit, after: Visit) -> str:
    change, u = after.value - before.value, math.hypot(before.u, after.u)
    # An error is a share already; a share of it says nothing.
    by_share = bool(before.value) and quantity != "error_at_work"
    share = f" ({100 * change / before.value:+.1f} %)" if by_share else ""
    spread = f" ± {2 * u:.2g}" if u else ""
    return (
        f"Between {before.when_utc[:10]} and {after.when_utc[:10]} the {QUANTITIES[quantity]} "
        f"went from {before.value:.5g} to {after.value:.5g}{share}{spread}."
    )

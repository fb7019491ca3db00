"""The ratio over the pass: in equal segments, its trend, and what the mismatch follows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from workbench.match.evidence import Bins
from workbench.match.mean import scatter_of
from workbench.match.ratio import Comparison

Floats = NDArray[np.float64]

SEGMENTS = 6
LEAST_SEGMENT_S = 10.0
"""A shorter segment says little; chosen."""

COVERAGE = 0.9545


@dataclass(frozen=True, slots=True)
class Segment:
    """Ratio belt ÷ ground over one stretch of the steady part."""

    from_s: float
    to_s: float
    ratio: float
    u_ratio: float
    belt_speed_mps: float
    ground_speed_mps: float
    separation_m: float


def segments(found: Comparison, most: int = SEGMENTS) -> list[Segment]:
    """Equal segments of the steady part. The scatter is that of the whole, in which alone a
    memory of seconds shows; what all share (the scales of belt and ground) is left out: it
    cannot tell them apart."""
    both, steady, scatter = found.aligned, found.steady, found.scatter
    if both is None or steady is None or scatter is None:
        return []
    at = np.flatnonzero(steady)
    count = max(1, min(most, int(at.size * both.step_s / LEAST_SEGMENT_S)))
    made = []
    for part in np.array_split(at, count):
        b, g = both.belt_mps[part], both.ground_mps[part]
        ratio = float(b.sum() / g.sum())
        made.append(
            Segment(
                from_s=float(both.time_s[part[0]]),
                to_s=float(both.time_s[part[-1]]),
                ratio=ratio,
                u_ratio=scatter.of_mean(part.size)[1] / 2 / float(g.mean()),
                belt_speed_mps=float(b.mean()),
                ground_speed_mps=float(g.mean()),
                separation_m=float(np.sum(b - g)) * both.step_s,
            )
        )
    return made


@dataclass(frozen=True, slots=True)
class Trend:
    """Median slope of all pairs (Theil, Sen) a unit of x, and its 95.45 % interval."""

    slope: float
    low: float
    high: float


def theil_sen(x: Floats, y: Floats) -> Trend:
    """Slope of `y` (n,) against `x` (n,), its interval widened for values that hang together.

    The interval of independent values (Sen, J. Am. Stat. Assoc. 63, 1968) is stretched about
    the slope by as much as the residuals' memory widens that of a line.
    """
    from scipy.stats import theilslopes

    found = theilslopes(y, x, alpha=COVERAGE)
    slope = float(found.slope)
    left = y - slope * x
    left = left - left.mean()
    scatter = scatter_of(left, float(np.median(np.diff(x))), trend=True)
    usual = 2 * math.sqrt(float(scatter.weight @ scatter.variance))
    hangs = float(left[1:] @ left[:-1]) > 0
    stretch = max(1.0, scatter.long_run()[1] / usual) if hangs and usual > 0 else 1.0
    low = slope - stretch * (slope - float(found.low_slope))
    high = slope + stretch * (float(found.high_slope) - slope)
    return Trend(slope, low, high)


@dataclass(frozen=True, slots=True)
class Following:
    """belt = intercept + slope · ground, both with errors (York et al. 2004)."""

    intercept_mps: float
    u_intercept_mps: float
    slope: float
    u_slope: float


def following(bins: Bins, ground_mps: float) -> Following | None:
    """The belt against the ground in the bins; None where the ground hardly varied."""
    belt, ground = (ground_mps * np.exp(log) for log in (bins.belt_log, bins.ground_log))
    u_belt, u_ground = _noise(belt), _noise(ground)
    if np.std(ground) < 2 * u_ground or np.std(ground) < 0.005 * ground_mps:
        return None
    # What the belt does of its own accord is no noise of the ground: it is laid to the belt
    # (errors in both with an error in the equation; Fuller, Measurement Error Models, 1987, 3.1).
    dx, dy = ground - ground.mean(), belt - belt.mean()
    slope = float(dx @ dy) / (float(dx @ dx) - ground.size * u_ground**2)
    own2 = float(np.mean((dy - slope * dx) ** 2)) - (slope * u_ground) ** 2
    u_belt = math.sqrt(max(u_belt**2, own2))
    return deming(ground, belt, max(u_ground, 1e-6), max(u_belt, 1e-6))


def deming(x: Floats, y: Floats, u_x: float, u_y: float) -> Following:
    """y = a + b·x where each x and y (n,) has the same uncertainty: Deming's closed form.

    The uncertainties are York's (York et al., Am. J. Phys. 72(3), 2004, 367), of which this is
    the case of equal weights; where the points scatter more than u_x and u_y allow, the line
    is as unsure as they show.
    """
    n, mean_x, mean_y = x.size, float(x.mean()), float(y.mean())
    dx, dy = x - mean_x, y - mean_y
    xx, yy, xy = float(dx @ dx), float(dy @ dy), float(dx @ dy)
    size = (u_y / u_x) ** 2
    away = yy - size * xx
    root = math.hypot(away, 2 * math.sqrt(size) * xy)
    # Of two ways to write the root the one that does not cancel.
    slope = (away + root) / (2 * xy) if away > 0 and xy else 2 * size * xy / (root - away)
    variance = u_y**2 + slope**2 * u_x**2
    adjusted = (u_y**2 * dx + slope * u_x**2 * dy) / variance
    middle = float(adjusted.mean()) + mean_x
    u_slope2 = variance / float(np.sum((adjusted - adjusted.mean()) ** 2))
    chi_square = float(np.sum((dy - slope * dx) ** 2)) / variance
    widen = math.sqrt(max(1.0, chi_square / max(n - 2, 1)))
    return Following(
        intercept_mps=mean_y - slope * mean_x,
        u_intercept_mps=widen * math.sqrt(variance / n + middle**2 * u_slope2),
        slope=slope,
        u_slope=widen * math.sqrt(u_slope2),
    )


def _noise(values: Floats) -> float:
    """White noise of evenly spaced values from second differences (variance 6σ²)."""
    second = np.diff(values, n=2)
    return math.sqrt(float(second @ second) / (6 * second.size))


class Mismatch(StrEnum):
    """What a mismatch goes with; the value is its name in every answer."""

    CONSTANT = "constant"
    GROUND_SPEED = "ground speed"
    TIME = "time"
    ENGINE_SPEED = "engine speed"
    OIL_TEMPERATURE = "oil temperature"
    NOTHING_RECORDED = "nothing recorded"


def mismatch_shares(bins: Bins) -> dict[Mismatch, float]:
    """What the mean square of the ratio's logarithm goes with; the shares add up to 1.

    The constant part is its mean squared; what varies is shared out between ground speed,
    engine speed, oil temperature (where known) and time by the mean gain in R² over all orders
    in which they can be taken in (Shapley's value; Lindeman, Merenda & Gold, 1980).
    """
    mismatch = bins.belt_log - bins.ground_log
    total = float(np.mean(mismatch**2))
    if total == 0:
        return {Mismatch.CONSTANT: 0.0}
    centred = mismatch - mismatch.mean()
    regressors = {Mismatch.GROUND_SPEED: bins.ground_log, Mismatch.TIME: bins.time_s}
    if bins.engine_log is not None:
        regressors[Mismatch.ENGINE_SPEED] = bins.engine_log
    if bins.oil_c is not None:
        regressors[Mismatch.OIL_TEMPERATURE] = bins.oil_c
    regressors = {name: x - x.mean() for name, x in regressors.items() if np.ptp(x) > 1e-9}
    shares = {Mismatch.CONSTANT: float(mismatch.mean() ** 2) / total}
    variable = float(np.mean(centred**2)) / total
    gained = _shapley(centred, regressors)
    shares |= {name: variable * gain for name, gain in gained.items()}
    shares[Mismatch.NOTHING_RECORDED] = variable * (1 - sum(gained.values()))
    return shares


def _shapley(y: Floats, regressors: dict[Mismatch, Floats]) -> dict[Mismatch, float]:
    """Each regressor's mean gain in R² over all orders."""
    names = sorted(regressors)
    size = float(y @ y)
    if size == 0:
        return dict.fromkeys(names, 0.0)

    def explained(chosen: tuple[Mismatch, ...]) -> float:
        if not chosen:
            return 0.0
        x = np.stack([regressors[name] for name in chosen], axis=1)
        left = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
        return 1 - float(left @ left) / size

    known = {
        chosen: explained(chosen)
        for count in range(len(names) + 1)
        for chosen in combinations(names, count)
    }
    gains = dict.fromkeys(names, 0.0)
    for chosen, before in known.items():
        for name in names:
            if name not in chosen:
                weight = 1 / (len(names) * math.comb(len(names) - 1, len(chosen)))
                gains[name] += weight * (known[tuple(sorted((*chosen, name)))] - before)
    return gains

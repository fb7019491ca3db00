"""Two speed series put on one time line: how far the one is behind the other.

Both are smoothed alike, which moves neither against the other; where their correlation is
greatest is the lag to within a sample, and from there the follower's regression on the leader
and on its slope: what is left on the slope is what the lag is off by (Gauss-Newton). The
interval is that of this coefficient for a scatter that hangs together in time, as of a mean
(`mean.py`): a receiver's noise with a memory, or a belt that wanders, moves the lag by much
more than white noise would. At constant speed nothing can be found, and nothing depends on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.speed import SpeedSeries
from workbench.match.mean import scatter_of

Floats = NDArray[np.float64]

MOST_LAG_S = 3.0
"""Largest lag looked for; receivers and buses of this trade stay below (common practice)."""

HOLE_S = 1.0
"""A pause between two values longer than this, and than four usual ones, is a hole."""

MOST_SAMPLES = 2_000_000
"""Samples of the common time line at most: an eight-hour pass at 60 Hz."""

SMOOTH_S = 3.0
"""Both are smoothed over so long: the slope must be the motion's, not the noise's. Chosen; see
tests/benchmarks/bench_lag.py."""

MOST_MEANS = 20_000
"""A long pass is looked at in means, so many at most."""

SAME_CHANGES = 0.5
"""Correlation from which the changes from sample to sample are the motion's and not noise."""

ROOM = 1.1
"""What the straight line leaves out: noise in the slope itself, and how far it bends within U.
Measured; tests/benchmarks/bench_lag.py shows what the intervals then hold."""

MOST_ROUNDS = 8
"""Steps of Gauss and Newton; two or three are usual."""

LEAST_S = 10.0
"""Common time below which no lag is looked for."""

CLEAR = 5.0
"""The follower follows where its regression on the leader is this many times its standard
uncertainty: the lag is the best of many, so that two or three come by chance."""

CLEAR_LAG_S = 1.0
"""Largest expanded uncertainty at which a lag is believed; beyond, the speeds were steady."""


@dataclass(frozen=True, slots=True, eq=False)
class Aligned:
    """Belt and ground speed at the same moments, a fixed step apart.

    `belt_mps` and `ground_mps` (n,), NaN where either has no value near. `lag_s` is
    positive where the ground source is behind; it has been taken out. Where no lag could
    be found, `lag_s` is NaN, and none was taken out.
    """

    time_s: Floats
    step_s: float
    belt_mps: Floats
    ground_mps: Floats
    lag_s: float
    u_lag_s: float

    @property
    def valid(self) -> NDArray[np.bool_]:
        return np.isfinite(self.belt_mps) & np.isfinite(self.ground_mps)


def align(belt: SpeedSeries, ground: SpeedSeries, most_lag_s: float = MOST_LAG_S) -> Aligned | None:
    """Both series on one line of evenly spaced moments, the ground source's lag taken out.

    None where the two do not overlap in time.
    """
    belt, ground = _with_values(belt), _with_values(ground)
    start_s = max(belt.time_s[0], ground.time_s[0]) if _any(belt, ground) else math.inf
    end_s = min(belt.time_s[-1], ground.time_s[-1]) if _any(belt, ground) else -math.inf
    if end_s <= start_s:
        return None
    step_s = max(_usual_step(belt), _usual_step(ground), 1e-3)
    step_s = max(step_s, (end_s - start_s) / MOST_SAMPLES)
    samples = int((end_s - start_s) / step_s) + 1
    time_s = start_s + step_s * np.arange(samples, dtype=np.float64)
    belt_mps = resample(belt, time_s)
    lag_s, u_lag_s = find_lag(belt_mps, resample(ground, time_s), step_s, most_lag_s)
    shift_s = lag_s if math.isfinite(lag_s) else 0.0
    return Aligned(time_s, step_s, belt_mps, resample(ground, time_s + shift_s), lag_s, u_lag_s)


def _any(belt: SpeedSeries, ground: SpeedSeries) -> bool:
    return belt.time_s.size > 1 and ground.time_s.size > 1


def _with_values(series: SpeedSeries) -> SpeedSeries:
    good = np.isfinite(series.speed_mps) & np.isfinite(series.time_s)
    good[1:] &= np.diff(series.time_s) > 0
    return SpeedSeries(
        series.time_s[good], series.speed_mps[good], series.u_mps[good], series.u_common_rel
    )


def _usual_step(series: SpeedSeries) -> float:
    return float(np.median(np.diff(series.time_s)))


def resample(series: SpeedSeries, time_s: Floats) -> Floats:
    """Values at `time_s` by straight lines between neighbours; NaN in holes and outside."""
    after = np.clip(np.searchsorted(series.time_s, time_s), 1, series.time_s.size - 1)
    gap_s = series.time_s[after] - series.time_s[after - 1]
    value = np.interp(time_s, series.time_s, series.speed_mps, left=math.nan, right=math.nan)
    return np.where(gap_s > max(HOLE_S, 4 * _usual_step(series)), math.nan, value)


def find_lag(
    leader: Floats, follower: Floats, step_s: float, most_lag_s: float = MOST_LAG_S
) -> tuple[float, float]:
    """Seconds by which `follower` (n,) is behind `leader` (n,), and the standard uncertainty.

    Samples `step_s` apart, NaN allowed. Twice the uncertainty covers 95.45 %. (NaN, inf) where
    no lag stands out.
    """
    width = -(-leader.size // MOST_MEANS)
    if width > 1:
        leader, follower = (_means(one, width) for one in (leader, follower))
    step_s *= width
    most = min(int(most_lag_s / step_s), leader.size // 3)
    if most < 2 or leader.size * step_s < LEAST_S:
        return math.nan, math.inf
    # What the two differ by otherwise (slip, a tyre's radius under load) changes slowly and
    # pulls the peak aside: where the changes from sample to sample are the motion's, they are
    # compared. They place it to half a sample only: their noise is as rough as they are.
    lag, U = _found(np.diff(leader), np.diff(follower), 1, most, step_s, SAME_CHANGES)
    if U * step_s <= CLEAR_LAG_S:
        return lag * step_s, math.hypot(U / 2, 0.5) * step_s
    span = 2 * round(SMOOTH_S / step_s / 2) + 1
    lag, U = _found(leader, follower, span, most, step_s, 0.0)
    return (lag * step_s, U / 2 * step_s) if U * step_s <= CLEAR_LAG_S else (math.nan, math.inf)


def _found(
    leader: Floats, follower: Floats, span: int, most: int, step_s: float, least: float
) -> tuple[float, float]:
    """The lag in samples and its U, both smoothed over `span`; (NaN, inf) where none stands out
    or the two correlate by less than `least`."""
    smooth = _smoothed(leader, span), _smoothed(follower, span)
    lag, slope = _highest(*smooth, most, least), np.gradient(smooth[0])
    farthest, found = 0.3 / step_s, None
    for _ in range(MOST_ROUNDS):
        found = _regressed(smooth[0], slope, _moved(smooth[1], lag))
        if found is None or not found[0][1] > 0:
            return math.nan, math.inf
        off = found[0][2] / found[0][1]
        lag -= min(max(off, -farthest), farthest)
        if abs(off) * step_s < 0.001:
            break
    if found is None or not abs(lag) <= most:
        return math.nan, math.inf
    follows, U = _uncertainty(leader, _moved(follower, lag), found, span, step_s)
    return (lag, U) if follows else (math.nan, math.inf)


def _means(values: Floats, width: int) -> Floats:
    """Means of `width` neighbours each; NaN where one of them is."""
    return np.asarray(values[: values.size // width * width].reshape(-1, width).mean(axis=1))


def _smoothed(values: Floats, span: int) -> Floats:
    """Running mean over `span` samples, NaN where it reaches one or the end."""
    smooth = np.full(values.size, math.nan)
    if values.size >= span:
        whole = np.convolve(np.nan_to_num(values), np.ones(span) / span, "valid")
        holes = np.convolve(np.isnan(values).astype(np.float64), np.ones(span), "valid") > 0.5
        smooth[span // 2 : span // 2 + whole.size] = np.where(holes, math.nan, whole)
    return smooth


def _moved(follower: Floats, lag: float) -> Floats:
    """The follower `lag` samples later, between samples by straight lines; NaN outside."""
    if not math.isfinite(lag):
        return np.full(follower.size, math.nan)
    at = np.arange(follower.size) + lag
    low = np.clip(np.floor(at).astype(np.int64), 0, follower.size - 2)
    part = at - low
    moved = (1 - part) * follower[low] + part * follower[low + 1]
    return np.where((part >= 0) & (part <= 1), moved, math.nan)


def _highest(leader: Floats, follower: Floats, most: int, least: float) -> float:
    """The shift within ±`most` samples at which correlation peaks; NaN at the border, and where
    it is less than `least`."""
    correlation = np.array([_correlation(leader, follower, by) for by in range(-most, most + 1)])
    best = int(np.argmax(correlation))
    if not 0 < best < correlation.size - 1 or correlation[best] <= least:
        return math.nan
    return best - most + parabola_peak(*correlation[best - 1 : best + 2])


def _correlation(leader: Floats, follower: Floats, shift: int) -> float:
    """Correlation with the follower moved `shift` samples back; −1 where it is unknown."""
    first, last = max(0, -shift), min(leader.size, leader.size - shift)
    a, b = leader[first:last], follower[first + shift : last + shift]
    good = np.isfinite(a) & np.isfinite(b)
    if np.count_nonzero(good) < 10:
        return -1.0
    a, b = a[good], b[good]
    own_a, own_b = a - a.mean(), b - b.mean()
    size_a, size_b = float(own_a @ own_a), float(own_b @ own_b)
    # Of a constant only rounding is left, which must not pass for motion.
    if size_a <= 1e-12 * float(a @ a) or size_b <= 1e-12 * float(b @ b):
        return -1.0
    return float(own_a @ own_b) / math.sqrt(size_a * size_b)


def _regressed(
    leader: Floats, slope: Floats, follower: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]] | None:
    """(coefficients (3,), the columns (m, 3), where both are known (n,)) of the follower on 1,
    the leader and its slope. None where there is too little."""
    good = np.isfinite(leader) & np.isfinite(slope) & np.isfinite(follower)
    columns = np.column_stack([np.ones(leader.size), leader, slope])[good]
    normal = columns.T @ columns
    if np.count_nonzero(good) < 10 or np.linalg.cond(normal) > 1e12:
        return None
    return np.linalg.solve(normal, columns.T @ follower[good]), columns, good


def _uncertainty(
    leader: Floats,
    follower: Floats,
    found: tuple[Floats, Floats, NDArray[np.bool_]],
    span: int,
    step_s: float,
) -> tuple[bool, float]:
    """(whether the follower follows at all, U of the lag in samples)."""
    (offset, factor, _), columns, good = found
    left = follower - offset - factor * leader
    used = np.isfinite(left)
    scatter = scatter_of(left[used] - left[used].mean(), step_s)

    def of_coefficient(at: int) -> tuple[float, float]:
        others = np.delete(columns, at, axis=1)
        own = columns[:, at] - others @ np.linalg.lstsq(others, columns[:, at], rcond=None)[0]
        weight = np.zeros(leader.size)
        weight[good] = own
        # What smoothing does to the follower it does to the weights of its single values.
        weight = np.convolve(weight, np.ones(span) / span, "same")[used]
        u, U = scatter.of_sum(weight)
        return u / float(own @ own), U / float(own @ own)

    return factor > CLEAR * of_coefficient(1)[0], ROOM * of_coefficient(2)[1] / factor


def parabola_peak(before: float, at: float, after: float) -> float:
    """Where between −½ and ½ the parabola through three neighbouring values peaks."""
    curvature = before - 2 * at + after
    return 0.5 * (before - after) / curvature if curvature < 0 else 0.0

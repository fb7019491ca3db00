"""Two speed series put on one time line: how far the one is behind the other.

The lag is where the correlation of the two is greatest, between samples by a parabola
through the peak, p = ½(α − γ)/(α − 2β + γ) (bias at most 0.0016 samples at 20 samples a
period, computed). What the two differ by otherwise (slip, a tyre's radius under load)
changes slowly and pulls the peak aside, so the changes from sample to sample are compared
first; where they drown in noise, the speeds after whitening by the residual's own memory
(Cochrane & Orcutt, JASA 44, 1949, from memory). The uncertainty is that of the jackknife
over ten parts of the recording (Efron, 1982): it sees when one part of the pass says
otherwise than the rest. At constant speed nothing can be found, and nothing depends on it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.speed import SpeedSeries

Floats = NDArray[np.float64]

MOST_LAG_S = 3.0
"""Largest lag looked for; receivers and buses of this trade stay below (common practice)."""

HOLE_S = 1.0
"""A pause between two values longer than this, and than four usual ones, is a hole."""

MOST_SAMPLES = 2_000_000
"""Samples of the common time line at most: an eight-hour pass at 60 Hz."""

CLEAR = 5.0
"""A correlation of n samples is believed from this many times 1/√n, its scatter by chance."""

SAME_CHANGES = 0.5
"""Correlation from which the changes from sample to sample are the motion's and not noise."""

PARTS = 10
"""Parts of the recording that are left out in turn."""

CLEAR_LAG_S = 0.5
"""Largest standard uncertainty at which a lag is believed; beyond, the speeds were steady."""


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

    Samples `step_s` apart, NaN allowed. (NaN, inf) where no lag stands out.
    """
    most = min(int(most_lag_s / step_s), leader.size // 3)
    plain, _ = _peak(leader, follower, most, CLEAR / math.sqrt(leader.size))
    if not math.isfinite(plain):
        return math.nan, math.inf
    memory = _memory(leader, follower, round(plain))
    # Changes from sample to sample place the peak to half a sample only: their noise is as
    # rough as they are. Whitened speeds place it between samples.
    ways = ((1.0, SAME_CHANGES, 0.5), (memory, CLEAR / math.sqrt(leader.size), 0.01))
    for kept, clear, least_u in ways:
        lag, u_lag = _peak(_whitened(leader, kept), _whitened(follower, kept), most, clear)
        if u_lag * step_s <= CLEAR_LAG_S:
            return lag * step_s, math.hypot(u_lag, least_u) * step_s
    return math.nan, math.inf


def _peak(leader: Floats, follower: Floats, most: int, clear: float) -> tuple[float, float]:
    """The shift within ±`most` samples at which correlation peaks above `clear`, and its u."""
    if most < 2 or leader.size < 10 * PARTS:
        return math.nan, math.inf
    shifts = range(-most, most + 1)
    sums = np.stack([_sums(leader, follower, shift) for shift in shifts])
    total = sums.sum(axis=1)
    lag, height = _highest(total, most)
    if not height >= clear:
        return math.nan, math.inf
    without = np.array([_highest(total - sums[:, part], most)[0] for part in range(PARTS)])
    spread = float(np.sum((without - without.mean()) ** 2))
    u_lag = math.sqrt((PARTS - 1) / PARTS * spread)
    return lag, u_lag if math.isfinite(u_lag) else math.inf


def _highest(sums: Floats, most: int) -> tuple[float, float]:
    """Where correlation peaks, and how high, from sums (shifts, 6); NaN at the border."""
    n, a, b, aa, bb, ab = sums.T
    with np.errstate(invalid="ignore", divide="ignore"):
        own_a, own_b = aa - a * a / n, bb - b * b / n
        size = own_a * own_b
        # Of a constant only rounding is left, which must not pass for motion.
        varies = (own_a > 1e-12 * aa) & (own_b > 1e-12 * bb)
        correlation = np.where(varies, (ab - a * b / n) / np.sqrt(np.abs(size)), -1.0)
    correlation[~(n >= 10)] = -1.0
    best = int(np.argmax(correlation))
    if not 0 < best < correlation.size - 1:
        return math.nan, -1.0
    before, at, after = correlation[best - 1 : best + 2]
    return best - most + parabola_peak(before, at, after), float(at)


def _sums(leader: Floats, follower: Floats, shift: int) -> Floats:
    """(parts, 6) number, Σa, Σb, Σa², Σb², Σab of the samples valid in both, part by part."""
    a, b = _shifted(leader, follower, shift)
    good = np.isfinite(a) & np.isfinite(b)
    a, b = np.where(good, a, 0.0), np.where(good, b, 0.0)
    starts = np.linspace(0, a.size, PARTS, endpoint=False).astype(np.int64)
    columns = (good.astype(np.float64), a, b, a * a, b * b, a * b)
    return np.stack([np.add.reduceat(column, starts) for column in columns], axis=1)


def _memory(leader: Floats, follower: Floats, shift: int) -> float:
    """Autocorrelation at one sample of what is left of `follower` after the best line."""
    a, b = _shifted(leader, follower, shift)
    good = np.isfinite(a) & np.isfinite(b)
    a, b = a[good], b[good]
    slope, offset = np.polyfit(a, b, 1)
    left = b - (slope * a + offset)
    size = float(left @ left)
    return min(max(float(left[1:] @ left[:-1]) / size, 0.0), 1.0) if size > 0 else 0.0


def _whitened(values: Floats, memory: float) -> Floats:
    return np.asarray(values[1:] - memory * values[:-1])


def _shifted(leader: Floats, follower: Floats, shift: int) -> tuple[Floats, Floats]:
    """The parts that overlap when `follower` is moved `shift` samples back."""
    first, last = max(0, -shift), min(leader.size, leader.size - shift)
    return leader[first:last], follower[first + shift : last + shift]


def parabola_peak(before: float, at: float, after: float) -> float:
    """Where between −½ and ½ the parabola through three neighbouring values peaks."""
    curvature = before - 2 * at + after
    return 0.5 * (before - after) / curvature if curvature < 0 else 0.0

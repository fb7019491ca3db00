"""The mean of values that hang together in time, with an uncertainty that allows for it.

The scatter is white, or lasts for a while, or both: r_k = (1 − share)·[k = 0] + share·φᵏ with
φ = exp(−step ÷ memory). Nobody knows share and memory; each pair of a grid counts by how likely
it makes what was seen, the mean taken out (restricted likelihood of the cosine transform, in
which such a row's coefficients are nearly independent; Whittle 1953, from memory). A mean's
interval is that of the mixture, so that a short row, which cannot show a long memory, is not
taken for a sure one (cf. Marriott & Pope, Biometrika 41, 1954, on how far it seems too short).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.statistics.coverage import COVERAGE, coverage_factor

Floats = NDArray[np.float64]

MEMORIES_S = np.array([0.5, 1.0, 2.0, 4.0, 8.0])
MEMORY_WEIGHTS = np.array([1.0, 1.0, 1.0, 1.0, 0.5])
SHARES = np.array([0.2, 0.5, 1.0])
WHITE_WEIGHT = 0.5
"""The grid, and what each stands for before anything was seen: a receiver's errors last for 1 to
3 s, a belt wanders for some seconds. Chosen; tests/benchmarks/bench_pass_coverage.py shows what
the intervals then hold."""

MOST_BLOCKS, LEAST_BLOCK_S = 250, 0.4
"""A row is looked at in means of neighbours, so many at most and so long at least: putting two
sources on one line of time smooths what is shorter."""


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean, its standard uncertainty, and its expanded one (95.45 %)."""

    value: float
    u: float
    U: float


@dataclass(frozen=True, slots=True, eq=False)
class Scatter:
    """How a row scatters: the grid's `weight` (g,), one value's `variance` under each point,
    `shape` (2, g) share and φ, and the degrees of freedom of the variances."""

    weight: Floats
    variance: Floats
    shape: Floats
    dof: float

    def of_mean(self, count: float) -> tuple[float, float]:
        """u and U of the mean of `count` neighbouring values."""
        return self._spread(self.variance * _mean_of(self.shape, max(count, 1.0)))

    def of_sum(self, weights: Floats) -> tuple[float, float]:
        """u and U of the sum of neighbouring values with `weights` (n,)."""
        from scipy.signal import lfilter

        white = float(weights @ weights)
        share, kept = self.shape
        # Σ wⱼwₖφ^|j−k| by one pass for every φ.
        hangs = {
            phi: 2 * float(weights @ lfilter([1.0], [1.0, -phi], weights)) - white
            for phi in np.unique(kept).tolist()
        }
        together = np.array([hangs[phi] for phi in kept.tolist()])
        return self._spread(self.variance * ((1 - share) * white + share * together))

    def long_run(self) -> tuple[float, float]:
        """u and U of one value as it counts in a long mean or a slope."""
        share, kept = self.shape
        return self._spread(self.variance * (1 - share + share * (1 + kept) / (1 - kept)))

    def _spread(self, variance: Floats) -> tuple[float, float]:
        """Standard deviation and half width of a mixture of Student's t about 0."""
        from scipy.special import stdtr

        u = math.sqrt(float(self.weight @ variance) * self.dof / max(self.dof - 2, 0.5))
        if u == 0:
            return 0.0, 0.0
        scale, wanted = np.sqrt(np.maximum(variance, 1e-300)), 0.5 + COVERAGE / 2
        low, high = 0.0, u
        while float(self.weight @ stdtr(self.dof, high / scale)) < wanted and high < 1e3 * u:
            high *= 2
        for _ in range(30):
            middle = (low + high) / 2
            inside = float(self.weight @ stdtr(self.dof, middle / scale)) < wanted
            low, high = (middle, high) if inside else (low, middle)
        return u, high


def scatter_of(values: Floats, step_s: float = 1.0, trend: bool = False) -> Scatter:
    """The scatter of evenly spaced `values` (n >= 3,); with `trend` a slope was taken out."""
    from scipy.fft import dct

    width = max(-(-values.size // MOST_BLOCKS), round(LEAST_BLOCK_S / step_s))
    width = max(1, min(width, values.size // 10))
    blocks = values[: values.size // width * width].reshape(-1, width).mean(axis=1)
    weight, shape, spectra = shapes(blocks.size, width, step_s)
    first = 1 if trend and blocks.size > 4 else 0
    power = dct(blocks, norm="ortho")[1 + first :] ** 2
    spectra = spectra[:, first:]
    square = np.maximum(np.sum(power / spectra, axis=1), 1e-300)
    dof = float(power.size)
    log = np.log(weight) - 0.5 * np.sum(np.log(spectra), axis=1) - dof / 2 * np.log(square)
    likely = np.exp(log - log.max())
    return Scatter(likely / likely.sum(), square / dof, shape, dof)


@lru_cache(maxsize=64)
def shapes(count: int, width: int, step_s: float) -> tuple[Floats, Floats, Floats]:
    """(g,) weights, (2, g) share and φ, and (g, count − 1) variances of the cosine transform's
    coefficients of `count` means of `width` values each, one value's variance 1."""
    angle = np.pi * np.arange(1, count) / count
    pairs = [(0.0, 0.0)] + [
        (share, math.exp(-step_s / memory_s)) for memory_s in MEMORIES_S for share in SHARES
    ]
    shape = np.array(pairs).T
    usual = np.repeat(MEMORY_WEIGHTS, SHARES.size) / (MEMORY_WEIGHTS.sum() * SHARES.size)
    weight = np.concatenate(([WHITE_WEIGHT], (1 - WHITE_WEIGHT) * usual))
    share, kept = shape[:, :, None]
    # Means of an AR(1) row are an ARMA(1, 1) row: r_0, r_1, then falling by φ^width.
    own = _mean_of(np.stack((np.ones_like(shape[1]), shape[1])), width)[:, None]
    next_one = kept * ((1 - kept**width) / (width * (1 - kept))) ** 2
    falls = kept**width
    turns = (np.cos(angle) - falls) / (1 - 2 * falls * np.cos(angle) + falls**2)
    # A value read off between two others scatters less by a third on average: of a block's
    # width its ends.
    white = (1 - 1 / (3 * width)) / width if width > 1 else 1.0
    spectra = (1 - share) * white + share * (own + 2 * next_one * turns)
    return weight, shape, np.maximum(spectra, 1e-12)


def _mean_of(shape: Floats, count: float) -> Floats:
    """Variance of the mean of `count` values of variance 1, (g,)."""
    share, kept = shape
    bent = 2 * kept * (1 - kept**count) / (count * (1 - kept) ** 2)
    return np.asarray((1 - share + share * ((1 + kept) / (1 - kept) - bent)) / count)


def autocorrelated_mean(values: Floats, step_s: float = 1.0) -> Mean:
    """Mean of evenly spaced `values` (n,), NaN left out. u is inf where n < 3."""
    values = values[np.isfinite(values)]
    if values.size < 3:
        return Mean(float(values.mean()) if values.size else math.nan, math.inf, math.inf)
    return Mean(float(values.mean()), *scatter_of(values, step_s).of_mean(values.size))


def reading_mean(values: Floats, u: Floats) -> Mean:
    """Mean of readings of something that may change, NaN left out.

    What it changed by is no uncertainty: the readings' noise is taken from their second
    differences (variance 6σ² for white noise), and `u` (n,), what the source claims for
    each reading, may be one and the same error in all of them.
    """
    good = np.isfinite(values)
    values, u = values[good], u[good]
    n = values.size
    if n == 0:
        return Mean(math.nan, math.inf, math.inf)
    second = np.diff(values, n=2)
    noise2 = float(second @ second) / (6 * second.size) if second.size else 0.0
    own2 = float(np.mean(u[np.isfinite(u)] ** 2)) if np.isfinite(u).any() else 0.0
    u_mean = math.sqrt(noise2 / n + own2)
    dof = max(1.0, second.size / 3) * (u_mean**2 * n / noise2) ** 2 if noise2 > 0 else math.inf
    return Mean(float(values.mean()), u_mean, coverage_factor(dof) * u_mean)

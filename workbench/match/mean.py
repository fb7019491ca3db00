"""The mean of values that hang together in time, with an uncertainty that allows for it.

u² = s²/n · [1 + 2 Σ (1 − k/n) ρ_k]; the sum is cut where neighbouring pairs of
autocorrelations stop being positive (Geyer, Statist. Sci. 7(4), 1992: initial positive
sequence).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean, its standard uncertainty, degrees of freedom and effective number of values."""

    value: float
    u: float
    dof: float
    n_effective: float


def autocorrelated_mean(values: Floats) -> Mean:
    """Mean of evenly spaced `values` (n,), NaN left out. u is inf where n < 2."""
    values = values[np.isfinite(values)]
    n = values.size
    if n < 2:
        return Mean(float(values[0]) if n else math.nan, math.inf, 1.0, float(n))
    mean = float(values.mean())
    rho = autocorrelation(values)
    n_eff = effective_number(n, rho[1 : 1 + _positive_run(rho)])
    # s² itself is too small by the factor 1 − 1/n_eff when the values hang together.
    s2 = float(np.mean((values - mean) ** 2)) / max(1 - 1 / n_eff, 0.5)
    return Mean(mean, math.sqrt(s2 / n_eff), max(1.0, n_eff - 1), n_eff)


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
        return Mean(math.nan, math.inf, 1.0, 0.0)
    second = np.diff(values, n=2)
    noise2 = float(second @ second) / (6 * second.size) if second.size else 0.0
    own2 = float(np.mean(u[np.isfinite(u)] ** 2)) if np.isfinite(u).any() else 0.0
    u_mean = math.sqrt(noise2 / n + own2)
    dof = max(1.0, second.size / 3) * (u_mean**2 * n / noise2) ** 2 if noise2 > 0 else math.inf
    return Mean(float(values.mean()), u_mean, dof, float(n))


def effective_number(n: int, rho: Floats) -> float:
    """How many independent values n are worth; `rho` the autocorrelations at lag 1, 2, …"""
    lag = np.arange(1, rho.size + 1)
    return n / max(1.0, 1 + 2 * float(np.sum((1 - lag / n) * rho)))


def autocorrelation(values: Floats) -> Floats:
    """Autocorrelations at lag 0, 1, … n/2; all 0 but the first where nothing varies."""
    n = values.size
    centred = values - values.mean()
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.fft.rfft(centred, size)
    covariance = np.fft.irfft(spectrum * np.conj(spectrum), size)[: n // 2 + 1]
    if covariance[0] <= 1e-30 * max(1.0, float(values @ values)):
        return np.concatenate(([1.0], np.zeros(n // 2)))
    return np.asarray(covariance / covariance[0])


def _positive_run(rho: Floats) -> int:
    """How many lags from 1 on count: pairs ρ_2m + ρ_2m+1, m = 0, 1, …, while positive."""
    pairs = rho[: rho.size // 2 * 2].reshape(-1, 2).sum(axis=1)
    negative = np.flatnonzero(pairs <= 0)
    return int(2 * negative[0] - 1 if negative.size and negative[0] > 0 else 2 * pairs.size - 1)

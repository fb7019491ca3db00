"""Random numbers: one named stream for each thing that varies, and coloured noise.

A stream depends on the seed and its own name only, so a sensor more or less changes
nobody else's noise.
"""

from __future__ import annotations

import math
import zlib

import numpy as np

from drivers.contract import Floats


def stream(seed: int, name: str) -> np.random.Generator:
    """The generator of `name` under `seed`."""
    key = zlib.crc32(name.encode())
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(key,)))


class Recursion:
    """y[i] = keep·y[i−1] + x[i], continued from call to call.

    Worked in blocks, each by one product with a triangle of powers: `scipy.signal` does
    the same, but takes longer to import than most runs take to simulate.
    """

    _BLOCK = 64

    def __init__(self, keep: float, state: float) -> None:
        self.state = state
        powers = np.arange(self._BLOCK)[:, None] - np.arange(self._BLOCK)
        self._triangle = np.where(powers >= 0, keep ** np.maximum(powers, 0), 0.0).T
        self._decay = keep ** np.arange(1, self._BLOCK + 1)

    def __call__(self, x: Floats) -> Floats:
        """(n,) the next values for `x` (n,)."""
        blocks = -(-x.size // self._BLOCK)
        padded = np.zeros(blocks * self._BLOCK)
        padded[: x.size] = x
        y = padded.reshape(blocks, self._BLOCK) @ self._triangle
        for block in y:
            block += self.state * self._decay
            self.state = float(block[-1])
        y = y.ravel()[: x.size]
        if x.size:
            self.state = float(y[-1])
        return y


class Lag:
    """A first-order lag, continued from call to call: y += (x − y)·(1 − exp(−dt/τ))."""

    def __init__(self, tau_s: float, dt_s: float) -> None:
        self._keep = math.exp(-dt_s / tau_s) if tau_s > 0 else 0.0
        self._recursion: Recursion | None = None

    def __call__(self, x: Floats) -> Floats:
        """The lagged values, shape of `x`; the first call starts settled on x[0]."""
        if self._recursion is None:
            self._recursion = Recursion(self._keep, float(x[0]))
        return self._recursion(x * (1 - self._keep))


class Wander:
    """Noise of unit variance with correlation time τ (AR(1)), continued from call to call."""

    def __init__(self, rng: np.random.Generator, tau_s: float, dt_s: float) -> None:
        self._rng = rng
        keep = math.exp(-dt_s / tau_s)
        self._innovation = math.sqrt(1 - keep**2)
        self._recursion = Recursion(keep, float(rng.standard_normal()))

    def __call__(self, n: int) -> Floats:
        """The next `n` values."""
        return self._recursion(self._rng.standard_normal(n) * self._innovation)

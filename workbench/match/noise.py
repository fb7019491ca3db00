"""What the belt's speed does by itself: white scatter and a slow wander, a grid of both.

y ~ N(0, s²·(w·I + (1 − w)·exp(−|Δt|/τ)) + A·Aᵀ), A (n, k) the directions in which sizes are
free, each its prior standard deviation long. By the matrix determinant lemma and Woodbury's
identity only k × k systems are solved for each A.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WHITE_SHARE = (0.15, 0.6)
WANDER_S = (2.0, 6.0)
SCALES = np.array([0.002, 0.004, 0.008, 0.016, 0.032, 0.064, 0.128, 0.256])
USUAL_SCALE, USUAL_SPREAD = 0.007, 0.7
"""A belt wanders by 0.7 %, give or take a factor of 2: crop that comes unevenly. Chosen."""


def log_prior(restless: float) -> Floats:
    """(scales, 1) ln of each scale's prior weight; `restless` multiplies the usual scale."""
    logs = np.log(SCALES / (USUAL_SCALE * restless)) / USUAL_SPREAD
    weight = np.exp(-0.5 * logs**2)
    shapes = len(WHITE_SHARE) * len(WANDER_S)
    return np.asarray(np.log(weight / (weight.sum() * shapes))[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """One correlation of the grid. `whiten` (n, n) makes it the unit matrix."""

    whiten: Floats
    log_det: float

    def log_density(self, y: Floats, fixed: Floats, free: Floats) -> tuple[Floats, Floats]:
        """(scales, m) ln p of each column of `y` (n, m), and the most likely size along `free`.

        Sizes are free along the columns of `fixed` (n, k) and along the same column of
        `free` (n, m) as that of `y`; they come in units of `free`.
        """
        n, k = fixed.shape
        w_y, w_a, w_b = self.whiten @ y, self.whiten @ fixed, self.whiten @ free
        aa, ay, ab = w_a.T @ w_a, w_a.T @ w_y, w_a.T @ w_b
        yy, bb, by = np.sum(w_y**2, axis=0), np.sum(w_b**2, axis=0), np.sum(w_b * w_y, axis=0)
        density, size = np.empty((2, SCALES.size, y.shape[1]))
        for at, s2 in enumerate(SCALES**2):
            gram = np.eye(k) + aa / s2
            inner = np.linalg.inv(gram)
            left_yy = yy / s2 - np.sum(ay * (inner @ ay), axis=0) / s2**2
            # After the fixed directions each free one is a single direction more.
            left_bb = 1 + bb / s2 - np.sum(ab * (inner @ ab), axis=0) / s2**2
            left_by = by / s2 - np.sum(ab * (inner @ ay), axis=0) / s2**2
            size[at] = left_by / left_bb
            log_det = self.log_det + n * math.log(2 * math.pi * s2)
            log_det += float(np.linalg.slogdet(gram)[1])
            density[at] = -0.5 * (left_yy - left_by * size[at] + log_det + np.log(left_bb))
        return density, size


def noises(time_s: Floats) -> list[Noise]:
    """The grid for values at `time_s` (n,)."""
    apart_s = np.abs(time_s[:, None] - time_s[None, :])
    found = []
    for white in WHITE_SHARE:
        for tau_s in WANDER_S:
            correlation = white * np.eye(time_s.size) + (1 - white) * np.exp(-apart_s / tau_s)
            lower = np.linalg.cholesky(correlation)
            found.append(Noise(np.linalg.inv(lower), 2 * float(np.sum(np.log(np.diag(lower))))))
    return found

"""Rounding errors of one display: how those of several readings hang together.

JCGM 100, F.2.2.1: a reading of resolution d stands for any value within d/2 of it, all
equally probable, u = d/√12. Readings at speeds that share a place in their step err alike,
and many of them are no better than one.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from workbench.base.machine import Readout
from workbench.base.statements import statement
from workbench.calibration.readout.true_speed import InputSays
from workbench.calibration.statistics.budget import Distribution, Line, Part
from workbench.calibration.statistics.fit import LineFit

Floats = NDArray[np.float64]

MEAN_STEPS = {"nearest": 0.0, "down": 0.5, "": 0.25}
"""How far the mean of the indications that a shown digit stands for lies above it, in steps, by
the machine file's readout.rounds. A readout's error is that of this mean indication. Where the
file does not say, it is one of the two, each as likely."""

SCALE_PRIOR_REL = 0.03
"""How far a readout's scale is trusted before it is calibrated, for the phases of its
rounding errors. Chosen; it only decides how soon two runs count as independent."""

SHARED = 0.95
"""Share of a rounding error's variance that equal speeds have in common. Not all of it: no
belt runs equally fast twice, to the last digit. Chosen."""


def way_of_rounding(readout: Readout) -> list[Line]:
    """The input of half a step that a display has or has not cut off, in steps; none where the
    machine file says which."""
    if readout.rounds:
        return []
    source = statement(InputSays.FROM_ROUNDS_UNSAID, step=readout.step, unit=readout.unit)
    return [
        Line(
            statement(InputSays.WAY_OF_ROUNDING),
            MEAN_STEPS[""],
            MEAN_STEPS[""],
            "",
            Distribution.TWO_VALUED,
            source=source,
            group=Part.ROUNDING,
        )
    ]


def u_rounds_mps(readout: Readout) -> float:
    """Standard uncertainty of an indication by that input; 0 where the machine file says."""
    return 0.0 if readout.rounds else MEAN_STEPS[""] * readout.step_mps


def rounding_correlation(apart: ArrayLike, u_apart: ArrayLike, step: float) -> Floats:
    """Correlation of the rounding errors of two readings of one display.

    `apart` is how far apart the unrounded values lie, `u_apart` how well that is known. A
    rounding error is a sawtooth of the value; with the value's place in its step unknown,
    the sawtooth's autocorrelation is 6/π² · Σ cos(2πm·apart/step)/m² (the Fourier series of
    1 − 6τ(1 − τ), τ the fraction of a step), and a normal u damps its m-th term by
    exp(−2π²m²u²/step²). Equal speeds share one error; unrelated ones share none.
    """
    m = np.arange(1, 25)
    phase = 2 * math.pi * np.asarray(apart, dtype=np.float64)[..., None] / step
    spread = 2 * math.pi * np.asarray(u_apart, dtype=np.float64)[..., None] / step
    terms = np.cos(m * phase) * np.exp(-0.5 * (m * spread) ** 2) / m**2
    # The terms kept are scaled so that one reading agrees with itself.
    return np.asarray(terms.sum(axis=-1) / np.sum(1 / m**2))


def display_correlation(
    shown: Floats, speed: Floats, log_covariance: Floats, step: float
) -> Floats:
    """(n, n) correlation of the rounding errors of n runs.

    `shown`, `speed` (n,) and `step` in one unit, `log_covariance` (n, n) of ln speed. Runs
    that show the same at speeds that may well be the same share one rounding error: a
    belt left at its speed for five runs has not been read five times.
    """
    member = _alike(shown, speed, log_covariance, step)
    mean = member.T / member.sum(axis=0)[:, None]
    speed, log_covariance = mean @ speed, mean @ log_covariance @ mean.T
    apart = np.abs(speed[:, None] - speed[None, :])
    u_apart = np.hypot(_u_apart(speed, log_covariance), SCALE_PRIOR_REL * apart)
    correlation = rounding_correlation(apart, u_apart, step)
    np.fill_diagonal(correlation, 1.0)
    return np.asarray(SHARED * member @ correlation @ member.T + (1 - SHARED) * np.eye(shown.size))


def one_rounding_correlation(runs: int) -> Floats:
    """(n, n) the same where all readings are known to share one rounding error."""
    return np.asarray(SHARED * np.ones((runs, runs)) + (1 - SHARED) * np.eye(runs))


def draw_rounding(
    rng: np.random.Generator,
    shown: Floats,
    speed: Floats,
    log_covariance: Floats,
    step: float,
) -> Floats:
    """(n, draws) rounding errors that hang together as those of one display do.

    `speed` (n, draws): draws of the true speeds, in the unit of `step`; the value's place in
    its step and the readout's scale are unknown and the same for all runs of a draw.
    """
    member = _alike(shown, speed.mean(axis=1), log_covariance, step)
    together = member @ (member.T / member.sum(axis=0)[:, None]) @ speed
    scale = 1 + SCALE_PRIOR_REL * rng.standard_normal(speed.shape[1])
    place = together * scale / step + rng.uniform(size=speed.shape[1])
    return np.asarray(step * (place - np.floor(place) - 0.5))


def _u_apart(speed: Floats, log_covariance: Floats) -> Floats:
    """(n, n) standard uncertainty of the difference of each two speeds."""
    spread = log_covariance * np.outer(speed, speed)
    variance = np.diag(spread)[:, None] + np.diag(spread)[None, :] - 2 * spread
    return np.asarray(np.sqrt(np.maximum(variance, 0)))


def _alike(shown: Floats, speed: Floats, log_covariance: Floats, step: float) -> Floats:
    """(n, groups) 1 where a run belongs to a group of runs that may be at one speed."""
    apart = np.abs(speed[:, None] - speed[None, :])
    near = np.minimum(_u_apart(speed, log_covariance), step / 2)
    same = np.abs(shown[:, None] - shown[None, :]) < step / 2
    order = np.argsort(speed)
    linked = (same & (apart <= near))[order[:-1], order[1:]]
    group = np.empty(speed.size, dtype=np.int64)
    group[order] = np.concatenate([[0], np.cumsum(~linked)])
    return np.asarray(np.eye(int(group.max()) + 1)[group])


TOO_ALIKE, TOO_ALIKE_FEW = 0.06, {1: 0.25, 2: 0.12}
"""Probability of so little scatter by chance below which the runs' rounding errors count as
one and the same; of two and three runs more, which differ by little by chance more often.
Chosen: high, because to overlook it costs more than to be too careful."""


def too_alike(fit: LineFit) -> bool:
    """Whether runs agree better than independent rounding errors would let them.

    `fit` is the line through them with such errors, and all others. The speeds then share a
    place in their step: by chance, or because each was set as the wanted digit just came up.
    """
    from scipy.special import chdtr

    least = TOO_ALIKE_FEW.get(fit.dof, TOO_ALIKE)
    return fit.dof > 0 and float(chdtr(fit.dof, fit.chi_square)) < least

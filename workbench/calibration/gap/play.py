"""Bearing play: does the wheel turn about the same centre turn after turn?

A wheel that shifts by d in its bearing shows as a once-a-turn swing of its teeth that is
not the one of the turn before. A belt that wanders does so too; but the wander also moves
the mean time of whole turns, which a swing about the centre leaves alone. So the wander
is measured there, and what it can do within a turn is reckoned as for a random walk, the
roughest a belt with inertia does; only what goes beyond it is play.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import CleanEdges

Floats = NDArray[np.float64]

FEWEST_TURNS = 12
MOST_TURNS = 3000
FEWEST_TEETH = 8
LEAST_REL = 0.001
"""Shift of the centre (one sigma, a share of the pitch radius) worth naming; chosen: 0.05 mm
on a wheel of 50 mm."""
OTHER_SHAFT_SHARE = 0.6
"""Share of the swings' power in one line above which another shaft's turn is the cause."""


@dataclass(frozen=True, slots=True)
class Play:
    """Movement of the wheel's centre from turn to turn, one sigma in each direction.

    `shift_rel` is a share of the pitch radius, NaN where it cannot be told; `least_rel` the
    smallest that would be seen; `p` the chance of as much from jitter and wander alone.
    `regular`: the swing comes and goes evenly, as another shaft's turn would make it.
    """

    shift_rel: float
    least_rel: float
    p: float
    regular: bool


NO_PLAY = Play(math.nan, math.nan, 1.0, False)


def find_play(edges: CleanEdges, offset_rel: Floats, alpha: float) -> Play:
    """Look for play in whole turns without the known tooth offsets (Z,), shares of a pitch."""
    from scipy.special import fdtrc, fdtri

    teeth = offset_rel.size
    late = whole_turns(edges, offset_rel)
    if late.shape[0] < FEWEST_TURNS or teeth < FEWEST_TEETH:
        return NO_PLAY
    weights = _weights(teeth)
    swing = late @ weights[1:].T
    rest = late - late @ np.linalg.pinv(_design(teeth)).T @ _design(teeth).T
    jitter2 = float(np.median(np.sum(rest**2, axis=1))) / max(teeth - 5, 1)
    swing -= swing.mean(axis=0)
    turns = late.shape[0]
    found2 = float(np.sum(swing**2)) / (2 * (turns - 1))
    expected2 = float(np.mean(np.sum(weights[1:] ** 2, axis=1))) * jitter2
    expected2 += _wander2(late, jitter2)
    to_radius = 2 * math.pi / teeth
    freedom = (2.0 * (turns - 1), max(turns / 3.0, 1.0))
    ratio = found2 / max(expected2, 1e-300)
    needed = float(fdtri(*freedom, 1 - alpha))
    return Play(
        shift_rel=to_radius * math.sqrt(max(found2 - expected2, 0.0)),
        least_rel=max(LEAST_REL, to_radius * math.sqrt(expected2 * (needed - 1))),
        p=float(fdtrc(*freedom, ratio)),
        regular=_is_regular(swing),
    )


def whole_turns(edges: CleanEdges, offset_rel: Floats) -> Floats:
    """(turns, Z) lateness in pitches against an even motion, the tooth offsets taken off.

    From the longest piece without a break; missing teeth are filled in from their
    neighbours. The even motion is the line through the whole piece.
    """
    teeth = offset_rel.size
    first, last = max(edges.spans(), key=lambda span: span[1] - span[0])
    tooth, time_s = edges.tooth[first:last], edges.time_s[first:last]
    turns = min(int(tooth[-1] - tooth[0] + 1) // teeth, MOST_TURNS) if tooth.size else 0
    if turns < 2:
        return np.empty((0, teeth))
    grid = tooth[0] + np.arange(turns * teeth)
    full_s = np.interp(grid, tooth, time_s)
    period_s = (full_s[-1] - full_s[0]) / (grid.size - 1)
    known = np.where(np.isfinite(offset_rel), offset_rel, 0.0)
    late = (full_s - full_s[0]) / period_s - np.arange(grid.size) - known[grid % teeth]
    return np.asarray(late.reshape(turns, teeth))


def _design(teeth: int) -> Floats:
    """(Z, 5) constant, slope and bend of a turn, cosine and sine."""
    x = (np.arange(teeth) - (teeth - 1) / 2) / teeth
    theta = 2 * np.pi * x
    return np.column_stack([np.ones(teeth), x, x**2, np.cos(theta), np.sin(theta)])


def _weights(teeth: int) -> Floats:
    """(3, Z) weights that give a turn's mean, its cosine and its sine."""
    swing = np.linalg.pinv(_design(teeth))[3:]
    return np.vstack([np.full(teeth, 1 / teeth), swing])


def _wander2(late: Floats, jitter2: float) -> float:
    """Variance of a swing that the belt's wander can make, from third differences of turns."""
    teeth = late.shape[1]
    binomial = np.array([-1.0, 3.0, -3.0, 1.0])
    third = np.convolve(late.mean(axis=1), binomial, mode="valid")
    seen2 = float(np.mean(third**2)) - 20.0 * jitter2 / teeth
    unit2 = _random_walk2(np.repeat(binomial / teeth, teeth))
    swing2 = float(np.mean([_random_walk2(row) for row in _weights(teeth)[1:]]))
    return float(max(seen2, 0.0) * swing2 / unit2)


def _random_walk2(weights: Floats) -> float:
    """Variance of a weighted sum over a random walk of unit steps; the weights sum to 0."""
    return float(np.sum(np.cumsum(weights[::-1]) ** 2))


def _is_regular(swing: Floats) -> bool:
    power = np.abs(np.fft.fft(swing[:, 0] + 1j * swing[:, 1])) ** 2
    # Three neighbouring lines: a steady turn seldom falls on one line exactly.
    near = power + np.roll(power, 1) + np.roll(power, -1)
    return bool(near.max() > OTHER_SHAFT_SHARE * power.sum())

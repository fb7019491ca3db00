"""Which teeth stand out of a wheel's pattern, and the smooth once-a-turn part of it.

Teeth are taken out one by one, the farthest first; as many are named as the last step at
which the next one still stands out (generalised extreme studentized deviate, Rosner,
Technometrics 25(2) 1983), so that two bad teeth do not hide each other. A tooth is
compared with the spread of the others, which on a wheel of few teeth is poorly known and
is therefore pooled with what a sound wheel usually shows (moderated t, Smyth, Stat. Appl.
Genet. Mol. Biol. 3(1) 2004).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_HARMONICS_FROM = {1: 5, 2: 16}
"""Harmonics of the turn that are no tooth's fault, and the teeth needed to fit each."""


@dataclass(frozen=True, slots=True)
class Usual:
    """What a sound wheel shows: spread of one tooth and how well that is known; `least` is
    the smallest departure worth naming."""

    spread: float
    freedom: float
    least: float


@dataclass(frozen=True, slots=True)
class StandOut:
    """A tooth (from 0) that departs from the others by `by`; p allows for all teeth."""

    tooth: int
    by: float
    p: float


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """A value a tooth, as a smooth swing plus single departures.

    `mean` and the once-a-turn `cosine` and `sine` with their standard uncertainty `u_swing`
    (of each of the two; NaN where there are too few teeth to fit it), `smooth` (Z,) the
    fitted pattern, `spread` of the teeth about it.
    """

    mean: float
    cosine: float
    sine: float
    u_swing: float
    smooth: Floats
    spread: float
    stand_outs: list[StandOut] = field(default_factory=list)

    @property
    def amplitude(self) -> float:
        return math.hypot(self.cosine, self.sine)

    @property
    def highest_deg(self) -> float:
        """Angle from tooth 0 at which the swing is highest."""
        return math.degrees(math.atan2(self.sine, self.cosine)) % 360.0


def find_stand_outs(value: Floats, usual: Usual, alpha: float) -> Pattern:
    """Split `value` (Z,), NaN where not known, into swing and single teeth.

    `alpha` is the chance that a sound wheel has any tooth named. At most a quarter of the
    teeth are.
    """
    design = _design(value.size)
    kept = np.isfinite(value)
    steps: list[StandOut] = []
    named = 0
    while len(steps) < max(1, value.size // 4) and kept.sum() > design.shape[1] + 1:
        worst = _farthest(value, design, kept, usual)
        steps.append(worst)
        kept[worst.tooth] = False
        if worst.p < alpha and abs(worst.by) >= usual.least:
            named = len(steps)
    for spared in steps[named:]:
        kept[spared.tooth] = True
    return _pattern(value, design, kept, steps[:named])


def _design(teeth: int) -> Floats:
    theta = 2 * np.pi * np.arange(teeth) / teeth
    columns = [np.ones(teeth)]
    for harmonic, least_teeth in _HARMONICS_FROM.items():
        if teeth >= least_teeth:
            columns += [np.cos(harmonic * theta), np.sin(harmonic * theta)]
    return np.column_stack(columns)


def _farthest(value: Floats, design: Floats, kept: NDArray[np.bool_], usual: Usual) -> StandOut:
    """The kept tooth with the largest moderated deleted residual."""
    from scipy.special import stdtr

    x, y = design[kept], value[kept]
    q, _ = np.linalg.qr(x)
    residual = y - q @ (q.T @ y)
    left = np.maximum(1.0 - np.sum(q**2, axis=1), 1e-9)
    freedom = usual.freedom + y.size - x.shape[1] - 1
    others = np.sum(residual**2) - residual**2 / left
    variance = (usual.freedom * usual.spread**2 + np.maximum(others, 0.0)) / freedom
    score = np.abs(residual) / np.sqrt(variance * left)
    at = int(np.argmax(score))
    p = min(1.0, 2.0 * float(stdtr(freedom, -score[at])) * y.size)
    return StandOut(int(np.flatnonzero(kept)[at]), float(residual[at] / left[at]), p)


def _pattern(
    value: Floats, design: Floats, kept: NDArray[np.bool_], named: list[StandOut]
) -> Pattern:
    x, y = design[kept], value[kept]
    if y.size < x.shape[1]:
        nothing = np.full(value.size, np.nan)
        return Pattern(math.nan, math.nan, math.nan, math.nan, nothing, math.nan, [])
    beta = np.linalg.lstsq(x, y, rcond=None)[0]
    smooth = design @ beta
    over = y.size - x.shape[1]
    spread = math.sqrt(float(np.sum((y - x @ beta) ** 2)) / over) if over > 0 else math.nan
    swings = design.shape[1] > 1
    return Pattern(
        mean=float(beta[0]),
        cosine=float(beta[1]) if swings else math.nan,
        sine=float(beta[2]) if swings else math.nan,
        u_swing=spread * math.sqrt(2 / y.size) if swings else math.nan,
        smooth=smooth,
        spread=spread,
        stand_outs=[
            StandOut(one.tooth, float(value[one.tooth] - smooth[one.tooth]), one.p) for one in named
        ],
    )

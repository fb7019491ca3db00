"""Gap from the height of a variable-reluctance pickup's pulses.

ln A = ln k + ln f − g/δ: the voltage rises with the tooth rate f and falls with the gap g.
For a recorded sine of wavelength λ the decay length δ is λ/2π (Wallace, BSTJ 30(4) 1951,
1145-1173); for a toothed wheel that is an analogy, so δ is fitted. One wheel's pitch is
constant, so the tooth rate serves for the tip speed and k carries the pitch. k and δ hold
for one kind of pickup before one kind of wheel: the shop's own baseline.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.calibration.gap.judgement import Estimate, GapFound
from workbench.calibration.gap.stand_outs import Pattern
from workbench.calibration.statistics.coverage import coverage_factor

Floats = NDArray[np.float64]

PICKUP_TO_PICKUP = 0.05
"""Relative standard uncertainty of the voltage between two pickups of one kind; chosen."""
LEAST_APART_M = 0.0003
"""Known gaps must differ by this much for a decay length to come out; chosen."""
_JUDGED_FREEDOM = 8.0


@dataclass(frozen=True, slots=True)
class BaselinePoint:
    """One reading at a known gap: mean of ln(voltage ÷ tooth rate), in ln(V·s)."""

    gap_m: float
    u_gap_m: float
    log_volt_seconds: float


@dataclass(frozen=True, slots=True)
class AmplitudeLaw:
    """ln k and 1/δ with their covariance; `spread` of one reading about the law (ln).

    `freedom` of the spread. The gaps it was fitted on lie in `low_m` to `high_m`.
    """

    log_k: float
    per_decay: float
    variance: tuple[float, float, float]
    spread: float
    freedom: float
    low_m: float
    high_m: float
    points: int

    @property
    def decay_m(self) -> float:
        return 1.0 / self.per_decay

    @property
    def u_decay_m(self) -> float:
        return math.sqrt(self.variance[2]) / self.per_decay**2


def fit_law(points: Sequence[BaselinePoint]) -> AmplitudeLaw:
    """Fit the law to readings at two or more known gaps.

    The gap's uncertainty weighs each reading, at the slope found (two rounds). With two
    readings there is no residual: the spread is then the usual one between pickups.
    Raises WrongInput where the gaps are too few, too alike, or the voltage grows with them.
    """
    gap = np.array([point.gap_m for point in points])
    u_gap = np.array([point.u_gap_m for point in points])
    level = np.array([point.log_volt_seconds for point in points])
    _check_gaps(gap)
    design = np.column_stack([np.ones(gap.size), -gap])
    beta = np.linalg.lstsq(design, level, rcond=None)[0]
    for _ in range(2):
        variance = PICKUP_TO_PICKUP**2 + (beta[1] * u_gap) ** 2
        weighted = design / np.sqrt(variance)[:, None]
        covariance = np.linalg.inv(weighted.T @ weighted)
        beta = covariance @ (weighted.T @ (level / np.sqrt(variance)))
    if beta[1] <= 0:
        raise WrongInput(
            "The baseline's voltages grow with the gap, which no pickup does: look at which "
            "reading belongs to which gap, and at the pickup's kind."
        )
    over = gap.size - 2
    chi2 = float(np.sum((level - design @ beta) ** 2 / variance))
    scale = max(1.0, chi2 / over) if over else 1.0
    covariance = covariance * scale
    return AmplitudeLaw(
        log_k=float(beta[0]),
        per_decay=float(beta[1]),
        variance=(float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])),
        spread=PICKUP_TO_PICKUP * math.sqrt(scale),
        freedom=_JUDGED_FREEDOM + over,
        low_m=float(gap.min()),
        high_m=float(gap.max()),
        points=gap.size,
    )


def _check_gaps(gap: Floats) -> None:
    """Raise WrongInput where the known gaps cannot make a law."""
    if gap.size == 1:
        raise WrongInput(
            "The amplitude baseline has one reading, at {gap_m:gap}; before gaps can be told by "
            "voltage it needs another reading at a gap at least {apart_m:gap} away.",
            gap_m=float(gap[0]),
            apart_m=LEAST_APART_M,
        )
    if np.ptp(gap) < LEAST_APART_M:
        raise WrongInput(
            "The amplitude baseline has {count} readings at gaps from {low_m:gap} to "
            "{high_m:gap}; it needs two or more at gaps {apart_m:gap} or more apart.",
            count=gap.size,
            low_m=float(gap.min()),
            high_m=float(gap.max()),
            apart_m=LEAST_APART_M,
        )


def gap_from_voltage(law: AmplitudeLaw, log_volt_seconds: float, u_log: float = 0.0) -> Estimate:
    """g = δ·(ln k − ln(A/f)), with the law's uncertainty, a pickup's spread and the reading's."""
    gap_m = law.decay_m * (law.log_k - log_volt_seconds)
    k_k, k_d, d_d = law.variance
    gradient_k, gradient_d = law.decay_m, -gap_m * law.decay_m
    variance = gradient_k**2 * k_k + 2 * gradient_k * gradient_d * k_d + gradient_d**2 * d_d
    variance += law.decay_m**2 * (law.spread**2 + u_log**2)
    return Estimate(gap_m, math.sqrt(variance))


def gap_by_tooth(
    law: AmplitudeLaw, log_amplitude: Floats, pattern: Pattern
) -> tuple[GapFound, Floats]:
    """(the gap round the wheel, the gap at each tooth (Z,)) from each tooth's ln(voltage ÷
    tooth rate) (Z,) and its once-a-turn pattern.

    What all teeth share, the law and the pickup's own spread, is in the mean and the
    extremes but not in the run-out.
    """
    gap_m = law.decay_m * (law.log_k - log_amplitude)
    swing_m = law.decay_m * pattern.amplitude
    u_swing_m = math.hypot(
        law.decay_m * pattern.u_swing, swing_m * math.sqrt(law.variance[2]) / law.per_decay
    )
    smooth_m = law.decay_m * (law.log_k - pattern.smooth)
    closest, widest = (_extreme(law, gap_m, smooth_m, pattern, sign) for sign in (-1.0, 1.0))
    mean = gap_from_voltage(law, float(np.nanmean(log_amplitude)))
    runout = Estimate(2 * swing_m, 2 * u_swing_m)
    found = GapFound(mean, runout, closest, widest, coverage_factor(law.freedom))
    return found, gap_m


def _extreme(
    law: AmplitudeLaw, gap_m: Floats, smooth_m: Floats, pattern: Pattern, sign: float
) -> Estimate:
    """The widest (sign 1) or closest (−1) tooth: of the swing, or one that stands out."""
    value_m = smooth_m.copy()
    for out in pattern.stand_outs:
        value_m[out.tooth] = gap_m[out.tooth]
    at = int(np.nanargmax(sign * value_m))
    u_log = pattern.u_swing if math.isfinite(pattern.u_swing) else 0.0
    u_m = gap_from_voltage(law, law.log_k - float(value_m[at]) / law.decay_m, u_log).u
    return Estimate(float(value_m[at]), u_m, at * 360.0 / gap_m.size)

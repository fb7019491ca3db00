"""Feeler readings round the wheel → mean gap, run-out, closest and widest point, a verdict.

The gap of a wheel whose centre is off its axis swings once a turn:
g(θ) = g₀ + a·cos θ + b·sin θ, fitted by weighted least squares to the means of at least
four places; the run-out (total indicator reading) is 2·√(a² + b²). What a single tooth adds
to that swing, its form error, is a random effect: where the places show one, a measured tooth
is estimated by the best linear unbiased prediction between its reading and the swing, and
the run-out is from the closest to the widest of swing and teeth.

Uncertainty of one place: the larger of the repeatability of its mean and of the blade
step, rectangular, d/√12 (EA-4/02, from memory). The blade set and the hand's feel shift all
places alike by as much again; that drops out of the run-out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.answer import FeelerAnswer, Place, identity, with_gap
from workbench.calibration.gap.judgement import Estimate, GapFound, advice, gap_warnings, judge
from workbench.calibration.gap.places import (
    BLADE_STEP_M,
    FEWEST_PLACES,
    Places,
    gather_places,
    largest_arc_deg,
    reading_warnings,
    what_is_missing,
)
from workbench.calibration.gap.table import GapReadings
from workbench.calibration.statistics.coverage import coverage_factor
from workbench.calibration.statistics.decision import Decision, Verdict

Floats = NDArray[np.float64]

REPEATABILITY_M = 0.00005
"""Scatter of readings of one place by one hand where no place was read twice; chosen."""
JUDGED_FREEDOM = 8
"""Degrees of freedom of a standard uncertainty judged good to 25 % (GUM G.4.2)."""
WIDEST_ARC_DEG = 180.5
"""A swing fitted to readings on less than half the wheel is guesswork on the other half."""
FORM_P = 0.01
"""Significance at which the places no longer lie on one swing."""
ENOUGH_RESIDUALS = 3
"""Degrees of freedom from which the residuals alone tell the variance."""
ENOUGH_OTHERS = 8
"""The same for calling one place odd, where a low variance would wrong a sound tooth."""


class FeelerSays(StrEnum):
    """What the swing of feeler readings warns of."""

    RUNOUT_IN_SCATTER = auto()
    ARC_UNREAD = auto()
    PLACE_WIDER = auto()
    PLACE_CLOSER = auto()


@dataclass(frozen=True, slots=True, eq=False)
class _Swing:
    """The once-a-turn fit: parameters (g₀, a, b), their covariance, residuals (p,)."""

    beta_m: Floats
    cov_m2: Floats
    residual_m: Floats
    freedom: float
    form_m: float
    odd: NDArray[np.int64]

    @property
    def amplitude_m(self) -> float:
        return math.hypot(self.beta_m[1], self.beta_m[2])

    @property
    def widest_deg(self) -> float:
        return math.degrees(math.atan2(self.beta_m[2], self.beta_m[1])) % 360.0

    def u(self, gradient: Floats) -> float:
        return math.sqrt(float(gradient @ self.cov_m2 @ gradient))


def feeler_gap(
    readings: GapReadings, pickup: Pickup, *, blade_step_m: float = BLADE_STEP_M
) -> FeelerAnswer:
    """Judge the gap of one pickup all the way round against 0 and `pickup.gap_max_m`.

    With fewer than four places, or with readings on less than half the wheel, mean and
    range are given and the verdict is 'cannot tell', unless what was read fails already.
    """
    places = gather_places(readings)
    u_blade_m = blade_step_m / math.sqrt(12)
    u_place_m, freedom = _place_uncertainty(places, u_blade_m)
    if places.angle_deg.size >= FEWEST_PLACES and largest_arc_deg(places)[0] <= WIDEST_ARC_DEG:
        swing = _fit_swing(places, u_place_m, freedom)
        return _from_swing(readings, places, swing, u_place_m, u_blade_m, pickup)
    return _without_swing(readings, places, u_place_m, freedom, u_blade_m, pickup)


def _place_uncertainty(places: Places, u_blade_m: float) -> tuple[Floats, float]:
    """(standard uncertainty of each place's mean (p,), its degrees of freedom)."""
    known = places.freedom > 0
    scatter_m = places.scatter_m if known else REPEATABILITY_M
    u_mean_m = scatter_m / np.sqrt(places.count)
    freedom = places.freedom if known and float(u_mean_m.max()) > u_blade_m else JUDGED_FREEDOM
    return np.maximum(u_mean_m, u_blade_m), float(freedom)


def _design(angle_deg: Floats) -> Floats:
    theta = np.radians(angle_deg)
    return np.column_stack([np.ones(theta.size), np.cos(theta), np.sin(theta)])


def _fit_swing(places: Places, u_place_m: Floats, freedom: float) -> _Swing:
    """The swing of the places that lie on it; those that stand off are named, not fitted."""
    kept = np.ones(places.angle_deg.size, dtype=np.bool_)
    swing = _fit_places(places, u_place_m, freedom, kept)
    score = swing.residual_m / u_place_m
    odd = _odd_places(score, _leverage(places.angle_deg, u_place_m), freedom)
    if odd.size and kept.size - odd.size >= FEWEST_PLACES:
        kept[odd] = False
        swing = replace(_fit_places(places, u_place_m, freedom, kept), odd=odd)
    return swing


def _leverage(angle_deg: Floats, u_place_m: Floats) -> Floats:
    q, _ = np.linalg.qr(_design(angle_deg) / u_place_m[:, None])
    return np.asarray(np.sum(q**2, axis=1))


def _fit_places(
    places: Places, u_place_m: Floats, freedom: float, kept: NDArray[np.bool_]
) -> _Swing:
    from scipy.special import fdtrc

    design = _design(places.angle_deg)
    weighted = (design / u_place_m[:, None])[kept]
    inverse: Floats = np.linalg.inv(weighted.T @ weighted).astype(np.float64)
    beta_m = inverse @ (weighted.T @ (places.gap_m / u_place_m)[kept])
    residual_m = places.gap_m - design @ beta_m
    over = int(kept.sum()) - 3
    chi2 = float(np.sum((residual_m / u_place_m)[kept] ** 2))
    # The residuals and the repeated readings both tell the variance; they are pooled, and
    # the pooled one is never taken below what the blades and the repeats alone give.
    scale, pooled_freedom = max(1.0, (freedom + chi2) / (freedom + over)), freedom + over
    form_m = 0.0
    if fdtrc(over, freedom, chi2 / over) < FORM_P:
        form_m = math.sqrt(max(0.0, chi2 / over - 1.0) * float(np.mean(u_place_m**2)))
        if over >= ENOUGH_RESIDUALS:
            scale, pooled_freedom = chi2 / over, float(over)
    none = np.empty(0, dtype=np.int64)
    return _Swing(beta_m, inverse * scale, residual_m, pooled_freedom, form_m, none)


def _odd_places(score: Floats, hat: Floats, freedom: float) -> NDArray[np.int64]:
    """Indices of places that stand off the swing by more than chance and the others' form.

    Deleted residuals, their variance that of the other places, pooled with that of the
    readings where the others are few; Bonferroni over the places. `score` (p,) residuals
    over their uncertainty, `hat` (p,) the leverages.
    """
    from scipy.special import stdtr

    # With four places every residual is the same but for its sign: none can be named.
    if score.size <= FEWEST_PLACES:
        return np.empty(0, dtype=np.int64)
    own = score**2 / np.maximum(1.0 - hat, 1e-9)
    others, freedom_left = np.sum(score**2) - own, float(score.size - 4)
    if freedom_left < ENOUGH_OTHERS:
        others, freedom_left = others + freedom, freedom_left + freedom
    variance = np.maximum(1.0, others / freedom_left)
    p = 2 * stdtr(freedom_left, -np.sqrt(own / variance)) * score.size
    # A place that stands off pulls the swing and so its neighbours with it: only those at
    # least half as far off as the worst are named.
    return np.flatnonzero((p < FORM_P) & (own >= 0.25 * own.max()))


def _from_swing(
    readings: GapReadings,
    places: Places,
    swing: _Swing,
    u_place_m: Floats,
    u_blade_m: float,
    pickup: Pickup,
) -> FeelerAnswer:
    g0, a, b = (float(value) for value in swing.beta_m)
    widest = _extreme(places, swing, u_place_m, u_blade_m, sign=1.0)
    closest = _extreme(places, swing, u_place_m, u_blade_m, sign=-1.0)
    u_runout_m = _u_runout_m(swing, closest, widest, u_blade_m)
    gap = GapFound(
        mean=Estimate(g0, math.hypot(math.sqrt(swing.cov_m2[0, 0]), u_blade_m)),
        runout=Estimate(widest.value - closest.value, u_runout_m),
        closest=closest,
        widest=widest,
        k=coverage_factor(swing.freedom),
    )
    warnings = [*reading_warnings(readings, places), *_swing_warnings(places, swing, gap)]
    warnings += gap_warnings(gap, pickup)
    answer = _answer(readings, places, gap, judge(gap, pickup), advice(gap, pickup), warnings)
    return replace(
        answer,
        form_error_m=swing.form_m,
        swing_m=(g0, a, b),
        odd_angles_deg=tuple(places.angle_deg[swing.odd].tolist()),
    )


def _answer(
    readings: GapReadings,
    places: Places,
    gap: GapFound,
    decision: Decision,
    advice: Statement,
    warnings: list[Statement],
) -> FeelerAnswer:
    rows = zip(places.angle_deg, places.gap_m, places.count, strict=True)
    answer = FeelerAnswer(
        **identity(readings.pickup),
        verdict=decision.verdict,
        reason=decision.reason,
        conformance_probability=decision.conformance_probability,
        advice=advice,
        warnings=tuple(warnings),
        repeatability_m=places.scatter_m,
        places=tuple(Place(float(angle), float(mean), int(count)) for angle, mean, count in rows),
        readings=int(readings.gap_m.size),
        teeth=None,
        missed=None,
        extra=None,
    )
    return with_gap(answer, gap)


def _swing_warnings(places: Places, swing: _Swing, gap: GapFound) -> list[Statement]:
    warnings, runout_m, U_m = [], gap.runout.value, gap.k * gap.runout.u
    if runout_m < U_m:
        most_m = runout_m + U_m
        warnings.append(statement(FeelerSays.RUNOUT_IN_SCATTER, runout_m=runout_m, most_m=most_m))
    arc_deg, middle_deg = largest_arc_deg(places)
    if arc_deg > 120.0:
        warnings.append(statement(FeelerSays.ARC_UNREAD, arc_deg=arc_deg, middle_deg=middle_deg))
    for at in swing.odd:
        at_deg, off_m = float(places.angle_deg[at]), float(swing.residual_m[at])
        says = FeelerSays.PLACE_WIDER if off_m > 0 else FeelerSays.PLACE_CLOSER
        warnings.append(statement(says, at_deg=at_deg, off_m=abs(off_m)))
    return warnings


def _extreme(
    places: Places, swing: _Swing, u_place_m: Floats, u_blade_m: float, *, sign: float
) -> Estimate:
    """The widest (sign 1) or closest (sign −1) point of the swing or of a measured tooth."""
    at_deg = (swing.widest_deg + (0.0 if sign > 0 else 180.0)) % 360.0
    value = float(swing.beta_m[0]) + sign * swing.amplitude_m
    u = math.sqrt(swing.u(_design(np.array([at_deg]))[0]) ** 2 + swing.form_m**2 + u_blade_m**2)
    design = _design(places.angle_deg)
    share = swing.form_m**2 / (swing.form_m**2 + u_place_m**2)
    share[swing.odd] = 1.0
    tooth_m = design @ swing.beta_m + share * swing.residual_m
    at = int(np.argmax(np.where(share > 0, sign * tooth_m, -np.inf)))
    if share[at] == 0 or sign * float(tooth_m[at]) <= sign * value:
        return Estimate(value, u, at_deg)
    # A tooth read for itself, as far as its own reading counts, else the swing.
    own_m2 = float(share[at]) * float(u_place_m[at]) ** 2
    swing_m = (1.0 - float(share[at])) * swing.u(design[at])
    u_tooth_m = math.sqrt(own_m2 + swing_m**2 + u_blade_m**2)
    return Estimate(float(tooth_m[at]), u_tooth_m, float(places.angle_deg[at]))


def _u_runout_m(swing: _Swing, closest: Estimate, widest: Estimate, u_blade_m: float) -> float:
    """Standard uncertainty of the run-out.

    Noise of variance v in a and b adds about v to a² + b² (the Rice distribution); the
    excess is not taken off, so that the run-out stays the least-squares one, but counts as
    uncertainty. Where teeth have form errors those of both extremes count.
    """
    theta = math.radians(swing.widest_deg)
    u_m = swing.u(np.array([0.0, math.cos(theta), math.sin(theta)]))
    noise_m2 = float(swing.cov_m2[1, 1] + swing.cov_m2[2, 2])
    without_m = math.sqrt(max(0.0, swing.amplitude_m**2 - noise_m2))
    u_swing_m = 2 * math.hypot(u_m, swing.amplitude_m - without_m)
    if swing.form_m == 0.0 and not swing.odd.size:
        return u_swing_m
    return math.hypot(u_swing_m, math.sqrt(closest.u**2 + widest.u**2 - 2 * u_blade_m**2))


def _as_read(places: Places, u_place_m: Floats, u_blade_m: float, at: int) -> Estimate:
    """One place as it was read."""
    u_m = math.hypot(float(u_place_m[at]), u_blade_m)
    return Estimate(float(places.gap_m[at]), u_m, float(places.angle_deg[at]))


def _without_swing(
    readings: GapReadings,
    places: Places,
    u_place_m: Floats,
    freedom: float,
    u_blade_m: float,
    pickup: Pickup,
) -> FeelerAnswer:
    """Too few places for the swing: what was read, and what is still missing."""
    low, high = int(np.argmin(places.gap_m)), int(np.argmax(places.gap_m))
    closest, widest = (_as_read(places, u_place_m, u_blade_m, at) for at in (low, high))
    range_m = widest.value - closest.value
    mean_m = float(np.mean(places.gap_m))
    u_places_m = float(np.sqrt(np.sum(u_place_m**2))) / places.gap_m.size
    # What the swing does between so few places is allowed for by the range that was seen.
    u_mean_m = math.hypot(u_places_m, u_blade_m, range_m / math.sqrt(12))
    runout = Estimate(math.nan, math.nan)
    if places.angle_deg.size > 1:
        runout = Estimate(range_m, math.hypot(float(u_place_m[low]), float(u_place_m[high])))
    gap = GapFound(Estimate(mean_m, u_mean_m), runout, closest, widest, coverage_factor(freedom))
    missing, seen = what_is_missing(places), judge(gap, pickup)
    warnings = [missing, *reading_warnings(readings, places), *gap_warnings(gap, pickup)]
    if seen.verdict.is_fail:
        return _answer(readings, places, gap, seen, advice(gap, pickup), warnings)
    untold = Decision(Verdict.CANNOT_TELL, math.nan, missing)
    return _answer(readings, places, gap, untold, missing, warnings)

"""Feeler readings round the wheel → mean gap, run-out, closest and widest point, a verdict.

The gap of a wheel whose centre is off its axis swings once a turn:
g(θ) = g₀ + a·cos θ + b·sin θ, fitted by weighted least squares to the means of at least
four places; the run-out (total indicator reading) is 2·√(a² + b²). An oval, the form of single
teeth, and the teeth that nobody read are allowed for by draws (`unread.py`); where the places
show them, extremes and run-out are those of the draws.

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
from workbench.calibration.gap.unread import USUAL_TEETH, Teeth, draw_teeth
from workbench.calibration.statistics.coverage import COVERAGE, coverage_factor
from workbench.calibration.statistics.decision import Decision, Verdict

Floats = NDArray[np.float64]

REPEATABILITY_M = 0.00005
"""Scatter of readings of one place by one hand where no place was read twice; chosen."""
JUDGED_FREEDOM = 8
"""Degrees of freedom of a standard uncertainty judged good to 25 % (GUM G.4.2)."""
WIDEST_ARC_DEG = 180.5
"""A swing fitted to readings on less than half the wheel is guesswork on the other half."""
FORM_REACH = 2.0
"""Standard deviations of the form error that teeth not read may stand off the swing by."""
FORM_P = 0.01
"""Significance at which the places no longer lie on one swing."""
ENOUGH_RESIDUALS = 3
"""Degrees of freedom from which the residuals alone tell the variance."""
ENOUGH_OTHERS = 8
"""The same for calling one place odd, where a low variance would wrong a sound tooth."""

SURELY_EVEN = 0.3
"""Probability of form or oval below which the run-out's interval need not allow for a bias."""
UNEVEN_TAIL = 0.012
"""Share of the draws left out at either end where the wheel is seen to be uneven. Chosen;
tests/benchmarks/bench_gap_coverage.py shows what the intervals then hold."""


class FeelerSays(StrEnum):
    """What the swing of feeler readings warns of."""

    RUNOUT_IN_SCATTER = auto()
    ARC_UNREAD = auto()
    PLACE_WIDER = auto()
    PLACE_CLOSER = auto()
    NO_SWING = auto()
    FORM_MAY_HIDE = auto()


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
    readings: GapReadings,
    pickup: Pickup,
    *,
    blade_step_m: float = BLADE_STEP_M,
    teeth: int = USUAL_TEETH,
) -> FeelerAnswer:
    """Judge the gap of one pickup all the way round against 0 and `pickup.gap_max_m`.

    `teeth` are those of the wheel: what was not read is allowed for.

    With fewer than four places, or with readings on less than half the wheel, mean and
    range are given and the verdict is 'cannot tell', unless what was read fails already.
    """
    places = gather_places(readings)
    u_blade_m = blade_step_m / math.sqrt(12)
    u_place_m, freedom = _place_uncertainty(places, u_blade_m)
    if places.angle_deg.size >= FEWEST_PLACES and largest_arc_deg(places)[0] <= WIDEST_ARC_DEG:
        swing = _fit_swing(places, u_place_m, freedom)
        alike = np.ones(places.angle_deg.size, dtype=np.bool_)
        if swing.odd.size:  # many that stand off are form, of which the others have some too
            hat = _leverage(places.angle_deg, u_place_m)
            alike[_odd_places(swing.residual_m / u_place_m, hat, 0.0)] = False
        gap = _gap_of(swing, draw_teeth(places, alike, u_blade_m, teeth), u_blade_m)
        gap = _guarded(gap, draw_teeth(places, alike, u_blade_m, teeth, guard=True))
        return _from_swing(readings, places, swing, gap, pickup)
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
    readings: GapReadings, places: Places, swing: _Swing, gap: GapFound, pickup: Pickup
) -> FeelerAnswer:
    warnings = [*reading_warnings(readings, places), *_swing_warnings(places, swing, gap)]
    warnings += gap_warnings(gap, pickup)
    decision, to_do = judge(gap, pickup), advice(gap, pickup)
    if decision.verdict is not judge(gap.without_guard(), pickup).verdict:
        warnings.append(statement(FeelerSays.FORM_MAY_HIDE, places=int(places.angle_deg.size)))
    if not decision.verdict.is_fail and _unread_may_be_out(swing, pickup):
        to_do = _no_swing(swing)
        decision = Decision(Verdict.CANNOT_TELL, math.nan, to_do)
    answer = _answer(readings, places, gap, decision, to_do, warnings)
    g0, a, b = (float(value) for value in swing.beta_m)
    return replace(
        answer,
        form_error_m=swing.form_m,
        swing_m=(g0, a, b),
        odd_angles_deg=tuple(places.angle_deg[swing.odd].tolist()),
    )


def _unread_may_be_out(swing: _Swing, pickup: Pickup) -> bool:
    """Whether teeth between the places may stand outside the limits, by the form of those read."""
    reach_m = swing.amplitude_m + FORM_REACH * swing.form_m
    middle_m = float(swing.beta_m[0])
    out = middle_m - reach_m <= 0.0 or middle_m + reach_m >= pickup.gap_max_m
    return swing.form_m > 0.0 and out


def _no_swing(swing: _Swing) -> Statement:
    off_m = float(np.abs(swing.residual_m).max())
    return statement(FeelerSays.NO_SWING, off_m=off_m)


def _gap_of(swing: _Swing, teeth: Teeth, u_blade_m: float) -> GapFound:
    """Mean, run-out and extremes, each with an interval that holds the draws of the teeth.

    They are those of the swing where nothing else is seen, and of the draws themselves where
    an oval or the teeth's own form is. The step of the blades, which shifts all readings alike,
    is in a place's reading already: of a mean it is counted once.
    """
    k, n = coverage_factor(swing.freedom), swing.residual_m.size
    u_shift_m = u_blade_m * math.sqrt(1 - 1 / n)
    most_m, least_m = teeth.gap_m.max(axis=0), teeth.gap_m.min(axis=0)
    g0, e_m, at_deg = float(swing.beta_m[0]), swing.amplitude_m, swing.widest_deg
    close_deg = (at_deg + 180.0) % 360.0
    if teeth.uneven:
        usual_m = np.median(teeth.gap_m, axis=1)
        at_deg, close_deg = (
            float(teeth.angle_deg[at]) for at in (usual_m.argmax(), usual_m.argmin())
        )

    def held(drawn_m: Floats, of_swing: Estimate) -> Estimate:
        # Both sides, as a limit lies on one of them.
        low_m, high_m = (float(end) for end in np.quantile(drawn_m, _tails(teeth)))
        if teeth.uneven:
            U_m = (high_m - low_m) / 2
            return Estimate((low_m + high_m) / 2, U_m / k, of_swing.angle_deg, U_m)
        return replace(of_swing, U=max(high_m - of_swing.value, of_swing.value - low_m))

    def extreme(sign: float, angle_deg: float) -> Estimate:
        u_m = swing.u(_design(np.array([angle_deg]))[0])
        return Estimate(g0 + sign * e_m, math.hypot(u_m, u_shift_m), angle_deg)

    runout = Estimate(2 * e_m, _u_runout_m(swing))
    if max(teeth.form_p, teeth.oval_p) < SURELY_EVEN:
        U_m = float(np.quantile(np.abs(most_m - least_m - runout.value), COVERAGE))
        runout = replace(runout, U=U_m)
    else:
        runout = held(most_m - least_m, runout)
    mean = Estimate(g0, math.hypot(math.sqrt(swing.cov_m2[0, 0]), u_shift_m))
    drawn = held(teeth.gap_m.mean(axis=0), mean)
    if not teeth.uneven:
        drawn = Estimate(g0, max(mean.u, drawn.U / k))
    return GapFound(
        mean=drawn,
        runout=runout,
        closest=held(least_m, extreme(-1.0, close_deg)),
        widest=held(most_m, extreme(1.0, at_deg)),
        k=k,
    )


def _guarded(gap: GapFound, teeth: Teeth) -> GapFound:
    """The same with what a verdict allows for form errors that the places did not show."""
    most_m = float(np.quantile(teeth.gap_m.max(axis=0), 1 - UNEVEN_TAIL))
    least_m = float(np.quantile(teeth.gap_m.min(axis=0), UNEVEN_TAIL))
    return replace(
        gap,
        widest=replace(gap.widest, guard=most_m - gap.widest.value),
        closest=replace(gap.closest, guard=gap.closest.value - least_m),
    )


def _u_runout_m(swing: _Swing) -> float:
    """Standard uncertainty of the run-out of the swing.

    Noise of variance v in a and b adds about v to a² + b² (the Rice distribution); the
    excess is not taken off, so that the run-out stays the least-squares one, but counts as
    uncertainty.
    """
    theta = math.radians(swing.widest_deg)
    u_m = swing.u(np.array([0.0, math.cos(theta), math.sin(theta)]))
    noise_m2 = float(swing.cov_m2[1, 1] + swing.cov_m2[2, 2])
    without_m = math.sqrt(max(0.0, swing.amplitude_m**2 - noise_m2))
    return 2 * math.hypot(u_m, swing.amplitude_m - without_m)


def _tails(teeth: Teeth) -> tuple[float, float]:
    """Where an interval of the draws ends: 95.45 %, and wider where a handful of places tell how
    large form or oval is."""
    tail = UNEVEN_TAIL if max(teeth.form_p, teeth.oval_p) > 0.5 else (1 - COVERAGE) / 2
    return tail, 1 - tail


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
    warnings, runout_m, U_m = [], gap.runout.value, gap.half_width_m(gap.runout)
    if swing.form_m > 0.0:
        warnings.append(_no_swing(swing))
    elif runout_m < U_m:
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

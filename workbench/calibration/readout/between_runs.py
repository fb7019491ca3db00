"""How the runs of a calibration scatter about their line, and what that makes of its answer.

A belt wanders between the moment at which the display is read and the mean over the run; how
much, nobody knows beforehand. Where the runs scatter more than their own uncertainties would
mostly let them, their scatter itself tells (Hartung & Knapp, Stat. Med. 20, 2001, 3875: Student's
t on the weighted residuals; from memory). A few runs tell it badly, so it is held to what a belt
that counts as steady may do at most, where they do not show more.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.readout.run_case import Case
from workbench.calibration.statistics.budget import Budget, Part
from workbench.calibration.statistics.coverage import coverage_factor
from workbench.calibration.statistics.fit import LineFit, Outlier, farthest_points, lack_of_fit

Floats = NDArray[np.float64]

SCATTERS, SCATTERS_TWO, SCATTERS_TOLD = 0.28, 0.22, 0.05
"""Probability of as much scatter by chance below which the scatter itself is what counts; of two
runs; and where pulses told what the belt wandered in each. Chosen by simulation: high, so that
little is overlooked, and with `TOO_ALIKE` below a half, so that of most sound tables nothing
changes. Of what was measured nothing is to be overlooked: there it is the usual test's."""

MOST_WANDER_REL = 0.03
"""A belt that wanders more does not count as steady. Chosen."""

GUARD_WANDER_REL = 0.007
"""Runs that agree may do so by chance: what a belt wanders that is nothing out of the way, which
a verdict allows for. Chosen; common practice, no source."""

BEND_REL = 0.0075
"""How much the share by which a readout errs may change from the middle of the working speeds to
their end, as a standard uncertainty, before runs tell. Chosen; common practice, no source."""

PER_RUN = (
    Part.LAP_TIMING,
    Part.PULSE_COUNT,
    Part.PULSE_TIMING,
    Part.REFERENCE_READING,
    Part.DISPLAY,
    Part.WANDER,
)
"""Groups of the budget that are new in every run; the others are shared by all."""


def own_u(budget: Budget) -> float:
    """What is new in every run comes to, in the budget's standard uncertainty."""
    return math.sqrt(sum(part**2 for name, part in budget.groups.items() if name in PER_RUN))


def between_runs(case: Case, used: Sequence[int], fit: LineFit, budget: Budget) -> float:
    """The standard uncertainty to be added to a budget of `fit` for scatter of the runs beyond
    its lines, so that with k = 2 it holds what Student's t would; 0 where there is none.
    """
    apart = _judged_by(case, used, fit)
    if not _scatters(case, used, apart):
        return 0.0
    from scipy.special import chdtri

    own, variance = own_u(budget), np.diag(apart.omega)
    scatter = float(apart.residual**2 @ (1 / variance)) / apart.dof
    U = coverage_factor(apart.dof) * math.sqrt(scatter) * _u_of(case, used, fit, variance)
    most = (MOST_WANDER_REL * case.indicated_mps[used]) ** 2
    if float(apart.residual**2 @ (1 / (most + variance))) < chdtri(apart.dof, 0.05):
        U = min(U, 2 * math.hypot(own, _u_of(case, used, fit, most)))
    return math.sqrt(max(U**2 / 4 - own**2, 0.0))


def guard_band(case: Case, used: Sequence[int], fit: LineFit, budget: Budget) -> float:
    """How far inside or outside its limit an error must lie for a plain verdict: U, and where no
    pulses tell of it, the wander of a belt about which the runs agree by chance."""
    if _wander_told(case, used):
        return budget.U
    usual = _u_of(case, used, fit, (GUARD_WANDER_REL * case.indicated_mps[used]) ** 2)
    beyond = max(usual**2 - budget.groups.get(Part.SCATTER, 0.0) ** 2, 0.0)
    return math.hypot(budget.U, budget.k * math.sqrt(beyond))


def _u_of(case: Case, used: Sequence[int], fit: LineFit, variance: Floats) -> float:
    """Standard uncertainty of the error at work by a line through runs of that `variance` (n,)."""
    v, speed = case.speeds.speed_mps[used], case.machine.limits.speed_at_work_mps
    J = v[:, None] if fit.through_origin else np.column_stack([np.ones_like(v), v])
    row = np.array([speed] if fit.through_origin else [1.0, speed]) / speed
    return math.sqrt(row @ np.linalg.inv((J.T / variance) @ J) @ row)


def _judged_by(case: Case, used: Sequence[int], fit: LineFit) -> LineFit:
    """The line whose residuals show the scatter. Runs that are all within one step show
    neighbouring digits, which may be as far apart as their bound and says nothing."""
    within = float(np.ptp(case.speeds.speed_mps[used])) < case.step_mps
    return (case.loose_fit if within else case.apart_fit)(used, fit.through_origin)


def _scatters(case: Case, used: Sequence[int], apart: LineFit) -> bool:
    unsaid = SCATTERS_TWO if apart.dof == 1 else SCATTERS
    return lack_of_fit(apart) < (SCATTERS_TOLD if _wander_told(case, used) else unsaid)


def _wander_told(case: Case, used: Sequence[int]) -> bool:
    return all(case.runs[i].wander_told for i in used)


def errors_at(
    case: Case, used: Sequence[int], fit: LineFit, budget: Budget, ends_mps: Sequence[float]
) -> list[tuple[float, float]]:
    """(error, its standard uncertainty) at other speeds than that of the `budget`.

    That a readout errs by the same share at all speeds, or by a fixed offset besides, is known
    to `BEND_REL` only: about the line, the runs tell a slope and a bend of the share as far as
    they can (least squares with both known to 0 beforehand).
    """
    v, speed = case.speeds.speed_mps[used], case.machine.limits.speed_at_work_mps
    half = 0.5 * (max(ends_mps) - min(ends_mps)) or speed
    apart = _judged_by(case, used, fit)
    u_rel = np.sqrt(np.diag(apart.omega)) / v
    share = fit.residual / v
    wide = 1.0
    if _scatters(case, used, apart):
        wide = min(coverage_factor(apart.dof) / 2, 3.0) ** 2 * apart.chi_square / apart.dof

    def terms(at: Floats) -> Floats:
        x = (np.atleast_1d(at) - speed) / half
        return np.column_stack([np.ones_like(x), x, x**2])

    A = terms(v) / u_rel[:, None]
    before = np.diag([0.0, 1 / BEND_REL**2, 1 / BEND_REL**2])
    covariance = np.linalg.inv(A.T @ A / max(wide, 1.0) + before)
    theta = covariance @ (A.T @ (share / u_rel)) / max(wide, 1.0)
    found = []
    for end_mps in ends_mps:
        row = terms(np.array(end_mps))[0]
        row[0] = 0.0
        line, u_line = fit.value(end_mps)
        u_ratio = u_line / end_mps / (fit.value(speed)[1] / speed)
        error = line / end_mps - 1 + float(row @ theta)
        u = math.hypot(budget.U / 2 * u_ratio, math.sqrt(row @ covariance @ row))
        found.append((error, u))
    return found


def apart_from_the_others(case: Case, used: Sequence[int], most: int) -> tuple[Outlier, ...]:
    """The `most` farthest points of the loose line, against the scatter of the others where that
    is wider than what is known of them: Student's t, a quarter left out of the scatter."""
    far = farthest_points(case.loose_fit(used), len(used))
    if len(used) < 4:
        return far[:most]
    from scipy.special import stdtr

    out = {point.index for point in far[: max(1, len(used) // 4)]}
    others = case.loose_fit([i for at, i in enumerate(used) if at not in out])
    scale = math.sqrt(others.chi_square / others.dof)
    if scale <= 1:
        return far[:most]
    return tuple(
        replace(
            point,
            studentised=point.studentised / scale,
            probability=min(1.0, 2 * len(used) * float(stdtr(others.dof, -away))),
        )
        for point in far[:most]
        for away in [abs(point.studentised) / scale]
    )

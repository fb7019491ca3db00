"""Calibration from steady runs: a shown value against a true speed each.

True speeds come from `true_speed`, the rounding errors of the display from `readout`; the
line is fitted with the covariance of both, and its budget is that of the same estimator.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, statement
from workbench.base.units import SPEED_UNITS_MPS
from workbench.calibration.readout.between_runs import (
    apart_from_the_others,
    between_runs,
    errors_at,
    guard_band,
)
from workbench.calibration.readout.calibrate import (
    ERROR,
    Calibration,
    EndError,
    FittedLine,
    ResultSays,
    finished,
)
from workbench.calibration.readout.drive_line_check import (
    DriveLine,
    lap_of,
    mend_counts,
    solve_speeds,
)
from workbench.calibration.readout.rounding import draw_rounding
from workbench.calibration.readout.run_case import Case
from workbench.calibration.readout.runs import Run, RunResult
from workbench.calibration.readout.true_speed import InputSays, Known
from workbench.calibration.statistics.budget import (
    Budget,
    Joint,
    Line,
    Model,
    Part,
    checked,
    first_order,
)
from workbench.calibration.statistics.coverage import coverage_factor
from workbench.calibration.statistics.fit import LineFit, lack_of_fit

Floats = NDArray[np.float64]

SURE_OUTLIER = 0.001
"""Probability (Bonferroni) below which a run is left out; below `DOUBTFUL` it is named."""
DOUBTFUL = 0.05

LEAST_FOR_OFFSET, WIDE = 5, 0.3
"""Runs, and the share of their mean speed that they must spread over, to claim an offset."""

NARROW = 0.10
"""Runs whose speeds differ by less than this share say nothing about other speeds. Chosen."""


class SteadySays(StrEnum):
    """Runs that were left out or are odd, and what all of them together cannot show."""

    LAP_LENGTH_UNKNOWN = auto()
    SHOWS_OTHER_UNIT = auto()
    RUN_IN_OTHER_UNIT = auto()
    LOOKS_LIKE_UNIT = auto()
    RUN_APART_KEPT = auto()
    RUN_APART_LEFT_OUT = auto()
    STANDS_APART = auto()
    OFF_BY_FIXED = auto()
    RUNS_SCATTER = auto()
    ONE_ROUNDING = auto()
    ONE_RUN = auto()
    ONE_SPEED = auto()
    TWO_RUNS = auto()


def calibrate_runs(
    runs: Sequence[Run], machine: Machine, *, u_clock_rel: float = 0.0
) -> Calibration:
    """Calibrate from steady runs. Raises WrongInput where no run can be used."""
    warnings: list[Statement] = []
    lap = lap_of(machine)
    runs = _without_lap_length(runs, lap, warnings)
    runs, odd = mend_counts(runs, lap, machine)
    warnings += odd
    drive_line, speeds = solve_speeds(runs, lap, machine, u_clock_rel=u_clock_rel)
    case = Case(runs, speeds, machine)
    left_out = _wrong_units(case, warnings)
    used = [i for i in range(len(runs)) if i not in left_out]
    if not used:
        why = tuple(dict.fromkeys(left_out.values()))
        raise WrongInput("No run is left, as each {why:or}.", why=why)
    # An offset is looked for first: it makes the slowest run look like an outlier.
    line = _with_offset(case, used)
    if line is None:
        _leave_out_outliers(case, used, left_out, warnings)
        line = _with_offset(case, used)
    if line is not None:
        warnings.append(statement(SteadySays.OFF_BY_FIXED, offset_mps=line.intercept))
    fit = line or case.fit(used)
    if line is None and case.too_alike(used):
        # The line stays: weights for errors that are all one would throw it far about.
        case = replace(case, one_rounding=True)
        fit = case.same_line(used, fit)
        warnings.append(statement(SteadySays.ONE_ROUNDING))
    return _assembled(case, used, left_out, fit, drive_line, warnings)


def _without_lap_length(
    runs: Sequence[Run], lap: Known | None, warnings: list[Statement]
) -> list[Run]:
    if lap is not None or not any(run.has_laps for run in runs):
        return list(runs)
    warnings.append(statement(SteadySays.LAP_LENGTH_UNKNOWN))
    kept = [run.without_laps() for run in runs if run.has_pulses or run.has_reference]
    if not kept:
        raise WrongInput(
            "Only laps were counted, and belt.lap_length_m is not in the machine file. Measure "
            "one lap of the belt along its pitch line."
        )
    return kept


def _wrong_units(case: Case, warnings: list[Statement]) -> dict[int, Statement]:
    """Runs that were shown in another unit than the rest, by index, with the reason."""
    ratio = case.shown_mps / case.speeds.speed_mps
    unit = case.machine.readout.unit
    others = {name: case.unit_mps / one for name, one in SPEED_UNITS_MPS.items() if name != unit}
    middle = float(np.median(ratio))
    for name, factor in others.items():
        if abs(middle / factor - 1) < 0.08:
            says = SteadySays.SHOWS_OTHER_UNIT
            warnings.append(statement(says, times=middle, other=name, unit=unit))
    left_out: dict[int, Statement] = {}
    for i, own in enumerate(ratio / middle):
        for name, factor in others.items():
            if len(case.runs) >= 3 and abs(own / factor - 1) < 0.05:
                run = case.runs[i]
                why = statement(SteadySays.LOOKS_LIKE_UNIT, other=name, unit=unit)
                left_out[i] = why
                says = SteadySays.RUN_IN_OTHER_UNIT
                warnings.append(statement(says, run=run.place, shown=run.shown, why=why))
    return left_out


def _leave_out_outliers(
    case: Case, used: list[int], left_out: dict[int, Statement], warnings: list[Statement]
) -> None:
    """Take runs that surely do not belong out of `used`; one that is doubtful is only named.

    The farthest goes first, for it bends the line. Of fifty runs and more, several that are
    sure go at once: not one of so many bends the line enough to make another look far.
    """
    while far := apart_from_the_others(case, used, max(1, len(used) // 50)):
        if far[0].probability > DOUBTFUL:
            return
        for point, index in [(point, used[point.index]) for point in far]:
            room = len(case.runs) - len(used) < max(1, len(case.runs) // 4)
            keep = point.probability > SURE_OUTLIER or len(used) < 4 or not room
            if keep and point is not far[0]:
                break
            run, away = case.runs[index], abs(point.studentised)
            says = SteadySays.RUN_APART_KEPT if keep else SteadySays.RUN_APART_LEFT_OUT
            warnings.append(statement(says, run=run.place, shown=run.shown, times_u=away))
            if keep:
                return
            left_out[index] = statement(SteadySays.STANDS_APART)
            used.remove(index)


def _with_offset(case: Case, used: Sequence[int]) -> LineFit | None:
    """The line with an intercept, where five runs or more over `WIDE` of their speed surely (1 %)
    show one, weighed against their own scatter: more than Akaike's criterion asks."""
    v = case.speeds.speed_mps[used]
    if len(used) < LEAST_FOR_OFFSET or np.ptp(v) < WIDE * v.mean():
        return None
    try:
        line = case.fit(used, through_origin=False)
        apart = case.apart_fit(used, through_origin=False)
    except ValueError:
        return None
    u = max(apart.u_intercept, line.u_intercept)
    least = coverage_factor(apart.dof, 0.99) * u * math.sqrt(max(1.0, apart.chi_square / apart.dof))
    return line if abs(apart.intercept) > least < abs(line.intercept) else None


def _assembled(
    case: Case,
    used: list[int],
    left_out: dict[int, Statement],
    fit: LineFit,
    drive_line: DriveLine,
    warnings: list[Statement],
) -> Calibration:
    budget = _budget(case, used, fit)
    probability = lack_of_fit(case.loose_fit(used, fit.through_origin))
    if probability < DOUBTFUL:
        warnings.append(statement(SteadySays.RUNS_SCATTER, probability=probability))
    warnings += _honest(case, used)
    ends_mps, speed = case.machine.limits.ends_mps, case.machine.limits.speed_at_work_mps
    # The runs' scatter widens the line as it does the error at work.
    wider = budget.u / (fit.value(speed)[1] / speed)
    at_ends = errors_at(case, used, fit, budget, ends_mps)
    return finished(
        budget,
        case.machine,
        drive_line,
        case.speeds,
        fit=FittedLine(
            fit.slope, wider * fit.u_slope, fit.intercept, wider * fit.u_intercept, probability
        ),
        ends=tuple(EndError(v, *error) for v, error in zip(ends_mps, at_ends, strict=True)),
        runs=_run_results(case, left_out),
        warnings=warnings,
        guard_band=guard_band(case, used, fit, budget),
    )


def _error_model(case: Case, used: Sequence[int], fit: LineFit) -> Model:
    """Inputs (the true speeds', then the display's) → error at work.

    The fit's weights are held, so that the estimator is G·(indicated − a − b·v) = 0.
    """
    speeds, speed = case.speeds, case.machine.limits.speed_at_work_mps
    G, n = fit.weights, len(speeds.inputs)

    def model(x: Floats) -> Floats:
        v = np.exp(speeds.log_values(x[:n])[list(used)])
        indicated = case.indicated(used, x[n:])
        if fit.through_origin:
            return np.asarray((G[0] @ indicated) / (G[0] @ v) - 1)
        g = G.sum(axis=1)
        p, q = (G[0] @ v, G[1] @ v), (G[0] @ indicated, G[1] @ indicated)
        slope = (g[0] * q[1] - g[1] * q[0]) / (g[0] * p[1] - g[1] * p[0])
        intercept = (q[0] - slope * p[0]) / g[0]
        return np.asarray(intercept / speed + slope - 1)

    return model


def _budget(case: Case, used: Sequence[int], fit: LineFit) -> Budget:
    """Every input on its own line; rounding errors of like speeds are correlated. What the runs
    scatter beyond is the last."""
    n, lines = len(case.speeds.inputs), [*case.speeds.inputs, *case.display_lines(used)]
    rounding = case.rounding(used)
    pairs = [
        (n + i, n + j, float(rounding[i, j]))
        for i in range(len(used))
        for j in range(i + 1, len(used))
        if abs(rounding[i, j]) > 1e-6
    ]
    model = _error_model(case, used, fit)
    budget = first_order(model, lines, quantity=ERROR, correlation=pairs)
    u_between = between_runs(case, used, fit, budget)
    if u_between > 0:
        beyond = Line(
            statement(InputSays.SCATTER_BEYOND),
            0.0,
            u_between,
            source=statement(InputSays.FROM_LACK_OF_FIT, count=len(used)),
            group=Part.SCATTER,
        )
        runs_model = model

        def model(x: Floats) -> Floats:
            return np.asarray(runs_model(x[:-1]) + x[-1])

        budget = first_order(model, [*lines, beyond], quantity=ERROR, correlation=pairs)
    return checked(budget, model, joint=_one_display(case, used))


def _one_display(case: Case, used: Sequence[int]) -> Joint:
    """Draws the shown values of all runs with the rounding errors of the one display."""
    n, step, runs = len(case.speeds.inputs), case.machine.readout.step, len(used)
    shown = np.array([case.runs[i].shown for i in used])
    covariance = case.log_covariance(used)

    def joint(rng: np.random.Generator, x: Floats) -> None:
        if case.one_rounding:
            x[n : n + runs] = shown[:, None] + step * rng.uniform(-0.5, 0.5, x.shape[1])
            return
        v = np.exp(case.speeds.log_values(x[:n])[list(used)]) / case.unit_mps
        v *= x[n + runs : n + 2 * runs]
        x[n : n + runs] = shown[:, None] + draw_rounding(rng, shown, v, covariance, step)

    return joint


def _honest(case: Case, used: Sequence[int]) -> list[Statement]:
    """Runs that are too few, too close together or beside the work."""
    v, speed = case.speeds.speed_mps[used], case.machine.limits.speed_at_work_mps
    low, high, told = float(v.min()), float(v.max()), []
    if len(used) == 1:
        told.append(statement(SteadySays.ONE_RUN))
    elif high - low < NARROW * speed:
        told.append(statement(SteadySays.ONE_SPEED, at_mps=float(v.mean())))
    elif len(used) == 2:
        told.append(statement(SteadySays.TWO_RUNS))
    if speed < low * (1 - NARROW) or speed > high * (1 + NARROW):
        told.append(statement(ResultSays.NO_RUN_AT_WORK, work_mps=speed))
    return told


def _run_results(case: Case, left_out: dict[int, Statement]) -> tuple[RunResult, ...]:
    everyone = range(len(case.runs))
    rounding = case.step_mps / math.sqrt(12) / case.shown_mps
    u_shown = np.sqrt(rounding**2 + np.diag(case.belt_covariance(everyone)))
    u_true = np.sqrt(np.diag(case.speeds.covariance))
    ratio = case.indicated_mps / case.speeds.speed_mps
    return tuple(
        RunResult(
            run.label,
            run.line or None,
            run.shown,
            float(case.shown_mps[i]),
            run.laps,
            run.laps_time_s,
            run.pulses,
            run.pulses_time_s,
            run.reference_mps,
            float(case.speeds.speed_mps[i]),
            float(case.speeds.speed_mps[i] * u_true[i]),
            float(ratio[i] - 1),
            float(ratio[i] * math.hypot(u_shown[i], u_true[i])),
            i not in left_out,
            left_out.get(i),
        )
        for i, run in enumerate(case.runs)
    )

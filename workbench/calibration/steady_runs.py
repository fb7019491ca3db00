"""Calibration from steady runs: a shown value against a true speed each.

True speeds come from `true_speed`, the rounding errors of the display from `readout`; the
line is fitted with the covariance of both, and its budget is that of the same estimator.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.budget import (
    FIRST_ORDER,
    RECTANGULAR,
    Budget,
    Line,
    Model,
    checked,
    first_order,
)
from workbench.calibration.calibrate import (
    Calibration,
    RunResult,
    finished,
    solve_speeds,
    working_speed,
)
from workbench.calibration.driveline_check import (
    DriveLine,
    check_drive_line,
    lap_of,
    mend_counts,
)
from workbench.calibration.fit import LineFit, farthest_point, lack_of_fit, straight_line
from workbench.calibration.readout import display_correlation
from workbench.calibration.runs import Run
from workbench.calibration.true_speed import Known, TrueSpeeds
from workbench.errors import WrongInput
from workbench.machine import Machine
from workbench.units import SPEED_UNITS_MPS

Floats = NDArray[np.float64]

SURE_OUTLIER = 0.001
"""Probability (Bonferroni) below which a run is left out; below `DOUBTFUL` it is named."""
DOUBTFUL = 0.05

NARROW = 0.10
"""Runs whose speeds differ by less than this share say nothing about other speeds. Chosen."""

PER_RUN = ("timing of laps", "pulse count", "reading of the reference", "reading the display")
"""Groups of the budget that are new in every run; the others are shared by all."""


def calibrate_runs(
    runs: Sequence[Run], machine: Machine, *, u_clock_rel: float = 0.0
) -> Calibration:
    """Calibrate from steady runs. Raises WrongInput where no run can be used."""
    warnings: list[str] = []
    lap = lap_of(machine)
    runs = _without_lap_length(runs, lap, warnings)
    runs, sentences = mend_counts(runs, lap, machine)
    warnings += sentences
    drive_line = check_drive_line(runs, lap, machine, u_clock_rel)
    speeds = solve_speeds(runs, machine, drive_line, u_clock_rel)
    left_out = _wrong_units(runs, speeds.speed_mps, machine, warnings)
    used = [i for i in range(len(runs)) if i not in left_out]
    if not used:
        raise WrongInput("No run is left. " + " ".join(left_out.values()))
    loose = _loose_fit(runs, speeds, used, machine)
    while (far := _outlier(runs, used, loose, warnings)) is not None:
        left_out[far] = "stands apart from all other runs"
        used.remove(far)
        loose = _loose_fit(runs, speeds, used, machine)
    fit = _fit(runs, speeds, used, machine)
    line = _with_offset(runs, speeds, used, machine, fit, warnings)
    if line is not None:
        fit, loose = line, _loose_fit(runs, speeds, used, machine, through_origin=False)
    return _assembled(runs, speeds, used, left_out, fit, loose, machine, drive_line, warnings)


def _without_lap_length(runs: Sequence[Run], lap: Known | None, warnings: list[str]) -> list[Run]:
    if lap is not None or not any(run.has_laps for run in runs):
        return list(runs)
    warnings.append(
        "The laps were left out: belt.lap_length_m is not in the machine file. Measure one lap "
        "of the belt along its pitch line."
    )
    kept = [run.without_laps() for run in runs if run.has_pulses or run.has_reference]
    if not kept:
        raise WrongInput("Only laps were counted. " + warnings[-1])
    return kept


def _shown_mps(runs: Sequence[Run], machine: Machine) -> Floats:
    return np.array([run.shown for run in runs]) * SPEED_UNITS_MPS[machine.readout.unit]


def _wrong_units(
    runs: Sequence[Run], true_mps: Floats, machine: Machine, warnings: list[str]
) -> dict[int, str]:
    """Runs that were shown in another unit than the rest, by index, with the reason."""
    ratio = _shown_mps(runs, machine) / true_mps
    unit = machine.readout.unit
    others = {
        name: SPEED_UNITS_MPS[unit] / one for name, one in SPEED_UNITS_MPS.items() if name != unit
    }
    middle = float(np.median(ratio))
    for name, factor in others.items():
        if abs(middle / factor - 1) < 0.08:
            warnings.append(
                f"The readout shows {middle:.3g} times the true speed: does it show {name}? The "
                f"machine file says readout.unit = '{unit}'."
            )
    left_out: dict[int, str] = {}
    for i, own in enumerate(ratio / middle):
        for name, factor in others.items():
            if len(runs) >= 3 and abs(own / factor - 1) < 0.05:
                left_out[i] = f"looks like {name}, the others like {unit}"
                warnings.append(
                    f"{runs[i].place}: shown {runs[i].shown:g} {left_out[i]}; it was left out."
                )
    return left_out


def _fit(
    runs: Sequence[Run],
    speeds: TrueSpeeds,
    used: Sequence[int],
    machine: Machine,
    through_origin: bool = True,
) -> LineFit:
    v, V = speeds.speed_mps[used], speeds.covariance[np.ix_(used, used)]
    step = machine.readout.step * SPEED_UNITS_MPS[machine.readout.unit]
    shown = _shown_mps(runs, machine)[used]
    S = step**2 / 12 * display_correlation(shown, v, V, step)
    return straight_line(v, shown, cov_x=V * np.outer(v, v), cov_y=S, through_origin=through_origin)


def _loose_fit(
    runs: Sequence[Run],
    speeds: TrueSpeeds,
    used: Sequence[int],
    machine: Machine,
    through_origin: bool = True,
) -> LineFit:
    """The line to test the runs by: rounding errors independent, at their bound of half a step.

    Two runs at one speed may show neighbouring digits; that is as far apart as rounding can
    bring them, and no sign that anything is amiss.
    """
    v, V = speeds.speed_mps[used], speeds.covariance[np.ix_(used, used)]
    half = machine.readout.step * SPEED_UNITS_MPS[machine.readout.unit] / 2
    shown = _shown_mps(runs, machine)[used]
    return straight_line(
        v,
        shown,
        cov_x=V * np.outer(v, v),
        cov_y=np.full(len(used), half),
        through_origin=through_origin,
    )


def _outlier(
    runs: Sequence[Run], used: Sequence[int], fit: LineFit, warnings: list[str]
) -> int | None:
    """The index of a run that surely does not belong; a doubtful one is only named."""
    far = farthest_point(fit)
    if far is None or far.probability > DOUBTFUL:
        return None
    run = runs[used[far.index]]
    away = f"{run.place}: shown {run.shown:g} is {abs(far.studentised):.1f} standard "
    away += "uncertainties from the line of the others"
    room = len(runs) - len(used) < max(1, len(runs) // 4)
    if far.probability < SURE_OUTLIER and len(used) >= 4 and room:
        warnings.append(f"{away} (misread, or not steady?); it was left out.")
        return used[far.index]
    warnings.append(f"{away} (misread, or not steady?); it was kept. Repeat it.")
    return None


def _with_offset(
    runs: Sequence[Run],
    speeds: TrueSpeeds,
    used: Sequence[int],
    machine: Machine,
    fit: LineFit,
    warnings: list[str],
) -> LineFit | None:
    """The line with an intercept, where there surely is one (1 %)."""
    v = speeds.speed_mps[used]
    if len(used) < 3 or np.ptp(v) < NARROW * v.mean() or not lack_of_fit(fit) < DOUBTFUL:
        return None
    try:
        line = _fit(runs, speeds, used, machine, through_origin=False)
    except ValueError:
        return None
    if abs(line.intercept) < 2.576 * line.u_intercept or lack_of_fit(line) < lack_of_fit(fit):
        return None
    unit = machine.readout.unit
    warnings.append(
        f"The readout is off by a fixed {line.intercept / SPEED_UNITS_MPS[unit]:+.2g} {unit} "
        "besides its scale (a display that cuts off instead of rounding is off by half a step): "
        "one setting can be right at one speed only, here the middle of the working speeds."
    )
    return line


def _assembled(
    runs: Sequence[Run],
    speeds: TrueSpeeds,
    used: list[int],
    left_out: dict[int, str],
    fit: LineFit,
    loose: LineFit,
    machine: Machine,
    drive_line: DriveLine,
    warnings: list[str],
) -> Calibration:
    budget = _budget(runs, speeds, used, fit, machine)
    probability = lack_of_fit(loose)
    if probability < DOUBTFUL:
        budget = _widened(budget, loose)
        warnings.append(
            "The runs scatter more than their uncertainties allow (lack of fit, p = "
            f"{probability:.2g}): the uncertainty was widened to cover it. Was every run steady?"
        )
    warnings += _honest(runs, speeds, used, machine)
    return finished(
        budget,
        machine,
        drive_line,
        speeds,
        line=(fit.slope, fit.u_slope, fit.intercept, fit.u_intercept),
        fit_probability=probability,
        ends=_ends(fit, machine),
        runs=_run_results(runs, speeds, left_out, machine),
        warnings=warnings,
    )


def _ends(fit: LineFit, machine: Machine) -> tuple[tuple[float, float, float], ...]:
    ends = []
    for speed in (machine.limits.speed_low_mps, machine.limits.speed_high_mps):
        if speed > 0:
            shown, u = fit.value(speed)
            ends.append((speed, shown / speed - 1, u / speed))
    return tuple(ends)


def error_model(
    speeds: TrueSpeeds, used: Sequence[int], fit: LineFit, unit_mps: float, speed: float
) -> Model:
    """Inputs (the true speeds' and one shown value a used run) → error at `speed`.

    The fit's weights are held, so that the estimator is G·(shown − a − b·v) = 0.
    """
    G, n = fit.weights, len(speeds.inputs)

    def model(x: Floats) -> Floats:
        v = np.exp(speeds.log_values(x[:n])[list(used)])
        shown = x[n:] * unit_mps
        if fit.through_origin:
            return np.asarray((G[0] @ shown) / (G[0] @ v) - 1)
        g = G.sum(axis=1)
        p, q = (G[0] @ v, G[1] @ v), (G[0] @ shown, G[1] @ shown)
        slope = (g[0] * q[1] - g[1] * q[0]) / (g[0] * p[1] - g[1] * p[0])
        intercept = (q[0] - slope * p[0]) / g[0]
        return np.asarray(intercept / speed + slope - 1)

    return model


def _budget(
    runs: Sequence[Run],
    speeds: TrueSpeeds,
    used: Sequence[int],
    fit: LineFit,
    machine: Machine,
) -> Budget:
    """Every input on its own line; rounding errors of like speeds are correlated."""
    readout, n = machine.readout, len(speeds.inputs)
    lines = list(speeds.inputs) + [
        Line(
            f"shown, run {runs[i].label}",
            runs[i].shown,
            readout.step / np.sqrt(12.0),
            readout.unit,
            RECTANGULAR,
            source=f"half a step of {readout.step:g} {readout.unit} either way",
            group="reading the display",
        )
        for i in used
    ]
    rounding = display_correlation(
        _shown_mps(runs, machine)[used],
        speeds.speed_mps[used],
        speeds.covariance[np.ix_(used, used)],
        readout.step * SPEED_UNITS_MPS[readout.unit],
    )
    pairs = {
        (n + i, n + j): float(rounding[i, j])
        for i in range(len(used))
        for j in range(i + 1, len(used))
        if abs(rounding[i, j]) > 1e-6
    }
    model = error_model(speeds, used, fit, SPEED_UNITS_MPS[readout.unit], working_speed(machine))
    budget = first_order(model, lines, quantity="error at work", correlation=pairs)
    return checked(budget, model)


def _widened(budget: Budget, fit: LineFit) -> Budget:
    """The budget with a line for scatter that no other line explains (Birge's ratio of `fit`).

    Only what differs from run to run is widened: what all runs share cannot scatter.
    """
    own = [part for name, part in budget.groups().items() if name in PER_RUN]
    birge = fit.chi_square / fit.dof
    u = float(np.sqrt(sum(part**2 for part in own) * (birge - 1)))
    line = Line(
        "scatter of the runs beyond these",
        0.0,
        u,
        dof=fit.dof,
        source=f"lack of fit of {fit.residual.size} runs",
        sensitivity=1.0,
        group="scatter",
    )
    # A widened budget is normal enough: several runs, none of which rules.
    return replace(
        budget, lines=[*budget.lines, line], half_width=float("nan"), method=FIRST_ORDER, note=""
    )


def _honest(
    runs: Sequence[Run], speeds: TrueSpeeds, used: Sequence[int], machine: Machine
) -> list[str]:
    """Sentences on runs that are too few, too close together or beside the work."""
    v, unit = speeds.speed_mps[used], machine.readout.unit
    one = SPEED_UNITS_MPS[unit]
    at = f"{v.mean() / one:.3g} {unit}"
    low, high, speed = float(v.min()), float(v.max()), working_speed(machine)
    if len(used) == 1:
        sentences = ["One run only: nothing shows whether it was a good one. Make three or more."]
    elif high - low < NARROW * speed:
        sentences = [
            f"All runs were at about {at}: whether the readout errs by the same share at other "
            "speeds is not known."
        ]
    elif len(used) == 2:
        sentences = ["Two runs only: a third would show whether they hang together."]
    else:
        sentences = []
    if speed < low * (1 - NARROW) or speed > high * (1 + NARROW):
        sentences.append(
            f"No run was near the middle of the working speeds, {speed / one:.3g} {unit}: the "
            "answer there rests on the readout being in proportion."
        )
    return sentences


def _run_results(
    runs: Sequence[Run], speeds: TrueSpeeds, left_out: dict[int, str], machine: Machine
) -> tuple[RunResult, ...]:
    step_rel = machine.readout.step / np.sqrt(12.0) / np.array([run.shown for run in runs])
    shown = _shown_mps(runs, machine)
    results = []
    for i, run in enumerate(runs):
        u_rel, ratio = np.sqrt(speeds.covariance[i, i]), shown[i] / speeds.speed_mps[i]
        results.append(
            RunResult(
                run,
                float(speeds.speed_mps[i]),
                float(speeds.speed_mps[i] * u_rel),
                float(ratio - 1),
                float(ratio * np.hypot(step_rel[i], u_rel)),
                i not in left_out,
                left_out.get(i, ""),
            )
        )
    return tuple(results)

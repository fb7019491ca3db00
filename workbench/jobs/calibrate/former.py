"""A calibration as the answer of `evenpace calibrate`, and as rows for a person."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from workbench.base.machine import Machine
from workbench.base.units import SPEED_UNITS_MPS, from_mps, percent, to_mps
from workbench.calibration.readout.calibrate import Calibration, RunResult
from workbench.calibration.readout.change_overs import ChangeOvers
from workbench.calibration.statistics.budget import Budget
from workbench.cli.output import with_uncertainty
from workbench.words.words import Words


def as_answer(found: Calibration, machine: Machine) -> dict[str, Any]:
    """The answer as plain values; SI, shares for errors, NaN for what is not known."""
    budget, setting, k = found.budget, found.setting, found.budget.k
    answer: dict[str, Any] = {
        "machine": machine.name,
        "sentence": _sentence(found, machine),
        "error_at_work": budget.value,
        "u_error_at_work": budget.u,
        "U_error_at_work": budget.U,
        "k": k,
        "dof": budget.dof,
        "coverage": budget.coverage,
        "speed_at_work_mps": found.speed_mps,
        "readout_error_limit": machine.limits.readout_error,
        "verdict": str(found.decision.verdict),
        "conformance_probability": found.decision.conformance_probability,
        "reason": Words().say(found.decision.reason),
        "advice": found.advice,
        "unit": machine.readout.unit,
        "step": machine.readout.step,
        "setting_unit": machine.readout.setting_unit,
        "reads": machine.readout.reads,
        "setting_now": setting.now,
        "setting_exact": setting.exact,
        "u_setting_exact": setting.u_exact,
        "U_setting_exact": k * setting.u_exact,
        "setting_new": setting.new,
        "setting_by_pulses": setting.by_pulses,
        "residual_error": setting.residual_error,
        "verdict_expected": str(found.new_decision.verdict),
        **_drive_line(found, k),
        "fit": _fit(found),
        "error_at_ends": [
            {"speed_mps": speed, "error": error, "u_error": u} for speed, error, u in found.ends
        ],
        "budget": budget_answer(budget),
        "runs": [_run(result, machine) for result in found.runs],
        "warnings": list(found.warnings),
    }
    if found.flips is not None:
        answer["change_overs"] = _change_overs(found.flips, machine)
    return answer


def _sentence(found: Calibration, machine: Machine) -> str:
    unit = machine.readout.unit
    at = f"at {from_mps(found.speed_mps, unit):.3g} {unit}"
    error, U = found.budget.value, found.budget.U
    digits = 1 if U >= 0.002 else 2
    spread = f"(± {percent(U, digits)})"
    if abs(error) <= U:
        text = f"{percent(error, digits, signed=True)} {spread}"
        return f"The readout is right {at} within its uncertainty: {text}."
    much = "much" if error > 0 else "little"
    return f"The readout shows {percent(abs(error), digits)} too {much} {at} {spread}."


def _drive_line(found: Calibration, k: float) -> dict[str, Any]:
    line = found.drive_line
    return {
        "metres_per_pulse": found.metres_per_pulse,
        "u_metres_per_pulse": found.u_metres_per_pulse,
        "U_metres_per_pulse": k * found.u_metres_per_pulse,
        "metres_per_pulse_runs": line.from_runs_m,
        "u_metres_per_pulse_runs": line.u_from_runs_m,
        "metres_per_pulse_geometry": line.from_geometry_m,
        "u_metres_per_pulse_geometry": line.u_from_geometry_m,
        "drive_line_difference": line.difference,
        "u_drive_line_difference": line.u_difference,
        "drive_line_causes": list(line.causes),
    }


def _fit(found: Calibration) -> dict[str, Any]:
    return {
        "slope": found.slope,
        "u_slope": found.u_slope,
        "offset_mps": found.offset_mps,
        "u_offset_mps": found.u_offset_mps,
        "through_origin": found.offset_mps == 0,
        "lack_of_fit_probability": found.fit_probability,
    }


def budget_answer(budget: Budget) -> dict[str, Any]:
    """A budget as plain values."""
    return {
        "quantity": budget.quantity,
        "value": budget.value,
        "u": budget.u,
        "U": budget.U,
        "k": budget.k,
        "dof": budget.dof,
        "coverage": budget.coverage,
        "method": budget.method,
        "note": budget.note,
        "groups": budget.groups(),
        "lines": [
            {
                "quantity": line.quantity,
                "estimate": line.estimate,
                "unit": line.unit,
                "u": line.u,
                "distribution": line.distribution,
                "sensitivity": line.sensitivity,
                "contribution": line.contribution,
                "dof": line.dof,
                "source": line.source,
                "group": line.group,
            }
            for line in budget.lines
        ],
        "correlation": [[i, j, r] for (i, j), r in budget.correlation.items()],
    }


def _run(result: RunResult, machine: Machine) -> dict[str, Any]:
    run = result.run
    return {
        "run": run.label,
        "line": run.line or None,
        "shown": run.shown,
        "shown_mps": to_mps(run.shown, machine.readout.unit),
        "laps": run.laps,
        "laps_time_s": run.laps_time_s,
        "pulses": run.pulses,
        "pulses_time_s": run.pulses_time_s,
        "reference_mps": run.reference_mps,
        "true_mps": result.true_mps,
        "u_true_mps": result.u_true_mps,
        "error": result.error,
        "u_error": result.u_error,
        "used": result.used,
        "note": result.note,
    }


def _change_overs(flips: ChangeOvers, machine: Machine) -> dict[str, Any]:
    one = SPEED_UNITS_MPS[machine.readout.unit]
    rows = zip(flips.flips, flips.speed_mps, flips.threshold_mps, strict=True)
    return {
        "lag_s": flips.lag_s,
        "u_lag_s": flips.u_lag_s,
        "hysteresis_mps": flips.hysteresis_mps,
        "u_hysteresis_mps": flips.u_hysteresis_mps,
        "points": [
            {
                "time_s": flip.time_s,
                "shown": flip.shown,
                "direction": "up" if flip.up else "down",
                "threshold": float(threshold) / one,
                "true_mps": float(speed),
                "error": float(threshold / speed) - 1,
            }
            for flip, speed, threshold in rows
        ],
    }


def rows_for_people(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Label and text of what matters most, for a terminal."""
    k, unit = answer["k"], answer["unit"]
    error = with_uncertainty(100 * answer["error_at_work"], 100 * answer["U_error_at_work"], "%", k)
    rows = [
        (f"Error at {from_mps(answer['speed_at_work_mps'], unit):.3g} {unit}", error),
        ("Allowed", f"± {100 * answer['readout_error_limit']:.3g} %"),
        ("Verdict", f"{answer['verdict']}: {answer['reason']}"),
        ("Probability that it conforms", percent(answer["conformance_probability"], 1)),
    ]
    if answer["advice"]:
        rows.append(("To settle it", answer["advice"].removeprefix("To settle it: ")))
    rows += _setting_rows(answer)
    if math.isfinite(answer["metres_per_pulse"]):
        value, U = 1000 * answer["metres_per_pulse"], 1000 * answer["U_metres_per_pulse"]
        rows.append(("Metres a pulse", with_uncertainty(value, U, "mm", k)))
        rows.append(("by the drive line", f"{1000 * answer['metres_per_pulse_geometry']:.5g} mm"))
    if "change_overs" in answer:
        lag = answer["change_overs"]
        rows.append(
            ("Lag of display and hand", with_uncertainty(lag["lag_s"], 2 * lag["u_lag_s"], "s"))
        )
    parts = sorted(answer["budget"]["groups"].items(), key=lambda item: -item[1])
    rows.append(
        ("Uncertainty from", ", ".join(f"{name} {percent(part)}" for name, part in parts[:4]))
    )
    if answer["budget"]["note"]:
        rows.append(("How", answer["budget"]["note"]))
    return rows


def _setting_rows(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    if not math.isfinite(answer["setting_now"]):
        return []
    unit = f" {answer['setting_unit']}" if answer["setting_unit"] else ""
    exact = with_uncertainty(answer["setting_exact"], answer["U_setting_exact"], "", answer["k"])
    rows = [("Setting now", f"{answer['setting_now']:g}{unit}"), ("would be right", exact + unit)]
    if math.isfinite(answer["setting_new"]):
        left = f"leaves {percent(answer['residual_error'], signed=True)}"
        left += f"; then {answer['verdict_expected']}"
        rows.append(("New setting", f"{answer['setting_new']:.6g}{unit} ({left})"))
    return rows


def run_rows(answer: Mapping[str, Any]) -> tuple[list[str], list[list[str]]]:
    """Header and rows of the runs, for a terminal."""
    unit = answer["unit"]
    header = ["run", f"shown, {unit}", f"true, {unit}", "error", "± (k = 2)", ""]
    rows = [
        [
            run["run"],
            f"{run['shown']:.4g}",
            f"{from_mps(run['true_mps'], unit):.4g}",
            percent(run["error"], signed=True),
            percent(2 * run["u_error"]),
            "" if run["used"] else f"left out: {run['note']}",
        ]
        for run in answer["runs"]
    ]
    return header, rows

"""What the height of the pulses adds to `evenpace gap`, and the drop-out run."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from drivers.contract import EdgeTrack
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import as_written
from workbench.calibration.gap.amplitude import (
    AmplitudeLaw,
    BaselinePoint,
    VoltageGap,
    fit_law,
    gap_by_tooth,
)
from workbench.calibration.gap.dropout import DropOut, find_drop_out
from workbench.calibration.gap.faults import FaultKind
from workbench.calibration.gap.feeler import REPEATABILITY_M
from workbench.calibration.gap.judgement import Estimate, advice, gap_warnings, judge, worst
from workbench.calibration.gap.margin import DropOutMargin, gap_at_limit, judge_drop_out
from workbench.calibration.gap.wheel_faults import WheelCheck
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.speed import coverage_factor
from workbench.calibration.statistics.decision import Decision, Verdict
from workbench.jobs.gap.values import extremes, verdict_values, with_u

BEYOND_BASELINE_M = 0.0005
"""How far outside its known gaps a baseline is still trusted without a word; chosen."""
MEANT_TO_HAPPEN = (FaultKind.LOST, FaultKind.WORN, FaultKind.BREAKS, FaultKind.RUNOUT)
"""What a drop-out run shows on a sound wheel too: teeth go missing on purpose."""


def by_voltage(
    check: WheelCheck, limits: Pickup, options: Mapping[str, Any], warnings: list[str]
) -> dict[str, Any]:
    """The gap from the pulses' height, or this recording as a reading of the baseline.

    Raises WrongInput where a known gap was given and the height does not tell it.
    """
    known_m = options["at_gap_m"]
    if check.log_amplitude is None or check.voltage is None:
        if known_m is not None:
            raise WrongInput(
                "--at-gap needs the height of the pulses, and this recording has none; the pulse "
                "counter gives it for variable-reluctance pickups."
            )
        return {}
    level = float(np.nanmean(check.log_amplitude))
    answer: dict[str, Any] = {"log_volt_seconds": level}
    points = baseline_points(options)
    if known_m is not None:
        reading = _baseline_reading(known_m, level, check.teeth, limits, options)
        points.append(BaselinePoint(known_m, reading["u_gap_m"], level))
        answer["baseline_reading"] = reading
    law = _law(points, warnings)
    if law is None:
        return answer
    answer["amplitude_law"] = _law_values(law)
    if known_m is not None:
        return answer
    gap = gap_by_tooth(law, check.log_amplitude, check.voltage)
    return answer | _voltage_gap(gap, law, check, limits, warnings)


def baseline_points(options: Mapping[str, Any]) -> list[BaselinePoint]:
    """The shop's own readings at known gaps, as they were put into the options."""
    return [BaselinePoint(*point) for point in options["baseline"]]


def drop_out(
    track: EdgeTrack,
    first_tooth_s: float,
    machine: Machine | None,
    answer: Mapping[str, Any],
    options: Mapping[str, Any],
) -> dict[str, Any]:
    """What the drop-out run shows; its verdict takes the place of the wheel's.

    Raises WrongInput where the belt was not slowed, or its speed cannot be known.
    """
    if machine is None:
        raise WrongInput(
            "--drop-out needs the machine file (--machine FILE): without it the drop-out speed "
            "cannot be held against the working speeds."
        )
    found = find_drop_out(track.time_s, answer["teeth"], first_tooth_s)
    per_pulse = metres_per_pulse(machine)
    margin = judge_drop_out(found, per_pulse, machine.limits.speed_low_mps)
    values = _drop_out_values(found, margin)
    law = _law(baseline_points(options), [])
    known_m = options["at_gap_m"]
    gap = Estimate(answer["gap_m"], answer.get("u_gap_m", math.nan))
    if known_m is not None:
        gap = Estimate(known_m, REPEATABILITY_M)
    if law is not None and math.isfinite(gap.value) and math.isfinite(margin.margin):
        u_rel = margin.speed.u / margin.speed.value
        values |= with_u("gap_at_limit", gap_at_limit(gap, margin.margin, u_rel, law), 2.0)
    faults = [one for one in answer["faults"] if one["kind"] not in MEANT_TO_HAPPEN]
    broken = [Decision(Verdict.FAIL, math.nan, as_written(str(one["kind"]))) for one in faults]
    return {
        "drop_out": values,
        "faults": faults,
        **verdict_values(worst([margin.decision, *broken, *_gap_decision(answer, machine.pickup)])),
        "advice": margin.sentence,
    }


def _drop_out_values(found: DropOut, margin: DropOutMargin) -> dict[str, Any]:
    return {
        "tooth_rate_hz": found.tooth_hz,
        "u_tooth_rate_hz": found.tooth_hz * found.u_rel,
        **with_u("speed", margin.speed, 2.0, "_mps"),
        "margin": margin.margin,
        "first_tooth": found.tooth or None,
        "first_angle_deg": found.angle_deg,
        "first_missed_mps": margin.first_missed_mps,
        "slowest_mps": margin.slowest_mps,
        "missed": found.missed,
        "passages": found.passages,
        "sentence": margin.sentence,
    }


def _gap_decision(answer: Mapping[str, Any], limits: Pickup) -> list[Decision]:
    """Whether the gap itself is within its limits, where the voltage tells it."""
    if "widest_m" not in answer:
        return []
    closest, widest = (
        Estimate(answer[f"{name}_m"], answer[f"u_{name}_m"]) for name in ("closest", "widest")
    )
    return [judge(closest, widest, answer["k"], limits)]


def _baseline_reading(
    known_m: float, level: float, teeth: int, limits: Pickup, options: Mapping[str, Any]
) -> dict[str, Any]:
    if limits.kind != "variable-reluctance":
        raise WrongInput(
            f"--at-gap: the voltage of a pickup of kind '{limits.kind}' does not tell its gap; "
            "only a variable-reluctance one's does."
        )
    return {
        "gap_m": known_m,
        "u_gap_m": math.hypot(options["blade_step_m"] / math.sqrt(12), REPEATABILITY_M),
        "log_volt_seconds": level,
        "pickup_kind": limits.kind,
        "teeth": teeth,
    }


def _law(points: list[BaselinePoint], warnings: list[str]) -> AmplitudeLaw | None:
    if not points:
        return None
    try:
        return fit_law(points)
    except WrongInput as error:
        warnings.append(str(error))
        return None


def _law_values(law: AmplitudeLaw) -> dict[str, float]:
    return {
        "log_k": law.log_k,
        "u_log_k": math.sqrt(law.variance[0]),
        "decay_m": law.decay_m,
        "u_decay_m": law.u_decay_m,
        "readings": law.points,
        "lowest_gap_m": law.low_m,
        "highest_gap_m": law.high_m,
    }


def _voltage_gap(
    gap: VoltageGap, law: AmplitudeLaw, check: WheelCheck, limits: Pickup, warnings: list[str]
) -> dict[str, Any]:
    k = coverage_factor(gap.freedom)
    low_m, high_m = law.low_m - BEYOND_BASELINE_M, law.high_m + BEYOND_BASELINE_M
    if not low_m <= gap.mean.value <= high_m:
        warnings.append(
            f"The gap by voltage, {gap.mean.value * 1000:.2f} mm, lies outside the baseline's "
            f"gaps, {law.low_m * 1000:.2f} to {law.high_m * 1000:.2f} mm."
        )
    warnings += gap_warnings(gap.mean.value, gap.closest, k, limits)
    decision = worst([check.decision, judge(gap.closest, gap.widest, k, limits)])
    return {
        **with_u("gap", gap.mean, k),
        **with_u("runout", gap.runout, k),
        **extremes(gap.closest, gap.widest, k),
        "gap_by_tooth_m": gap.gap_m,
        "k": k,
        **verdict_values(decision),
        "advice": advice(gap.mean.value, gap.closest.value, gap.widest.value, limits),
    }

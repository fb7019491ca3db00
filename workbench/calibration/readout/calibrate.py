"""The answer of a calibration: what the readout showed against what was true.

`steady_runs.calibrate_runs` takes runs with a shown value each, `ramp.calibrate_ramp` a
ramped run with the moments at which the display changed. Both end here, in one
`Calibration`: error at the working speed with its budget, verdict and advice, the setting,
and the drive line's metres a pulse.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbench.base.machine import Machine
from workbench.base.units import percent
from workbench.calibration.readout.change_overs import ChangeOvers
from workbench.calibration.readout.drive_line_check import DriveLine, geometry_of, lap_of
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.setting import Setting, propose_setting
from workbench.calibration.readout.true_speed import TrueSpeeds, true_speeds
from workbench.calibration.statistics.budget import Budget
from workbench.calibration.statistics.decision import (
    Decision,
    Verdict,
    decide,
    times_as_many,
    uncertainty_to_settle,
)

SHRINKS = {
    "timing of laps": 1.0,
    "pulse count": 1.0,
    "reading the display": 0.5,
    "reading of the reference": 0.5,
    "scatter": 0.5,
    "change-overs": 0.5,
}
"""Groups of the budget that more work shrinks, and the power of the amount of work."""

MEND = {
    "lap length": "Measure the lap again, with a better tape or over several laps.",
    "drive line": "Time laps of the belt as well.",
    "reference": "Use a better reference, or laps of the belt.",
    "clock": "Use a counter with a better clock.",
}
MOST_TIMES = 10.0
"""More than ten times the work is not advice."""


@dataclass(frozen=True, slots=True)
class RunResult:
    """One run with what came of it. `used` False: left out of the fit, `note` says why."""

    run: Run
    true_mps: float
    u_true_mps: float
    error: float
    u_error: float
    used: bool = True
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """The answer. `budget` is that of the error at `speed_mps`, a share of the true speed.

    `error_low` and `error_high`: (speed, error, u) at the ends of the working speeds.
    `fit_probability` is that of the lack-of-fit test, NaN where it cannot be made.
    """

    speed_mps: float
    budget: Budget
    decision: Decision
    advice: str
    setting: Setting
    new_decision: Decision
    drive_line: DriveLine
    metres_per_pulse: float
    u_metres_per_pulse: float
    slope: float
    u_slope: float
    offset_mps: float
    u_offset_mps: float
    fit_probability: float
    ends: tuple[tuple[float, float, float], ...]
    runs: tuple[RunResult, ...]
    flips: ChangeOvers | None
    warnings: tuple[str, ...]

    @property
    def error(self) -> float:
        return self.budget.value


def solve_speeds(
    runs: Sequence[Run], machine: Machine, drive_line: DriveLine, u_clock_rel: float = 0.0
) -> TrueSpeeds:
    """True speeds; the drive line's geometry counts only where the runs bear it out."""
    lap = lap_of(machine)
    geometry = geometry_of(machine, lap) if drive_line.agrees else None
    slip = machine.drive.kind == "roll"
    return true_speeds(runs, lap, geometry, u_clock_rel=u_clock_rel, slip=slip)


def finished(
    budget: Budget,
    machine: Machine,
    drive_line: DriveLine,
    speeds: TrueSpeeds,
    *,
    line: tuple[float, float, float, float],
    fit_probability: float,
    ends: tuple[tuple[float, float, float], ...],
    runs: tuple[RunResult, ...],
    warnings: Sequence[str],
    flips: ChangeOvers | None = None,
) -> Calibration:
    """Verdict, setting and advice for an error found; `line` is slope, u, offset, u."""
    limit = machine.limits.readout_error
    decision = decide(budget.value, budget.u, -limit, limit, U=budget.U)
    setting = propose_setting(
        machine.readout,
        budget.value,
        budget.u,
        speeds.metres_per_pulse,
        machine.drive.target_teeth,
    )
    # The error left after the change is as uncertain as the one found before it.
    left, u_left = setting.residual_error, budget.u / (1 + budget.value)
    return Calibration(
        machine.limits.speed_at_work_mps,
        budget,
        decision,
        advice(decision, budget, limit, runs),
        setting,
        decide(left, u_left, -limit, limit, U=budget.k * u_left),
        drive_line,
        speeds.metres_per_pulse,
        speeds.metres_per_pulse * speeds.u_metres_per_pulse_rel,
        *line,
        fit_probability,
        ends,
        runs,
        flips,
        (
            *_drive_line_sentences(drive_line),
            *warnings,
            *setting.warnings,
            *_setting_by_pulses(setting),
        ),
    )


def _drive_line_sentences(drive_line: DriveLine) -> list[str]:
    if not drive_line.causes:
        return []
    found, u = drive_line.difference, drive_line.u_difference
    return [
        f"The belt moves {percent(abs(found))} {'more' if found > 0 else 'less'} for a pulse than "
        f"the drive line's geometry says (± {percent(2 * u)}). "
        f"Likely: {'; or '.join(drive_line.causes)}. The laps were taken as true."
    ]


def _setting_by_pulses(setting: Setting) -> tuple[str, ...]:
    """A sentence where shown values and pulses ask for very different settings."""
    ratio = setting.by_pulses / setting.exact
    if not abs(ratio - 1) > max(0.02, 3 * setting.u_exact / setting.exact):
        return ()
    return (
        f"By the metres a pulse the setting would be {setting.by_pulses:.4g}, by the shown values "
        f"{setting.exact:.4g}: the readout does not use every pulse as its setting says "
        "(another pickup, another number of teeth, a factor of its own?). Trust the shown values.",
    )


def advice(decision: Decision, budget: Budget, limit: float, runs: Sequence[RunResult]) -> str:
    """What would settle a verdict that is not a plain pass or fail; '' for those."""
    if decision.verdict in (Verdict.PASS, Verdict.FAIL):
        return ""
    wanted = uncertainty_to_settle(decision, budget.value, -limit, limit) / budget.k
    if wanted < budget.u / MOST_TIMES:
        return (
            "The error lies so near its limit that no reasonable work would tell on which side: "
            "set the readout right instead."
        )
    parts = budget.groups()
    kinds = {name: (parts[name], power) for name, power in SHRINKS.items() if parts.get(name)}
    u_fixed = math.sqrt(sum(p**2 for name, p in parts.items() if name not in kinds))
    if wanted <= u_fixed:
        worst = max((name for name in parts if name not in kinds), key=lambda name: parts[name])
        return f"More runs cannot settle it: the {worst} is not known well enough. {MEND[worst]}"
    # Largest first; each may shrink until the sum fits, the others are left as they are.
    rest = math.sqrt(sum(p**2 for p, _ in kinds.values()))
    steps = []
    for name, (part, power) in sorted(kinds.items(), key=lambda item: -item[1][0]):
        if math.hypot(u_fixed, rest) <= wanted:
            break
        others = math.sqrt(max(rest**2 - part**2, 0.0))
        times = times_as_many(wanted, math.hypot(u_fixed, others), part, power)
        times = min(times, MOST_TIMES)
        steps.append(_step(name, times, [result.run for result in runs if result.used]))
        rest = math.hypot(others, part / times**power)
    return "To settle it: " + "; and ".join(steps) + "." if steps else ""


def _step(name: str, times: float, runs: Sequence[Run]) -> str:
    if name == "timing of laps":
        laps = [run.laps for run in runs if run.has_laps]
        more = math.ceil(min(laps) * (times - 1)) if laps else 1
        return f"time {more} more lap{'s' if more > 1 else ''} in every run"
    if name == "pulse count":
        return f"count pulses {times:.1f} times as long"
    if name == "change-overs":
        return f"ramp up and down {math.ceil(times)} times as often, and more slowly"
    more = max(1, math.ceil(len(runs) * (times - 1)))
    runs_more = f"{more} more run{'s' if more > 1 else ''}"
    if name == "reading the display":
        return f"{runs_more} at other speeds, or the change-over points of the display"
    return f"{runs_more} like these"

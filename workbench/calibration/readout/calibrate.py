"""The answer of a calibration: what the readout showed against what was true.

`steady_runs.calibrate_runs` takes runs with a shown value each, `ramp.calibrate_ramp` a
ramped run with the moments at which the display changed. Both end here, in one
`Calibration`: error at the working speed with its budget, verdict and advice, the setting,
and the drive line's metres a pulse.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum, auto

from workbench.base.machine import Machine
from workbench.base.statements import Statement
from workbench.calibration.readout.advice import advice
from workbench.calibration.readout.change_overs import ChangeOvers
from workbench.calibration.readout.drive_line_check import DriveLine, geometry_of, lap_of
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.setting import Setting, propose_setting
from workbench.calibration.readout.true_speed import TrueSpeeds, true_speeds
from workbench.calibration.statistics.budget import Budget
from workbench.calibration.statistics.decision import Decision, decide


class ResultSays(StrEnum):
    """How far an answer can be trusted beyond its uncertainty."""

    NO_RUN_AT_WORK = auto()
    NO_CHANGE_OVER_AT_WORK = auto()


@dataclass(frozen=True, slots=True)
class RunResult:
    """One run with what came of it. `used` False: left out of the fit, `note` says why."""

    run: Run
    true_mps: float
    u_true_mps: float
    error: float
    u_error: float
    used: bool = True
    note: Statement | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """The answer. `budget` is that of the error at `speed_mps`, a share of the true speed.

    `ends`: (speed, error, u) at the ends of the working speeds.
    `fit_probability` is that of the lack-of-fit test, NaN where it cannot be made.
    """

    speed_mps: float
    budget: Budget
    decision: Decision
    advice: Statement | None
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
    warnings: tuple[Statement, ...]

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
    warnings: Sequence[Statement],
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
        advice(decision, budget, limit, [result.run for result in runs if result.used]),
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
        (*drive_line.says, *warnings, *setting.warnings),
    )

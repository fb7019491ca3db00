"""Does the readout show the true belt speed? A pure function of a run table or a recording."""

from __future__ import annotations

import hashlib
import math
from dataclasses import fields, replace

from drivers.contract import Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.base.units import SPEED_UNITS_MPS, to_mps
from workbench.calibration.readout.calibrate import Calibration, RunResult
from workbench.calibration.readout.change_overs import ChangeOvers
from workbench.calibration.readout.run_table import marked_simulated
from workbench.calibration.readout.true_speed import InputSays, Part
from workbench.calibration.statistics.budget import Budget
from workbench.jobs.calibrate.answer import (
    BudgetAnswer,
    BudgetLine,
    CalibrateAnswer,
    CalibrateOptions,
    CalibrateSays,
    ChangeOver,
    ChangeOversAnswer,
    EndError,
    FittedLine,
    ReadoutAnswer,
    RunAnswer,
)
from workbench.jobs.calibrate.sources import from_recording, from_table
from workbench.jobs.job import Job


def compute(
    source: Recording | str, machine: Machine | None, options: CalibrateOptions
) -> CalibrateAnswer:
    """The answer from a run table's text or from a recording.

    Raises WrongInput where neither gives one, or where there is no machine.
    """
    if machine is None:
        raise WrongInput(
            "A calibration needs the machine file: --machine FILE, with the readout's step and "
            "setting, the drive line and the length of one lap."
        )
    if isinstance(source, str):
        found, method = from_table(source, options.table_name, machine)
        simulated = marked_simulated(source)
        name, sha256 = options.table_name, hashlib.sha256(source.encode()).hexdigest()
    else:
        found, method = from_recording(source, machine, options)
        simulated, name, sha256 = source.simulated, source.name, source.sha256
    readout = _readout(found, machine, name)
    answer = CalibrateAnswer(
        **{one.name: getattr(readout, one.name) for one in fields(readout)},
        simulated=simulated or marked_simulated(options.as_left),
        method=method,
        source_sha256=sha256,
    )
    if not options.as_left:
        return answer
    return replace(answer, as_left=_as_left(answer, machine, options))


def _as_left(found: CalibrateAnswer, machine: Machine, options: CalibrateOptions) -> ReadoutAnswer:
    """The same from the runs made with the new setting, and whether the setting did its work."""
    if found.has_new_setting:
        machine = replace(machine, readout=replace(machine.readout, setting=found.setting_new))
    table = options.as_left_name
    calibration, _ = from_table(options.as_left, table, machine)
    left = _readout(calibration, machine, table)
    expected_rel, found_rel = found.residual_error, left.error_at_work
    U_rel = math.hypot(found.U_error_at_work, left.U_error_at_work)
    if not abs(found_rel - expected_rel) > U_rel:
        return left
    odd = statement(
        CalibrateSays.AS_LEFT_NOT_AS_EXPECTED,
        table=table,
        expected_rel=expected_rel,
        found_rel=found_rel,
    )
    return replace(left, warnings=(*left.warnings, odd))


def _readout(found: Calibration, machine: Machine, source: str) -> ReadoutAnswer:
    budget, setting, line, readout = found.budget, found.setting, found.drive_line, machine.readout
    k = budget.k
    return ReadoutAnswer(
        machine=machine.name,
        source=source,
        sentence=_sentence(found),
        error_at_work=budget.value,
        u_error_at_work=budget.u,
        U_error_at_work=budget.U,
        k=k,
        dof=budget.dof,
        coverage=budget.coverage,
        speed_at_work_mps=found.speed_mps,
        readout_error_limit=machine.limits.readout_error,
        verdict=found.decision.verdict,
        conformance_probability=found.decision.conformance_probability,
        reason=found.decision.reason,
        advice=found.advice,
        unit=readout.unit,
        step=readout.step,
        setting_unit=readout.setting_unit,
        reads=readout.reads,
        setting_now=setting.now,
        setting_exact=setting.exact,
        u_setting_exact=setting.u_exact,
        U_setting_exact=k * setting.u_exact,
        setting_new=setting.new,
        setting_by_pulses=setting.by_pulses,
        residual_error=setting.residual_error,
        verdict_expected=found.new_decision.verdict,
        metres_per_pulse=found.metres_per_pulse,
        u_metres_per_pulse=found.u_metres_per_pulse,
        U_metres_per_pulse=k * found.u_metres_per_pulse,
        metres_per_pulse_runs=line.from_runs_m,
        u_metres_per_pulse_runs=line.u_from_runs_m,
        metres_per_pulse_geometry=line.from_geometry_m,
        u_metres_per_pulse_geometry=line.u_from_geometry_m,
        drive_line_difference=line.difference,
        u_drive_line_difference=line.u_difference,
        drive_line_causes=line.causes,
        fit=FittedLine(
            found.slope,
            found.u_slope,
            found.offset_mps,
            found.u_offset_mps,
            found.offset_mps == 0,
            found.fit_probability,
        ),
        error_at_ends=tuple(EndError(*end) for end in found.ends),
        budget=_budget(budget),
        runs=tuple(_run(result, readout.unit) for result in found.runs),
        warnings=found.warnings,
        change_overs=_change_overs(found.flips, readout.unit) if found.flips else None,
    )


def _sentence(found: Calibration) -> Statement:
    error, U, at_mps = found.budget.value, found.budget.U, found.speed_mps
    if abs(error) <= U:
        right = PlusMinus(error, U)
        return statement(CalibrateSays.READS_RIGHT, error_rel=right, at_mps=at_mps)
    says = CalibrateSays.SHOWS_TOO_MUCH if error > 0 else CalibrateSays.SHOWS_TOO_LITTLE
    return statement(says, error_rel=PlusMinus(abs(error), U), at_mps=at_mps)


def _budget(budget: Budget) -> BudgetAnswer:
    lines = []
    for line in budget.lines:
        assert line.source is not None
        lines.append(
            BudgetLine(
                line.quantity,
                line.estimate,
                line.unit,
                line.u,
                line.distribution,
                line.sensitivity,
                line.contribution,
                line.dof,
                line.source,
                Part(line.group),
            )
        )
    return BudgetAnswer(
        quantity=statement(InputSays.READOUT_ERROR_AT_WORK),
        value=budget.value,
        u=budget.u,
        U=budget.U,
        k=budget.k,
        dof=budget.dof,
        coverage=budget.coverage,
        method=statement(budget.method),
        note=budget.note,
        groups={Part(name): u for name, u in budget.groups().items()},
        lines=tuple(lines),
        correlation=tuple((i, j, r) for (i, j), r in budget.correlation.items()),
    )


def _run(result: RunResult, unit: str) -> RunAnswer:
    run = result.run
    return RunAnswer(
        run=run.label,
        line=run.line or None,
        shown=run.shown,
        shown_mps=to_mps(run.shown, unit),
        laps=run.laps,
        laps_time_s=run.laps_time_s,
        pulses=run.pulses,
        pulses_time_s=run.pulses_time_s,
        reference_mps=run.reference_mps,
        true_mps=result.true_mps,
        u_true_mps=result.u_true_mps,
        error=result.error,
        u_error=result.u_error,
        used=result.used,
        note=result.note,
    )


def _change_overs(flips: ChangeOvers, unit: str) -> ChangeOversAnswer:
    one_mps = SPEED_UNITS_MPS[unit]
    rows = zip(flips.flips, flips.speed_mps, flips.threshold_mps, strict=True)
    return ChangeOversAnswer(
        flips.lag_s,
        flips.u_lag_s,
        flips.hysteresis_mps,
        flips.u_hysteresis_mps,
        tuple(
            ChangeOver(
                time_s=flip.time_s,
                shown=flip.shown,
                direction="up" if flip.up else "down",
                threshold=float(threshold) / one_mps,
                true_mps=float(speed),
                error=float(threshold / speed) - 1,
            )
            for flip, speed, threshold in rows
        ),
    )


JOB = Job("calibrate", CalibrateOptions, CalibrateAnswer, compute)

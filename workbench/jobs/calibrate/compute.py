"""Does the readout show the true belt speed? A pure function of a run table or a recording."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace

from drivers.contract import Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import statement
from workbench.calibration.readout.calibrate import Calibration
from workbench.calibration.readout.run_table import marked_simulated
from workbench.jobs.calibrate.answer import CalibrateOptions, CalibrateSays
from workbench.jobs.calibrate.sources import from_recording, from_table
from workbench.jobs.job import Job


def compute(
    source: Recording | str, machine: Machine | None, options: CalibrateOptions
) -> Calibration:
    """The answer from a run table's text or from a recording.

    Raises WrongInput where neither gives one, or where there is no machine.
    """
    if machine is None:
        raise WrongInput(
            "A calibration needs the machine file: --machine FILE, with the readout's step and "
            "setting, the drive line and the length of one lap."
        )
    if isinstance(source, str):
        found = replace(
            from_table(source, options.table_name, machine),
            source_sha256=hashlib.sha256(source.encode()).hexdigest(),
            simulated=marked_simulated(source) or marked_simulated(options.as_left),
        )
    else:
        found = replace(
            from_recording(source, machine, options),
            source_sha256=source.sha256,
            simulated=source.simulated or marked_simulated(options.as_left),
        )
    if not options.as_left:
        return found
    return replace(found, as_left=_as_left(found, machine, options))


def _as_left(found: Calibration, machine: Machine, options: CalibrateOptions) -> Calibration:
    """The same from the runs made with the new setting, and whether the setting did its work."""
    if found.has_new_setting:
        machine = replace(machine, readout=replace(machine.readout, setting=found.setting_new))
    table = options.as_left_name
    left = replace(from_table(options.as_left, table, machine), method=None)
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


JOB = Job("calibrate", CalibrateOptions, Calibration, compute)

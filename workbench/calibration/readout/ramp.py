"""Calibration from a ramped run: the moments at which the display changed.

The belt's speed at each moment comes from the pulses, the metres a pulse from the marks
of the laps and the drive line's geometry, as for steady runs.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Machine
from workbench.base.statements import Statement, statement
from workbench.calibration.pulses.speed import SpeedSeries
from workbench.calibration.readout.calibrate import (
    ERROR,
    Calibration,
    EndError,
    FittedLine,
    ResultSays,
    finished,
)
from workbench.calibration.readout.change_overs import ChangeOvers, Flip, change_overs
from workbench.calibration.readout.drive_line_check import lap_of, solve_speeds
from workbench.calibration.readout.rounding import MEAN_STEPS, u_rounds_mps, way_of_rounding
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.true_speed import InputSays, TrueSpeeds, clock_line
from workbench.calibration.statistics.budget import Budget, Line, Part, checked, first_order

Floats = NDArray[np.float64]


def calibrate_ramp(
    flips: Sequence[Flip],
    rate: SpeedSeries,
    run: Run,
    machine: Machine,
    *,
    u_clock_rel: float = 0.0,
) -> Calibration:
    """Calibrate from change-overs: `rate` is the pulse rate against time, in Hz, `run` the whole
    of it, for the metres a pulse. Raises WrongInput where they cannot carry an answer."""
    # Laps and pulses were counted over one interval, so the clock is not in their ratio.
    drive_line, speeds = solve_speeds([run], lap_of(machine), machine)
    scale = speeds.metres_per_pulse
    belt = SpeedSeries(
        rate.time_s,
        rate.speed_mps * scale,
        rate.u_mps * scale,
        speeds.u_metres_per_pulse_rel,
    )
    readout = machine.readout
    above_steps = MEAN_STEPS[readout.rounds]
    found = change_overs(flips, belt, readout.step_mps, readout.unit_mps, above_steps)
    speed = machine.limits.speed_at_work_mps
    return finished(
        _budget(speeds, found, machine, u_clock_rel),
        machine,
        drive_line,
        speeds,
        fit=_line(found, speeds),
        ends=_ends(found, speeds, machine),
        warnings=[*found.warnings, *_beside_the_work(found, speed)],
        ramp=found.result(readout.unit_mps),
    )


def _budget(speeds: TrueSpeeds, found: ChangeOvers, machine: Machine, u_clock_rel: float) -> Budget:
    """The error at work: the flips' own scatter, the metres a pulse behind their speeds, and
    half a step where nobody says whether the display rounds."""
    readout, speed = machine.readout, machine.limits.speed_at_work_mps
    error, u = found.error(speed)
    step_rel, unsaid = readout.step_mps / speed, way_of_rounding(readout)
    inputs = len(speeds.inputs)
    scattered = np.isfinite(found.dof)
    own = Line(
        statement(InputSays.LINE_THROUGH_CHANGE_OVERS, count=len(found.flips)),
        0.0,
        u,
        dof=found.dof,
        source=statement(
            InputSays.FROM_SCATTER_ABOUT_LINE if scattered else InputSays.FROM_KEY_PRESSES
        ),
        group=Part.CHANGE_OVERS,
    )
    log_m = np.log(speeds.metres_per_pulse)
    offset = found.offset_mps / speed

    def model(x: Floats) -> Floats:
        # A pulse that is longer than thought makes every true speed larger by as much.
        share = np.exp(log_m - speeds.log_values(x[:inputs])[-1]) / x[inputs]
        cut = (x[-1] - MEAN_STEPS[""]) * step_rel if unsaid else 0.0
        return np.asarray(offset + (error + 1 - offset) * share - 1 + x[inputs + 1] + cut)

    lines = [*speeds.inputs, clock_line(u_clock_rel), own, *unsaid]
    return checked(first_order(model, lines, quantity=ERROR), model)


def _line(found: ChangeOvers, speeds: TrueSpeeds) -> FittedLine:
    """The metres a pulse's uncertainty is included in the slope's."""
    u_own, u_offset = np.sqrt(np.diag(found.covariance))
    u_slope = math.hypot(float(u_own), found.slope * speeds.u_metres_per_pulse_rel)
    return FittedLine(found.slope, u_slope, found.offset_mps, float(u_offset))


def _ends(found: ChangeOvers, speeds: TrueSpeeds, machine: Machine) -> tuple[EndError, ...]:
    ends, u_rounds = [], u_rounds_mps(machine.readout)
    for speed_mps in machine.limits.ends_mps:
        error, u = found.error(speed_mps)
        u = math.hypot(u, u_rounds / speed_mps)
        ends.append(EndError(speed_mps, error, math.hypot(u, speeds.u_metres_per_pulse_rel)))
    return tuple(ends)


def _beside_the_work(found: ChangeOvers, speed: float) -> list[Statement]:
    low, high = float(found.speed_mps.min()), float(found.speed_mps.max())
    if 0.9 * low <= speed <= 1.1 * high:
        return []
    return [statement(ResultSays.NO_CHANGE_OVER_AT_WORK, work_mps=speed)]

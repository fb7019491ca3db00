"""Does the readout show the true belt speed? A pure function of a run table or a recording.

A source is read once, into steady runs or into change-overs, which go down to the calibration.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drivers.contract import ChannelKind, Floats, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, as_written, statement
from workbench.calibration.prepare.measures import Topic
from workbench.calibration.readout.calibrate import Calibration
from workbench.calibration.readout.change_overs import Flip
from workbench.calibration.readout.drive_line_check import DriveLineSays
from workbench.calibration.readout.ramp import calibrate_ramp
from workbench.calibration.readout.recorded_runs import (
    Pulses,
    Window,
    other_teeth,
    pulses_of,
    runs_in,
    shown_by_readout,
    whole_run,
)
from workbench.calibration.readout.run_table import (
    marked_simulated,
    read_flips,
    read_run_table,
    read_windows,
)
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.steady_runs import calibrate_runs
from workbench.jobs.calibrate.answer import CalibrateOptions, CalibrateSays
from workbench.jobs.channels import on_its_clock, pick_mark, pick_pickup
from workbench.jobs.job import Job
from workbench.jobs.noise import spoilt_by
from workbench.jobs.prepare.answer import AtHandSays

SHOWN_QUANTITY = "readout_shown"


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
    if isinstance(source, Recording):
        read = _of_recording(source, machine, options)
        sha256, simulated = source.sha256, source.simulated
    else:
        table = read_run_table(source, options.table_name, machine)
        how = CalibrateSays.BY_STEADY_RUNS
        read = _Read(options.table_name, how, table.warnings, table.runs)
        sha256 = hashlib.sha256(source.encode()).hexdigest()
        simulated = marked_simulated(source)
    pulses, u_clock_rel = read.pulses, 0.0 if read.pulses is None else read.pulses.u_clock_rel
    if pulses is not None and read.flips:
        rate, (run,) = pulses.series, read.runs
        found = calibrate_ramp(read.flips, rate, run, machine, u_clock_rel=u_clock_rel)
    else:
        found = calibrate_runs(read.runs, machine, u_clock_rel=u_clock_rel)
    ways = _ways_typed(read.runs, found) if pulses is None else _ways_recorded(pulses)
    found = replace(
        found,
        source=read.source,
        method=statement(read.how, ways=tuple(map(statement, ways))),
        warnings=(*read.warnings, *found.warnings, *_prepared(options, found, machine)),
        source_sha256=sha256,
        simulated=simulated or marked_simulated(options.as_left),
    )
    if not options.as_left:
        return found
    return replace(found, as_left=_as_left(found, machine, options))


_OFF = (DriveLineSays.MOVES_LESS, DriveLineSays.MOVES_MORE)


def _prepared(
    options: CalibrateOptions, found: Calibration, machine: Machine
) -> Iterator[Statement]:
    """What was found at the belt before, where it bears on what its pulses tell."""
    before = options.prepared
    if before is None:
        return
    if before.slack_belt and machine.drive.kind == "roll":
        yield statement(AtHandSays.BELT_MAY_SLIP, result=before.result, on=before.on)
    elif Topic.BELT in before.unmeasured and any(one.what in _OFF for one in found.warnings):
        yield statement(AtHandSays.NOT_MEASURED_BEFORE, topic=statement(Topic.BELT))


def _as_left(found: Calibration, machine: Machine, options: CalibrateOptions) -> Calibration:
    """The same from the runs made with the new setting, and whether the setting did its work."""
    if found.has_new_setting:
        machine = replace(machine, readout=replace(machine.readout, setting=found.setting_new))
    table = options.as_left_name
    left = compute(options.as_left, machine, CalibrateOptions(table_name=table))
    left = replace(left, method=None, source_sha256=None, simulated=False)
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


@dataclass(frozen=True, slots=True, eq=False)
class _Read:
    """What was read of a source: steady runs, or change-overs and the whole as one run; of a
    recording its pulses too."""

    source: str
    how: CalibrateSays
    warnings: tuple[Statement, ...]
    runs: Sequence[Run] = ()
    flips: Sequence[Flip] = ()
    pulses: Pulses | None = None


def _of_recording(recording: Recording, machine: Machine, options: CalibrateOptions) -> _Read:
    recording, of_clock = on_its_clock(recording, machine)
    name, warnings = recording.name, list(of_clock)
    time_s, shown = _display(recording)
    track = pick_pickup(recording, options.channel)
    # 'lap' is what an option that was not given stands for in results of earlier programs.
    named = None if options.lap_channel == "lap" else options.lap_channel
    marks = pick_mark(recording, named, (ChannelKind.LAP_MARK,))
    lap_s = marks.time_s if marks is not None and marks is not track else np.empty(0)
    pulses = pulses_of(track.time_s, lap_s, machine, track.u_clock_rel)
    spoilt = spoilt_by(track, pulses.edges)
    if spoilt is not None:
        raise WrongInput(
            "{recording}: no calibration can be told from channel '{channel}'. {reason}",
            recording=recording.name,
            channel=track.channel,
            reason=spoilt,
        )
    windows, flips = list[Window](), list[Flip]()
    if options.flips:
        how = CalibrateSays.BY_CHANGE_OVERS_PRESSED
        flips = read_flips(options.flips, options.flips_name, warnings)
    elif options.shown:
        how = CalibrateSays.BY_STEADY_RUNS
        windows = read_windows(options.shown, options.shown_name, warnings)
    else:
        windows, flips = shown_by_readout(name, time_s, shown, pulses, machine.readout.step)
        how = CalibrateSays.BY_STEADY_RUNS_RECORDED
        if flips:
            how = CalibrateSays.BY_CHANGE_OVERS_RECORDED
    runs = [whole_run(pulses, warnings)] if flips else runs_in(windows, pulses, warnings)
    warnings = [
        *map(as_written, recording.warnings),
        *_other_machine(options.recorded_machine, machine.name),
        *other_teeth(pulses),
        *warnings,
    ]
    return _Read(name, how, tuple(warnings), runs, flips, pulses)


def _display(recording: Recording) -> tuple[Floats, Floats]:
    """What the readout showed and when, (n,) each; empty where the recording does not tell."""
    for (_source, quantity), track in recording.values.items():
        if quantity == SHOWN_QUANTITY:
            valid = np.isfinite(track.value)
            return track.time_s[valid], track.value[valid]
    return np.empty(0), np.empty(0)


def _ways_typed(runs: Sequence[Run], found: Calibration) -> list[CalibrateSays]:
    """How the belt's speed was found in the runs of a table, those that were not left out."""
    by_hand = {run.label for run in runs if run.by_hand}
    lapped = {run.run for run in found.runs if math.isfinite(run.laps)}
    ways = {
        CalibrateSays.LAPS_BY_HAND: lapped & by_hand,
        CalibrateSays.LAPS_BY_LAP_PICKUP: lapped - by_hand,
        CalibrateSays.BY_INSTRUMENT: any(math.isfinite(run.reference_mps) for run in found.runs),
        CalibrateSays.PULSES_COUNTED: any(math.isfinite(run.pulses) for run in found.runs),
    }
    return [way for way, is_used in ways.items() if is_used]


def _ways_recorded(pulses: Pulses) -> list[CalibrateSays]:
    laps = [CalibrateSays.LAPS_BY_MARK_RECORDED] if pulses.lap_s.size else []
    return [*laps, CalibrateSays.PULSES_TIMED]


def _other_machine(recorded: str, ours: str) -> list[Statement]:
    if not recorded or recorded == ours:
        return []
    says = CalibrateSays.OTHER_MACHINE_RECORDED
    return [statement(says, recorded=recorded, machine=ours)]


JOB = Job("calibrate", CalibrateOptions, Calibration, compute)

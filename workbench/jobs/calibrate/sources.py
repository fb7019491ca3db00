"""From a run table or a recording to a calibration."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from drivers.contract import ChannelKind, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, as_written, statement
from workbench.calibration.pulses.target_wheel import teeth_seen
from workbench.calibration.readout.calibrate import Calibration
from workbench.calibration.readout.change_overs import flips_of
from workbench.calibration.readout.ramp import calibrate_ramp
from workbench.calibration.readout.recorded_runs import (
    Pulses,
    Window,
    pulses_of,
    run_in_window,
    steady_stretches,
)
from workbench.calibration.readout.run_table import read_run_table
from workbench.calibration.readout.steady_runs import calibrate_runs
from workbench.calibration.typed_rows import RowSays
from workbench.jobs.calibrate.answer import CalibrateOptions, CalibrateSays
from workbench.jobs.calibrate.tables import (
    FLIP_COLUMNS,
    SHOWN_COLUMNS,
    read_flips,
    read_windows,
)
from workbench.jobs.channels import pick_mark, pick_pickup

SHOWN_QUANTITY = "readout_shown"

STEADY_SHARE = 0.5
"""Share of a recording in steady stretches from which it counts as steady runs, not a ramp."""


def from_table(text: str, name: str, machine: Machine) -> Calibration:
    """Calibrate from a run table. Raises WrongInput."""
    table = read_run_table(text, name, machine)
    found = calibrate_runs(table.runs, machine)
    by_hand = {run.label for run in table.runs if run.by_hand}
    lapped = {run.run for run in found.runs if math.isfinite(run.laps)}
    ways = [
        (CalibrateSays.LAPS_BY_HAND, lapped & by_hand),
        (CalibrateSays.LAPS_BY_LAP_PICKUP, lapped - by_hand),
        (CalibrateSays.BY_INSTRUMENT, any(math.isfinite(run.reference_mps) for run in found.runs)),
        (CalibrateSays.PULSES_COUNTED, any(math.isfinite(run.pulses) for run in found.runs)),
    ]
    return replace(
        found,
        source=name,
        method=_method(CalibrateSays.BY_STEADY_RUNS, [way for way, is_used in ways if is_used]),
        warnings=(*table.warnings, *found.warnings),
    )


def _method(how: CalibrateSays, ways: Iterable[CalibrateSays]) -> Statement:
    return statement(how, ways=tuple(map(statement, ways)))


def from_recording(
    recording: Recording, machine: Machine, options: CalibrateOptions
) -> Calibration:
    """Calibrate from a recording. Raises WrongInput."""
    track = pick_pickup(recording, options.channel)
    # 'lap' is what an option that was not given stands for in results of earlier programs.
    named = None if options.lap_channel == "lap" else options.lap_channel
    marks = pick_mark(recording, named, (ChannelKind.LAP_MARK,))
    lap_s = marks.time_s if marks is not None and marks is not track else np.empty(0)
    pulses = pulses_of(track.time_s, lap_s, machine)
    warnings = [
        *map(as_written, recording.warnings),
        *_another_machine(pulses, machine, options.recorded_machine),
    ]
    if options.flips:
        flips = read_flips(options.flips, options.flips_name, warnings)
        found = calibrate_ramp(flips, pulses, machine, u_clock_rel=track.u_clock_rel)
        how = CalibrateSays.BY_CHANGE_OVERS_PRESSED
    elif options.shown:
        windows = read_windows(options.shown, options.shown_name, warnings)
        found = _steady(windows, pulses, machine, track.u_clock_rel, options.shown_name, warnings)
        how = CalibrateSays.BY_STEADY_RUNS
    else:
        found, how = _by_its_own_readout(recording, pulses, machine, track.u_clock_rel, warnings)
    laps = [CalibrateSays.LAPS_BY_MARK_RECORDED] if lap_s.size else []
    return replace(
        found,
        source=recording.name,
        method=_method(how, [*laps, CalibrateSays.PULSES_TIMED]),
        warnings=(*warnings, *found.warnings),
    )


def _another_machine(pulses: Pulses, machine: Machine, recorded: str) -> list[Statement]:
    told = []
    if recorded and recorded != machine.name:
        says = CalibrateSays.OTHER_MACHINE_RECORDED
        told.append(statement(says, recorded=recorded, machine=machine.name))
    seen, typed = teeth_seen(pulses.edges), machine.drive.target_teeth
    if seen.teeth and seen.contradicts(typed):
        told.append(statement(CalibrateSays.OTHER_TEETH_RECORDED, seen=seen.teeth, typed=typed))
    return told


def _by_its_own_readout(
    recording: Recording,
    pulses: Pulses,
    machine: Machine,
    u_clock_rel: float,
    warnings: list[Statement],
) -> tuple[Calibration, CalibrateSays]:
    """From the display's values in the recording; steady stretches or change-overs."""
    track = next((t for (_, what), t in recording.values.items() if what == SHOWN_QUANTITY), None)
    windows = steady_stretches(pulses.series)
    if track is None:
        raise _nothing_shown(recording.name, windows)
    valid = np.isfinite(track.value)
    time_s, shown = track.time_s[valid], track.value[valid]
    span_s = float(np.ptp(pulses.series.time_s)) if pulses.series.time_s.size else 0.0
    steady_s = sum(window.to_s - window.from_s for window in windows)
    flips = flips_of(time_s, shown, machine.readout.step)
    ramped = len({flip.shown for flip in flips}) > 2
    if ramped and steady_s < STEADY_SHARE * span_s:
        found = calibrate_ramp(flips, pulses, machine, u_clock_rel=u_clock_rel)
        return found, CalibrateSays.BY_CHANGE_OVERS_RECORDED
    filled = []
    for window in windows:
        inside = (time_s >= window.from_s) & (time_s <= window.to_s)
        if inside.any():
            filled.append(replace(window, shown=float(shown[inside].mean())))
    if not filled:
        raise WrongInput(
            "{recording} holds neither a stretch of 10 s in which the belt ran steadily to 1 % "
            "nor a slow ramp over several digits of the display.",
            recording=recording.name,
        )
    found = _steady(filled, pulses, machine, u_clock_rel, recording.name, warnings)
    return found, CalibrateSays.BY_STEADY_RUNS_RECORDED


def _nothing_shown(recording: str, windows: list[Window]) -> WrongInput:
    stretches = tuple(window.says for window in windows)
    held = CalibrateSays.STEADY_STRETCHES if windows else CalibrateSays.NO_STEADY_STRETCH
    return WrongInput(
        "{recording} does not say what the readout showed: give --shown FILE (a table {shown}) "
        "for steady runs, or --flips FILE (a table {flips}) for a slow ramp. {held}",
        recording=recording,
        shown=",".join(SHOWN_COLUMNS),
        flips=",".join(FLIP_COLUMNS),
        held=statement(held, stretches=stretches),
    )


def _steady(
    windows: list[Window],
    pulses: Pulses,
    machine: Machine,
    u_clock_rel: float,
    written_in: str,
    warnings: list[Statement],
) -> Calibration:
    runs = []
    for count, window in enumerate(windows, 1):
        place: Statement | str = written_in
        if window.line:
            place = statement(RowSays.IN_TABLE, table=written_in, line=window.line)
        run = run_in_window(pulses, window, str(count), warnings, place)
        if run is not None:
            runs.append(run)
    if not runs:
        why = tuple(warnings[-3:])
        raise WrongInput("No run of the recording can be used. {why:then}", why=why)
    return calibrate_runs(runs, machine, u_clock_rel=u_clock_rel)

"""Does the readout show the true belt speed? A pure function of a run table or a recording."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from drivers.contract import ChannelKind, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, as_written, statement
from workbench.calibration.pulses.target_wheel import teeth_seen
from workbench.calibration.readout.calibrate import Calibration
from workbench.calibration.readout.change_overs import Flip, flips_of
from workbench.calibration.readout.ramp import calibrate_ramp
from workbench.calibration.readout.recorded_runs import (
    Pulses,
    Window,
    pulses_of,
    run_in_window,
    steady_stretches,
)
from workbench.calibration.readout.run_table import marked_simulated, read_run_table
from workbench.calibration.readout.steady_runs import calibrate_runs
from workbench.calibration.typed_rows import RowSays, at, no_number, number, read_rows
from workbench.jobs.calibrate.answer import CalibrateOptions, CalibrateSays, TableSays
from workbench.jobs.channels import pick_mark, pick_pickup
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


SHOWN_COLUMNS = ("from_s", "to_s", "shown")
FLIP_COLUMNS = ("time_s", "shown", "direction")


def read_windows(text: str, name: str, warnings: list[Statement]) -> list[Window]:
    """Steady stretches and what the readout showed in them; what is wrong goes to `warnings`.

    Raises WrongInput where no line holds one.
    """
    windows = []
    for line, (from_s, to_s, shown), _cells in _lines(text, name, SHOWN_COLUMNS, 3, warnings):
        if to_s - from_s > 0 and shown > 0:
            windows.append(Window(from_s, to_s, shown, line))
        else:
            warnings.append(at(name, line, statement(TableSays.STRETCH_WRONG)))
    if not windows:
        raise WrongInput(
            "{table}: no line holds a stretch and what was shown in it. {why:then}",
            table=name,
            why=tuple(warnings[-2:]),
        )
    return windows


def read_flips(text: str, name: str, warnings: list[Statement]) -> list[Flip]:
    """Moments at which the display changed; what is wrong goes to `warnings`.

    Raises WrongInput where no line holds one.
    """
    flips = []
    for line, (time_s, shown), cells in _lines(text, name, FLIP_COLUMNS, 2, warnings):
        way = cells.get("direction", "").lower()
        if way not in ("up", "down"):
            wrong = statement(TableSays.DIRECTION_WRONG, cell=way)
            warnings.append(at(name, line, wrong, "direction"))
        elif not shown > 0 or math.isnan(time_s):
            warnings.append(at(name, line, statement(TableSays.FLIP_WRONG)))
        else:
            flips.append(Flip(time_s, shown, way == "up", line))
    if not flips:
        raise WrongInput(
            "{table}: no line holds a flip of the display. {why:then}",
            table=name,
            why=tuple(warnings[-2:]),
        )
    return flips


def _lines(
    text: str, name: str, columns: Sequence[str], numbers: int, warnings: list[Statement]
) -> Iterator[tuple[int, list[float], dict[str, str]]]:
    """(line, the numbers in its first columns, its cells) of those in which they are numbers."""
    rows, _header, odd = read_rows(text, name, needed=columns, known=columns)
    warnings += odd
    for line, cells in rows:
        try:
            values = [number(cells.get(column := one, "")) for one in columns[:numbers]]
        except ValueError:
            wrong = no_number(cells.get(column, ""), statement(TableSays.LINE_LEFT_OUT))
            warnings.append(at(name, line, wrong, column))
        else:
            yield line, values, cells

"""From a run table or a recording to a calibration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from drivers.contract import ChannelKind, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
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
    windows_without_shown,
)
from workbench.calibration.readout.runs import number, read_rows, read_run_table
from workbench.calibration.readout.steady_runs import calibrate_runs
from workbench.jobs.channels import pick_mark, pick_pickup

SHOWN_COLUMNS = ("from_s", "to_s", "shown")
FLIP_COLUMNS = ("time_s", "shown", "direction")
SHOWN_QUANTITY = "readout_shown"

STEADY_SHARE = 0.5
"""Share of a recording in steady stretches from which it counts as steady runs, not a ramp."""


def from_table(text: str, name: str, machine: Machine) -> Calibration:
    """Calibrate from a run table. Raises WrongInput."""
    table = read_run_table(text, name, machine)
    found = calibrate_runs(table.runs, machine)
    return replace(found, warnings=(*table.warnings, *found.warnings))


def from_recording(
    recording: Recording, machine: Machine, options: Mapping[str, Any]
) -> tuple[Calibration, str]:
    """Calibrate from a recording; the method in words beside it. Raises WrongInput."""
    track = pick_pickup(recording, options["channel"])
    named = options["lap_channel"]
    if named == "lap":  # what an option that was not given stood for in stored results
        named = None
    marks = pick_mark(recording, named, (ChannelKind.LAP_MARK,))
    lap_s = marks.time_s if marks is not None and marks is not track else np.empty(0)
    pulses = pulses_of(track.time_s, lap_s, machine)
    warnings = [*recording.warnings, *_another_machine(pulses, machine, options)]
    by = "laps by the mark on the belt and " if lap_s.size else ""
    if options["flips"]:
        flips = _flips(options["flips"], options["flips_name"], machine, warnings)
        found = calibrate_ramp(flips, pulses, machine, u_clock_rel=track.u_clock_rel)
        method = f"change-over points by key, {by}pulses timed one by one"
    elif options["shown"]:
        windows = _windows(options["shown"], options["shown_name"], warnings)
        found = _steady(windows, pulses, machine, track.u_clock_rel, options, warnings)
        method = f"steady runs, {by}pulses timed one by one"
    else:
        found, how = _by_its_own_readout(recording, pulses, machine, track.u_clock_rel, warnings)
        method = f"{how}, readout recorded, {by}pulses timed one by one"
    return replace(found, warnings=(*warnings, *found.warnings)), method


def _another_machine(pulses: Pulses, machine: Machine, options: Mapping[str, Any]) -> list[str]:
    sentences = []
    recorded = options.get("recorded_machine") or machine.name
    if recorded != machine.name:
        sentences.append(
            f"The recording was made of '{recorded}', the machine file is that of "
            f"'{machine.name}': is this the right recording?"
        )
    seen, typed = teeth_seen(pulses.edges), machine.drive.target_teeth
    if seen.teeth and seen.contradicts(typed):
        sentences.append(
            f"The signal repeats after {seen.teeth} teeth, but the machine file says {typed} "
            "(drive.target_teeth): count the teeth. Is it a recording of another machine?"
        )
    return sentences


def _by_its_own_readout(
    recording: Recording,
    pulses: Pulses,
    machine: Machine,
    u_clock_rel: float,
    warnings: list[str],
) -> tuple[Calibration, str]:
    """From the display's values in the recording; steady stretches or change-overs."""
    track = next((t for (_, what), t in recording.values.items() if what == SHOWN_QUANTITY), None)
    windows = steady_stretches(pulses.series)
    if track is None:
        where = windows_without_shown(windows)
        steady = f" Steady stretches: {where}." if where else " It holds no steady stretch."
        raise WrongInput(
            f"{recording.name} does not say what the readout showed: give --shown FILE (a table "
            f"{','.join(SHOWN_COLUMNS)}) for steady runs, or --flips FILE (a table "
            f"{','.join(FLIP_COLUMNS)}) for a slow ramp.{steady}"
        )
    valid = np.isfinite(track.value)
    time_s, shown = track.time_s[valid], track.value[valid]
    span_s = float(np.ptp(pulses.series.time_s)) if pulses.series.time_s.size else 0.0
    steady_s = sum(window.to_s - window.from_s for window in windows)
    flips = flips_of(time_s, shown, machine.readout.step)
    ramped = len({flip.shown for flip in flips}) > 2
    if ramped and steady_s < STEADY_SHARE * span_s:
        found = calibrate_ramp(flips, pulses, machine, u_clock_rel=u_clock_rel)
        return found, "change-over points"
    filled = []
    for window in windows:
        inside = (time_s >= window.from_s) & (time_s <= window.to_s)
        if inside.any():
            filled.append(replace(window, shown=float(shown[inside].mean())))
    if not filled:
        raise WrongInput(
            f"{recording.name} holds neither a stretch of 10 s in which the belt ran steadily to "
            "1 % nor a slow ramp over several digits of the display."
        )
    names = {"shown_name": recording.name}
    return _steady(filled, pulses, machine, u_clock_rel, names, warnings), "steady runs"


def _steady(
    windows: list[Window],
    pulses: Pulses,
    machine: Machine,
    u_clock_rel: float,
    options: Mapping[str, Any],
    warnings: list[str],
) -> Calibration:
    runs = []
    for count, window in enumerate(windows, 1):
        place = options["shown_name"] + (f", line {window.line}" if window.line else "")
        run = run_in_window(pulses, window, str(count), warnings, place)
        if run is not None:
            runs.append(run)
    if not runs:
        raise WrongInput("No run of the recording can be used. " + " ".join(warnings[-3:]))
    return calibrate_runs(runs, machine, u_clock_rel=u_clock_rel)


def _windows(text: str, name: str, warnings: list[str]) -> list[Window]:
    rows, _, sentences = read_rows(text, name, needed=SHOWN_COLUMNS, known=SHOWN_COLUMNS)
    warnings += sentences
    windows = []
    for line, cells in rows:
        try:
            from_s, to_s, shown = (number(cells.get(column, "")) for column in SHOWN_COLUMNS)
        except ValueError as error:
            warnings.append(f"{name}, line {line}: {error}; expected three numbers; left out.")
            continue
        if not to_s - from_s > 0 or not shown > 0:
            warnings.append(
                f"{name}, line {line}: from_s must be before to_s and shown above 0; left out."
            )
            continue
        windows.append(Window(from_s, to_s, shown, line))
    if not windows:
        raise WrongInput(f"{name}: no line holds a stretch and what was shown in it.")
    return windows


def _flips(text: str, name: str, machine: Machine, warnings: list[str]) -> list[Flip]:
    rows, _, sentences = read_rows(text, name, needed=FLIP_COLUMNS, known=FLIP_COLUMNS)
    warnings += sentences
    flips = []
    for line, cells in rows:
        try:
            time_s, shown = number(cells.get("time_s", "")), number(cells.get("shown", ""))
        except ValueError as error:
            warnings.append(f"{name}, line {line}: {error}; expected a number; left out.")
            continue
        way = cells.get("direction", "").lower()
        if way not in ("up", "down"):
            warnings.append(f"{name}, line {line}: direction is '{way}'; expected up or down.")
        elif not (shown > 0 and time_s == time_s):
            warnings.append(f"{name}, line {line}: a time and a shown value above 0 are needed.")
        else:
            flips.append(Flip(time_s, shown, way == "up", line))
    if not flips:
        raise WrongInput(f"{name}: no line holds a flip of the display. {' '.join(warnings[-2:])}")
    return flips

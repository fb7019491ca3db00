"""Metres a pulse as the runs show it, against the drive line's geometry.

A run with both laps and pulses says how far the belt really moves for a pulse. One run
that differs from the others has a wrong count; all runs together differing from the
geometry means slip, wear, mud, or a number in the machine file that is not what turns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Drive, Machine
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.true_speed import Known, TrueSpeeds, most_wear_rel, true_speeds

Floats = NDArray[np.float64]

ROD_FIT_U_REL = 2e-4
"""How well rods sit one for one on their sprocket, from lap to lap; chosen."""


class DriveLineSays(StrEnum):
    """Why laps and pulses differ from the geometry, and runs in which they do not fit."""

    COUNTS_TWICE = auto()
    COUNTS_HALF = auto()
    OTHER_TARGET_TEETH = auto()
    OTHER_SPROCKET_TEETH = auto()
    TURNED_OVER = auto()
    ON_DRIVE_SHAFT = auto()
    RODS_JUMP = auto()
    SLIPS = auto()
    PITCH_LONGER = auto()
    ROLL_THICKER = auto()
    MOVES_MORE = auto()
    MOVES_LESS = auto()
    LAPS_MISCOUNTED = auto()
    LAPS_DO_NOT_FIT = auto()
    LAPS_FIT_NOWHERE = auto()


@dataclass(frozen=True, slots=True)
class DriveLine:
    """Both values with their standard uncertainties; those of the runs NaN where none has
    laps and pulses. `difference` is runs ÷ geometry − 1; `causes` names it, most likely
    first, where it exceeds its expanded uncertainty (k = 2).
    """

    from_runs_m: float
    u_from_runs_m: float
    from_geometry_m: float
    u_from_geometry_m: float
    difference: float = math.nan
    u_difference: float = math.nan
    causes: tuple[Statement, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether the geometry may be trusted: nothing speaks against it."""
        return not abs(self.difference) > 2 * self.u_difference

    @property
    def says(self) -> tuple[Statement, ...]:
        """What is to be said of a difference."""
        if not self.causes:
            return ()
        says = DriveLineSays.MOVES_MORE if self.difference > 0 else DriveLineSays.MOVES_LESS
        difference = PlusMinus(abs(self.difference), 2 * self.u_difference)
        return (statement(says, difference_rel=difference, causes=self.causes),)


def lap_of(machine: Machine) -> Known | None:
    """The length of one lap, None where it was not measured."""
    belt = machine.belt
    if math.isnan(belt.lap_length_m):
        return None
    return Known(belt.lap_length_m, belt.u_lap_length_m)


def geometry_of(machine: Machine, lap: Known | None) -> Known:
    """Metres a pulse by the drive line.

    A lap that is a whole number of the entered pitches was not taped but counted in rods:
    the pitch's error is then in both, and neither can bear the other out.
    """
    found, drive = metres_per_pulse(machine), machine.drive
    of_lap = False
    if lap is not None and drive.kind == "sprocket":
        rods = lap.value_m / drive.rod_pitch_m
        of_lap = rods > 1.5 and abs(rods - round(rods)) < 1e-6 * rods
    return Known(found.value_m, found.u_m, of_lap)


def solve_speeds(
    runs: Sequence[Run], lap: Known | None, machine: Machine, *, u_clock_rel: float = 0.0
) -> tuple[DriveLine, TrueSpeeds]:
    """The drive line as the runs bear it out, and the true speeds.

    The geometry counts only where the runs do not speak against it, and where they cannot, it
    allows for wear: the readout hangs on the same pulses.
    """
    geometry, drive = geometry_of(machine, lap), machine.drive
    drive_line = check_drive_line(runs, lap, geometry, drive, u_clock_rel=u_clock_rel)
    borne_out = any((run.has_laps and lap is not None) or run.has_reference for run in runs)
    return drive_line, true_speeds(
        runs,
        lap,
        geometry if drive_line.agrees else None,
        u_clock_rel=u_clock_rel,
        slip=drive.kind == "roll",
        wear_rel=0.0 if borne_out else most_wear_rel(drive),
    )


def check_drive_line(
    runs: Sequence[Run],
    lap: Known | None,
    geometry: Known,
    drive: Drive,
    *,
    u_clock_rel: float = 0.0,
) -> DriveLine:
    """Compare what the runs show with the drive line's geometry."""
    both = [run for run in runs if run.has_laps and run.has_pulses]
    if lap is None or not both:
        return DriveLine(math.nan, math.nan, geometry.value_m, geometry.u_m)
    found = true_speeds(both, lap, None, u_clock_rel=u_clock_rel)
    ratio = found.metres_per_pulse / geometry.value_m
    u_rel = math.hypot(found.u_metres_per_pulse_rel, geometry.u_m / geometry.value_m)
    if geometry.of_lap:
        # The pitch cancels: only the timing is left, and a trace of it is never exact.
        u_lap_rel = lap.u_m / lap.value_m
        u_rel = math.hypot(
            math.sqrt(max(found.u_metres_per_pulse_rel**2 - u_lap_rel**2, 0.0)), ROD_FIT_U_REL
        )
    causes: tuple[Statement, ...] = ()
    if abs(ratio - 1) > 2 * u_rel:
        causes = name_difference(ratio, u_rel, drive)
    return DriveLine(
        found.metres_per_pulse,
        found.metres_per_pulse * found.u_metres_per_pulse_rel,
        geometry.value_m,
        geometry.u_m,
        ratio - 1,
        u_rel * ratio,
        causes,
    )


def name_difference(ratio: float, u_rel: float, drive: Drive) -> tuple[Statement, ...]:
    """Likely causes of runs ÷ geometry = `ratio`, whole-number ones first.

    A ratio of tooth counts is named only where it lies within 2 u and its neighbours do
    not, and only beyond 1 %: a smaller difference is wear or slip, not a tooth.
    """
    exact = [
        (abs(math.log(ratio / value)), place, cause)
        for place, (value, cause) in enumerate(_whole_number_causes(drive))
        if abs(math.log(ratio / value)) <= 2 * u_rel and abs(value - 1) > max(0.01, 3 * u_rel)
    ]
    causes = [cause for _, _, cause in sorted(exact, key=lambda one: one[:2])]
    return (*causes[:3], _gradual_cause(ratio, drive))


def _whole_number_causes(drive: Drive) -> list[tuple[float, Statement]]:
    teeth, turns = drive.target_teeth, drive.turns_per_target_turn
    causes = [
        (0.5, statement(DriveLineSays.COUNTS_TWICE)),
        (2.0, statement(DriveLineSays.COUNTS_HALF)),
    ]
    causes += [
        (teeth / n, statement(DriveLineSays.OTHER_TARGET_TEETH, teeth=n, typed=teeth))
        for n in range(max(1, teeth - 4), teeth + 5)
        if n != teeth
    ]
    if drive.kind == "sprocket":
        own = drive.sprocket_teeth
        causes += [
            (n / own, statement(DriveLineSays.OTHER_SPROCKET_TEETH, teeth=n, typed=own))
            for n in range(max(3, own - 3), own + 4)
            if n != own
        ]
    if turns != 1:
        causes.append((1 / turns**2, statement(DriveLineSays.TURNED_OVER)))
        causes.append((1 / turns, statement(DriveLineSays.ON_DRIVE_SHAFT)))
    return causes


def _gradual_cause(ratio: float, drive: Drive) -> Statement:
    share_rel = abs(ratio - 1)
    if drive.kind == "sprocket":
        says = DriveLineSays.RODS_JUMP if ratio < 1 else DriveLineSays.PITCH_LONGER
        return statement(says, share_rel=share_rel)
    if ratio < 1:
        worn_m = share_rel * drive.roll_diameter_m
        return statement(DriveLineSays.SLIPS, share_rel=share_rel, worn_m=worn_m)
    return statement(DriveLineSays.ROLL_THICKER, thicker_m=share_rel * drive.roll_diameter_m / 2)


def mend_counts(
    runs: Sequence[Run], lap: Known | None, machine: Machine
) -> tuple[list[Run], list[Statement]]:
    """Runs whose laps do not fit their pulses lose what is wrong, with a statement each.

    The metres a pulse of one run is compared with the median of all; with fewer than
    three, with the geometry, and then only where another run bears the geometry out.
    """
    both = [run for run in runs if run.has_laps and run.has_pulses]
    if lap is None or len(both) < 2:
        return list(runs), []
    log_m = np.array([_log_metres_per_pulse(run, lap) for run in both])
    u = np.array([_u_log_metres_per_pulse(run) for run in both])
    centre = float(np.median(log_m))
    if len(both) == 2:
        geometry = math.log(metres_per_pulse(machine).value_m)
        centre = float(log_m[np.argmin(np.abs(log_m - geometry))])
        if np.min(np.abs(log_m - geometry)) > 0.01:
            centre = float(np.mean(log_m))
    room = np.hypot(u, float(np.median(u)))
    kept, told = list(runs), []
    for run, away, limit in zip(both, log_m - centre, 4 * room, strict=True):
        if abs(away) <= limit:
            continue
        kept[kept.index(run)] = run.without_laps()
        told.append(_misfit(run, math.exp(-away), math.exp(limit) - 1))
    if 2 * len(told) > len(both):
        scatter_rel = math.exp(float(np.ptp(log_m))) - 1
        return list(runs), [statement(DriveLineSays.LAPS_FIT_NOWHERE, scatter_rel=scatter_rel)]
    return kept, told


def _misfit(run: Run, ratio: float, room: float) -> Statement:
    laps = run.laps * ratio
    near = round(laps)
    miscounted = near != run.laps and near > 0 and abs(laps - near) <= max(0.1, laps * room)
    return statement(
        DriveLineSays.LAPS_MISCOUNTED if miscounted else DriveLineSays.LAPS_DO_NOT_FIT,
        run=run.place,
        laps=run.laps,
        pulses=run.pulses,
        laps_by_pulses=laps,
    )


def _log_metres_per_pulse(run: Run, lap: Known) -> float:
    return math.log(run.laps * lap.value_m / run.laps_time_s) - math.log(
        run.pulses / run.pulses_time_s
    )


def _u_log_metres_per_pulse(run: Run) -> float:
    u_count = run.u_pulses / run.pulses
    if run.one_interval:
        return u_count
    gate = run.u_pulses_time_s / run.pulses_time_s
    return math.hypot(run.u_laps_time_s / run.laps_time_s, gate, u_count)

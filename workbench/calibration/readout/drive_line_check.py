"""Metres a pulse as the runs show it, against the drive line's geometry.

A run with both laps and pulses says how far the belt really moves for a pulse. One run
that differs from the others has a wrong count; all runs together differing from the
geometry means slip, wear, mud, or a number in the machine file that is not what turns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Drive, Machine
from workbench.base.units import percent
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.true_speed import Known, true_speeds

Floats = NDArray[np.float64]

ROD_FIT_U_REL = 2e-4
"""How well rods sit one for one on their sprocket, from lap to lap; chosen."""


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
    causes: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether the geometry may be trusted: nothing speaks against it."""
        return not abs(self.difference) > 2 * self.u_difference


def lap_of(machine: Machine) -> Known | None:
    """The length of one lap, None where it was not measured."""
    belt = machine.belt
    if math.isnan(belt.lap_length_m):
        return None
    return Known(belt.lap_length_m, belt.u_lap_length_m, "measured once, same in every run")


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
    return Known(found.value_m, found.u_m, "drive line's geometry", of_lap)


def check_drive_line(
    runs: Sequence[Run], lap: Known | None, machine: Machine, u_clock_rel: float = 0.0
) -> DriveLine:
    """Compare what the runs show with the drive line's geometry."""
    geometry = geometry_of(machine, lap)
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
    causes: tuple[str, ...] = ()
    if abs(ratio - 1) > 2 * u_rel:
        causes = name_difference(ratio, u_rel, machine.drive)
    return DriveLine(
        found.metres_per_pulse,
        found.metres_per_pulse * found.u_metres_per_pulse_rel,
        geometry.value_m,
        geometry.u_m,
        ratio - 1,
        u_rel * ratio,
        causes,
    )


def name_difference(ratio: float, u_rel: float, drive: Drive) -> tuple[str, ...]:
    """Likely causes of runs ÷ geometry = `ratio`, whole-number ones first.

    A ratio of tooth counts is named only where it lies within 2 u and its neighbours do
    not, and only beyond 1 %: a smaller difference is wear or slip, not a tooth.
    """
    exact = [
        (abs(math.log(ratio / value)), text)
        for value, text in _whole_number_causes(drive)
        if abs(math.log(ratio / value)) <= 2 * u_rel and abs(value - 1) > max(0.01, 3 * u_rel)
    ]
    causes = [text for _, text in sorted(exact)]
    return tuple(causes[:3] + _gradual_causes(ratio, drive))


def _whole_number_causes(drive: Drive) -> list[tuple[float, str]]:
    teeth, turns = drive.target_teeth, drive.turns_per_target_turn
    causes = [
        (0.5, "every tooth counts twice (both edges counted?)"),
        (2.0, "only every second tooth counts"),
    ]
    for other in range(max(1, teeth - 4), teeth + 5):
        if other != teeth:
            text = f"the target wheel has {other} teeth, not {teeth} (drive.target_teeth)"
            causes.append((teeth / other, text))
    if drive.kind == "sprocket":
        own = drive.sprocket_teeth
        for other in range(max(3, own - 3), own + 4):
            if other != own:
                text = f"the drive sprocket has {other} teeth, not {own} (drive.sprocket_teeth)"
                causes.append((other / own, text))
    if turns != 1:
        key = "(drive.turns_per_target_turn)"
        causes.append((1 / turns**2, f"the ratio between the shafts is the other way up {key}"))
        causes.append((1 / turns, f"the target wheel sits on the drive shaft itself {key}"))
    return causes


def _gradual_causes(ratio: float, drive: Drive) -> list[str]:
    share = percent(abs(ratio - 1), 1)
    if ratio < 1 and drive.kind == "sprocket":
        return [
            f"the belt moves {share} less than the sprocket drives: rods jumping teeth, or a "
            "wrong lap length or pitch"
        ]
    if ratio < 1:
        return [
            f"the belt slips {share} on its drive roll, or the roll is worn "
            f"{(1 - ratio) * drive.roll_diameter_m * 1000:.1f} mm smaller"
        ]
    if drive.kind == "sprocket":
        return [
            f"the rods' pitch is {share} longer than entered (a worn, stretched belt or "
            "chain), or the lap length is wrong"
        ]
    return [
        "the roll works as if "
        f"{(ratio - 1) * drive.roll_diameter_m / 2 * 1000:.1f} mm thicker all round: mud or "
        "lagging on it, or a pitch line farther out than entered (drive.pitch_line_offset_m)"
    ]


def mend_counts(
    runs: Sequence[Run], lap: Known | None, machine: Machine
) -> tuple[list[Run], list[str]]:
    """Runs whose laps do not fit their pulses lose what is wrong, with a sentence each.

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
    kept, sentences = list(runs), []
    for run, away, limit in zip(both, log_m - centre, 4 * room, strict=True):
        if abs(away) <= limit:
            continue
        fixed, sentence = _mended(run, math.exp(-away), math.exp(limit) - 1)
        kept[kept.index(run)] = fixed
        sentences.append(sentence)
    if 2 * len(sentences) > len(both):
        scatter = (math.exp(float(np.ptp(log_m))) - 1) * 100
        return list(runs), [
            f"Laps and pulses disagree from run to run by up to {scatter:.2g} %, in more than "
            "half of the runs: slip that comes and goes, or counts that were not of one run."
        ]
    return kept, sentences


def _mended(run: Run, ratio: float, room: float) -> tuple[Run, str]:
    laps = run.laps * ratio
    near = round(laps)
    found = f"{run.place}: {run.laps:g} laps do not fit {run.pulses:g} pulses, which make"
    if near != run.laps and near > 0 and abs(laps - near) <= max(0.1, laps * room):
        return run.without_laps(), (
            f"{found} {laps:.2f} laps by the other runs (miscounted?); its laps were left out."
        )
    return run.without_laps(), (
        f"{found} {laps:.2f} laps by the other runs (a wrong time or count, or slip in this run "
        "alone?); its laps were left out."
    )


def _log_metres_per_pulse(run: Run, lap: Known) -> float:
    return math.log(run.laps * lap.value_m / run.laps_time_s) - math.log(
        run.pulses / run.pulses_time_s
    )


def _u_log_metres_per_pulse(run: Run) -> float:
    watch = 0.0 if run.one_interval else run.u_laps_time_s / run.laps_time_s
    return math.hypot(watch, run.u_pulses / run.pulses)

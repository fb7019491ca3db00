"""Metres a pulse as a lap mark tells it, against the drive line's geometry.

A mark on the belt passes once a lap: laps × lap length over the pulses counted meanwhile
is the truth that a slipping belt, mud on a roll or a wrong tooth count cannot hide from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Machine
from workbench.base.statements import Statement
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.edges import CleanEdges, clean
from workbench.calibration.readout.drive_line_check import name_difference

Floats = NDArray[np.float64]

COUNT_U = 0.5
"""Pulses by which the count over whole laps may be off at its two ends."""


@dataclass(frozen=True, slots=True)
class LapCheck:
    """Whole laps seen, the belt's mean speed over them, and metres a pulse by laps.

    `causes` names the difference from the geometry, most likely first, where it exceeds
    its expanded uncertainty (k = 2).
    """

    laps: int
    lap_speed_mps: float
    u_lap_speed_mps: float
    metre_per_pulse_m: float
    u_metre_per_pulse_m: float
    difference: float
    u_difference: float
    causes: tuple[Statement, ...]


def check_laps(edges: CleanEdges, mark_s: Floats, machine: Machine) -> LapCheck | None:
    """Compare the laps marked at `mark_s` (n,) with the pulses between the first and last.

    None where the lap length is not known or no whole lap lies within the pulses.
    """
    belt = machine.belt
    marks = clean(mark_s)
    inside = (marks.time_s >= edges.time_s[0]) & (marks.time_s <= edges.time_s[-1])
    if math.isnan(belt.lap_length_m) or np.count_nonzero(inside) < 2 or edges.starts.size > 1:
        return None
    time_s = marks.time_s[inside][[0, -1]]
    laps = int(np.ptp(marks.tooth[inside]))
    pulses = float(np.diff(np.interp(time_s, edges.time_s, edges.tooth))[0])
    if laps == 0 or pulses < 1:
        return None
    travel_m = laps * belt.lap_length_m
    u_lap_rel = belt.u_lap_length_m / belt.lap_length_m
    speed_mps = travel_m / float(np.ptp(time_s))
    geometry = metres_per_pulse(machine)
    ratio = travel_m / pulses / geometry.value_m
    u_count_rel = COUNT_U / pulses
    u_rel = math.hypot(u_lap_rel, u_count_rel, geometry.u_rel)
    differs = abs(ratio - 1) > 2 * u_rel
    return LapCheck(
        laps=laps,
        lap_speed_mps=speed_mps,
        u_lap_speed_mps=speed_mps * u_lap_rel,
        metre_per_pulse_m=travel_m / pulses,
        u_metre_per_pulse_m=travel_m / pulses * math.hypot(u_lap_rel, u_count_rel),
        difference=ratio - 1,
        u_difference=u_rel * ratio,
        causes=name_difference(ratio, u_rel, machine.drive) if differs else (),
    )

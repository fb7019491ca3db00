"""From a turn of the target wheel to metres of belt.

A sprocket of N teeth moves exactly N pitches of chain or rodded belt a turn, not π times
its pitch diameter P/sin(180°/N) (machinery handbooks; ISO 606). A flat belt on a roll
moves with its pitch line, which lies half the belt's thickness outside the roll.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.base.machine import Drive, Machine


@dataclass(frozen=True, slots=True)
class MetresPerPulse:
    """Belt travel for one tooth of the target wheel, with its standard uncertainty."""

    value_m: float
    u_m: float

    @property
    def u_rel(self) -> float:
        return self.u_m / self.value_m


def metres_per_pulse(machine: Machine) -> MetresPerPulse:
    """Metres of belt a tooth, from the drive line's geometry alone."""
    drive = machine.drive
    turn_m, u_turn_m = belt_per_shaft_turn(drive)
    turns_per_tooth = drive.turns_per_target_turn / drive.target_teeth
    return MetresPerPulse(turn_m * turns_per_tooth, u_turn_m * turns_per_tooth)


def belt_per_shaft_turn(drive: Drive) -> tuple[float, float]:
    """Metres of belt one turn of the drive shaft moves, and its standard uncertainty."""
    if drive.kind == "sprocket":
        return drive.sprocket_teeth * drive.rod_pitch_m, drive.sprocket_teeth * drive.u_rod_pitch_m
    diameter_m = drive.roll_diameter_m + 2 * drive.pitch_line_offset_m
    u_diameter_m = math.hypot(drive.u_roll_diameter_m, 2 * drive.u_pitch_line_offset_m)
    return math.pi * diameter_m, math.pi * u_diameter_m


def pitch_diameter(pitch_m: float, teeth: int) -> float:
    """Pitch diameter of a sprocket, P/sin(180°/N), metres."""
    return pitch_m / math.sin(math.pi / teeth)

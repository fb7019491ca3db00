"""What is known of the drive line while it is being typed, for its drawing."""

from __future__ import annotations

import math
from dataclasses import MISSING, dataclass

from workbench.calibration.pulses.drive_line import pitch_diameter
from workbench.models.machine.figures import shown_at_work
from workbench.models.machine.form import MachineForm


@dataclass(frozen=True, slots=True)
class DriveParts:
    """NaN or 0 for what is not known yet. Lengths in metres."""

    teeth: int = 0
    turns_per_target_turn: float = math.nan
    kind: str = ""
    sprocket_teeth: int = 0
    rod_pitch_m: float = math.nan
    roll_diameter_m: float = math.nan
    pitch_line_offset_m: float = 0.0
    gap_best_m: float = math.nan
    lap_length_m: float = math.nan
    shows: str = ""

    @property
    def drum_m(self) -> float:
        """Diameter of the sprocket's pitch circle or of the roll, NaN while unknown."""
        if self.kind == "sprocket" and self.sprocket_teeth:
            return pitch_diameter(self.rod_pitch_m, self.sprocket_teeth)
        return self.roll_diameter_m if self.kind == "roll" else math.nan

    @property
    def rods(self) -> float:
        """Rods in one lap, NaN while unknown or where the belt has none."""
        return self.lap_length_m / self.rod_pitch_m if self.kind == "sprocket" else math.nan


def parts(form: MachineForm) -> DriveParts:
    """The parts as far as they are typed and right."""

    def number(key: str) -> float:
        value = form.value(key)
        return math.nan if value is None or value is MISSING else float(value)

    def count(key: str) -> int:
        value = number(key)
        return 0 if math.isnan(value) else int(value)

    kind = form.value("drive.kind")
    return DriveParts(
        teeth=count("drive.target_teeth"),
        turns_per_target_turn=number("drive.turns_per_target_turn"),
        kind=kind if isinstance(kind, str) else "",
        sprocket_teeth=count("drive.sprocket_teeth"),
        rod_pitch_m=number("drive.rod_pitch_m"),
        roll_diameter_m=number("drive.roll_diameter_m"),
        pitch_line_offset_m=number("drive.pitch_line_offset_m"),
        gap_best_m=number("pickup.gap_best_m"),
        lap_length_m=number("belt.lap_length_m"),
        shows=shown_at_work(form.machine) if form.machine else "",
    )

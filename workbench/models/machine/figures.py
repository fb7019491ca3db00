"""What follows from a machine: the figures beside its form, each with what it means."""

from __future__ import annotations

import math
from dataclasses import MISSING, dataclass

from workbench.base.machine import Machine
from workbench.base.numbers import NO_VALUE, with_uncertainty
from workbench.base.units import UnitSystem, from_mps, to_mps
from workbench.calibration.pulses.drive_line import metres_per_pulse, pitch_diameter
from workbench.models.machine.fields import NAMES
from workbench.models.machine.form import MachineForm
from workbench.words.language import _
from workbench.words.words import Words

COURSE = 100
"""Pulses are told for so many feet or metres, as settings of readouts are."""


@dataclass(frozen=True, slots=True)
class DriveFigure:
    """One number with its unit, and the words under it."""

    number: str
    unit: str
    words: str


def figures(machine: Machine | None, units: UnitSystem) -> list[DriveFigure]:
    """The four figures; dashes for numbers while there is no machine. ± is k = 2."""
    words = [
        (_("of belt a pulse"), units.gap),
        (f"in {COURSE} {units.length}", "pulses"),
        (_("a second at working speed"), "pulses"),
        (_("one readout step"), "%"),
    ]
    if machine is None:
        return [DriveFigure(NO_VALUE, unit, text) for text, unit in words]
    per_pulse = metres_per_pulse(machine)
    course = COURSE * units.length_m / per_pulse.value_m
    speed_mps = machine.limits.speed_at_work_mps
    at = Words(units).number("speed", speed_mps)
    step_mps = to_mps(machine.readout.step, machine.readout.unit)
    numbers = [
        with_uncertainty(per_pulse.value_m / units.gap_m, 2 * per_pulse.u_m / units.gap_m, -1),
        with_uncertainty(course, 2 * per_pulse.u_rel * course, -1),
        f"{speed_mps / per_pulse.value_m:#.3g}".rstrip("."),
        f"{100 * step_mps / speed_mps:#.2g}".rstrip("."),
    ]
    words[2] = (_("a second at {at}").format(at=at), "pulses")
    words[3] = (_("one readout step at {at}").format(at=at), "%")
    return [
        DriveFigure(number, unit, text) for number, (text, unit) in zip(numbers, words, strict=True)
    ]


def shown_at_work(machine: Machine) -> str:
    """What the readout shows at working speed, on its own step."""
    readout = machine.readout
    shown = from_mps(machine.limits.speed_at_work_mps, readout.unit)
    digits = max(0, min(3, -math.floor(math.log10(readout.step) + 1e-9)))
    return f"{round(shown / readout.step) * readout.step:.{digits}f} {readout.unit}"


def standing(form: MachineForm, in_use: Machine | None) -> str:
    """How the draft stands: what it lacks, whether it is in use, whether it is saved."""
    if form.errors:
        return (
            f"{_listed(list(form.errors))} {'needs' if len(form.errors) == 1 else 'need'} a look."
        )
    if form.needed:
        return _("Still needed: {needed}.").format(needed=_listed(form.needed))
    return f"{_used(form, in_use)} {_saved(form)}"


def _used(form: MachineForm, in_use: Machine | None) -> str:
    if form.machine == in_use:
        return _("In use.")
    return (
        _("Not in use: the bench works with '{name}'.").format(name=in_use.name)
        if in_use
        else _("Not in use yet.")
    )


def _saved(form: MachineForm) -> str:
    if form.path is None:
        return _("No file has it: save it to keep it for the next start.")
    if form.changed_since_kept:
        return _("Changed, and not saved in {name} yet.").format(name=form.path.name)
    return _("Saved in {name}.").format(name=form.path.name)


def _listed(wanted: list[str]) -> str:
    names = [f"'{_(NAMES[key])}'" for key in wanted]
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


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

"""What follows from a machine: the figures beside its form, each with what it means."""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.base.machine import Machine
from workbench.base.numbers import NO_VALUE, with_uncertainty
from workbench.base.units import UnitSystem, from_mps
from workbench.calibration.pulses.drive_line import metres_per_pulse
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
    step_mps = machine.readout.step_mps
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

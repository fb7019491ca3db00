"""The machine file as a form: every entry kept as typed, checked at once, each for itself."""

from __future__ import annotations

import json
import math
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbench.calibration.driveline import metres_per_pulse
from workbench.errors import MachineFileError, StoreError, WrongInput
from workbench.machine import Machine, keys, machine_sections, parse_machine, wrong_value
from workbench.models.observable import Observable
from workbench.units import UnitSystem, from_mps, parse_length_m, to_mps

LONG = ("belt.lap_length_m",)
"""Lengths a person measures in metres or feet; all others in millimetres or inches."""


@dataclass(frozen=True, slots=True)
class Derived:
    """What follows from the form; NaN where it does not yet."""

    metre_per_pulse_m: float = math.nan
    u_metre_per_pulse_m: float = math.nan
    pulses_a_course: float = math.nan
    pulse_rate_hz: float = math.nan
    step_rel: float = math.nan


class MachineForm(Observable):
    """Entries by key ('drive.target_teeth'), as text in the person's own units."""

    def __init__(self, units: UnitSystem, machine: Machine | None = None) -> None:
        super().__init__()
        self.units = units
        self.entries: dict[str, str] = {}
        self._values: dict[str, Any] = {}
        self.errors: dict[str, str] = {}
        self.machine: Machine | None = None
        if machine is not None:
            self.show(machine)

    def show(self, machine: Machine) -> None:
        """Fill the form from a machine."""
        flat: dict[str, Any] = {"name": machine.name}
        for section, values in machine_sections(machine).items():
            flat |= {f"{section}.{key}": value for key, value in values.items()}
        unused = "drive.roll" if machine.drive.kind == "sprocket" else "drive.sprocket_teeth"
        self._values = {key: value for key, value in flat.items() if not key.startswith(unused)}
        self.entries = {}
        self._rewrite()

    def use_units(self, units: UnitSystem) -> None:
        """Show every number in these units from now on."""
        self.units = units
        self._rewrite()

    def type(self, key: str, text: str) -> None:
        """Take an entry as typed; '' leaves the key out. Wrong text stays and gets a sentence."""
        self.entries[key] = text
        self._values.pop(key, None)
        self.errors.pop(key, None)
        if text.strip():
            try:
                self._values[key] = self._read(key, text.strip())
            except WrongInput as error:
                self.errors[key] = str(error)
        self._judge()

    def unit(self, key: str) -> str:
        """The unit of an entry, '' where it has none."""
        if key.endswith("_m"):
            return self.units.length if key in LONG else self.units.gap
        if key.endswith("_mps"):
            return self.units.speed
        return str(self._values.get("readout.unit", "")) if key == "readout.step" else ""

    def derived(self) -> Derived:
        """The figures that follow from what is typed."""
        if self.machine is None:
            return Derived()
        per_pulse = metres_per_pulse(self.machine)
        limits, readout = self.machine.limits, self.machine.readout
        speed_mps = 0.5 * (limits.speed_low_mps + limits.speed_high_mps)
        return Derived(
            metre_per_pulse_m=per_pulse.value_m,
            u_metre_per_pulse_m=per_pulse.u_m,
            pulses_a_course=100 * self.units.length_m / per_pulse.value_m,
            pulse_rate_hz=speed_mps / per_pulse.value_m,
            step_rel=to_mps(readout.step, readout.unit) / speed_mps,
        )

    def to_toml(self) -> str:
        """The form as a machine file."""
        lines = [f"name = {_toml(self._values.get('name', ''))}"]
        section = ""
        for key in keys():
            head, _, tail = key.partition(".")
            if not tail or key not in self._values:
                continue
            if head != section:
                lines += ["", f"[{head}]"]
                section = head
            lines.append(f"{tail} = {_toml(self._values[key])}")
        return "\n".join(lines) + "\n"

    def save(self, path: Path) -> None:
        """Write the machine file; the old one stays until the new one is whole.

        Raises WrongInput while the form is wrong, StoreError where the file cannot be written.
        """
        if self.machine is None:
            raise WrongInput("The machine is not complete yet; see the entries marked.")
        try:
            with tempfile.NamedTemporaryFile(
                "w", encoding="utf-8", dir=path.parent, delete=False
            ) as fresh:
                fresh.write(self.to_toml())
            Path(fresh.name).replace(path)
        except OSError as error:
            raise StoreError(f"{path} cannot be written: {error.strerror}.") from None

    def _read(self, key: str, text: str) -> Any:
        kind = keys()[key]
        if kind is str:
            value: Any = text
        elif key.endswith("_m"):
            value = parse_length_m(text, self.unit(key))
        else:
            value = _number(text, kind)
            if key.endswith("_mps"):
                value = to_mps(value, self.units.speed)
        expected = wrong_value(key, value)
        if expected:
            raise WrongInput(f"Expected {expected}.")
        return value

    def _rewrite(self) -> None:
        wrong = {key: text for key, text in self.entries.items() if key not in self._values}
        self.entries = {key: self._shown(key, value) for key, value in self._values.items()}
        self.errors = {}
        self._judge()
        for key, text in wrong.items():
            self.type(key, text)

    def _shown(self, key: str, value: Any) -> str:
        if key.endswith("_m"):
            one_m = self.units.length_m if key in LONG else self.units.gap_m
            return f"{value / one_m:.6g}"
        if key.endswith("_mps"):
            return f"{from_mps(value, self.units.speed):.6g}"
        return f"{value:.10g}" if isinstance(value, float) else str(value)

    def _judge(self) -> None:
        """The machine, if the form makes one; what only shows in the whole goes to its key."""
        self.machine = None
        known = {key: said for key, said in self.errors.items() if key in self.entries}
        self.errors = {key: said for key, said in known.items() if self.entries[key].strip()}
        if not {key for key in self.errors if key not in self._values}:
            try:
                self.machine = parse_machine(self.to_toml())
                self.errors = {}
            except MachineFileError as error:
                self.errors = {error.key: f"{error.found}; expected {error.expected}.".capitalize()}
        self.changed()


def _number(text: str, kind: type) -> float | int:
    try:
        return int(text) if kind is int else float(text.replace(",", "."))
    except ValueError:
        what = "a whole number" if kind is int else "a number"
        raise WrongInput(f"'{text}' is not {what}.") from None


def _toml(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)

"""The machine file: what is known of one digger's belt, drive line, readout and pickup.

A TOML file; every length in metres, every speed in m/s. `load_machine` refuses a wrong
one with the key, the value found and what would be right.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from datetime import date
from pathlib import Path
from typing import Any

from workbench.base.errors import MachineFileError, Message, WrongInput
from workbench.base.files import read_text
from workbench.base.machine_keys import CHECKS, it_is, nearest
from workbench.base.preparation import LISTS, Lists, Preparation, lists_in
from workbench.base.typed import parse_setting_unit
from workbench.base.units import SPEED_UNITS_MPS

_MOST_LETTERS = 10_000
"""Of a line: a key of a hundred thousand parts takes minutes to read."""
_SECTION = re.compile(r"\s*\[\s*([\w.\"']+)\s*\]")
_SETTING = re.compile(r"(?P<key>\s*(?P<section>readout\s*\.\s*)?setting\s*=\s*)[^#\s]+")
"""A section's head in a machine file, and the line that holds the readout's setting."""


@dataclass(frozen=True, slots=True)
class Belt:
    """One lap of the belt, measured along its pitch line; NaN where not measured."""

    lap_length_m: float = math.nan
    u_lap_length_m: float = 0.005


@dataclass(frozen=True, slots=True)
class Drive:
    """From the target wheel's teeth to the belt.

    `turns_per_target_turn`: turns of the drive shaft for one of the target wheel.
    `pitch_line_offset_m`: from the roll's surface to the belt's pitch line, half the
    thickness of an even belt. The u_… are standard uncertainties. `measured_on` is the day,
    such as 2026-09-14, on which the pitch was measured over many rods of this belt, or the
    roll's diameter when clean; '' where they are from a drawing or a catalogue, and wear,
    stretch or mud may have changed them since.
    """

    target_teeth: int
    kind: str
    turns_per_target_turn: float = 1.0
    sprocket_teeth: int = 0
    rod_pitch_m: float = math.nan
    roll_diameter_m: float = math.nan
    pitch_line_offset_m: float = 0.0
    u_rod_pitch_m: float = math.nan
    u_roll_diameter_m: float = 0.0005
    u_pitch_line_offset_m: float = 0.0005
    measured_on: str = ""


@dataclass(frozen=True, slots=True)
class Readout:
    """The speed display and the number set in it.

    `reads` is 'direct' where a larger setting reads higher, 'inverse' where lower; a file
    that leaves it out gets what the unit makes it: pulses a distance are inverse. `rounds` is
    'nearest' where the digits shown are rounded, 'down' where they are cut off, '' where nobody
    says.
    """

    unit: str = "mph"
    step: float = 0.1
    setting: float = math.nan
    setting_unit: str = ""
    setting_step: float = math.nan
    reads: str = "direct"
    rounds: str = ""
    setting_low: float = -math.inf
    setting_high: float = math.inf

    @property
    def unit_mps(self) -> float:
        """One of its unit."""
        return SPEED_UNITS_MPS[self.unit]

    @property
    def step_mps(self) -> float:
        return self.step * self.unit_mps


@dataclass(frozen=True, slots=True)
class Pickup:
    """The pulse pickup. The default gaps, 1/16 and 1/8 in, are common practice, no source.

    `clock_ppm` is what the clock of the counter behind it is good to, either way, in millionths;
    NaN where nobody says.
    """

    kind: str = "variable-reluctance"
    gap_best_m: float = 0.0016
    gap_max_m: float = 0.0032
    clock_ppm: float = math.nan


@dataclass(frozen=True, slots=True)
class Limits:
    """What is good enough. The defaults are chosen: 5 % of pace, 2 to 3 mph, 2 % of readout."""

    ratio_low: float = 0.95
    ratio_high: float = 1.05
    speed_low_mps: float = 0.894
    speed_high_mps: float = 1.341
    readout_error: float = 0.02

    @property
    def speed_at_work_mps(self) -> float:
        """The middle of the working speeds."""
        return 0.5 * (self.speed_low_mps + self.speed_high_mps)

    @property
    def ends_mps(self) -> tuple[float, ...]:
        """The lowest and the highest working speed, where there is one."""
        return tuple(v for v in (self.speed_low_mps, self.speed_high_mps) if v > 0)


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine as its file tells it: `serial` is its serial number, '' where not given,
    `text` the file's text, '' if made in the program."""

    name: str
    drive: Drive
    belt: Belt = field(default_factory=Belt)
    readout: Readout = field(default_factory=Readout)
    pickup: Pickup = field(default_factory=Pickup)
    limits: Limits = field(default_factory=Limits)
    prepare: Preparation = field(default_factory=Preparation)
    lists: Lists = field(default_factory=Lists)
    text: str = field(default="", compare=False)
    serial: str = ""


LOW_AND_HIGH = (
    ("pickup.gap_best_m", "pickup.gap_max_m"),
    ("limits.ratio_low", "limits.ratio_high"),
    ("limits.speed_low_mps", "limits.speed_high_mps"),
    ("readout.setting_low", "readout.setting_high"),
    ("prepare.belt_sag_low_m", "prepare.belt_sag_high_m"),
)
"""Pairs of keys of which the second must be the larger."""

_SECTIONS: dict[str, type] = {
    "belt": Belt,
    "drive": Drive,
    "readout": Readout,
    "pickup": Pickup,
    "limits": Limits,
    "prepare": Preparation,
}

_MOST_BYTES = 1_000_000
_MACHINE_FILE = Message("a machine file in TOML")
_MISSING = Message("it is missing")


def load_machine(path: Path | str) -> Machine:
    """Read a machine file. Raises MachineFileError, which names the key."""
    path = Path(path)
    try:
        text = read_text(path, _MOST_BYTES, _MACHINE_FILE)
    except WrongInput as error:
        raise MachineFileError(path, "", error.values["found"], _MACHINE_FILE) from None
    return parse_machine(text, path)


def parse_machine(text: str, path: Path | Message | str = "machine") -> Machine:
    """A machine from TOML text; `path` is for the error's sentence."""
    try:
        if max(map(len, text.splitlines()), default=0) > _MOST_LETTERS:
            raise ValueError("a line is too long")
        table = tomllib.loads(text)
    except RecursionError:
        found = Message("its brackets lie too deep in one another")
        raise MachineFileError(path, "", found, Message("key = value lines")) from None
    except ValueError as error:  # TOML's own, or a number of thousands of digits
        found = Message("it is not TOML ({error})", error=error)
        raise MachineFileError(path, "", found, Message("key = value lines")) from None
    lists = lists_in(table, path)
    flat = _flatten({key: inner for key, inner in table.items() if key not in LISTS}, path)
    for key, value in flat.items():
        if expected := wrong_value(key, value):
            raise MachineFileError(path, key, it_is(value), expected)
    if "name" not in flat:
        raise MachineFileError(path, "name", _MISSING, 'name = "…"')
    parts: dict[str, Any] = {}
    for section, kind in _SECTIONS.items():
        values = {
            key.partition(".")[2]: CHECKS[key].kind(value)
            for key, value in flat.items()
            if key.startswith(section + ".")
        }
        if section == "drive":
            _need_drive(path, values)
        if section == "readout" and "reads" not in values:
            values["reads"] = parse_setting_unit(values.get("setting_unit", "")).reads or "direct"
        parts[section] = kind(**values)
    name, serial = flat["name"].strip(), flat.get("serial", "").strip()
    machine = Machine(name=name, serial=serial, text=text, lists=lists, **parts)
    return _check_together(path, machine)


def _flatten(table: Mapping[str, Any], path: Path | Message | str) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in table.items():
        if key in _SECTIONS:
            if not isinstance(value, dict):
                expected = Message("a section [{key}]", key=key)
                raise MachineFileError(path, key, it_is(value), expected)
            days = {at: day.isoformat() for at, day in value.items() if isinstance(day, date)}
            flat |= {f"{key}.{inner}": item for inner, item in (value | days).items()}
        else:
            flat[key] = value
    for key in flat:
        if key not in CHECKS:
            sections = Message("one of the sections {sections}", sections=", ".join(_SECTIONS))
            known = nearest(key, CHECKS, sections)
            raise MachineFileError(path, key, Message("no such key is known"), known)
    return flat


def wrong_value(key: str, value: Any) -> Message | None:
    """What would be right for 'section.key', None where `value` is. Raises KeyError."""
    return CHECKS[key].wrong(value)


def keys() -> dict[str, type]:
    """Every key a machine file may hold, as 'section.key', 'name' or 'serial', and its type."""
    return {key: check.kind for key, check in CHECKS.items()}


def bounds(key: str) -> tuple[float, float]:
    """Smallest and largest value of 'section.key' in SI, infinite where there is none."""
    return CHECKS[key].low, CHECKS[key].high


def value_of(machine: Machine, key: str) -> Any:
    """The value of 'section.key', 'name' or 'serial' in a machine."""
    section, _, name = key.rpartition(".")
    return getattr(getattr(machine, section) if section else machine, name)


def default_of(key: str) -> Any:
    """What 'section.key' counts as where a file leaves it out; MISSING where it must not."""
    section, _, name = key.partition(".")
    if not name:
        return MISSING if key == "name" else ""
    return next(entry.default for entry in fields(_SECTIONS[section]) if entry.name == name)


def _need_drive(path: Path | Message | str, values: dict[str, Any]) -> None:
    needed = ["target_teeth", "kind"]
    needed += {"sprocket": ["sprocket_teeth", "rod_pitch_m"], "roll": ["roll_diameter_m"]}.get(
        values.get("kind", ""), []
    )
    for name in needed:
        if name not in values:
            key = f"drive.{name}"
            raise MachineFileError(path, key, _MISSING, CHECKS[key].expected)


def _check_together(path: Path | Message | str, machine: Machine) -> Machine:
    for low_key, high_key in LOW_AND_HIGH:
        low, high = value_of(machine, low_key), value_of(machine, high_key)
        if high <= low:
            expected = Message(
                "more than {name} = {low:g}", name=low_key.partition(".")[2], low=low
            )
            raise MachineFileError(path, high_key, it_is(high), expected)
    drive = machine.drive
    if drive.kind == "sprocket" and math.isnan(drive.u_rod_pitch_m):
        # A chain or rodded belt runs up to 0.15 % over its nominal pitch when new (ISO 606,
        # from memory); as a standard uncertainty, rounded up.
        machine = replace(machine, drive=replace(drive, u_rod_pitch_m=0.001 * drive.rod_pitch_m))
    return machine


def machine_sections(machine: Machine) -> dict[str, dict[str, Any]]:
    """The machine as plain nested values, NaN and infinities left out (they mean 'not given')."""
    return {
        section: {
            entry.name: value
            for entry in fields(kind)
            if not (isinstance(value := getattr(getattr(machine, section), entry.name), float))
            or math.isfinite(value)
        }
        for section, kind in _SECTIONS.items()
    }


def with_readout_setting(machine: Machine, setting: float) -> Machine:
    """The same machine with another setting of its readout; in its file's text only that
    number changes. Raises MachineFileError where no place for it is found there."""
    readout = replace(machine.readout, setting=setting)
    if not machine.text:
        return replace(machine, readout=readout)
    lines, section = machine.text.splitlines(keepends=True), ""
    for at, line in enumerate(lines):
        head = _SECTION.match(line)
        section = head.group(1) if head else section
        found = _SETTING.match(line)
        dotted = found is not None and bool(found.group("section"))
        if found and (section == "readout") is not dotted:
            lines[at] = f"{found.group('key')}{setting:.10g}{line[found.end() :]}"
    changed = parse_machine("".join(lines), machine.name)
    if changed.readout.setting != float(f"{setting:.10g}"):
        nowhere = Message("its place was not found")
        raise MachineFileError(machine.name, "readout.setting", nowhere, f"{setting:.10g}")
    return changed

"""The machine file: what is known of one digger's belt, drive line, readout and pickup.

A TOML file; every length in metres, every speed in m/s. `load_machine` refuses a wrong
one with the key, the value found and what would be right.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, NamedTuple

from workbench.base.errors import MachineFileError, WrongInput
from workbench.base.typed import parse_setting_unit
from workbench.base.units import SPEED_UNITS_MPS


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
    thickness of an even belt. The u_… are standard uncertainties.
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


@dataclass(frozen=True, slots=True)
class Readout:
    """The speed display and the number set in it.

    `reads` is 'direct' where a larger setting reads higher, 'inverse' where lower; a file
    that leaves it out gets what the unit makes it: pulses a distance are inverse.
    """

    unit: str = "mph"
    step: float = 0.1
    setting: float = math.nan
    setting_unit: str = ""
    setting_step: float = math.nan
    reads: str = "direct"
    setting_low: float = -math.inf
    setting_high: float = math.inf


@dataclass(frozen=True, slots=True)
class Pickup:
    """The pulse pickup. The default gaps, 1/16 and 1/8 in, are common practice, no source."""

    kind: str = "variable-reluctance"
    gap_best_m: float = 0.0016
    gap_max_m: float = 0.0032


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


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine as its file tells it. `text` is the file's text, '' if made in the program."""

    name: str
    drive: Drive
    belt: Belt = field(default_factory=Belt)
    readout: Readout = field(default_factory=Readout)
    pickup: Pickup = field(default_factory=Pickup)
    limits: Limits = field(default_factory=Limits)
    text: str = field(default="", compare=False)


def _is_setting_unit(text: str) -> bool:
    try:
        parse_setting_unit(text)
    except WrongInput:
        return False
    return True


class Check(NamedTuple):
    """What a key's value must be; `low` and `high` in SI where it is a number between two."""

    kind: type
    expected: str
    holds: Callable[[Any], bool]
    low: float = -math.inf
    high: float = math.inf


def _positive(what: str) -> Check:
    return Check(float, f"{what} above 0", lambda value: value > 0, low=0)


def _not_negative(what: str) -> Check:
    return Check(float, f"{what}, 0 or more", lambda value: value >= 0, low=0)


def _between(low: float, high: float, what: str) -> Check:
    return Check(float, what, lambda value: low <= value <= high, low, high)


def _count(what: str, least: int, most: int) -> Check:
    words = f"{what}, a whole number {least} to {most}"
    return Check(int, words, lambda v: least <= v <= most, least, most)


def _one_of(*words: str) -> Check:
    return Check(str, "one of " + ", ".join(f'"{word}"' for word in words), lambda v: v in words)


_METRES = "a length in metres"
_ANY_TEXT = Check(str, "text in quotes", lambda value: bool(value.strip()))

_CHECKS: dict[str, Check] = {
    "name": _ANY_TEXT,
    "belt.lap_length_m": _between(1, 60, "1 to 60 metres for one lap"),
    "belt.u_lap_length_m": _positive(_METRES),
    "drive.target_teeth": _count("the teeth of the target wheel", 1, 500),
    "drive.turns_per_target_turn": _between(0.01, 100, "a ratio from 0.01 to 100"),
    "drive.kind": _one_of("sprocket", "roll"),
    "drive.sprocket_teeth": _count("the teeth of the drive sprocket", 3, 200),
    "drive.rod_pitch_m": _between(0.005, 0.5, "0.005 to 0.5 metres"),
    "drive.roll_diameter_m": _between(0.02, 2, "0.02 to 2 metres"),
    "drive.pitch_line_offset_m": _between(0, 0.05, "0 to 0.05 metres"),
    "drive.u_rod_pitch_m": _not_negative(_METRES),
    "drive.u_roll_diameter_m": _not_negative(_METRES),
    "drive.u_pitch_line_offset_m": _not_negative(_METRES),
    "readout.unit": _one_of(*SPEED_UNITS_MPS),
    "readout.step": _positive("the smallest change shown, in the readout's unit,"),
    "readout.setting": _positive("the number set in the readout,"),
    "readout.setting_unit": Check(
        str,
        "pulses a distance ('pulses/100 ft', 'pulses/m'), a distance a pulse ('mm/pulse') or "
        "a turn ('in/turn', 'm/turn'), or '' for a bare number",
        _is_setting_unit,
    ),
    "readout.setting_step": _positive("the smallest change of the setting,"),
    "readout.reads": _one_of("direct", "inverse"),
    "readout.setting_low": _not_negative("the smallest setting"),
    "readout.setting_high": _positive("the largest setting"),
    "pickup.kind": _one_of("variable-reluctance", "hall", "inductive"),
    "pickup.gap_best_m": _between(0.0001, 0.02, "0.0001 to 0.02 metres"),
    "pickup.gap_max_m": _between(0.0001, 0.02, "0.0001 to 0.02 metres"),
    "limits.ratio_low": _between(0.2, 5, "a ratio belt ÷ ground from 0.2 to 5"),
    "limits.ratio_high": _between(0.2, 5, "a ratio belt ÷ ground from 0.2 to 5"),
    "limits.speed_low_mps": _between(0, 10, "0 to 10 m/s"),
    "limits.speed_high_mps": Check(float, "0 to 10 m/s", lambda v: 0 < v <= 10, 0, 10),
    "limits.readout_error": _between(0.0001, 0.5, "a share from 0.0001 to 0.5"),
}

LOW_AND_HIGH = (
    ("pickup.gap_best_m", "pickup.gap_max_m"),
    ("limits.ratio_low", "limits.ratio_high"),
    ("limits.speed_low_mps", "limits.speed_high_mps"),
    ("readout.setting_low", "readout.setting_high"),
)
"""Pairs of keys of which the second must be the larger."""

_SECTIONS: dict[str, type] = {
    "belt": Belt,
    "drive": Drive,
    "readout": Readout,
    "pickup": Pickup,
    "limits": Limits,
}

_MOST_BYTES = 1_000_000


def load_machine(path: Path | str) -> Machine:
    """Read a machine file. Raises MachineFileError, which names the key."""
    path = Path(path)
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise MachineFileError(path, "", "it is larger than 1 MB", "a machine file in TOML")
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        reason = error.strerror or "it cannot be read"
        raise MachineFileError(path, "", reason, "a machine file in TOML") from None
    except UnicodeDecodeError as error:
        found = f"byte {error.start} is not UTF-8 text"
        raise MachineFileError(path, "", found, "a machine file in TOML") from None
    return parse_machine(text, path)


def parse_machine(text: str, path: Path | str = "machine file") -> Machine:
    """A machine from TOML text; `path` is for the error's sentence."""
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise MachineFileError(path, "", f"it is not TOML ({error})", "key = value lines") from None
    flat = _flatten(table, path)
    for key, value in flat.items():
        _check(path, key, value)
    if "name" not in flat:
        raise MachineFileError(path, "name", "it is missing", 'name = "…"')
    parts: dict[str, Any] = {}
    for section, kind in _SECTIONS.items():
        values = {
            key.partition(".")[2]: _CHECKS[key].kind(value)
            for key, value in flat.items()
            if key.startswith(section + ".")
        }
        if section == "drive":
            _need_drive(path, values)
        if section == "readout" and "reads" not in values:
            values["reads"] = parse_setting_unit(values.get("setting_unit", "")).reads or "direct"
        parts[section] = kind(**values)
    machine = Machine(name=flat["name"].strip(), text=text, **parts)
    return _check_together(path, machine)


def _flatten(table: Mapping[str, Any], path: Path | str) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in table.items():
        if key in _SECTIONS:
            if not isinstance(value, dict):
                raise MachineFileError(path, key, f"it is {value!r}", f"a section [{key}]")
            flat |= {f"{key}.{inner}": item for inner, item in value.items()}
        else:
            flat[key] = value
    for key in flat:
        if key not in _CHECKS:
            near = difflib.get_close_matches(key, _CHECKS, n=1, cutoff=0.5)
            known = f"'{near[0]}'" if near else "one of the sections " + ", ".join(_SECTIONS)
            raise MachineFileError(path, key, "no such key is known", known)
    return flat


def _check(path: Path | str, key: str, value: Any) -> None:
    expected = wrong_value(key, value)
    if expected:
        raise MachineFileError(path, key, f"it is {value!r}", expected)


def wrong_value(key: str, value: Any) -> str:
    """What would be right for 'section.key', '' where `value` is. Raises KeyError."""
    kind, expected, holds = _CHECKS[key][:3]
    right_type = isinstance(value, (int, float) if kind is float else kind) and not isinstance(
        value, bool
    )
    if right_type and (kind is str or math.isfinite(value)) and holds(value):
        return ""
    return expected


def keys() -> dict[str, type]:
    """Every key a machine file may hold, as 'section.key' or 'name', and its type."""
    return {key: check.kind for key, check in _CHECKS.items()}


def bounds(key: str) -> tuple[float, float]:
    """Smallest and largest value of 'section.key' in SI, infinite where there is none."""
    return _CHECKS[key].low, _CHECKS[key].high


def value_of(machine: Machine, key: str) -> Any:
    """The value of 'section.key' or 'name' in a machine."""
    section, _, name = key.rpartition(".")
    return getattr(getattr(machine, section) if section else machine, name)


def default_of(key: str) -> Any:
    """What 'section.key' counts as where a file leaves it out; MISSING where it must not."""
    section, _, name = key.partition(".")
    if not name:
        return MISSING
    return next(entry.default for entry in fields(_SECTIONS[section]) if entry.name == name)


def _need_drive(path: Path | str, values: dict[str, Any]) -> None:
    needed = ["target_teeth", "kind"]
    needed += {"sprocket": ["sprocket_teeth", "rod_pitch_m"], "roll": ["roll_diameter_m"]}.get(
        values.get("kind", ""), []
    )
    for name in needed:
        if name not in values:
            key = f"drive.{name}"
            raise MachineFileError(path, key, "it is missing", _CHECKS[key].expected)


def _check_together(path: Path | str, machine: Machine) -> Machine:
    for low_key, high_key in LOW_AND_HIGH:
        low, high = value_of(machine, low_key), value_of(machine, high_key)
        if high <= low:
            low_name = low_key.partition(".")[2]
            raise MachineFileError(
                path, high_key, f"it is {high:g}", f"more than {low_name} = {low:g}"
            )
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

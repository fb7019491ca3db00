"""The keys of a machine file as a person meets them: names, units, how each is read and shown."""

from __future__ import annotations

import math
import re
from dataclasses import MISSING
from typing import Any

from workbench.base.errors import Message, WrongInput
from workbench.base.machine import bounds, default_of, keys, wrong_value
from workbench.base.typed import parse_length_m
from workbench.base.units import SPEED_UNITS_MPS, UNITS, UnitSystem, measure_unit
from workbench.words.language import N_, _
from workbench.words.words import Words

SECTIONS: dict[str, dict[str, str]] = {
    "Machine": {"name": "Name", "serial": N_("Serial number")},
    N_("Drive line"): {
        "drive.target_teeth": N_("Teeth of the target wheel"),
        "drive.turns_per_target_turn": N_("Shaft turns per wheel turn"),
        "drive.kind": N_("Belt driven by"),
        "drive.sprocket_teeth": N_("Sprocket teeth"),
        "drive.rod_pitch_m": N_("Rod pitch"),
        "drive.u_rod_pitch_m": N_("Rod pitch known to\u00a0±"),
        "drive.roll_diameter_m": N_("Roll diameter"),
        "drive.u_roll_diameter_m": N_("Roll diameter known to\u00a0±"),
        "drive.pitch_line_offset_m": N_("Half the belt's thickness"),
        "drive.u_pitch_line_offset_m": N_("Half thickness known to\u00a0±"),
        "drive.measured_on": N_("Pitch or roll measured on"),
    },
    "Belt": {
        "belt.lap_length_m": N_("Length of one lap"),
        "belt.u_lap_length_m": N_("Lap length known to\u00a0±"),
    },
    "Pickup": {
        "pickup.kind": "Kind",
        "pickup.gap_best_m": N_("Best gap"),
        "pickup.gap_max_m": N_("Largest gap"),
        "pickup.clock_ppm": N_("Counter's clock good to\u00a0±"),
    },
    "Readout": {
        "readout.unit": N_("Shows speed in"),
        "readout.step": N_("Smallest step shown"),
        "readout.setting": "Setting",
        "readout.setting_unit": N_("Unit of the setting"),
        "readout.setting_step": N_("Smallest step of the setting"),
        "readout.reads": N_("A larger setting reads"),
        "readout.rounds": N_("The last digit shown is"),
        "readout.setting_low": N_("Smallest setting"),
        "readout.setting_high": N_("Largest setting"),
    },
    "Limits": {
        "limits.ratio_low": N_("Lowest ratio belt ÷ ground"),
        "limits.ratio_high": N_("Highest ratio belt ÷ ground"),
        "limits.speed_low_mps": N_("Lowest working speed"),
        "limits.speed_high_mps": N_("Highest working speed"),
        "limits.readout_error": N_("Largest error of the readout"),
    },
    N_("Before the run"): {
        "prepare.belt_span_m": N_("Belt's span between rolls"),
        "prepare.belt_kg_per_metre": N_("Mass of the belt, a length"),
        "prepare.belt_sag_low_m": N_("Least sag of the belt"),
        "prepare.belt_sag_high_m": N_("Most sag of the belt"),
        "prepare.belt_sag_spread_m": N_("Most difference of the sag across"),
        "prepare.motor_volume_m3": N_("Oil a turn of the motor"),
        "prepare.motor_turns_per_shaft_turn": N_("Motor turns per shaft turn"),
        "prepare.motor_efficiency": N_("Share of the oil that turns the motor"),
        "prepare.oil_flow_low_m3_per_s": N_("Least oil flow of the tractor"),
        "prepare.tyre_pressure_pa": N_("Tyre pressure"),
        "prepare.level_width_m": N_("Width between the heights"),
        "prepare.rows": N_("Rows are"),
        "prepare.row_count": N_("Number of rows"),
        "prepare.row_spacing_m": N_("From row to row"),
        "prepare.twin_spacing_m": N_("From twin to twin"),
        "prepare.shank_offset_m": N_("Shank's inner edge from its row"),
    },
}
"""Every key under its heading, with its name."""

NAMES: dict[str, str] = {key: name for fields in SECTIONS.values() for key, name in fields.items()}

CHOICES: dict[str, dict[str, str]] = {
    "drive.kind": {"sprocket": "sprocket", "roll": "roll"},
    "readout.unit": {unit: unit for unit in SPEED_UNITS_MPS},
    "prepare.rows": {"single": N_("single rows"), "twin": N_("twin rows")},
    "readout.reads": {"direct": "higher", "inverse": "lower"},
    "readout.rounds": {"nearest": N_("rounded"), "down": N_("cut off, not rounded")},
    "pickup.kind": {
        "variable-reluctance": N_("variable reluctance"),
        "hall": "Hall",
        "inductive": "inductive",
    },
}

ONLY_FOR: dict[str, str] = {
    "drive.sprocket_teeth": "sprocket",
    "drive.rod_pitch_m": "sprocket",
    "drive.u_rod_pitch_m": "sprocket",
    "drive.roll_diameter_m": "roll",
    "drive.u_roll_diameter_m": "roll",
    "drive.pitch_line_offset_m": "roll",
    "drive.u_pitch_line_offset_m": "roll",
}
"""Keys that matter for one kind of drive alone."""

NEEDED = ("name", "drive.target_teeth", "drive.kind")
NEEDED_FOR = {
    "sprocket": ("drive.sprocket_teeth", "drive.rod_pitch_m"),
    "roll": ("drive.roll_diameter_m",),
}

ENDINGS = {"_m3_per_s": "flow", "_m3": "volume", "_pa": "pressure", "_kg_per_metre": "mass"}
"""How the name of a key ends that has a unit of its own -> the kind of that."""

LONG = ("belt.lap_length_m", "prepare.belt_span_m", "prepare.level_width_m")
"""Lengths a person measures in metres or feet; all others in millimetres or inches."""

EXPANDED_K = 2.0
"""A person's ± holds 19 times in 20; the file keeps the standard uncertainty, half of it."""

_TWO_WAYS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d*)?")


def unit_of(key: str, units: UnitSystem, readout_unit: str = "") -> str:
    """The unit of an entry, '' where it has none."""
    if key == "readout.step":
        return readout_unit
    return _scale(key, units)[0]


def read(key: str, text: str, units: UnitSystem) -> Any:
    """What was typed, in SI. Raises WrongInput with a sentence where it cannot be read."""
    kind = keys()[key]
    if kind is str:
        return text
    unit, one = _scale(key, units)
    if key.endswith("_m"):
        return parse_length_m(text, unit) / _k(key)
    value = _number(text.removesuffix(unit).strip(), kind)
    return value * one if one != 1 else value


def wrong(key: str, value: Any, units: UnitSystem) -> str:
    """What is wrong with a value, in the person's units; '' where it is right."""
    expected = wrong_value(key, value)
    low, high = bounds(key)
    unit, one = _scale(key, units)
    if not expected:
        return ""
    if not unit:
        return Words(units).say(Message("Expected {expected}.", expected=expected))
    if not math.isfinite(high):
        return _("Expected a length above {low:g} {unit}.").format(low=low, unit=unit)
    # Rounded inwards: what the sentence allows is allowed.
    least, most = _rounded(low / one, math.ceil), _rounded(high / one, math.floor)
    return _("{names} is out of range: expected {least} to {most} {unit}.").format(
        names=_(NAMES[key]), least=least, most=most, unit=unit
    )


def show(key: str, value: Any, units: UnitSystem) -> str:
    """A value in SI as the person reads it, without its unit."""
    if isinstance(value, str):
        return value
    digits = 3 if _k(key) != 1 else 4 if key.startswith(("pickup.", "limits.")) else 6
    if isinstance(value, int):
        return str(value)
    shown = value / _scale(key, units)[1]
    return f"{shown:.{digits}g}" if _scale(key, units)[0] else f"{shown:.10g}"


def default(key: str, units: UnitSystem) -> str:
    """What an entry counts as where it is left empty, as the person reads it; '' for nothing."""
    value = default_of(key)
    if key == "drive.u_rod_pitch_m":
        return _("0.2 % of the pitch")
    if key == "pickup.clock_ppm":
        return _("not known: 0.6 % unsure in tables")
    if value is MISSING or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    if key == "readout.reads":
        return _("as its unit says")
    if key == "readout.rounds":
        return _("not known: half a step unsure")
    if key in CHOICES:
        return _(CHOICES[key][value]) if value else ""
    if isinstance(value, float) and _scale(key, units)[0]:
        return f"{value / _scale(key, units)[1]:.2g}"
    return show(key, value, units) if value else ""


def _scale(key: str, units: UnitSystem) -> tuple[str, float]:
    """The unit an entry is typed in and one of it in SI; ('', 1) for a bare number."""
    if key.endswith("_mps"):
        return units.speed, SPEED_UNITS_MPS[units.speed]
    if key == "limits.readout_error":
        return "%", 0.01
    if key == "pickup.clock_ppm":
        return "ppm", 1.0
    for ending, kind in ENDINGS.items():
        if key.endswith(ending):
            unit = measure_unit(kind, units)
            return unit, UNITS[kind][unit]
    if key in LONG:
        return units.length, units.length_m
    return (units.gap, units.gap_m / _k(key)) if key.endswith("_m") else ("", 1.0)


def _k(key: str) -> float:
    return EXPANDED_K if key.partition(".")[2].startswith("u_") else 1.0


def _rounded(value: float, way: Any) -> str:
    if value == 0:
        return "0"
    place = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    return f"{way(round(value / place, 6)) * place:.3g}"


def _number(text: str, kind: type) -> float | int:
    if kind is float and _TWO_WAYS.fullmatch(text):
        one, other = text.replace(",", ""), text.replace(",", ".", 1)
        raise WrongInput(
            "'{text}' can be read in two ways: type {one} or {other}.",
            text=text,
            one=one,
            other=other,
        )
    try:
        plain = text if "_" not in text else ""
        return int(plain) if kind is int else float(plain.replace(",", "."))
    except ValueError:
        what = _("a whole number") if kind is int else "a number"
        raise WrongInput("'{text}' is not {what}.", text=text, what=what) from None

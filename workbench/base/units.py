"""The only conversions between the units people read and SI.

Exact by definition: the international foot and mile (0.3048 m, 1609.344 m), the inch
(25.4 mm), the nautical mile (1852 m). Source: NIST SP 811, appendix B (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FOOT_M = 0.3048
INCH_M = 0.0254
MILE_M = 1609.344

SPEED_UNITS_MPS: dict[str, float] = {
    "m/s": 1.0,
    "km/h": 1000.0 / 3600.0,
    "mph": MILE_M / 3600.0,
    "ft/min": FOOT_M / 60.0,
}
"""One of each readout unit in metres a second."""


def to_mps(value: float, unit: str) -> float:
    """A speed in `unit` as m/s. Raises KeyError for a unit not in `SPEED_UNITS_MPS`."""
    return value * SPEED_UNITS_MPS[unit]


def from_mps(speed_mps: float, unit: str) -> float:
    """A speed in m/s in `unit`. Raises KeyError for a unit not in `SPEED_UNITS_MPS`."""
    return speed_mps / SPEED_UNITS_MPS[unit]


@dataclass(frozen=True, slots=True)
class UnitSystem:
    """The units one person reads: of speed, long and short lengths, and temperature."""

    name: str
    speed: str
    length: str
    length_m: float
    gap: str
    gap_m: float
    temperature: str


US = UnitSystem("us", "mph", "ft", FOOT_M, "in", INCH_M, "°F")
METRIC = UnitSystem("metric", "km/h", "m", 1.0, "mm", 0.001, "°C")

UNIT_SYSTEMS = {"us": US, "metric": METRIC}
"""What a person calls them in a command or in the settings."""


def units_for(speed_unit: str | None) -> UnitSystem:
    """The system that goes with a readout's unit; metric where there is no readout."""
    return US if speed_unit in ("mph", "ft/min") else METRIC


LENGTH_UNITS_M: dict[str, float] = {
    "mm": 0.001,
    "in": INCH_M,
    "m": 1.0,
    "cm": 0.01,
    "µm": 1e-6,
    "thou": INCH_M / 1000.0,
    "ft": FOOT_M,
}
"""One of each unit that a short length may be typed in, in metres."""


def inch_fraction(length_m: float, parts: int = 64) -> str:
    """The nearest fraction of an inch as feeler blades and drills are marked: '1/16', '1 1/2'."""
    whole, over = divmod(round(length_m / INCH_M * parts), parts)
    if over == 0:
        return str(whole)
    shared = math.gcd(over, parts)
    fraction = f"{over // shared}/{parts // shared}"
    return f"{whole} {fraction}" if whole else fraction


_GALLON_M3, _POUND_KG, _PSI_PA = 3.785411784e-3, 0.45359237, 6894.757293168361
UNITS: dict[str, dict[str, float]] = {
    "length": LENGTH_UNITS_M,
    "speed": SPEED_UNITS_MPS,
    "pressure": {"psi": _PSI_PA, "kPa": 1e3, "bar": 1e5, "MPa": 1e6, "Pa": 1.0},
    "flow": {"gal/min": _GALLON_M3 / 60, "L/min": 1e-3 / 60, "m3/s": 1.0},
    "volume": {"in³": INCH_M**3, "cm³": 1e-6, "L": 1e-3, "m3": 1.0},
    "mass": {"lb/ft": _POUND_KG / FOOT_M, "kg/m": 1.0},
    "time": {"s": 1.0, "min": 60.0},
    "hours": {"h": 1.0},
    "count": {"": 1.0, "links": 1.0},
}
"""Kind of a measured quantity -> its units and one of each in SI (NIST SP 811, appendix B: the
US gallon is 231 in³, the pound 0.45359237 kg, 1 psi a pound-force on a square inch)."""

MEASURES = {
    "pressure": ("psi", "kPa"),
    "flow": ("gal/min", "L/min"),
    "volume": ("in³", "cm³"),
    "mass": ("lb/ft", "kg/m"),
}
"""The unit of each that a person reads: in US units, in metric ones."""


def measure_unit(kind: str, units: UnitSystem) -> str:
    """The unit in which a person reads a kind of `MEASURES`."""
    return MEASURES[kind][units is not US]

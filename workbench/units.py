"""The only conversions between what people type or read and SI.

Exact by definition: the international foot and mile (0.3048 m, 1609.344 m), the inch
(25.4 mm), the nautical mile (1852 m). Source: NIST SP 811, appendix B (from memory).
"""

from __future__ import annotations

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
    """The units one person reads: of speed, of long and of short lengths."""

    name: str
    speed: str
    length: str
    length_m: float
    gap: str
    gap_m: float


US = UnitSystem("US customary", "mph", "ft", FOOT_M, "in", INCH_M)
METRIC = UnitSystem("metric", "km/h", "m", 1.0, "mm", 0.001)

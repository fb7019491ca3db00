"""The main figures of a result, with their uncertainty, in the person's units and words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from workbench.base.units import UnitSystem, from_mps
from workbench.words.numbers import NO_VALUE

MOST_DECIMALS = 4


@dataclass(frozen=True, slots=True)
class Measure:
    """What a figure counts: its unit's words, how many of it are one SI unit, and the
    decimals it is shown with where no uncertainty says."""

    unit: str
    per_si: float
    decimals: int


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of a result; `value` and `U` (expanded, NaN where not known) in SI."""

    name: str
    value: float
    U: float
    measure: Measure

    @property
    def text(self) -> str:
        """'1.012 ± 0.006', '2.41 ± 0.02 mph'; a dash where there is no value."""
        return with_spread(self.value, self.U, self.measure)


_FIGURES: tuple[tuple[str, str, str, str], ...] = (
    ("ratio", "U_ratio", "Ratio belt ÷ ground", "ratio"),
    ("belt_speed_mps", "U_belt_speed_mps", "Belt speed", "speed"),
    ("ground_speed_mps", "", "Ground speed", "speed"),
    ("in_band_fraction", "", "Time in band", "whole percent"),
    ("separation_m", "2u_separation_m", "Belt ahead of ground at the end", "length"),
    ("duration_s", "", "Steady time", "seconds"),
    ("error_at_work", "U_error_at_work", "Readout error at work", "percent"),
    ("setting_now", "", "Setting as found", "number"),
    ("setting_new", "", "New setting", "number"),
    ("residual_error", "", "Error left with the new setting", "percent"),
    ("metres_per_pulse", "U_metres_per_pulse", "Belt travel a pulse", "gap"),
    ("gap_m", "U_gap_m", "Mean gap", "gap"),
    ("runout_m", "U_runout_m", "Run-out", "gap"),
    ("widest_m", "U_widest_m", "Widest gap", "gap"),
    ("target_teeth_seen", "", "Teeth seen", "number"),
    ("teeth", "", "Teeth", "number"),
    ("turns", "", "Turns of the wheel", "whole"),
    ("pulse_rate_hz", "", "Pulses a second", "tenths"),
    ("edges", "", "Pulses", "number"),
    ("missed", "", "Missed pulses", "number"),
    ("extra", "", "Extra pulses", "number"),
)
"""(key of the answer, key of its expanded uncertainty, words, measure); '2u_…' is twice a
standard uncertainty."""


def figures(answer: Mapping[str, Any], units: UnitSystem) -> list[Figure]:
    """The figures an answer holds, in the order of the list above."""
    measures = measures_of(units)
    found = []
    for key, wide, name, measure in _FIGURES:
        value = number(answer.get(key))
        if math.isfinite(value):
            U = (
                2 * number(answer.get(wide[1:]))
                if wide.startswith("2u_")
                else number(answer.get(wide))
            )
            found.append(Figure(name, value, U, measures[measure]))
    return found


def measures_of(units: UnitSystem) -> dict[str, Measure]:
    """Every measure in the person's units."""
    gap_decimals = 3 if units.gap == "in" else 2
    return {
        "ratio": Measure("", 1.0, 3),
        "speed": Measure(units.speed, from_mps(1.0, units.speed), 2),
        "length": Measure(units.length, 1 / units.length_m, 1),
        "gap": Measure(units.gap, 1 / units.gap_m, gap_decimals),
        "percent": Measure("%", 100.0, 2),
        "whole percent": Measure("%", 100.0, 0),
        "seconds": Measure("s", 1.0, 0),
        "whole": Measure("", 1.0, 0),
        "tenths": Measure("", 1.0, 1),
        "number": Measure("", 1.0, -1),
    }


def with_spread(value: float, U: float, measure: Measure, *, signed: bool = False) -> str:
    """A value and its expanded uncertainty, both in SI, in the digits the latter warrants."""
    if not math.isfinite(value):
        return NO_VALUE
    known = math.isfinite(U) and U > 0
    decimals = decimals_of(measure.per_si * U, measure.decimals) if known else measure.decimals
    text = plain(measure.per_si * value, decimals, signed=signed)
    if known:
        text += f" ± {plain(measure.per_si * U, decimals)}"
    return f"{text} {measure.unit}".strip()


def decimals_of(U: float, at_least_of: int) -> int:
    """Decimals that show an uncertainty with two figures where it begins with 1 or 2, else one."""
    if not (math.isfinite(U) and U > 0):
        return max(at_least_of, 0)
    first = math.floor(math.log10(U))
    two = U / 10**first < 3
    return min(max(0, (1 if two else 0) - first), MOST_DECIMALS)


def plain(value: float, decimals: int, *, signed: bool = False) -> str:
    """A number with a true minus sign, never '−0.00'; fewer than 0 decimals: as it is."""
    text = f"{value:g}" if decimals < 0 else f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    elif signed and not text.startswith("-"):
        text = f"+{text}"
    return text.replace("-", "−")


def number(value: Any) -> float:
    """A number of JSON, where 'none' is null."""
    known = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if known else math.nan

"""Gaps and speeds of a gap check as the person reads them."""

from __future__ import annotations

import math
import re

from workbench.base.units import UnitSystem, from_mps

_GAP = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) mm\b")
_SPEED = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) m/s(?![\w²])")


def gap_digits(units: UnitSystem) -> int:
    """Decimals of a gap: thousandths of an inch, hundredths of a millimetre."""
    return 3 if units.gap == "in" else 2


def gap_number(gap_m: float, units: UnitSystem) -> str:
    """'0.063' or '1.60'; a dash where there is no value."""
    if not math.isfinite(gap_m):
        return "–"
    # A hair more, so that 1/16 in, 0.0625, is 0.063 as feeler sets have it, not 0.062.
    text = f"{gap_m / units.gap_m * (1 + 1e-9):.{gap_digits(units)}f}"
    return (text.removeprefix("-") if float(text) == 0 else text).replace("-", "−")


def gap_text(gap_m: float, units: UnitSystem) -> str:
    """'0.063 in' or '1.60 mm'."""
    return f"{gap_number(gap_m, units)} {units.gap}"


def in_units(sentence: str, units: UnitSystem) -> str:
    """A sentence of an answer with its gaps ('1.60 mm') and speeds ('0.894 m/s') in `units`.

    Answers are stored once, for everybody, in millimetres and metres a second.
    """

    def gap(found: re.Match[str]) -> str:
        return found[0] if units.gap == "mm" else gap_text(float(found[1]) / 1000, units)

    def speed(found: re.Match[str]) -> str:
        return f"{from_mps(float(found[1]), units.speed):.2f} {units.speed}"

    return _SPEED.sub(speed, _GAP.sub(gap, sentence))

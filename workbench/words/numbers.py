"""Numbers as a person reads them: in the chosen units, in the digits the uncertainty warrants."""

from __future__ import annotations

import math

from workbench.base.units import UnitSystem, from_mps

NO_VALUE = "–"


def speed_text(speed_mps: float, units: UnitSystem, digits: int = 2) -> str:
    """'2.71 mph'; a dash where there is no value."""
    if not math.isfinite(speed_mps):
        return f"{NO_VALUE} {units.speed}"
    return f"{from_mps(speed_mps, units.speed):.{digits}f} {units.speed}"


def speed_number(speed_mps: float, units: UnitSystem, digits: int = 2) -> str:
    """The number of `speed_text` alone, a true minus sign before a negative one."""
    if not math.isfinite(speed_mps):
        return NO_VALUE
    text = f"{from_mps(speed_mps, units.speed):.{digits}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", "−")


def length_text(length_m: float, units: UnitSystem, digits: int = 1) -> str:
    """'32.8 ft' or '10.0 m'; a dash where there is no value."""
    if not math.isfinite(length_m):
        return f"{NO_VALUE} {units.length}"
    return f"{length_m / units.length_m:.{digits}f} {units.length}".replace("-", "−")


def clock_text(duration_s: float) -> str:
    """'0:42', '12:05' or '1:02:33'."""
    seconds = max(0, int(duration_s))
    hours, rest = divmod(seconds, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def on_screen(sentence: str) -> str:
    """A driver's sentence, which names a command, for the person who has the screen."""
    names = sentence.replace("'evenpace inputs' lists", "the list of inputs names")
    return names.replace("'evenpace inputs'", "the list of inputs")

"""Numbers as a person reads them: rounded by their uncertainty, in the units of a template.

One rule for a value and its expanded uncertainty, everywhere: the uncertainty with two
significant digits, the value to the same place (JCGM 100:2008, 7.2.6: at most two).
"""

from __future__ import annotations

import math
import string
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from workbench.base.statements import PlusMinus
from workbench.base.units import (
    MEASURES,
    METRIC,
    UNITS,
    US,
    UnitSystem,
    from_mps,
    measure_unit,
)

NO_VALUE = "–"
MINUS = "−"


def decimals_of(U: float) -> int:
    """Decimals that show an uncertainty above 0 with two significant digits, 0 at least."""
    first = math.floor(math.log10(U))
    if float(f"{U / 10.0**first:.1f}") >= 10:  # 0.0996 is shown as 0.10
        first += 1
    return max(0, 1 - first)


def plain(value: float, decimals: int, *, signed: bool = False) -> str:
    """A number with a true minus sign, never '−0.00'; fewer than 0 decimals: as it is."""
    if not math.isfinite(value):
        return NO_VALUE
    text = f"{value:g}" if decimals < 0 else f"{value:z.{decimals}f}"
    if signed and float(text) > 0:
        text = f"+{text}"
    return text.replace("-", MINUS)


def with_uncertainty(value: float, U: float, decimals: int = 2, *, signed: bool = False) -> str:
    """'1.2034 ± 0.0021'; to `decimals` where no uncertainty is known; a dash for no value."""
    if not math.isfinite(value):
        return NO_VALUE
    if not (math.isfinite(U) and U > 0):
        return plain(value, decimals, signed=signed)
    decimals = decimals_of(U)
    return f"{plain(value, decimals, signed=signed)} ± {plain(U, decimals)}"


@dataclass(frozen=True, slots=True)
class Quantity:
    """How a kind of quantity is shown: its unit, how many of it are one SI unit, and the
    decimals it has where no uncertainty says."""

    unit: str
    per_si: float
    decimals: int

    def text(self, value: float | PlusMinus, *, signed: bool = False) -> str:
        """'2.71 mph', '2.71 ± 0.02 mph'; the unit stands once, after all."""
        number, U = (value.value, value.U) if isinstance(value, PlusMinus) else (value, math.nan)
        shown = with_uncertainty(
            self.per_si * number, self.per_si * U, self.decimals, signed=signed
        )
        return f"{shown} {self.unit}".strip()


def quantities(units: UnitSystem) -> dict[str, Quantity]:
    """The quantities a template may name after the colon, in a person's units."""
    measures = {
        kind: Quantity(unit := measure_unit(kind, units), 1 / UNITS[kind][unit], 1)
        for kind in MEASURES
    }
    return measures | {
        "speed": Quantity(units.speed, from_mps(1.0, units.speed), 2),
        "length": Quantity(units.length, 1 / units.length_m, 1),
        # A hair more, so that 1/16 in, 0.0625, is 0.063 as feeler sets have it, not 0.062.
        "gap": Quantity(units.gap, (1 + 1e-9) / units.gap_m, 3 if units.gap == "in" else 2),
        "percent": Quantity("%", 100.0, 2),
        "percent1": Quantity("%", 100.0, 1),
        "percent0": Quantity("%", 100.0, 0),
        "ratio": Quantity("", 1.0, 3),
        "time": Quantity("s", 1.0, 1),
        "seconds": Quantity("s", 1.0, 0),
        "milliseconds": Quantity("ms", 1000.0, 2),
        "angle": Quantity("°", 1.0, 0),
        "angle1": Quantity("°", 1.0, 1),
        "pull": Quantity("lbf", 1 / 4.4482216152605, 0) if units is US else Quantity("N", 1.0, 0),
        "hours": Quantity("h", 1.0, 0),
        "rate": Quantity("Hz", 1.0, 1),
        "number": Quantity("", 1.0, -1),
        "whole": Quantity("", 1.0, 0),
    }


BY_SUFFIX = {
    "mps": "speed",
    "m": "length",
    "rel": "percent1",
    "s": "time",
    "deg": "angle",
    "hz": "rate",
    "c": "temperature",
}
"""The last word of a value's name -> the quantity it is where its template does not say."""


class Formatter(string.Formatter):
    """Fills templates: '{gap_m:gap}' in the person's units, '{causes:or}' as 'a; or b'.

    After the colon stands a quantity, with '+' before it where its sign is to be seen, or
    one of Python's own format specs. `word` turns what is not yet text (a statement within
    a statement) into text; `joined` joins a list the way its spec says: '' or 'or'; `moment`
    tells a stored moment, whose name ends in `_utc`, as its spec says: '' or 'day'.
    """

    def __init__(
        self,
        units: UnitSystem = METRIC,
        *,
        decimal: str = ".",
        word: Callable[[Any], str] = str,
        joined: Callable[[Sequence[str], str], str] = lambda parts, _way: ", ".join(parts),
        moment: Callable[[str, str], str] = lambda when_utc, _form: when_utc,
    ) -> None:
        self._units, self._decimal, self._word, self._joined = units, decimal, word, joined
        self._moment = moment
        self._quantities = quantities(units)

    def get_field(
        self, field_name: str, args: Sequence[Any], kwargs: Mapping[str, Any]
    ) -> tuple[Any, str]:
        """The value with the name, whose last word tells its unit."""
        return (field_name, kwargs[field_name]), field_name

    def convert_field(self, value: Any, conversion: str | None) -> Any:
        """The value as '!r' or '!s' has it, its name with it."""
        name, found = value
        return name, super().convert_field(found, conversion)

    def format_field(self, value: Any, format_spec: str) -> str:
        name, found = value
        return self._text(name, found, format_spec)

    def _text(self, name: str, value: Any, spec: str) -> str:
        if isinstance(value, tuple | list):
            return self._joined([self._text(name, one, "") for one in value], spec)
        if isinstance(value, str) and name.endswith("_utc"):
            return self._moment(value, spec)
        if isinstance(value, bool) or not isinstance(value, int | float | PlusMinus):
            return self._word(value)
        if not spec and (isinstance(value, PlusMinus) or "_" in name):
            spec = BY_SUFFIX.get(name.rsplit("_", 1)[-1], "ratio" if "." in str(value) else "")
        signed, kind = spec.startswith("+"), spec.removeprefix("+")
        if kind == "temperature":
            return self._local(self._temperature(value))
        if kind in self._quantities:
            text = self._quantities[kind].text(value, signed=signed)
            return self._local(text.replace(" °", "°"))
        if isinstance(value, float) and not math.isfinite(value):
            return NO_VALUE
        return self._local(format(value, spec).replace("-", MINUS))

    def _temperature(self, value_c: float | PlusMinus) -> str:
        value = value_c.value if isinstance(value_c, PlusMinus) else value_c
        fahrenheit = self._units.temperature == "°F"
        return f"{plain(value * 1.8 + 32 if fahrenheit else value, 0)} {self._units.temperature}"

    def _local(self, text: str) -> str:
        return text if self._decimal == "." else text.replace(".", self._decimal)

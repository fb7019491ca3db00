"""The only conversions between what people type or read and SI.

Exact by definition: the international foot and mile (0.3048 m, 1609.344 m), the inch
(25.4 mm), the nautical mile (1852 m). Source: NIST SP 811, appendix B (from memory).
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass

from workbench.base.errors import WrongInput

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

_LENGTH_WORDS = {
    **{unit: unit for unit in LENGTH_UNITS_M},
    **{"inch": "in", "inches": "in", '"': "in", "″": "in", "'": "ft", "′": "ft", "feet": "ft"},
    **{"foot": "ft", "um": "µm", "μm": "µm", "mil": "thou", "mils": "thou"},
    **{"metre": "m", "metres": "m", "meter": "m", "meters": "m"},
    **{"millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm"},
}
_LENGTH = re.compile(
    r"(?P<sign>[+-]?)\s*"
    r"(?:(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<over>\d+)\s*/\s*(?P<under>\d+)"
    r"|(?P<decimal>\d+\.?\d*(?:e[+-]?\d+)?|\.\d+(?:e[+-]?\d+)?))"
    r"\s*(?P<unit>[^\d\s./+-]*)\.?",
    re.ASCII,
)


def parse_length_m(text: str, unit: str = "mm") -> float:
    """A length as typed ('1/16', '1 1/2 in', '0.062"', '1.6 mm', '16 thou'), in metres.

    A bare decimal number is in `unit`, a key of `LENGTH_UNITS_M`; a bare fraction is in
    inches, as feeler blades are marked. Raises WrongInput with what would be right.
    """
    match = _LENGTH.fullmatch(_one_line(text))
    if match is None:
        raise _no_length(text, "it is not a length")
    word = match["unit"].lower()
    if word and word not in _LENGTH_WORDS:
        raise _no_length(text, f"the unit '{match['unit']}' is not known")
    if match["sign"] == "-":
        raise _no_length(text, "it is below 0")
    if match["decimal"] is not None:
        value = float(match["decimal"]) * LENGTH_UNITS_M[_LENGTH_WORDS[word] if word else unit]
        if math.isinf(value):
            raise _no_length(text, "it is beyond any length")
        return value
    under = int(match["under"])
    if under == 0:
        raise _no_length(text, "it divides by 0")
    value = int(match["whole"] or 0) + int(match["over"]) / under
    return value * LENGTH_UNITS_M[_LENGTH_WORDS[word] if word else "in"]


def _one_line(text: str) -> str:
    """`text` with signs made plain: '1½' is '1 1/2', '1,6' is '1.6'."""
    for sign in sorted(set(text)):
        if unicodedata.category(sign) == "No" and "⁄" in unicodedata.normalize("NFKC", sign):
            text = text.replace(sign, " " + unicodedata.normalize("NFKC", sign))
    text = text.replace("⁄", "/").replace("−", "-").replace("\u00a0", " ").strip()
    return re.sub(r"(?<=\d),(?=\d{1,2}(?!\d))", ".", text)


def _no_length(text: str, found: str) -> WrongInput:
    return WrongInput(f"'{text}': {found}; expected a length such as 1/16, 0.062 in or 1.6 mm.")


def inch_fraction(length_m: float, parts: int = 64) -> str:
    """The nearest fraction of an inch as feeler blades and drills are marked: '1/16', '1 1/2'."""
    whole, over = divmod(round(length_m / INCH_M * parts), parts)
    if over == 0:
        return str(whole)
    shared = math.gcd(over, parts)
    fraction = f"{over // shared}/{parts // shared}"
    return f"{whole} {fraction}" if whole else fraction


@dataclass(frozen=True, slots=True)
class SettingUnit:
    """What the number set in a readout counts.

    `kind` is 'pulses a distance', 'distance a pulse', 'distance a turn' (of the target
    wheel) or 'bare'; `length_m` is the distance one of it stands for: 30.48 for
    'pulses/100 ft', 0.001 for 'mm/pulse', NaN for a bare number.
    """

    text: str
    kind: str
    length_m: float

    @property
    def reads(self) -> str:
        """'direct' or 'inverse' as the unit makes it, '' where a bare number leaves it open."""
        return {"pulses a distance": "inverse", "bare": ""}.get(self.kind, "direct")

    def setting(self, metres_per_pulse: float, target_teeth: int) -> float:
        """The setting for that many metres of belt a pulse; NaN for a bare number."""
        if self.kind == "pulses a distance":
            return self.length_m / metres_per_pulse
        turn = target_teeth if self.kind == "distance a turn" else 1
        return metres_per_pulse * turn / self.length_m


_PULSE = r"(?:pulses?|impulses?|imp|counts?|p)"
_TURN = r"(?:turns?|rev|revs|revolutions?)"
_DISTANCE = r"(?P<number>\d+(?:[.,]\d+)?)?\s*(?P<unit>[^\d\s/]+)"
_SETTING_KINDS = {
    "pulses a distance": re.compile(rf"{_PULSE}\s*(?:/|per|a)\s*{_DISTANCE}"),
    "distance a pulse": re.compile(rf"{_DISTANCE}\s*(?:/|per|a)\s*{_PULSE}"),
    "distance a turn": re.compile(rf"{_DISTANCE}\s*(?:/|per|a)\s*{_TURN}"),
}
_COURSE_UNITS_M = {"km": 1000.0, "mi": MILE_M, "mile": MILE_M, "miles": MILE_M, "yd": 3 * FOOT_M}


def parse_setting_unit(text: str) -> SettingUnit:
    """The unit of a readout's setting: 'pulses/100 ft', 'mm/pulse', 'in/turn', '' for none.

    Raises WrongInput with what would be right.
    """
    plain = text.strip().lower()
    if not plain:
        return SettingUnit(text, "bare", math.nan)
    for kind, pattern in _SETTING_KINDS.items():
        match = pattern.fullmatch(plain)
        if match is None:
            continue
        word = match["unit"].rstrip(".")
        one_m = _COURSE_UNITS_M.get(word) or LENGTH_UNITS_M.get(_LENGTH_WORDS.get(word, ""))
        number = float((match["number"] or "1").replace(",", "."))
        if one_m is not None and number > 0:
            return SettingUnit(text, kind, number * one_m)
    raise WrongInput(
        f"'{text}' is no unit of a setting; expected pulses a distance ('pulses/100 ft', "
        "'pulses/m'), a distance a pulse ('mm/pulse') or a turn ('in/turn', 'm/turn'), "
        "or '' for a bare number."
    )


def percent(share: float | None, digits: int = 2, *, signed: bool = False) -> str:
    """A share for a person: '0.52 %', signed '+3.10 %' or '−0.30 %'; '–' where there is none.

    What rounds to nothing has no sign: '0.00 %'.
    """
    if share is None or not math.isfinite(share):
        return "–"
    text = f"{100 * share:z.{digits}f}"
    sign = "+" if signed and float(text) > 0 else ""
    return f"{sign}{text} %".replace("-", "−")

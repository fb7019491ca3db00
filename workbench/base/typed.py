"""Lengths and units of a setting as people type them, in SI."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass

from workbench.base.errors import Message, WrongInput
from workbench.base.units import FOOT_M, LENGTH_UNITS_M, MILE_M

_LENGTH_WORDS = {
    **{unit: unit for unit in LENGTH_UNITS_M},
    **{"inch": "in", "inches": "in", '"': "in", "″": "in", "'": "ft", "′": "ft", "feet": "ft"},
    **{"foot": "ft", "um": "µm", "μm": "µm", "mil": "thou", "mils": "thou"},
    **{"metre": "m", "metres": "m", "meter": "m", "meters": "m"},
    **{"millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm"},
}
LEAST, MOST = 1e-12, 1e12
"""Between these lies every number that is measured, counted or set here, whatever its unit;
beyond, sums lose their meaning."""

_LENGTH = re.compile(
    r"(?P<sign>[+-]?)\s*"
    r"(?:(?:(?P<whole>\d+)(?:\s+|\s*-\s*))?(?P<over>\d+)\s*/\s*(?P<under>\d+)"
    r"|(?P<decimal>\d+\.?\d*(?:e[+-]?\d+)?|\.\d+(?:e[+-]?\d+)?))"
    r"\s*(?P<unit>[^\d\s./+-]*)\.?",
    re.ASCII,
)
_FEET_AND_MORE = re.compile(
    r"(?P<feet>\d{1,6})\s*(?P<mark>ft\.?|feet|foot|'|′|-)\s*-?\s*(?P<inches>\d.*|\.\d.*)",
    re.ASCII | re.IGNORECASE,
)


def parse_length_m(text: str, unit: str = "mm") -> float:
    """A length as typed ('1/16', '1 1/2 in', '0.062"', '1.6 mm', '32 ft 3 in'), in metres.

    A bare decimal number is in `unit`, a key of `LENGTH_UNITS_M`; a bare fraction is in
    inches, as feeler blades are marked, but where feet or metres are meant it could be
    either and is refused. In feet '32-3 1/2' is 32 ft 3 1/2 in. Raises WrongInput with
    what would be right.
    """
    plain = _one_line(text)
    feet = _FEET_AND_MORE.fullmatch(plain)
    if feet is not None and (feet["mark"] != "-" or _is_feet_dash_inches(feet["inches"], unit)):
        return int(feet["feet"]) * FOOT_M + _inches_m(text, feet["inches"])
    match = _LENGTH.fullmatch(plain)
    if match is None:
        raise _no_length(text, unit, Message("it is not a length"))
    word = match["unit"].lower()
    if word and word not in _LENGTH_WORDS:
        unknown = Message("the unit '{unit}' is not known", unit=match["unit"])
        raise _no_length(text, unit, unknown)
    if match["sign"] == "-":
        raise _no_length(text, unit, Message("it is below 0"))
    if match["decimal"] is not None:
        value = float(match["decimal"]) * LENGTH_UNITS_M[_LENGTH_WORDS[word] if word else unit]
        if math.isinf(value):
            raise _no_length(text, unit, Message("it is beyond any length"))
        return value
    under = int(match["under"])
    if under == 0:
        raise _no_length(text, unit, Message("it divides by 0"))
    if not word and unit in ("ft", "m"):
        raise WrongInput(
            "'{text}' could be in inches or in {unit}: type {text} in or {text} {unit}.",
            text=text.strip(),
            unit=unit,
        )
    value = int(match["whole"] or 0) + int(match["over"]) / under
    return value * LENGTH_UNITS_M[_LENGTH_WORDS[word] if word else "in"]


def _is_feet_dash_inches(inches: str, unit: str) -> bool:
    """Whether what follows a dash is inches: '32-3 1/2', '32-3"' in feet; not '1-1/2'."""
    match = _LENGTH.fullmatch(inches)
    whole = match is not None and (match["decimal"] is not None or match["whole"] is not None)
    return unit == "ft" and whole


def _inches_m(text: str, inches: str) -> float:
    """The inches after whole feet, in metres: at least 0 and below 12. Raises WrongInput."""
    match = _LENGTH.fullmatch(inches)
    if match is None or _LENGTH_WORDS.get(match["unit"].lower() or "in") != "in":
        raise _no_feet_and_inches(text)
    inches_m = parse_length_m(inches, "in")
    if inches_m > FOOT_M - 1e-9:  # 12 in is a foot but for rounding
        raise _no_feet_and_inches(text)
    return inches_m


def _no_feet_and_inches(text: str) -> WrongInput:
    return WrongInput(
        "'{text}': after the feet expected inches below 12, such as 32 ft 3 1/2 in.", text=text
    )


def _one_line(text: str) -> str:
    """`text` with signs made plain: '1½' is '1 1/2', '1,6' is '1.6'."""
    for sign in sorted(set(text)):
        if unicodedata.category(sign) == "No" and "⁄" in unicodedata.normalize("NFKC", sign):
            text = text.replace(sign, " " + unicodedata.normalize("NFKC", sign))
    text = text.replace("⁄", "/").replace("−", "-").replace("\u00a0", " ").strip()
    return re.sub(r"(?<=\d),(?=\d{1,2}(?!\d))", ".", text)


_EXAMPLES = {
    "in": Message("1/16 or 0.062 in"),
    "ft": Message("32 ft 3 1/2 in"),
    "m": Message("9.84 m"),
}
"""A length as those type it who read this unit; any other may be meant with any blade."""


def _no_length(text: str, unit: str, found: Message) -> WrongInput:
    return WrongInput(
        "'{text}': {found}; expected a length such as {example}.",
        text=text,
        found=found,
        example=_EXAMPLES.get(unit, Message("1/16, 0.062 in or 1.6 mm")),
    )


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
        "'{text}' is no unit of a setting; expected pulses a distance ('pulses/100 ft', "
        "'pulses/m'), a distance a pulse ('mm/pulse') or a turn ('in/turn', 'm/turn'), "
        "or '' for a bare number.",
        text=text,
    )

"""The prepare table: what was read off rule, gauge and watch, as on the tool.

Header `check,place,value,unit`, `by` may be added; `check` is a `ReadingKind`. Values may be
typed as fractions of an inch. A part's state is 'sound' or 'worn', a day 2026-11-20.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from workbench.base.errors import Message, WrongInput
from workbench.base.typed import parse_length_m
from workbench.base.units import MEASURES, UNITS
from workbench.calibration.prepare.measures import (
    SIDES,
    SOUND,
    SPECS,
    WAYS,
    WORN,
    PlaceKind,
    ReadingKind,
    Spec,
)
from workbench.calibration.typed_rows import read_rows

_NUMBER = r"[+-]?[\d.,]+(?:e[+-]?\d+)?"
_FRACTION = "/⁄½¼¾⅛⅜⅝⅞"
HEADER = ("check", "place", "value", "unit")
_MOST_ROWS, _MOST_LETTERS = 2_000, 100
_ALIASES = {
    **{"gpm": "gal/min", "gal/minute": "gal/min", "lpm": "L/min", "l/min": "L/min"},
    **{"kpa": "kPa", "mpa": "MPa", "pa": "Pa", "m³/s": "m3/s", "m3s": "m3/s"},
    **{"sec": "s", "seconds": "s", "link": "links", "pitches": "links", "hours": "h", "hrs": "h"},
    **{"kmh": "km/h", "kph": "km/h", "inch": "in", "inches": "in", '"': "in", "lbs/ft": "lb/ft"},
}
_TEMPERATURES = {"°c": (1.0, 0.0), "c": (1.0, 0.0), "°f": (1 / 1.8, 32.0), "f": (1 / 1.8, 32.0)}


@dataclass(frozen=True, slots=True)
class PreparedReading:
    """One row: a number in SI, 0 sound and 1 worn for a part's state, the day of the Gregorian
    calendar (`date.toordinal`) for one on which something was done; `line` 0 where it was typed
    on the screen, `typed` value and unit as they stand there."""

    measure: ReadingKind
    place: str
    value: float
    line: int = 0
    by: str = ""
    typed: tuple[str, str] = ("", "")


def parse_prepare_table(text: str, name: str = "prepare table") -> list[PreparedReading]:
    """The rows in their order. Raises WrongInput with the line and what would be right."""
    table = read_rows(
        text, name, needed=HEADER, known=(*HEADER, "by"), most=_MOST_ROWS, strict=True
    )
    found = []
    for row in table.rows:
        where = Message("{name}, line {line}", name=name, line=row.line)
        cells = row.cells
        try:
            measure = measure_of(cells["check"])
            place = place_of(measure, cells["place"])
            value = value_of(measure, cells["value"], cells["unit"])
        except WrongInput as error:
            raise WrongInput("{where}: {error}", where=where, error=error) from None
        typed = cells["value"], cells["unit"]
        found.append(PreparedReading(measure, place, value, row.line, cells.get("by", ""), typed))
    if not found:
        raise WrongInput(
            "{name}: there are no readings; expected rows under {header}.",
            name=name,
            header=",".join(HEADER),
        )
    return found


def looks_like_prepare_table(head: str) -> bool:
    """Whether a file that begins so is a prepare table."""
    lines = (line for line in head.splitlines() if line.strip() and not line.startswith("#"))
    first = next(lines, "").lower().replace(" ", "").replace('"', "")
    return bool(re.match("\ufeff?check[,;\t]place[,;\t]value", first))


def write_prepare_table(readings: Iterable[PreparedReading]) -> str:
    """Readings as typed, as the text of a table that `parse_prepare_table` reads again."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow((*HEADER, "by"))
    for one in readings:
        writer.writerow([one.measure, one.place, *one.typed, one.by])
    return out.getvalue()


def measure_of(word: str) -> ReadingKind:
    """The measure a row names. Raises WrongInput."""
    plain = " ".join(word.lower().replace("_", " ").replace("tire", "tyre").split())
    if plain in SPECS:
        return ReadingKind(plain)
    near = difflib.get_close_matches(plain, SPECS, n=1, cutoff=0.6)
    raise WrongInput(
        "'{word}' is no check; expected {known}.",
        word=word[:60],
        known=f"'{near[0]}'" if near else Message("one of {all}", all=", ".join(SPECS)),
    )


def place_of(measure: ReadingKind, place: str) -> str:
    """The place, in small letters where it is a side or a run. Raises WrongInput."""
    places = SPECS[measure].places
    plain = " ".join(place.split())
    expected = {
        PlaceKind.NAME: Message("a name, such as left, middle, or the chain's or the part's"),
        PlaceKind.SIDE: Message("a side, 'left' or 'right', an axle before it: 'rear left'"),
        PlaceKind.SHANK: Message("a side and a number from the centre outwards: 'left 1'"),
        PlaceKind.RUN: Message("a run and its direction: '1 there', '2 back'"),
    }
    patterns = {
        PlaceKind.NAME: r".+",
        PlaceKind.SIDE: r"(?:\S.* )?(?:left|right)",
        PlaceKind.SHANK: r"(?:left|right) [1-9]\d?",
        PlaceKind.RUN: r"\S+ (?:there|back)",
    }
    if places is PlaceKind.NONE:
        return ""
    if places is not PlaceKind.NAME:
        plain = plain.lower()
    if not re.fullmatch(patterns[places], plain) or len(plain) > _MOST_LETTERS:
        raise WrongInput(
            "'{place}' is no place of {measure}; expected {expected}.",
            place=place[:60],
            measure=measure,
            expected=expected[places],
        )
    if not plain.isprintable():
        raise WrongInput("a place must be printable text.")
    return plain


def value_of(measure: ReadingKind, value: str, unit: str) -> float:
    """What was read, in SI. Raises WrongInput with what would be right."""
    spec, value, unit = SPECS[measure], value.strip(), unit.strip()
    if not value:
        raise WrongInput(
            "no value of {measure}; expected {expected}.", **_told(measure, spec, unit)
        )
    if spec.kind == "state":
        if value.lower() not in (SOUND, WORN):
            raise WrongInput("'{value}': expected 'sound' or 'worn'.", value=value[:60])
        return float(value.lower() == WORN)
    if spec.kind == "day":
        try:
            return float(date.fromisoformat(value).toordinal())
        except ValueError:
            raise WrongInput(
                "'{value}' is no day; expected one such as 2026-11-20.", value=value[:60]
            ) from None
    number = _in_si(measure, spec, value, unit)
    whole = spec.kind != "count" or number == round(number)
    if not (spec.low <= number <= spec.high and whole):
        raise WrongInput(
            "{measure} of {typed}; expected {expected}.",
            typed=f"{value} {unit}".strip()[:60],
            **_told(measure, spec, _unit_in(value, unit)),
        )
    return number


def _unit_in(value: str, unit: str) -> str:
    """The unit that was typed, behind the number or beside it."""
    behind = re.search(r"[^\d\s.,/+-].*$", value)
    typed = unit or (behind[0].strip() if behind else "")
    return _ALIASES.get(typed.lower(), typed)


def _in_si(measure: ReadingKind, spec: Spec, value: str, unit: str) -> float:
    told = {"value": value[:60], "unit": unit[:60], **_told(measure, spec, unit)}
    plain = value.replace("−", "-")
    split = re.fullmatch(rf"({_NUMBER})\s*([^\d\s.,+-].*)", plain, re.IGNORECASE)
    if split and not unit and spec.kind != "length":
        plain, unit = split[1], split[2]
    unit = _ALIASES.get(unit.lower(), unit)
    if spec.kind == "length":
        return _length_m(plain, unit, told)
    try:
        number = _number(plain)
    except (ValueError, WrongInput):
        raise WrongInput(
            "'{value}' is no number for {measure}; expected {expected}.", **told
        ) from None
    if spec.kind == "temperature":
        if unit.lower() not in _TEMPERATURES:
            raise WrongInput("the unit '{unit}' of {measure}; expected °C or °F.", **told)
        factor, zero = _TEMPERATURES[unit.lower()]
        return (number - zero) * factor
    units = UNITS[spec.kind]
    unit = next((known for known in units if known.lower() == unit.lower()), unit)
    if unit not in units:
        raise WrongInput(
            "the unit '{unit}' of {measure}; expected {units}.",
            units=", ".join(filter(None, units)),
            **told,
        )
    return number * units[unit]


def is_number(text: str) -> bool:
    """Whether it is a number without a unit, and no fraction, which is of an inch."""
    return re.fullmatch(_NUMBER, text.strip(), re.IGNORECASE) is not None


def is_bare(text: str) -> bool:
    """Whether it is a number or a fraction without a unit."""
    return is_number(text) or re.fullmatch(rf"[\d\s\-{_FRACTION}]+", text) is not None


def _number(text: str) -> float:
    """'16.5', '16,5', '16 1/2' as a number. Raises ValueError, WrongInput."""
    if re.search(f"[{_FRACTION}]", text):
        return parse_length_m(f"{text} m")  # which reads fractions
    return float(re.sub(r"(?<=\d),(?=\d)", ".", text))


def _length_m(value: str, unit: str, told: dict[str, object]) -> float:
    """A length as on the tool; without a unit only a fraction, which is of an inch."""
    if is_number(value) and not unit:
        raise WrongInput("{measure} of '{value}' has no unit; expected {expected}.", **told)
    if value.startswith("-"):
        raise WrongInput("{measure} of {value} {unit}; expected {expected}.", **told)
    try:
        return parse_length_m(f"{value} {unit}")
    except WrongInput as error:
        raise WrongInput("{measure}: {error}", error=error, **told) from None


def _told(measure: ReadingKind, spec: Spec, unit: str) -> dict[str, object]:
    return {"measure": measure, "expected": expected_of(spec, unit)}


_USUAL = {
    **MEASURES,
    "length": ("in", "mm"),
    "speed": ("mph", "m/s"),
    "time": ("s",),
    "hours": ("h",),
}


def expected_of(spec: Spec, unit: str = "") -> Message:
    """What would be right, in the unit typed; without one in two, of which a person has either."""
    if spec.kind == "count":
        return Message("a whole number of links, {low:g} to {high:g}", low=spec.low, high=spec.high)
    if spec.kind == "temperature":
        if "f" in unit.lower():
            return Message("-22 to 248 °F")
        return Message("-30 to 120 °C") if unit else Message("-30 to 120 °C (-22 to 248 °F)")
    if spec.kind not in _USUAL:
        return Message("sound or worn") if spec.kind == "state" else Message("a day")
    known = UNITS[spec.kind]
    named = (unit,) if unit in known else _USUAL[spec.kind]
    first, *rest = (
        f"{spec.low / known[one]:.2g} to {spec.high / known[one]:.3g} {one}" for one in named
    )
    if not rest:
        return Message("{first}", first=first)
    return Message("{first} ({rest})", first=first, rest=rest[0])


def sides(places: Iterable[str]) -> Iterator[tuple[str, str, str]]:
    """(name, left place, right place) of what was read on both sides: ('rear', 'rear left', …)."""
    known = set(places)
    for left in sorted(known):
        name, _space, side = left.rpartition(" ")
        right = f"{name} {SIDES[1]}".strip()
        if side == SIDES[0] and right in known:
            yield name, left, right


def way_of(run: str) -> str:
    """The direction in which a run was driven, one of `WAYS`."""
    way = run.rpartition(" ")[2]
    return way if way in WAYS else WAYS[0]

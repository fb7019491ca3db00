"""What is typed beside a pass, on the screen as in the command: oil, moves, the taped course.

Moments are those of the recording: 38, 38s, 0:38 as a plot shows them, 1.5min.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from workbench.base.errors import Message, WrongInput
from workbench.base.units import FOOT_M

OIL = Message("two temperatures, for example 12,48 in °C or 54F,118F")
COURSE = Message(
    "a length in metres or feet and two moments in seconds, for example 30.48,12.0,36.8 or "
    "100ft,12.0,36.8"
)
MOVE = Message("a moment and steps, for example 38s=-2")


def parse_oil_c(text: str) -> tuple[float, float]:
    """Oil temperature at the start and the end, °C. Raises WrongInput."""
    start_c, end_c = _numbers(text, (_celsius, _celsius), OIL, -50.0, 150.0)
    return start_c, end_c


def parse_course(text: str) -> tuple[float, float, float]:
    """A taped course: its length in m, and when its ends were passed, s. Raises WrongInput."""
    length_m, from_s, to_s = _numbers(text, (_metres, _seconds, _seconds), COURSE, 0.0, 1e7)
    if not (length_m > 0 and to_s > from_s):
        raise WrongInput("A taped course needs a length and an end after its beginning.")
    return length_m, from_s, to_s


def parse_move(text: str) -> tuple[float, float]:
    """One move of the flow control: its moment, s, and its steps. Raises WrongInput."""
    at, equals, steps = text.strip().partition("=")
    try:
        at_s, moved = _seconds(at), float(steps)
    except ValueError:
        raise _wrong(text, MOVE) from None
    if not equals or not 0 <= at_s <= 1e7 or not abs(moved) <= 1e6:
        raise _wrong(text, MOVE)
    return at_s, moved


def parse_moves(text: str) -> tuple[tuple[float, float], ...]:
    """Moves one after the other, with spaces or semicolons between. Raises WrongInput."""
    return tuple(map(parse_move, re.findall(r"[^\s;]+", text)))


def _celsius(word: str) -> float:
    if word.upper().endswith("F"):
        return (float(word[:-1].rstrip("°")) - 32) / 1.8
    return float(word.upper().removesuffix("C").rstrip("°"))


def _metres(word: str) -> float:
    if word.endswith("ft"):
        return float(word.removesuffix("ft")) * FOOT_M
    return float(word.removesuffix("m"))


def _seconds(word: str) -> float:
    for unit, factor in (("min", 60.0), ("h", 3600.0), ("s", 1.0)):
        if word.strip().endswith(unit):
            return float(word.strip().removesuffix(unit)) * factor
    minutes, colon, rest = word.rpartition(":")
    return float(rest) + (60 * float(minutes) if colon else 0.0)


def _numbers(
    text: str, kinds: Sequence[Callable[[str], float]], expected: Message, low: float, high: float
) -> list[float]:
    words = [word.strip() for word in text.split(",")]
    try:
        values = [kind(word) for kind, word in zip(kinds, words, strict=True)]
    except ValueError:
        values = []
    if not values or not all(low <= value <= high for value in values):
        raise _wrong(text, expected)
    return values


def _wrong(text: str, expected: Message) -> WrongInput:
    return WrongInput("'{text}' is wrong; expected {expected}", text=text[:80], expected=expected)

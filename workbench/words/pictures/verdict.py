"""A verdict seen: a number line with the limits as posts, their guard bands, and the value with
its spread; and what makes the spread, as bars."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from workbench.words.language import _
from workbench.words.pictures.sketch import EMPTY, Area, Filling, Shape, Sketch, Stroke, Word, box
from workbench.words.words import Words

BASE, TOP, HEIGHT = 3.4, 1.3, 4.7
"""Where the number line lies, how high a spread reaches, and the whole, in lines."""
PAD = 0.16
"""Of the line, left free at both ends for the numbers."""
WIDEST = 2.0
"""A spread wider than so many times the limits' room is cut off."""
SPREAD = np.linspace(-3.0, 3.0, 61)
MOST_BARS = 5
ROW = 1.3
"""Lines from one bar to the next."""

Along = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Spread:
    """A value with its expanded uncertainty, and what it is called where there are several."""

    value: float
    U: float
    name: str = ""
    role: str = "ink"


def number_line(
    found: Sequence[Spread], low: float, high: float, kind: str, words: Words, *, sign: bool = False
) -> Sketch:
    """Values on the line between `low` and `high`, a quantity of this kind, the last what holds
    now; EMPTY where there is none, or no limits.

    The guard bands, hatched, are as wide as its U: within them pass and fail are conditional
    (ILAC-G8:09/2019).
    """
    known = [one for one in found if math.isfinite(one.value) and math.isfinite(one.U)]
    if not known or not (math.isfinite(low) and math.isfinite(high) and high > low):
        return EMPTY
    room = WIDEST * (high - low)
    reaches = [one.value + way * min(1.5 * one.U, room) for one in known for way in (-1, 1)]
    first, last = min(low, *reaches), max(high, *reaches)
    first, last = first - PAD * (last - first), last + PAD * (last - first)

    def at(value: float) -> float:
        return min(max((value - first) / (last - first), 0.0), 1.0)

    shapes = _limits(known[-1].U, low, high, at)
    for one in known:
        shapes += _spread(one, at)
    low_text, high_text = (words.number(kind, one, signed=sign) for one in (low, high))
    for text, place in ((low_text, at(low)), (high_text, at(high))):
        shapes.append(Word(text, place - 0.2, place + 0.2, BASE + 0.25, role="soft_ink", way=0))
    texts = [f"{one.name} {words.number(kind, one.value, one.U, signed=sign)}" for one in known]
    shown = texts if len(known) == 1 else [_short(one, kind, words, sign=sign) for one in known]
    shapes += _named([(one, text.strip()) for one, text in zip(known, shown, strict=True)], at)
    said = _("{values}; limits {low} to {high}")
    told = ", ".join(text.strip() for text in texts)
    return Sketch(HEIGHT, tuple(shapes), said.format(values=told, low=low_text, high=high_text))


def _limits(U: float, low: float, high: float, at: Along) -> list[Shape]:
    guard = min(U, 0.5 * (high - low))
    top = BASE - 0.7
    shapes: list[Shape] = [Area(box(at(low), at(high), top, BASE), "in_band", Filling.PALE)]
    for begin, end in ((low, low + guard), (high - guard, high)):
        shapes.append(Area(box(at(begin), at(end), top, BASE), "attention", Filling.HATCHED))
    shapes.append(Stroke(((0.0, BASE), (1.0, BASE)), "soft_ink"))
    posts = [((at(one), TOP), (at(one), BASE + 0.2)) for one in (low, high)]
    return [*shapes, *(Stroke(post, "in_band", bold=True) for post in posts)]


def _spread(one: Spread, at: Along) -> list[Shape]:
    """The value as a line, and a soft hump as wide as it is unsure (U is two of its widths)."""
    tops = BASE - (BASE - TOP) * np.exp(-0.5 * SPREAD**2)
    places = [at(one.value + 0.5 * one.U * step) for step in SPREAD.tolist()]
    hump = tuple(zip(places, tops.tolist(), strict=True))
    middle = at(one.value)
    return [
        Area(((places[0], BASE), *hump, (places[-1], BASE)), one.role, Filling.PALE),
        Stroke(hump, one.role),
        Stroke(((middle, TOP), (middle, BASE)), one.role, bold=True),
    ]


def _short(one: Spread, kind: str, words: Words, *, sign: bool) -> str:
    """Its name and its value in the digits that its U warrants; the hump tells the rest."""
    value = words.number(kind, one.value, one.U, signed=sign).partition(" ±")[0]
    return f"{one.name} {value}"


def _named(named: Sequence[tuple[Spread, str]], at: Along) -> list[Shape]:
    """The values above their humps; of two each on its own side, so that they do not meet."""
    if len(named) == 1:
        one, text = named[0]
        middle = min(max(at(one.value), 0.3), 0.7)
        return [Word(text, middle - 0.3, middle + 0.3, 0.0, role=one.role, bold=True, way=0)]
    left, right = sorted(named, key=lambda pair: pair[0].value)
    between = 0.5 * (at(left[0].value) + at(right[0].value))
    middle = min(max(between, 0.4), 0.6)
    return [
        Word(left[1], 0.0, middle - 0.01, 0.0, role=left[0].role, bold=True, way=1),
        Word(right[1], middle + 0.01, 1.0, 0.0, role=right[0].role, bold=True),
    ]


def share_bars(parts: Mapping[str, float], words: Words, shrinks: str = "") -> Sketch:
    """Contributions to a variance by their share, the longest on top, in plain words, below them
    what `shrinks` that; EMPTY where nothing is known."""
    whole = math.fsum(parts.values())
    if not whole > 0:
        return EMPTY
    ordered = sorted(parts.items(), key=lambda pair: -pair[1])
    ordered, rest = ordered[:MOST_BARS], ordered[MOST_BARS:]
    if rest:
        ordered.append((_("all the rest"), math.fsum(part for _name, part in rest)))
    shapes: list[Shape] = []
    for row, (name, part) in enumerate(ordered):
        top, share = row * ROW, part / whole
        shapes.append(Word(name, 0.0, 0.5, top))
        reach = 0.52 + 0.36 * share
        bar = box(0.52, max(reach, 0.524), top + 0.15, top + 1.0)
        shapes.append(Area(bar, "attention" if row == 0 else "no_data"))
        shapes.append(Word(words.number("percent0", share), reach + 0.01, 1.0, top))
    said = ", ".join(f"{name} {words.number('percent0', part / whole)}" for name, part in ordered)
    if shrinks:
        below = len(ordered) * ROW
        shapes.append(Word(shrinks, 0.0, 1.0, below, lines=2, role="soft_ink"))
    return Sketch(len(ordered) * ROW + (2.0 if shrinks else 0.0), tuple(shapes), said)

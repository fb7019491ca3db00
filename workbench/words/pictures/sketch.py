"""A small picture without axes as data: boxes, lines and words. Screen and paper draw the same.

Across, places are shares of the width; downwards they are lines of text. A colour is a role of
the theme, as in `picture.py`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

Place = tuple[float, float]


class Filling(Enum):
    """How an area is filled."""

    FULL = auto()
    PALE = auto()
    HATCHED = auto()


@dataclass(frozen=True, slots=True)
class Area:
    """What lies within these corners."""

    corners: tuple[Place, ...]
    role: str
    look: Filling = Filling.FULL


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through these places; `bold` is twice as wide."""

    places: tuple[Place, ...]
    role: str = "ink"
    bold: bool = False
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Word:
    """Words from `left` to `right` below `top`, in at most so many lines; what is longer ends in
    '…'. `way` is -1 at the left, 0 in the middle, 1 at the right."""

    text: str
    left: float
    right: float
    top: float
    lines: int = 1
    role: str = "ink"
    bold: bool = False
    way: int = -1


Shape = Area | Stroke | Word


@dataclass(frozen=True, slots=True)
class Sketch:
    """What is drawn, from the back to the front, in so many lines of height; `said` is the same
    in words."""

    height: float
    shapes: tuple[Shape, ...]
    said: str


EMPTY = Sketch(0.0, (), "")
"""A sketch with nothing in it."""


def box(left: float, right: float, top: float, bottom: float) -> tuple[Place, ...]:
    """The corners of a box."""
    return (left, top), (right, top), (right, bottom), (left, bottom)


def ring(x: float, y: float, radius: float, across: float) -> tuple[Place, ...]:
    """A circle, closed, its radius a share of the width, of a sketch `across` lines wide."""
    steps = [2 * math.pi * step / 36 for step in range(37)]
    return tuple((x + radius * math.cos(a), y + across * radius * math.sin(a)) for a in steps)


def stacked(parts: Sequence[Sketch], apart: float = 0.5) -> Sketch:
    """Sketches below one another."""
    shapes: list[Shape] = []
    top = 0.0
    for part in parts:
        shapes += [_lower(shape, top) for shape in part.shapes]
        top += part.height + apart
    said = " ".join(part.said for part in parts)
    return Sketch(max(top - apart, 0.0), tuple(shapes), said)


def _lower(shape: Shape, by: float) -> Shape:
    if isinstance(shape, Word):
        return replace(shape, top=shape.top + by)
    if isinstance(shape, Area):
        return replace(shape, corners=tuple((x, y + by) for x, y in shape.corners))
    return replace(shape, places=tuple((x, y + by) for x, y in shape.places))

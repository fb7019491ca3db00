"""Where to measure: the digger from the side with the part lit, and that part drawn larger."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

from workbench.base.machine import Machine
from workbench.calibration.prepare.measures import ReadingKind, Topic
from workbench.words.language import _
from workbench.words.pictures.prepare import shanks_sketch
from workbench.words.pictures.sketch import (
    Area,
    Filling,
    Place,
    Shape,
    Sketch,
    Stroke,
    Word,
    box,
    ring,
    stacked,
)
from workbench.words.words import Words

ACROSS = 17.0
"""Lines that a sketch is wide: as it is shown, circles are round."""
SIDE_HIGH, NEAR_HIGH = 5.6, 6.6
LIT, PLAIN = "attention", "soft_ink"


def topic_sketch(
    topic: Topic, kind: ReadingKind | None, place: str, machine: Machine | None, words: Words
) -> Sketch:
    """The digger with the topic's part lit, and that part with the reading's place lit."""
    side = _side(topic)
    if topic is Topic.SHANKS and (rows := shanks_sketch(machine, words)).shapes:
        return stacked((side, rows), 0.2)
    if topic not in _NEAR:
        return side
    shapes, said = _NEAR[topic](kind, place)
    return stacked((side, Sketch(NEAR_HIGH, tuple(shapes), said)), 0.2)


_ring = partial(ring, across=ACROSS)


def _hanging(left: Place, right: Place, low: float) -> tuple[Place, ...]:
    """A strand between two points, its middle `low` lines below the straight line."""
    at = [step / 20 for step in range(21)]
    return tuple(
        (
            left[0] + t * (right[0] - left[0]),
            left[1] + t * (right[1] - left[1]) + 4 * low * t * (1 - t),
        )
        for t in at
    )


def _both_ways(at: Place, to: Place, role: str = LIT) -> list[Shape]:
    """A line with an arrow head at both ends, upright or level."""
    level = at[1] == to[1]
    heads: list[Shape] = []
    for tip, way in ((at, 1), (to, -1)):
        if level:
            wings = [(tip[0] + way * 0.02, tip[1] + side * 0.2) for side in (-1, 1)]
        else:
            wings = [(tip[0] + side * 0.012, tip[1] + way * 0.34) for side in (-1, 1)]
        heads.append(Area((tip, *wings), role))
    return [Stroke((at, to), role, bold=True), *heads]


def _side(topic: Topic) -> Sketch:
    """Tractor at the left, the digger behind it, what belongs to the topic lit."""
    lower, upper = (0.43, 4.55), (0.83, 1.6)
    parts: list[tuple[set[Topic], Shape]] = [
        (set(), Stroke(((0.0, 5.3), (1.0, 5.3)), "earth", bold=True)),
        ({Topic.COURSE}, Stroke(_ring(0.11, 3.85, 0.085), PLAIN)),
        ({Topic.COURSE}, Stroke(_ring(0.11, 3.85, 0.02), PLAIN)),
        (set(), Stroke(((0.02, 2.9), (0.08, 1.9), (0.17, 1.9), (0.2, 2.9)), PLAIN)),
        (set(), Stroke(((0.18, 3.9), (0.3, 3.9), (0.42, 2.3), (0.88, 1.5)), PLAIN)),
        ({Topic.LEVEL}, Stroke(((0.42, 2.3), (0.88, 1.5)), PLAIN)),
        ({Topic.FLOW}, Stroke(((0.17, 2.6), (0.27, 1.9), (0.5, 0.9), (0.8, 0.8), upper), PLAIN)),
        ({Topic.FLOW}, Area(_ring(*upper, 0.022), PLAIN)),
        ({Topic.SHANKS}, Stroke(((0.33, 3.5), (0.31, 5.0)), PLAIN, bold=True)),
        ({Topic.BLADES}, Stroke(((0.31, 5.0), (0.29, 5.5), (0.39, 5.4)), PLAIN, bold=True)),
        ({Topic.BELT}, Stroke(_ring(*lower, 0.03), PLAIN)),
        ({Topic.BELT}, Stroke(_ring(*upper, 0.03), PLAIN)),
        ({Topic.BELT}, Stroke(((0.415, 4.1), (0.815, 1.12)), PLAIN, bold=True)),
        (
            {Topic.BELT},
            Stroke(_hanging((0.45, 5.0), (0.85, 2.08), 0.45), PLAIN, bold=True),
        ),
        ({Topic.CHAINS}, Stroke(((0.83, 1.25), (0.92, 2.1), (0.91, 2.5), (0.8, 1.9)), PLAIN)),
        ({Topic.CHAINS}, Stroke(_ring(0.91, 2.3, 0.014), PLAIN)),
        ({Topic.TYRES}, Stroke(_ring(0.66, 4.45, 0.05), PLAIN, bold=True)),
        (set(), Stroke(((0.66, 4.45), (0.64, 1.95)), PLAIN)),
        (
            {Topic.WEAR},
            Stroke((*box(0.25, 0.95, 0.6, 5.45), (0.25, 0.6)), "no_data", dashed=True),
        ),
    ]
    shapes: list[Shape] = []
    for topics, shape in sorted(parts, key=lambda part: topic in part[0]):
        lit = topic in topics
        if lit and isinstance(shape, Stroke):
            shapes.append(replace(shape, role=LIT, bold=True))
        elif lit and isinstance(shape, Area):
            shapes.append(replace(shape, role=LIT))
        elif shape is not parts[-1][1]:
            shapes.append(shape)
    return Sketch(SIDE_HIGH, tuple(shapes), _("the digger from the side"))


Near = tuple[list[Shape], str]


def _belt(kind: ReadingKind | None, place: str) -> Near:
    left, right, top = (0.07, 1.0), (0.55, 1.0), 1.0
    shapes: list[Shape] = [
        Stroke(_ring(0.07, 1.9, 0.05), PLAIN),
        Stroke(_ring(0.55, 1.9, 0.05), PLAIN),
        Stroke((left, right), PLAIN, bold=True),
        Stroke(((0.07, 2.75), (0.55, 2.75)), PLAIN, dashed=True),
        Stroke(_hanging((0.07, 2.75), (0.55, 2.75), 1.5), "belt", bold=True),
    ]
    if kind is ReadingKind.BELT_SPAN:
        shapes += _both_ways((0.07, 5.2), (0.55, 5.2))
    else:
        shapes += _both_ways((0.31, 2.75), (0.31, 4.25))
    shapes.append(Word(_("sag"), 0.33, 0.6, 2.9, role="ink"))
    shapes += [
        Area(box(0.68, 0.98, top, 4.6), "belt", Filling.PALE),
        *(Stroke(((0.68, y), (0.98, y)), "belt") for y in (1.3, 2.0, 2.7, 3.4, 4.1)),
        *_dots(((0.72, "left"), (0.83, "middle"), (0.94, "right")), 2.7, place),
        Word(_("across"), 0.62, 1.0, 4.7, role=PLAIN, way=0),
    ]
    return shapes, _("the belt's sag from the straight line, at three places across")


def _dots(dots: Sequence[tuple[float, str]], y: float, place: str) -> list[Shape]:
    return [
        Area(_ring(x, y, 0.02 if name == place else 0.012), LIT if name == place else "ink")
        for x, name in dots
    ]


def _chains(kind: ReadingKind | None, _place: str) -> Near:
    links = kind in (ReadingKind.CHAIN_LENGTH, ReadingKind.CHAIN_LINKS, ReadingKind.CHAIN_PITCH)
    shapes: list[Shape] = [
        Stroke(_ring(0.16, 2.4, 0.085), PLAIN),
        Stroke(_ring(0.84, 2.4, 0.06), PLAIN),
        Stroke(((0.16, 0.95), (0.84, 1.38)), "belt", bold=True),
        Stroke(_hanging((0.16, 3.85), (0.84, 3.42), 0.9), "belt", bold=True),
    ]
    if links:
        pins = [(0.28 + at * 0.055, 1.03 + at * 0.034) for at in range(9)]
        shapes += [Area(_ring(x, y, 0.009), LIT) for x, y in pins]
        shapes += _both_ways((pins[0][0], 0.5), (pins[-1][0], 0.5))
        shapes.append(Word(_("many links, pin to pin"), 0.1, 0.9, 5.2, way=0))
    else:
        shapes += _both_ways((0.5, 3.7), (0.5, 5.3))
        shapes.append(Word(_("up and down in all, half way"), 0.0, 1.0, 5.4, way=0))
    if kind is ReadingKind.CHAIN_SPAN:
        shapes += _both_ways((0.16, 2.4), (0.84, 2.4))
    return shapes, _("a drive chain's movement half way between its sprockets")


def _tyres(kind: ReadingKind | None, place: str) -> Near:
    shapes: list[Shape] = [
        Stroke(((0.0, 5.2), (1.0, 5.2)), "earth", bold=True),
        Stroke(((0.2, 3.0), (0.8, 3.0)), PLAIN, bold=True),
    ]
    for x, side, word in ((0.2, "left", _("left")), (0.8, "right", _("right"))):
        lit = place.endswith(side)
        role = LIT if lit else PLAIN
        shapes.append(Area(box(x - 0.06, x + 0.06, 0.8, 5.1), role, Filling.PALE))
        shapes.append(Stroke((*box(x - 0.06, x + 0.06, 0.8, 5.1), (x - 0.06, 0.8)), role))
        if kind is ReadingKind.TYRE_RADIUS:
            shapes += _both_ways((x + 0.11, 3.0), (x + 0.11, 5.2), role)
        else:
            shapes.append(Area(_ring(x, 1.6, 0.014), role))
        shapes.append(Word(word, x - 0.2, x + 0.2, 5.4, role=role, way=0))
    return shapes, _("both tyres from behind: cold pressure, hub to ground")


def _level(_kind: ReadingKind | None, place: str) -> Near:
    shapes: list[Shape] = [
        Stroke(((0.0, 5.2), (1.0, 5.2)), "earth", bold=True),
        Stroke(((0.12, 1.6), (0.88, 1.6)), "ink", bold=True),
        Stroke((*box(0.3, 0.36, 3.0, 5.1), (0.3, 3.0)), PLAIN),
        Stroke((*box(0.64, 0.7, 3.0, 5.1), (0.64, 3.0)), PLAIN),
    ]
    for x, side, word in ((0.16, "left", _("left")), (0.84, "right", _("right"))):
        role = LIT if place.endswith(side) else PLAIN
        shapes += _both_ways((x, 1.7), (x, 5.1), role)
        shapes.append(Word(word, x - 0.2, x + 0.2, 5.4, role=role, way=0))
    shapes.append(Word(_("flat, hard pad"), 0.3, 0.7, 5.4, role=PLAIN, way=0))
    return shapes, _("the frame from behind: its height over a flat pad, left and right")


def _blades(_kind: ReadingKind | None, place: str) -> Near:
    shapes: list[Shape] = [
        Stroke(((0.02, 3.6), (0.98, 3.6)), PLAIN, dashed=True),
        Stroke(((0.0, 5.0), (1.0, 5.0)), "earth", bold=True),
    ]
    for number in range(1, 5):
        x, lit = 0.14 + 0.24 * (number - 1), place == str(number)
        tip = 3.6
        role = LIT if lit else PLAIN
        shapes.append(Area(((x - 0.05, 1.4), (x + 0.05, 1.4), (x, tip)), role, Filling.PALE))
        shapes.append(Stroke(((x - 0.05, 1.4), (x + 0.05, 1.4), (x, tip), (x - 0.05, 1.4)), role))
        if lit:
            shapes += _both_ways((x, tip), (x, 4.95))
        shapes.append(Word(str(number), x - 0.05, x + 0.05, 0.2, role=role, way=0))
    shapes.append(Word(_("tips over the pad, left to right"), 0.0, 1.0, 5.2, role=PLAIN, way=0))
    return shapes, _("the blade tips' heights over a flat pad, sighted in one line")


def _shanks(_kind: ReadingKind | None, place: str) -> Near:
    shapes: list[Shape] = [
        Stroke(((0.5, 0.4), (0.5, 5.6)), PLAIN, dashed=True),
        Stroke(((0.0, 4.0), (1.0, 4.0)), "earth", bold=True),
        Word(_("centre line of the conveyor"), 0.2, 0.8, 5.6, role=PLAIN, way=0),
    ]
    for x, side in ((0.2, "left"), (0.8, "right")):
        role = LIT if place.startswith(side) else PLAIN
        shapes.append(Area(box(x - 0.01, x + 0.01, 1.0, 4.4), role))
        shapes += _both_ways((x, 4.8), (0.5, 4.8), role)
    return shapes, _("each shank's inner edge from the conveyor's centre line")


def _flow(kind: ReadingKind | None, _place: str) -> Near:
    role = LIT if kind is not ReadingKind.OIL_TEMPERATURE else PLAIN
    warm = LIT if kind is ReadingKind.OIL_TEMPERATURE else PLAIN
    shapes: list[Shape] = [
        Stroke(((0.02, 2.6), (0.98, 2.6)), PLAIN, bold=True),
        Area(_ring(0.42, 2.6, 0.1), role, Filling.PALE),
        Stroke(_ring(0.42, 2.6, 0.1), role, bold=True),
        Stroke(((0.42, 2.6), (0.48, 1.5)), role, bold=True),
        Stroke(_ring(0.86, 2.6, 0.08), PLAIN, bold=True),
        Area(((0.82, 2.1), (0.82, 3.1), (0.92, 2.6)), PLAIN),
        Stroke(((0.16, 0.9), (0.16, 2.5)), warm, bold=True),
        Area(_ring(0.16, 2.6, 0.022), warm),
        Word(_("tractor"), 0.0, 0.2, 4.2, role=PLAIN),
        Word(_("flow gauge"), 0.27, 0.57, 4.5, role=role, way=0),
        Word(_("motor"), 0.76, 0.96, 4.5, role=PLAIN, way=0),
    ]
    return shapes, _("a flow gauge in the motor's line, oil warm, engine at working speed")


def _course(kind: ReadingKind | None, place: str) -> Near:
    shapes: list[Shape] = [Stroke(((0.0, 4.4), (1.0, 4.4)), "earth", bold=True)]
    for x in (0.1, 0.9):
        shapes.append(Stroke(((x, 1.6), (x, 4.4)), "ink", bold=True))
        shapes.append(Area(((x, 1.6), (x + 0.07, 2.1), (x, 2.6)), "earth"))
    lit = kind is ReadingKind.COURSE_LENGTH
    shapes += _both_ways((0.1, 5.0), (0.9, 5.0), LIT if lit else PLAIN)
    shapes.append(Word(_("taped"), 0.0, 1.0, 5.3, role=PLAIN, way=0))
    there, back = place.endswith("there"), place.endswith("back")
    for y, on, way, word in ((3.0, there, 1, _("there")), (3.9, back, -1, _("back"))):
        role = LIT if on else PLAIN
        begin, end = (0.3, 0.7) if way > 0 else (0.7, 0.3)
        shapes.append(Stroke(((begin, y), (end, y)), role, bold=on))
        shapes.append(
            Area(((end, y), (end - way * 0.03, y - 0.25), (end - way * 0.03, y + 0.25)), role)
        )
        shapes.append(Word(word, 0.72, 0.88, y - 0.5, role=role))
    return shapes, _("a taped course between two flags, driven there and back at a steady speed")


_NEAR: dict[Topic, Callable[[ReadingKind | None, str], Near]] = {
    Topic.FLOW: _flow,
    Topic.TYRES: _tyres,
    Topic.LEVEL: _level,
    Topic.BLADES: _blades,
    Topic.SHANKS: _shanks,
    Topic.BELT: _belt,
    Topic.CHAINS: _chains,
    Topic.COURSE: _course,
}

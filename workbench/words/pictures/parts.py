"""The part to be touched, drawn with a few lines: flow control, pickup, readout, and so on."""

from __future__ import annotations

import math
from functools import partial

from workbench.jobs.passes.answer import PassAnswer
from workbench.match.advice import AdviceSays
from workbench.match.hypotheses import Cause, CauseSays
from workbench.words.language import _
from workbench.words.pictures.sketch import (
    EMPTY,
    Area,
    Filling,
    Place,
    Shape,
    Sketch,
    Stroke,
    Word,
    box,
    ring,
)

HIGH = 4.0
"""Lines of a drawing; it is as wide."""


def part_to_touch(answer: PassAnswer) -> Sketch:
    """What the first step of the advice is done at; EMPTY where nothing is to be touched."""
    says = {said.what for said in answer.advice.sentences} if answer.advice else set()
    cause = answer.causes[0] if answer.cause_clear else None
    if AdviceSays.JUDGE_AGAIN_WITH in says or AdviceSays.TAKE_A_SURER_GROUND in says:
        return _ground()
    named = None
    if cause is not None:
        known = cause.title.what == CauseSays.WRONG_TEETH_TYPED
        named = _wheel if known else _DRAWN.get(cause.cause)
    if named is not None:
        return named()
    changed = {AdviceSays.RUN_BELT_FASTER, AdviceSays.RUN_BELT_SLOWER}
    return _flow_control() if says & changed else EMPTY


_ring = partial(ring, across=HIGH)


def _rim(x: float, y: float, radius: float, teeth: int) -> tuple[Place, ...]:
    """The rim of a wheel with teeth, closed."""
    places = []
    for step in range(4 * teeth + 1):
        out = radius * (1.0 if step % 4 in (0, 1) else 0.78)
        angle = math.pi * step / (2 * teeth)
        places.append((x + out * math.cos(angle), y + HIGH * out * math.sin(angle)))
    return tuple(places)


def _flow_control() -> Sketch:
    lever = ((0.5, 2.6), (0.82, 0.8))
    shapes: tuple[Shape, ...] = (
        Area(box(0.25, 0.75, 2.0, 3.4), "soft_ink", Filling.PALE),
        Stroke((*box(0.25, 0.75, 2.0, 3.4), (0.25, 2.0)), "soft_ink"),
        Stroke(((0.05, 2.7), (0.25, 2.7)), "soft_ink", bold=True),
        Stroke(((0.75, 2.7), (0.95, 2.7)), "soft_ink", bold=True),
        Stroke(_ring(0.5, 2.7, 0.1), "ink"),
        Stroke(lever, "attention", bold=True),
        Area(_ring(0.82, 0.8, 0.07), "attention"),
        Stroke(((0.2, 1.0), (0.38, 0.4), (0.6, 0.2)), "attention", dashed=True),
    )
    return Sketch(HIGH, shapes, _("flow control"))


def _wheel() -> Sketch:
    shapes: tuple[Shape, ...] = (
        Area(_rim(0.4, 2.2, 0.36, 12), "soft_ink", Filling.PALE),
        Stroke(_rim(0.4, 2.2, 0.36, 12), "ink"),
        Stroke(_ring(0.4, 2.2, 0.08), "soft_ink"),
        Area(box(0.8, 1.0, 1.8, 2.6), "attention"),
    )
    return Sketch(HIGH, shapes, _("target wheel and pickup"))


def _readout() -> Sketch:
    frame = box(0.08, 0.92, 0.7, 3.3)
    shapes: tuple[Shape, ...] = (
        Area(frame, "soft_ink", Filling.PALE),
        Stroke((*frame, frame[0]), "ink"),
        Word("2.5", 0.08, 0.92, 1.0, role="ink", bold=True, way=0),
        Area(box(0.2, 0.42, 2.3, 2.9), "attention"),
        Area(box(0.58, 0.8, 2.3, 2.9), "attention"),
    )
    return Sketch(HIGH, shapes, _("readout"))


def _ground() -> Sketch:
    waves = [
        Stroke(
            tuple(
                (0.5 + r * math.cos(a / 8), 1.3 - HIGH * r * math.sin(a / 8)) for a in range(5, 21)
            )
        )
        for r in (0.14, 0.26)
    ]
    shapes: tuple[Shape, ...] = (
        Stroke(((0.05, 3.6), (0.95, 3.6)), "earth", bold=True),
        Stroke(((0.5, 3.6), (0.5, 1.5)), "ink", bold=True),
        Area(_ring(0.5, 1.4, 0.07), "attention"),
        *waves,
    )
    return Sketch(HIGH, shapes, _("ground speed source"))


def _roll() -> Sketch:
    shapes: tuple[Shape, ...] = (
        Stroke(_ring(0.3, 2.3, 0.22), "attention", bold=True),
        Stroke(_ring(0.3, 2.3, 0.05), "soft_ink"),
        Stroke(((0.3, 1.3), (1.0, 1.3)), "belt", bold=True),
        Stroke(((0.3, 3.3), (1.0, 3.3)), "belt", bold=True),
    )
    return Sketch(HIGH, shapes, _("drive roll and belt"))


_DRAWN = {
    Cause.VALVE_OFF: _flow_control,
    Cause.VALVE_MOVED: _flow_control,
    Cause.OIL_WARMING: _flow_control,
    Cause.WRONG_SETTING: _readout,
    Cause.LOSING_PULSES: _wheel,
    Cause.EXTRA_PULSES: _wheel,
    Cause.DAMAGED_WHEEL: _wheel,
    Cause.BELT_SLIP: _roll,
    Cause.ROLL_BUILD_UP: _roll,
}

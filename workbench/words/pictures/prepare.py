"""Rows and shanks to scale, with every number on the drawing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from workbench.base.machine import Machine
from workbench.calibration.prepare.judge import shank_distances_m
from workbench.calibration.prepare.measures import CHECKS, CheckKind
from workbench.calibration.prepare.sheet import CheckLine, Whose
from workbench.words.language import _
from workbench.words.pictures.sketch import EMPTY, Area, Filling, Shape, Sketch, Stroke, Word, box
from workbench.words.pictures.verdict import Spread, number_line
from workbench.words.prepare import as_on_a_rule
from workbench.words.words import Words

TOP, GROUND, HEIGHT = 1.2, 3.6, 9.6
"""Where the plants begin, where they stand, and the whole, in lines."""
ROW_LINES = 1.2
PLANT_LINES = 1.2


def shanks_sketch(
    machine: Machine | None, words: Words, checks: Sequence[CheckLine] = ()
) -> Sketch:
    """The rows from behind, with where each shank's inner edge should be, and what was measured
    below it; EMPTY where the rows are not known."""
    wanted, _whose = shank_distances_m(machine)
    if not wanted or machine is None:
        return EMPTY
    prepare = machine.prepare
    half_m = wanted[-1] * 1.12
    read = {one.place: one for one in checks if one.check is CheckKind.SHANK}

    def at(x_m: float) -> float:
        return 0.5 + x_m / half_m / 2

    shapes: list[Shape] = [Stroke(((0.5, TOP), (0.5, HEIGHT - 0.4)), "soft_ink", dashed=True)]
    shapes.append(Stroke(((0.0, GROUND), (1.0, GROUND)), "earth", bold=True))
    twin_m = prepare.twin_spacing_m / 2 if prepare.rows == "twin" else 0.0
    for number in range(len(wanted)):
        for side in (-1, 1):
            row_m = side * (number + 0.5) * prepare.row_spacing_m
            for off_m in {-twin_m, twin_m}:
                shapes += _plant(at(row_m + off_m), at(row_m + off_m + 0.08) - at(row_m + off_m))
    for number, distance_m in enumerate(wanted, 1):
        shapes += _shank(number, distance_m, at, read, words)
    row = as_on_a_rule(prepare.row_spacing_m, words)
    told = _("rows {row} apart").format(row=row)
    if twin_m:
        twin = as_on_a_rule(prepare.twin_spacing_m, words)
        told = _("{rows}, twins {twin}").format(rows=told, twin=twin)
    shapes.append(Word(told, 0.0, 1.0, 0.0, role="soft_ink", way=0))
    said = ", ".join(as_on_a_rule(one, words) for one in wanted)
    whole = _("Shanks' inner edges from the centre line: {distances}; {rows}.")
    shapes.sort(key=lambda shape: isinstance(shape, Word))  # over the lines that cross them
    return Sketch(HEIGHT, tuple(shapes), whole.format(distances=said, rows=told))


def check_line(line: CheckLine, words: Words) -> Sketch:
    """A value between its limits; of what cannot be below 0 the lower is 0. EMPTY where a side is
    open."""
    if line.limit_from is Whose.EYE:
        return EMPTY
    low = 0.0 if math.isnan(line.limit_low) else line.limit_low
    spread = Spread(line.value, line.U_value)
    quantity = CHECKS[line.check].quantity
    return number_line([spread], low, line.limit_high, quantity, words)


def _plant(x: float, wide: float) -> list[Shape]:
    leaf = tuple(
        (x + wide * math.cos(a), GROUND - PLANT_LINES + PLANT_LINES * 0.8 * math.sin(a))
        for a in (math.pi * step / 12 for step in range(25))
    )
    return [Area(leaf, "in_band", Filling.PALE), Stroke(((x, GROUND - 1), (x, GROUND)), "in_band")]


def _shank(
    number: int,
    distance_m: float,
    place: Callable[[float], float],
    read: dict[str, CheckLine],
    words: Words,
) -> list[Shape]:
    """One number's shanks on both sides, and its dimension line with its distance."""
    low = GROUND + 1.0 + ROW_LINES * (number - 1)
    shapes: list[Shape] = []
    for side, name in ((-1, "left"), (1, "right")):
        x = place(side * distance_m)
        line = read.get(f"{name} {number}")
        role = "ink"
        if line is not None:
            role = "bad" if line.verdict.is_fail else "in_band"
        shapes.append(Area(box(x, x + side * 0.008, TOP, GROUND + 0.6), role))
        shapes.append(Stroke(((0.5, low), (x, low)), "soft_ink"))
        shapes.append(Stroke(((x, GROUND + 0.6), (x, low + 0.2)), "line"))
        text = as_on_a_rule(distance_m, words)
        if line is not None:
            text = _("{measured}, should be {right}").format(
                measured=as_on_a_rule(line.value, words), right=text
            )
        edges = (0.02, 0.49) if side < 0 else (0.51, 0.98)
        shapes.append(Word(text, *edges, low, role=role, way=0))
    return shapes

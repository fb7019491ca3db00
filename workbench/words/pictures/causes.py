"""Why belt and ground did not keep pace, seen: a row a cause, its probability as a bar, what tells
it beside it, and how the belt and the ground ran."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from workbench.jobs.passes.answer import PassAnswer
from workbench.match.hypotheses import Cause
from workbench.match.ratio import RatioPart
from workbench.words.language import N_, _
from workbench.words.passes import CauseWords, pass_words
from workbench.words.pictures.picture import Floats
from workbench.words.pictures.sketch import EMPTY, Area, Shape, Sketch, Stroke, Word, box, stacked
from workbench.words.pictures.verdict import Spread, number_line, share_bars
from workbench.words.words import Words

IN_TIME = (
    *(Cause.VALVE_OFF, Cause.OIL_WARMING, Cause.ENGINE_DROOP, Cause.VALVE_MOVED),
    *(Cause.BELT_NOT_FOLLOWING, Cause.WHEEL_SLIP, Cause.GNSS_UNUSABLE),
)
"""Causes that the course of both speeds tells."""
PARTS = {
    RatioPart.SCATTER: N_("belt against ground, moment by moment"),
    RatioPart.BELT_SHARED: N_("how far a pulse moves the belt"),
    RatioPart.GROUND_SHARED: N_("the ground source's scale"),
    RatioPart.BELT_OWN: N_("the belt source's own accuracy"),
    RatioPart.GROUND_OWN: N_("the ground source's own accuracy"),
    RatioPart.LAG: N_("how far one source is behind"),
}
"""What makes a ratio unsure, in plain words."""
SHRINKS = {
    RatioPart.SCATTER: N_("A longer pass at an even speed shrinks the longest."),
    RatioPart.BELT_SHARED: N_("A lap of the belt measured again shrinks the longest."),
    RatioPart.GROUND_SHARED: N_("A taped course, or a surer source, shrinks the longest."),
    RatioPart.BELT_OWN: N_("A longer pass, or pulses for the belt, shrink the longest."),
    RatioPart.GROUND_OWN: N_("A longer pass, or a surer source, shrinks the longest."),
    RatioPart.LAG: N_("A pass at an even speed shrinks the longest."),
}
TALL, APART = 4.2, 0.6
"""Lines of a cause, and between two."""
COURSE_POINTS = 60
GROUND_WORDS = 0.66
"""Where the words of a cause end and the picture that tells begins."""


def verdict_sketch(answer: PassAnswer, words: Words) -> Sketch:
    """The ratio between its limits; after a change that before it, pale, beside it."""
    low, high = answer.ratio_low, answer.ratio_high
    if len(answer.stretches) == 2:
        before, after = answer.stretches
        found = [
            Spread(before.ratio, before.U_ratio, _("before"), "no_data"),
            Spread(after.ratio, after.U_ratio, _("after")),
        ]
        return number_line(found, low, high, "ratio", words)
    return number_line([Spread(answer.ratio, answer.U_ratio)], low, high, "ratio", words)


def budget_sketch(answer: PassAnswer, words: Words) -> Sketch:
    """What makes the ratio unsure, by share of its variance."""
    known = {part: u_rel for part, u_rel in answer.u_parts_rel.items() if u_rel > 0}
    if not known:
        return EMPTY
    longest = max(known, key=lambda part: known[part])
    parts = {_(PARTS[part]): u_rel**2 for part, u_rel in known.items()}
    return share_bars(parts, words, _(SHRINKS[longest]))


def causes_sketch(answer: PassAnswer, words: Words) -> Sketch:
    """The likely causes, the most likely on top; EMPTY where there are none."""
    said = pass_words(answer, words).causes
    rows = [
        _row(cause.cause, cause.probability, told, answer)
        for cause, told in zip(answer.likely_causes, said, strict=True)
    ]
    return stacked(rows, APART) if rows else EMPTY


def _row(cause: Cause, probability: float, told: CauseWords, answer: PassAnswer) -> Sketch:
    course = _course(answer) if cause in IN_TIME else []
    end = GROUND_WORDS if course else 1.0
    shapes: list[Shape] = [
        Area(box(0.0, 1.0, 0.1, 0.5), "line"),
        Area(box(0.0, max(probability, 0.01), 0.1, 0.5), "belt"),
        Word(told.probability, 0.0, 0.2, 0.65, bold=True, role="belt"),
        Word(told.title, 0.2, end, 0.65, lines=2, bold=True),
        Word(told.evidence or told.check, 0.2, end, 2.65, lines=2, role="soft_ink"),
        *course,
    ]
    return Sketch(TALL + 0.4, tuple(shapes), f"{told.title}: {told.probability}.")


def _course(answer: PassAnswer) -> list[Shape]:
    """How belt and ground ran, small, at the right of a row; holes are holes."""
    rows = answer.series.rows()
    if rows.shape[0] < 2:
        return []
    width = max(1, rows.shape[0] // COURSE_POINTS)
    time_s, belt, ground = rows[::width, 0], rows[::width, 1], rows[::width, 2]
    both = np.concatenate((belt, ground))
    if not np.isfinite(both).any():
        return []
    low, high = float(np.nanmin(both)), float(np.nanmax(both))
    room = max(high - low, 0.05 * high)
    across = GROUND_WORDS + 0.03 + (0.97 - GROUND_WORDS) * (time_s - time_s[0]) / np.ptp(time_s)
    shapes: list[Shape] = []
    for values, role in ((ground, "earth"), (belt, "belt")):
        down = 0.8 + 3.4 * (1.0 - (values - low) / room)
        shapes += [Stroke(piece, role, bold=role == "belt") for piece in _pieces(across, down)]
    return shapes


def _pieces(across: Floats, down: Floats) -> Sequence[tuple[tuple[float, float], ...]]:
    """The line between its holes."""
    found: list[tuple[tuple[float, float], ...]] = []
    piece: list[tuple[float, float]] = []
    for x, y in zip(across.tolist(), down.tolist(), strict=True):
        if math.isfinite(y):
            piece.append((x, y))
            continue
        found, piece = [*found, tuple(piece)], []
    return [one for one in [*found, tuple(piece)] if len(one) > 1]

"""Two results side by side: their figures with the difference, and both on the same axes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from workbench.base.numbers import NO_VALUE
from workbench.calibration.gap.answer import FeelerAnswer, PickupAnswer, WheelAnswer
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.passes.answer import PassAnswer
from workbench.words.figures import MainFigure, figures
from workbench.words.language import _
from workbench.words.pictures.calibrate import K
from workbench.words.pictures.passes import LEAST_M, ratio_of
from workbench.words.pictures.picture import (
    CLOCK,
    Axis,
    Band,
    Floats,
    Panel,
    Picture,
    Points,
    Trace,
)
from workbench.words.pictures.pyramid import Pyramid
from workbench.words.words import Words

ROLES = ("ink", "soft_ink")
INF = math.inf


@dataclass(frozen=True, slots=True)
class ComparedRow:
    """A figure of both: its words, the two values, the second less the first, what that says."""

    name: str
    first: str
    second: str
    difference: str
    meaning: str


def compared_rows(first: Any, second: Any, words: Words) -> list[ComparedRow]:
    """The verdicts of two answers, then every figure that either holds."""
    verdicts = [getattr(one, "verdict", None) for one in (first, second)]
    rows = []
    if any(verdicts):
        meaning = _("the same") if verdicts[0] == verdicts[1] else _("changed")
        told = [words.say(verdict or "") for verdict in verdicts]
        rows.append(ComparedRow(_("Verdict"), told[0], told[1], "", meaning))
    if isinstance(first, GapAnswer) and isinstance(second, GapAnswer):
        first, second = _same_pickup(first, second)
    mine, other = ({one.name: one for one in figures(answer)} for answer in (first, second))
    names = dict.fromkeys([*mine, *other])
    return rows + [_row(name, mine.get(name), other.get(name), words) for name in names]


def _row(
    name: str, first: MainFigure | None, second: MainFigure | None, words: Words
) -> ComparedRow:
    one, other = (figure.text(words) if figure else NO_VALUE for figure in (first, second))
    if first is None or second is None:
        return ComparedRow(name, one, other, NO_VALUE, "")
    change = second.value - first.value
    U = math.hypot(first.U, second.U)
    text = words.number(first.kind, change, U, signed=True)
    if not math.isfinite(U):
        return ComparedRow(name, one, other, text, _("the same") if change == 0 else "")
    if abs(change) <= U:
        return ComparedRow(name, one, other, text, _("no difference to be told"))
    return ComparedRow(name, one, other, text, _("larger") if change > 0 else _("smaller"))


def compared_pictures(first: Any, second: Any) -> list[Picture]:
    """Both answers on the same axes, as A and B; [] where their kind draws nothing."""
    if isinstance(first, PassAnswer) and isinstance(second, PassAnswer):
        return _passes((first, second))
    if isinstance(first, CalibrateAnswer) and isinstance(second, CalibrateAnswer):
        return [_calibrations((first, second))]
    if isinstance(first, GapAnswer) and isinstance(second, GapAnswer):
        return _gaps(first, second)
    return []


def _line(at: int, line: Pyramid, name: str | None = None) -> Trace:
    """A line of A, or of B, which is dashed."""
    return Trace("AB"[at] if name is None else name, line, ROLES[at], dashed=at == 1)


def _points(at: int, x: Floats, y: Floats, U: Floats | None = None, most: float = INF) -> Points:
    """Points of A, or of B, which are hollow squares; those beyond `most` stand out."""
    shape = "square" if at else "dot"
    odd = np.abs(y) > most
    return Points("AB"[at], x, y, U, None, ROLES[at], shape, bool(at), odd)


def _passes(answers: Sequence[PassAnswer]) -> list[Picture]:
    ratios, apart = [], []
    for at, answer in enumerate(answers):
        time_s, belt, ground, apart_m = answer.series.rows().T
        time_s = time_s - time_s[0] if time_s.size else time_s
        ratios.append(_line(at, Pyramid(time_s, ratio_of(belt, ground))))
        apart.append(_line(at, Pyramid(time_s, apart_m)))
    band = Band(answers[0].ratio_low, answers[0].ratio_high, _("allowed"))
    x = Axis(_("time"), CLOCK)
    ratio = Panel(Axis(_("ratio belt ÷ ground"), "ratio"), tuple(ratios), bands=(band,))
    ahead = Panel(Axis(_("belt ahead of ground"), "length"), tuple(apart), least=LEAST_M)
    return [Picture(x, (ratio,)), Picture(x, (ahead,))]


def _calibrations(answers: Sequence[CalibrateAnswer]) -> Picture:
    points, lines = [], []
    limit = answers[0].readout_error_limit
    for at, answer in enumerate(answers):
        used = sorted((run for run in answer.runs if run.used), key=lambda run: run.true_mps)
        x = np.array([run.true_mps for run in used])
        y = np.array([run.error for run in used])
        points.append(_points(at, x, y, K * np.array([run.u_error for run in used]), limit))
        speed = np.array([end.speed_mps for end in answer.error_at_ends])
        error = np.array([end.error for end in answer.error_at_ends])
        lines.append(_line(at, Pyramid(speed, error), ""))
    panel = Panel(
        Axis(_("readout error"), "percent", signed=True),
        tuple(lines),
        tuple(points),
        bands=(Band(-limit, limit, _("allowed")),),
        include=(-limit, limit),
    )
    return Picture(Axis(_("true belt speed"), "speed"), (panel,))


def _gaps(first: GapAnswer, second: GapAnswer) -> list[Picture]:
    one, other = _same_pickup(first, second)
    if isinstance(one, FeelerAnswer) and isinstance(other, FeelerAnswer):
        return [_feeler((one, other), first.gap_max_m)]
    if isinstance(one, WheelAnswer) and isinstance(other, WheelAnswer):
        return [_teeth((one, other))]
    return []


def _same_pickup(first: GapAnswer, second: GapAnswer) -> tuple[PickupAnswer, PickupAnswer]:
    """The first pickup that both checks hold, else the first of each."""
    known = {one.pickup: one for one in second.pickups}
    for one in first.pickups:
        if one.pickup in known:
            return one, known[one.pickup]
    return first.pickups[0], second.pickups[0]


def _feeler(chosen: Sequence[FeelerAnswer], most_m: float) -> Picture:
    points, lines = [], []
    for at, one in enumerate(chosen):
        places = sorted(one.places, key=lambda place: place.angle_deg)
        x = np.array([place.angle_deg for place in places])
        y = np.array([place.gap_m for place in places])
        points.append(_points(at, x, y, most=most_m))
        lines.append(_line(at, Pyramid(x, y), ""))
    panel = Panel(
        Axis(_("gap at {pickup}").format(pickup=chosen[0].pickup), "gap"),
        tuple(lines),
        tuple(points),
        bands=(Band(0.0, most_m, _("allowed")),),
        include=(0.0, 1.1 * most_m),
    )
    return Picture(Axis(_("angle from the mark"), "angle"), (panel,))


def _teeth(chosen: Sequence[WheelAnswer]) -> Picture:
    points, lines = [], []
    for at, one in enumerate(chosen):
        y = np.array(one.spacing_rel)
        x = np.arange(1, y.size + 1, dtype=np.float64)
        points.append(_points(at, x, y))
        lines.append(_line(at, Pyramid(x, y), ""))
    words = _("late against the pitch at {pickup}").format(pickup=chosen[0].pickup)
    most = max(one.x.size for one in points)
    axis = Axis(_("tooth"), numbers=np.arange(1, most + 1))
    return Picture(axis, (Panel(Axis(words, "percent"), tuple(lines), tuple(points)),))

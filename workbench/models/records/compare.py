"""Two results side by side: their figures with the difference, and both on the same axes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from workbench.base.units import UnitSystem
from workbench.jobs.codec import from_plain
from workbench.jobs.passes.answer import Series
from workbench.records.entries import StoredResult
from workbench.words.figures import Figure, figures, number, with_spread
from workbench.words.language import _
from workbench.words.numbers import NO_VALUE
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


def compared_rows(
    first: Mapping[str, Any], second: Mapping[str, Any], units: UnitSystem
) -> list[ComparedRow]:
    """The verdicts, then every figure that either answer holds."""
    verdicts = [str(one.get("verdict") or "") for one in (first, second)]
    rows = []
    if any(verdicts):
        same = "the same" if verdicts[0] == verdicts[1] else "changed"
        rows.append(ComparedRow("Verdict", verdicts[0], verdicts[1], "", same))
    by_name = [{one.name: one for one in figures(answer, units)} for answer in (first, second)]
    names = dict.fromkeys([*by_name[0], *by_name[1]])
    return rows + [_row(name, by_name[0].get(name), by_name[1].get(name)) for name in names]


def _row(name: str, first: Figure | None, second: Figure | None) -> ComparedRow:
    texts = first.text if first else NO_VALUE, second.text if second else NO_VALUE
    if first is None or second is None:
        return ComparedRow(name, *texts, NO_VALUE, "")
    change = second.value - first.value
    U = math.hypot(first.U, second.U)
    text = with_spread(change, U, first.measure, signed=True)
    if not math.isfinite(U):
        return ComparedRow(name, *texts, text, "the same" if change == 0 else "")
    told = abs(change) > U
    meaning = ("larger" if change > 0 else "smaller") if told else "no difference to be told"
    return ComparedRow(name, *texts, text, meaning)


def compared_pictures(first: StoredResult, second: StoredResult) -> list[Picture]:
    """Both results on the same axes, as A and B; [] where their kind draws nothing."""
    makers = {"pass": _passes, "calibrate": _calibrations, "gap": _gaps}
    if first.kind != second.kind or first.kind not in makers:
        return []
    return makers[first.kind]((first.answer, second.answer))


def _line(at: int, line: Pyramid, name: str | None = None) -> Trace:
    """A line of A, or of B, which is dashed."""
    return Trace("AB"[at] if name is None else name, line, ROLES[at], dashed=at == 1)


def _points(at: int, x: Floats, y: Floats, U: Floats | None = None, most: float = INF) -> Points:
    """Points of A, or of B, which are hollow squares; those beyond `most` stand out."""
    shape = "square" if at else "dot"
    odd = np.abs(y) > most
    return Points("AB"[at], x, y, U, None, ROLES[at], shape, bool(at), odd)


def _band(low: Any, high: Any) -> tuple[Band, ...]:
    ends = number(low), number(high)
    return (Band(*ends, _("allowed")),) if all(map(math.isfinite, ends)) else ()


def _passes(answers: Sequence[Mapping[str, Any]]) -> list[Picture]:
    ratios, apart = [], []
    for at, answer in enumerate(answers):
        time_s, belt, ground, apart_m = from_plain(answer.get("series", {}), Series).rows().T
        time_s = time_s - time_s[0] if time_s.size else time_s
        ratios.append(_line(at, Pyramid(time_s, ratio_of(belt, ground))))
        apart.append(_line(at, Pyramid(time_s, apart_m)))
    band = _band(answers[0].get("ratio_low"), answers[0].get("ratio_high"))
    x = Axis(_("time"), CLOCK)
    ratio = Panel(Axis(_("ratio belt ÷ ground"), "ratio"), tuple(ratios), bands=band)
    ahead = Panel(Axis(_("belt ahead of ground"), "length"), tuple(apart), least=LEAST_M)
    return [Picture(x, (ratio,)), Picture(x, (ahead,))]


def _calibrations(answers: Sequence[Mapping[str, Any]]) -> list[Picture]:
    points, lines = [], []
    limit = number(answers[0].get("readout_error_limit"))
    for at, answer in enumerate(answers):
        used = [run for run in answer.get("runs") or [] if run.get("used")]
        used.sort(key=lambda run: run["true_mps"])
        x, y, u = (np.array([run[key] for run in used]) for key in ("true_mps", "error", "u_error"))
        points.append(_points(at, x, y, K * u, limit))
        ends = answer.get("error_at_ends") or []
        speed, error = (np.array([end[key] for end in ends]) for key in ("speed_mps", "error"))
        lines.append(_line(at, Pyramid(speed, error), ""))
    panel = Panel(
        Axis(_("readout error"), "percent", signed=True),
        tuple(lines),
        tuple(points),
        bands=_band(-limit, limit),
        include=(-limit, limit) if math.isfinite(limit) else None,
    )
    return [Picture(Axis(_("true belt speed"), "speed"), (panel,))]


def _gaps(answers: Sequence[Mapping[str, Any]]) -> list[Picture]:
    pickups = [answer.get("pickups") or [answer] for answer in answers]
    chosen = _same_pickup(pickups)
    if all("places" in one for one in chosen):
        return [_feeler(chosen, number(answers[0].get("gap_max_m")))]
    if all("spacing_rel" in one for one in chosen):
        return [_teeth(chosen)]
    return []


def _same_pickup(pickups: Sequence[Sequence[Mapping[str, Any]]]) -> list[Mapping[str, Any]]:
    """The first pickup that both checks hold, else the first of each."""
    second = {one.get("pickup"): one for one in pickups[1]}
    for one in pickups[0]:
        if one.get("pickup") in second:
            return [one, second[one.get("pickup")]]
    return [pickups[0][0], pickups[1][0]]


def _feeler(chosen: Sequence[Mapping[str, Any]], most_m: float) -> Picture:
    points, lines = [], []
    for at, one in enumerate(chosen):
        places = sorted(one["places"], key=lambda place: place["angle_deg"])
        x = np.array([place["angle_deg"] for place in places], dtype=np.float64)
        y = np.array([place["gap_m"] for place in places], dtype=np.float64)
        points.append(_points(at, x, y, most=most_m if math.isfinite(most_m) else INF))
        lines.append(_line(at, Pyramid(x, y), ""))
    pickup = chosen[0].get("pickup") or ""
    words = _("gap at {pickup}").format(pickup=pickup) if pickup else _("gap")
    panel = Panel(
        Axis(words, "gap"),
        tuple(lines),
        tuple(points),
        bands=_band(0.0, most_m),
        include=(0.0, 1.1 * most_m) if math.isfinite(most_m) else None,
    )
    return Picture(Axis(_("angle from the mark"), "angle"), (panel,))


def _teeth(chosen: Sequence[Mapping[str, Any]]) -> Picture:
    points, lines = [], []
    for at, one in enumerate(chosen):
        y = np.array([number(value) for value in one["spacing_rel"]])
        x = np.arange(1, y.size + 1, dtype=np.float64)
        points.append(_points(at, x, y))
        lines.append(_line(at, Pyramid(x, y), ""))
    words = _("late against the pitch at {pickup}").format(
        pickup=chosen[0].get("pickup") or _("the pickup")
    )
    most = max(one.x.size for one in points)
    axis = Axis(_("tooth"), numbers=np.arange(1, most + 1))
    return Picture(axis, (Panel(Axis(words, "percent"), tuple(lines), tuple(points)),))

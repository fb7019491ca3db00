"""Two results side by side: their figures with the difference, and both on the same axes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from workbench.base.units import UnitSystem, from_mps
from workbench.models.plot.picture import Band, Floats, Picture, Series
from workbench.records.entries import StoredResult
from workbench.words.figures import Figure, figures, measures_of, number, plain, with_spread
from workbench.words.numbers import NO_VALUE
from workbench.words.passes import pass_rows

STANDS_MPS = 0.06
"""Below this ground speed a ratio says nothing; chosen."""


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


def compared_pictures(
    first: StoredResult, second: StoredResult, units: UnitSystem
) -> list[Picture]:
    """Both results on the same axes, as A and B; [] where their kind draws nothing."""
    if first.kind != second.kind:
        return []
    makers = {"pass": _passes, "calibrate": _calibrations, "gap": _gaps}
    make = makers.get(first.kind)
    return make((first.answer, second.answer), units) if make else []


def _names(at: int) -> str:
    return "AB"[at]


def _passes(answers: Sequence[Mapping[str, Any]], units: UnitSystem) -> list[Picture]:
    ratios, apart = [], []
    for at, answer in enumerate(answers):
        time_s, belt, ground, apart_m = _columns(pass_rows(answer))
        time_s = time_s - time_s[0] if time_s.size else time_s
        moving = np.isfinite(belt) & (ground > STANDS_MPS)
        ratio = np.where(moving, belt / np.where(moving, ground, 1.0), math.nan)
        ratios.append(Series(_names(at), time_s, ratio, second=at == 1))
        apart.append(Series(_names(at), time_s, apart_m / units.length_m, second=at == 1))
    low, high = (number(answers[0].get(f"ratio_{end}")) for end in ("low", "high"))
    band = [Band(low, high, "allowed")] if math.isfinite(low + high) else []
    return [
        Picture("Ratio belt ÷ ground", "seconds", ratios, band, read=lambda y: plain(y, 3)),
        Picture(
            f"Belt ahead of ground, {units.length}", "seconds", apart, read=lambda y: plain(y, 1)
        ),
    ]


def _columns(rows: Sequence[Sequence[float]]) -> list[Floats]:
    return list(np.array(rows, dtype=np.float64).reshape(-1, 4).T)


def _calibrations(answers: Sequence[Mapping[str, Any]], units: UnitSystem) -> list[Picture]:
    series = []
    for at, answer in enumerate(answers):
        runs = sorted(
            (run for run in answer.get("runs") or [] if run.get("used")),
            key=lambda run: run["true_mps"],
        )
        x = np.array([from_mps(run["true_mps"], units.speed) for run in runs])
        y = np.array([100 * run["error"] for run in runs])
        half = np.array([200 * run["u_error"] for run in runs])
        series.append(Series(_names(at), x, y, half, points=True, joined=False, second=at == 1))
        ends = answer.get("error_at_ends") or []
        x = np.array([from_mps(end["speed_mps"], units.speed) for end in ends])
        y = np.array([100 * end["error"] for end in ends])
        series.append(Series("", x, y, second=at == 1))
    limit = 100 * number(answers[0].get("readout_error_limit"))
    band = [Band(-limit, limit, "allowed")] if math.isfinite(limit) else []
    x_words = f"true belt speed, {units.speed}"
    return [
        Picture("Readout error, %", x_words, series, band, read=lambda y: f"{plain(y, 2)} %"),
    ]


def _gaps(answers: Sequence[Mapping[str, Any]], units: UnitSystem) -> list[Picture]:
    pickups = [answer.get("pickups") or [answer] for answer in answers]
    chosen = _same_pickup(pickups)
    if all("places" in one for one in chosen):
        return [_feeler(chosen, answers[0], units)]
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


def _feeler(
    chosen: Sequence[Mapping[str, Any]], answer: Mapping[str, Any], units: UnitSystem
) -> Picture:
    measure = measures_of(units)["gap"]
    series = []
    for at, one in enumerate(chosen):
        places = sorted(one["places"], key=lambda place: place["angle_deg"])
        x = np.array([place["angle_deg"] for place in places], dtype=np.float64)
        y = np.array([place["gap_m"] for place in places]) * measure.per_si
        series.append(Series(_names(at), x, y, points=True, second=at == 1))
    most = number(answer.get("gap_max_m")) * measure.per_si
    band = [Band(0.0, most, "allowed")] if math.isfinite(most) else []
    pickup = chosen[0].get("pickup") or ""
    return Picture(
        f"Gap at {pickup}, {units.gap}" if pickup else f"Gap, {units.gap}",
        "degrees from the mark",
        series,
        band,
        read=lambda y: plain(y, measure.decimals),
    )


def _teeth(chosen: Sequence[Mapping[str, Any]]) -> Picture:
    series = []
    for at, one in enumerate(chosen):
        y = np.array([100 * number(value) for value in one["spacing_rel"]])
        x = np.arange(1, y.size + 1, dtype=np.float64)
        series.append(Series(_names(at), x, y, points=True, second=at == 1))
    title = f"Each tooth's lateness at {chosen[0].get('pickup') or 'the pickup'}, % of a pitch"
    return Picture(title, "tooth", series, read=lambda y: plain(y, 2))

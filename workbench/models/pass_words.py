"""A judged pass in words: the answer, what to do, why, and how it went along the way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from workbench.models.wording import clock_text, length_text, speed_text
from workbench.units import UnitSystem

LEAST_PROBABILITY = 0.05
"""Causes less likely than this are not worth a line; chosen."""

Row = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class PassWords:
    """`sentence` before all; then lists of sentences."""

    sentence: str
    to_do: list[str]
    why: list[str]
    parts: list[str]
    notes: list[str]


def pass_words(answer: Mapping[str, Any], units: UnitSystem) -> PassWords:
    """The words of a stored or fresh answer of `evenpace pass`."""
    return PassWords(
        sentence=_sentence(answer, units),
        to_do=list((answer.get("advice") or {}).get("sentences") or []),
        why=_why(answer),
        parts=_parts(answer, units),
        notes=list(answer.get("warnings") or []),
    )


def pass_rows(answer: Mapping[str, Any]) -> list[Row]:
    """(time_s, belt m/s, ground m/s, separation m) of the steady part, NaN where left out.

    Where nothing was steady, all of it: it shows why there is no answer.
    """
    series = answer.get("series") or {}
    names = ("time_s", "belt_mps", "ground_mps", "separation_m", "steady")
    columns = [[_number(value) for value in series.get(name, [])] for name in names]
    every = not any(steady > 0 for steady in columns[-1])
    return [
        (at_s, belt, ground, apart) if steady > 0 or every else (at_s, math.nan, math.nan, math.nan)
        for at_s, belt, ground, apart, steady in zip(*columns, strict=True)
    ]


def _sentence(answer: Mapping[str, Any], units: UnitSystem) -> str:
    ratio, U = _number(answer.get("ratio")), _number(answer.get("U_ratio"))
    if not math.isfinite(ratio):
        return f"No ratio: {answer.get('reason', '')}."
    percent = 100 * abs(ratio - 1)
    way = "faster than" if ratio > 1 else "slower than"
    belt = speed_text(_number(answer.get("belt_speed_mps")), units)
    ground = speed_text(_number(answer.get("ground_speed_mps")), units)
    return (
        f"Belt {percent:.1f} % (± {100 * U:.1f} %) {way} the ground: {belt} over {ground}. "
        f"Ratio belt ÷ ground {ratio:.3f} ± {U:.3f}, {answer.get('reason', '')}."
    )


def _why(answer: Mapping[str, Any]) -> list[str]:
    causes = [
        cause
        for cause in answer.get("causes") or []
        if _number(cause.get("probability")) >= LEAST_PROBABILITY
    ]
    return [
        f"{cause['title']} ({100 * cause['probability']:.0f} % likely). {cause['check_next']}"
        for cause in causes[:3]
    ]


def _parts(answer: Mapping[str, Any], units: UnitSystem) -> list[str]:
    return [
        f"{clock_text(_number(part['from_s']))} to {clock_text(_number(part['to_s']))}: ratio "
        f"{_number(part['ratio']):.3f} ± {2 * _number(part['u_ratio']):.3f}, "
        f"{length_text(_number(part['separation_m']), units)} apart"
        for part in answer.get("segments") or []
    ]


def _number(value: Any) -> float:
    """A number of JSON, where 'none' is null."""
    return float(value) if isinstance(value, int | float) else math.nan

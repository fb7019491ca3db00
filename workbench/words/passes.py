"""A judged pass in words: the answer, what to do, why, and how it went along the way."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from drivers.kinds import ChannelKind, pulse_kind
from workbench.base.cautions import Caution
from workbench.base.units import SPEED_UNITS_MPS, UnitSystem, from_mps, to_mps
from workbench.words.numbers import clock_text, length_text, speed_text
from workbench.words.words import Words

LEAST_PROBABILITY = 0.05
"""Causes less likely than this are not worth a line; chosen."""
MOST_CAUSES = 3

Row = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class PassWords:
    """`headline` before all, `detail` beside it; then lists of sentences.

    `caution` is read before `to_do` is done, '' where nothing is to be touched.
    """

    headline: str
    detail: str
    caution: str
    to_do: list[str]
    why: list[str]
    parts: list[str]
    sources: list[str]
    notes: list[str]

    @property
    def sentence(self) -> str:
        """Headline and detail as one."""
        return f"{self.headline}. {self.detail}".strip()


def pass_words(answer: Mapping[str, Any], units: UnitSystem) -> PassWords:
    """The words of a stored or fresh answer of `evenpace pass`."""
    headline, detail = _answer(answer, units)
    advice = answer.get("advice") or {}
    sentences = [in_units(sentence, units) for sentence in advice.get("sentences") or []]
    return PassWords(
        headline=headline,
        detail=detail,
        caution=f"⚠ {Words(units).say(Caution.HANDS_OFF)}"
        if math.isfinite(number(advice.get("belt_change_rel")))
        else "",
        to_do=sentences or _without_advice(answer),
        why=[in_units(sentence, units) for sentence in _why(answer)],
        parts=_parts(answer, units),
        sources=_sources(answer),
        notes=[in_units(sentence, units) for sentence in answer.get("warnings") or []],
    )


_SPEED = re.compile(rf"(\d+(?:\.\d+)?) ({'|'.join(map(re.escape, SPEED_UNITS_MPS))})(?![\w/])")

_MINUS = re.compile(r"(?<![\w.)])-(?=\d)")


def in_units(sentence: str, units: UnitSystem) -> str:
    """A stored sentence with its speeds in the person's unit: it was written in the readout's.

    Its minus signs become true ones.
    """

    def changed(found: re.Match[str]) -> str:
        if found[2] == units.speed:
            return found[0]
        return f"{from_mps(to_mps(float(found[1]), found[2]), units.speed):.3g} {units.speed}"

    return _MINUS.sub("−", _SPEED.sub(changed, sentence))


def pass_rows(answer: Mapping[str, Any]) -> list[Row]:
    """(time_s, belt m/s, ground m/s, separation m) of the steady part, NaN where left out.

    Where nothing was steady, all of it: it shows why there is no answer.
    """
    series = answer.get("series") or {}
    names = ("time_s", "belt_mps", "ground_mps", "separation_m", "steady")
    columns = [[number(value) for value in series.get(name, [])] for name in names]
    every = not any(steady > 0 for steady in columns[-1])
    return [
        (at_s, belt, ground, apart) if steady > 0 or every else (at_s, math.nan, math.nan, math.nan)
        for at_s, belt, ground, apart, steady in zip(*columns, strict=True)
    ]


def choices(answer: Mapping[str, Any]) -> tuple[Sequence[str], Sequence[str]]:
    """Names that can be chosen as belt and as ground when the recording is judged again."""
    speeds = [one["source"] for one in answer.get("ground_sources") or []]
    names = [
        name
        for name in answer.get("sources") or []
        if name in speeds or pulse_kind(name) is ChannelKind.BELT
    ]
    belts = [name for name in names if name not in speeds]
    grounds = [name for name in names if name in speeds] or names
    return belts or names, grounds


def number(value: Any) -> float:
    """A number of JSON, where 'none' is null."""
    return float(value) if isinstance(value, int | float) else math.nan


def _answer(answer: Mapping[str, Any], units: UnitSystem) -> tuple[str, str]:
    ratio, U = number(answer.get("ratio")), number(answer.get("U_ratio"))
    reason = str(answer.get("reason") or "")
    if not math.isfinite(ratio):
        missing = [what for what in ("belt", "ground") if not answer.get(what)]
        if missing:
            several = len(answer.get("sources") or []) > 1
            rest = "Belt and ground have to be chosen." if several else "A pass needs two sources."
            return f"Nothing here is known to be the {missing[0]}", rest
        return "Belt and ground could not be compared", f"{_capital(reason)}."
    way = "faster" if ratio > 1 else "slower"
    belt = speed_text(number(answer.get("belt_speed_mps")), units)
    ground = speed_text(number(answer.get("ground_speed_mps")), units)
    low, high = number(answer.get("ratio_low")), number(answer.get("ratio_high"))
    return (
        f"Belt {100 * abs(ratio - 1):.1f} % {way} than the ground (± {100 * U:.1f} %)",
        f"{belt} over {ground}. Ratio belt ÷ ground {ratio:.3f} ± {U:.3f}, allowed {low:g} to "
        f"{high:g}: {reason}.",
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _without_advice(answer: Mapping[str, Any]) -> list[str]:
    """What to do where there is no ratio to give advice on."""
    if not answer.get("belt") or not answer.get("ground"):
        names = answer.get("sources") or []
        held = f"The recording holds {', '.join(names) or 'no source at all'}."
        choose = "Choose belt and ground on the Pass page and judge it again, or record"
        return [
            f"{held} {choose if len(names) > 1 else 'Record'} the next pass with both plugged in."
        ]
    return [
        "Drive a longer pass at an even speed, with both signals live from its beginning to its "
        "end."
    ]


def _why(answer: Mapping[str, Any]) -> list[str]:
    """Causes with their probability, what speaks for each, and what would tell them apart."""
    causes = [
        cause
        for cause in answer.get("causes") or []
        if number(cause.get("probability")) >= LEAST_PROBABILITY
    ][:MOST_CAUSES]
    said = []
    if causes and not answer.get("cause_clear"):
        said.append("Not clear: no cause stands out. The checks below tell them apart.")
    for cause in causes:
        # The first sentence of the evidence is the ratio, which stands above already.
        evidence = " ".join(cause.get("evidence", [])[1:])
        said.append(
            f"{cause['title']}: {100 * cause['probability']:.0f} % likely. {evidence} "
            f"To tell: {cause['check_next'][:1].lower()}{cause['check_next'][1:]}".replace(
                "  ", " "
            )
        )
    hidden = answer.get("causes_not_looked_for") or []
    if hidden and causes:
        said.append(f"Nothing recorded could have shown: {'; '.join(hidden)}.")
    return said


def _parts(answer: Mapping[str, Any], units: UnitSystem) -> list[str]:
    parts = [
        f"{clock_text(number(part['from_s']))} to {clock_text(number(part['to_s']))}: ratio "
        f"{number(part['ratio']):.3f} ± {2 * number(part['u_ratio']):.3f}, "
        f"belt {_apart(part['separation_m'], units)}"
        for part in answer.get("segments") or []
    ]
    inside = number(answer.get("in_band_fraction"))
    if parts and math.isfinite(inside):
        whole = _apart(answer.get("separation_m"), units)
        parts.append(f"In all: {100 * inside:.0f} % of the time in band, belt {whole}")
    return parts


def _apart(separation_m: Any, units: UnitSystem) -> str:
    """'7.0 ft behind': how far the belt came before or after the ground."""
    apart_m = number(separation_m)
    if not math.isfinite(apart_m):
        return "ahead by an unknown length"
    return f"{length_text(abs(apart_m), units)} {'ahead' if apart_m > 0 else 'behind'}"


def _sources(answer: Mapping[str, Any]) -> list[str]:
    belt, ground = answer.get("belt"), answer.get("ground")
    if not belt or not ground:
        return []
    why = str(answer.get("ground_why") or "").replace("it was asked for", "chosen for this pass")
    said = [f"Belt by {belt}, ground by {ground}" + (f": {why}." if why else ".")]
    if answer.get("stands_apart"):
        said.append(f"{answer['stands_apart']} stands apart from all the other ground speeds.")
    slip = number(answer.get("wheel_slip"))
    if math.isfinite(slip):
        U = 200 * number(answer.get("u_wheel_slip"))
        text = f"{100 * slip:+.1f} % ± {U:.1f} %".replace("-", "−")
        said.append(
            f"Wheel slip beyond the wheels' set-up, against {answer['wheel_slip_against']}: {text}."
        )
    return said

"""A judged pass in words: the answer, what to do, why, and how it went along the way."""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.base.statements import PlusMinus
from workbench.jobs.passes.answer import CauseAnswer, PassAnswer
from workbench.match.findings import OF_THE_RATIO
from workbench.words.language import N_, _
from workbench.words.moments import duration_text
from workbench.words.words import Words


@dataclass(frozen=True, slots=True)
class PassWords:
    """`headline` before all, `detail` beside it; then lists of sentences.

    `cautions` are read before anything of `to_do` and `why` is done.
    """

    headline: str
    detail: str
    cautions: list[str]
    to_do: list[str]
    why: list[str]
    parts: list[str]
    sources: list[str]
    notes: list[str]

    @property
    def sentence(self) -> str:
        """Headline and detail as one."""
        return f"{self.headline}. {self.detail}".strip()


def pass_words(answer: PassAnswer, words: Words) -> PassWords:
    """The words of a stored or fresh answer."""
    advice = answer.advice.sentences if answer.advice else ()
    return PassWords(
        headline=_headline(answer, words),
        detail=_detail(answer, words),
        cautions=[words.say(caution) for caution in answer.cautions],
        to_do=words.say_all(advice) or _without_advice(answer),
        why=_why(answer, words),
        parts=_parts(answer, words),
        sources=_sources(answer, words),
        notes=words.say_all(answer.warnings),
    )


def _headline(answer: PassAnswer, words: Words) -> str:
    """The answer in a few words, without a full stop."""
    away = answer.ratio - 1
    if not math.isfinite(away):
        if answer.belt and answer.ground:
            return _("Belt and ground cannot be compared")
        if answer.belt:
            return _("Nothing here is known to be the ground")
        return _("Nothing here is known to be the belt")
    return words.fill(
        N_("Belt {away_rel:percent1} faster than the ground")
        if away > 0
        else N_("Belt {away_rel:percent1} slower than the ground"),
        {"away_rel": PlusMinus(abs(away), answer.U_ratio)},
    )


def evidence_words(cause: CauseAnswer, words: Words) -> str:
    """What speaks for a cause, but for the ratio, which stands elsewhere already."""
    own = [one for one in cause.evidence if one.what not in OF_THE_RATIO]
    return " ".join(words.say_all(own))


def not_looked_for(answer: PassAnswer, words: Words) -> str:
    """The causes that could not have shown, '' where there is none."""
    if not answer.causes_not_looked_for:
        return ""
    said = "; ".join(words.say_all(answer.causes_not_looked_for))
    return _("Nothing recorded could have shown: {causes}.").format(causes=said)


def _detail(answer: PassAnswer, words: Words) -> str:
    reason = words.say(answer.reason)
    if math.isfinite(answer.ratio):
        return words.fill(
            N_(
                "{belt_mps:speed} over {ground_mps:speed}. Ratio belt ÷ ground {ratio}, allowed "
                "{low:g} to {high:g}: {reason}."
            ),
            {
                "belt_mps": answer.belt_speed_mps,
                "ground_mps": answer.ground_speed_mps,
                "ratio": PlusMinus(answer.ratio, answer.U_ratio),
                "low": answer.ratio_low,
                "high": answer.ratio_high,
                "reason": reason,
            },
        )
    if answer.belt and answer.ground:
        return f"{reason[:1].upper()}{reason[1:]}."
    if len(answer.sources) > 1:
        return _("Belt and ground have to be chosen.")
    return _("A pass needs two sources.")


def _without_advice(answer: PassAnswer) -> list[str]:
    """What to do where there is no ratio to give advice on."""
    names = answer.sources
    if answer.belt and answer.ground:
        return [
            _(
                "Drive a longer pass at an even speed, with both signals live from its beginning "
                "to its end."
            )
        ]
    if not names:
        return [
            _("The recording holds no source at all. Record the next pass with both plugged in.")
        ]
    if len(names) == 1:
        said = _("The recording holds {source}. Record the next pass with both plugged in.")
        return [said.format(source=names[0])]
    said = _(
        "The recording holds {sources}. Choose belt and ground on the Pass page and judge it "
        "again, or record the next pass with both plugged in."
    )
    return [said.format(sources=", ".join(names))]


def _why(answer: PassAnswer, words: Words) -> list[str]:
    """Causes with their probability, what speaks for each, and what would tell them apart."""
    causes = answer.likely_causes
    if not causes:
        return []
    said = []
    if not answer.cause_clear:
        said.append(_("Not clear: no cause stands out. The checks below tell them apart."))
    for cause in causes:
        evidence = evidence_words(cause, words)
        said.append(
            words.fill(
                N_("{title}: {probability:percent0} likely. {evidence} To tell: {check_next}")
                if evidence
                else N_("{title}: {probability:percent0} likely. To tell: {check_next}"),
                {
                    "title": cause.title,
                    "probability": cause.probability,
                    "evidence": evidence,
                    "check_next": cause.check_next,
                },
            )
        )
    hidden = not_looked_for(answer, words)
    return [*said, hidden] if hidden else said


def _parts(answer: PassAnswer, words: Words) -> list[str]:
    parts = [
        words.fill(
            N_("{begins} to {ends}: ratio {ratio}, {apart}"),
            {
                "begins": duration_text(part.from_s),
                "ends": duration_text(part.to_s),
                "ratio": PlusMinus(part.ratio, 2 * part.u_ratio),
                "apart": _apart(part.separation_m, words),
            },
        )
        for part in answer.segments
    ]
    if parts and math.isfinite(answer.in_band_fraction):
        whole = {
            "inside_rel": answer.in_band_fraction,
            "apart": _apart(answer.separation_m, words),
        }
        parts.append(
            words.fill(N_("In all: {inside_rel:percent0} of the time in band, {apart}"), whole)
        )
    return parts


def _apart(separation_m: float, words: Words) -> str:
    """How far the belt came before or after the ground."""
    if not math.isfinite(separation_m):
        return _("belt ahead by an unknown length")
    ahead = separation_m > 0
    text = N_("belt {apart_m:length} ahead") if ahead else N_("belt {apart_m:length} behind")
    return words.fill(text, {"apart_m": abs(separation_m)})


def _sources(answer: PassAnswer, words: Words) -> list[str]:
    if not answer.belt or not answer.ground:
        return []
    said = [sources_used(answer, words)]
    if answer.stands_apart:
        said.append(stands_apart(answer.stands_apart))
    if math.isfinite(answer.wheel_slip):
        said.append(
            words.fill(
                N_("Wheel slip beyond the wheels' set-up, against {source}: {slip_rel:+percent1}."),
                {
                    "source": answer.wheel_slip_against or "",
                    "slip_rel": PlusMinus(answer.wheel_slip, 2 * answer.u_wheel_slip),
                },
            )
        )
    return said


def sources_used(answer: PassAnswer, words: Words) -> str:
    """Which belt and which ground, and why that ground."""
    used = {"belt": answer.belt, "ground": answer.ground}
    if answer.ground_why is None:
        return _("Belt by {belt}, ground by {ground}.").format(**used)
    why = words.say(answer.ground_why)
    return _("Belt by {belt}, ground by {ground}: {why}.").format(**used, why=why)


def stands_apart(source: str) -> str:
    """That a source of ground speed differs from all the others."""
    return _("{source} stands apart from all the other ground speeds.").format(source=source)

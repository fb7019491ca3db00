"""A judged pass in words: the answer, what to do, why, and how it went along the way."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass

from workbench.base.statements import PlusMinus
from workbench.jobs.passes.answer import CauseAnswer, PassAnswer
from workbench.match.advice import AdviceSays
from workbench.match.findings import OF_THE_RATIO
from workbench.match.trend import Mismatch
from workbench.words.language import N_, _
from workbench.words.moments import duration_text
from workbench.words.words import Words

Rows = list[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class CauseWords:
    """A cause, how likely it is, what speaks for it ('' for nothing), and what would tell."""

    title: str
    probability: str
    evidence: str
    check: str

    @property
    def sentence(self) -> str:
        """All of it in one."""
        said = (
            _("{title}: {probability} likely. {evidence} To tell: {check}")
            if self.evidence
            else _("{title}: {probability} likely. To tell: {check}")
        )
        return said.format(**{name: getattr(self, name) for name in CauseWords.__slots__})


@dataclass(frozen=True, slots=True)
class PassWords:
    """`headline` before all, `detail` beside it; then rows and lists of sentences.

    `cautions` are read before anything is done; `do_first` is the one next thing of `to_do`.
    `unclear` is '' where a cause stands out, `hidden` where every cause could have shown.
    """

    headline: str
    detail: str
    cautions: list[str]
    do_first: str
    to_do: list[str]
    unclear: str
    causes: list[CauseWords]
    hidden: str
    figures: Rows
    parts: list[str]
    sources: list[str]
    notes: list[str]

    @property
    def sentence(self) -> str:
        """Headline and detail as one."""
        return f"{self.headline}. {self.detail}".strip()

    @property
    def why(self) -> list[str]:
        """The causes in sentences."""
        said = [self.unclear, *(cause.sentence for cause in self.causes), self.hidden]
        return [one for one in said if one]


def pass_words(answer: PassAnswer, words: Words) -> PassWords:
    """The words of a stored or fresh answer."""
    advice, causes = answer.advice.sentences if answer.advice else (), answer.likely_causes
    hidden = "; ".join(words.say_all(answer.causes_not_looked_for if causes else ()))
    to_do = words.say_all(advice) or _without_advice(answer)
    by_latest = bool(advice) and advice[0].what == AdviceSays.BY_LATEST_STRETCH
    return PassWords(
        headline=_headline(answer, words),
        detail=_detail(answer, words),
        cautions=[words.say(caution) for caution in answer.cautions],
        do_first=to_do[1 if by_latest and len(to_do) > 1 else 0],
        to_do=to_do,
        unclear=_("Not clear: no cause stands out. The checks below tell them apart.")
        if causes and not answer.cause_clear
        else "",
        causes=[_cause(cause, words) for cause in causes],
        hidden=_("Nothing recorded could have shown: {causes}.").format(causes=hidden)
        if hidden
        else "",
        figures=_figures(answer, words) if math.isfinite(answer.ratio) else [],
        parts=_parts(answer, words),
        sources=_sources(answer, words),
        notes=words.say_all(answer.warnings),
    )


def _cause(cause: CauseAnswer, words: Words) -> CauseWords:
    # The ratio stands elsewhere already.
    evidence = [one for one in cause.evidence if one.what not in OF_THE_RATIO]
    return CauseWords(
        words.say(cause.title),
        words.number("percent0", cause.probability),
        " ".join(words.say_all(evidence)),
        words.say(cause.check_next),
    )


def _figures(answer: PassAnswer, words: Words) -> Rows:
    """Every figure of the pass, with its uncertainty."""

    def found(kind: str, value: float, u: float) -> str:
        if not math.isfinite(value):
            return _("could not be found")
        return words.number(kind, value, 2 * u, signed=True)

    ratio = words.number("ratio", answer.ratio, answer.U_ratio)
    limits = _("{ratio} (k = {k:.3g}), limits {low:g} to {high:g}")
    rows = [
        (
            _("Ratio belt ÷ ground"),
            limits.format(ratio=ratio, k=answer.k, low=answer.ratio_low, high=answer.ratio_high),
        ),
        (_("Belt"), f"{words.number('speed', answer.belt_speed_mps)} ({answer.belt})"),
        (_("Ground"), f"{words.number('speed', answer.ground_speed_mps)} ({answer.ground})"),
        (_("Time within the limits"), words.number("percent0", answer.in_band_fraction)),
        (_("Steady for"), words.number("seconds", answer.duration_s)),
        (
            _("Belt ahead of ground at the end"),
            found("length", answer.separation_m, answer.u_separation_m),
        ),
        (_("Ground source behind by"), found("time", answer.lag_s, answer.u_lag_s)),
        (
            _("Drift of the ratio an hour"),
            found("ratio", answer.drift_per_hour, answer.u_drift_per_hour),
        ),
    ]
    changed = N_("at {time_s:seconds} by {change:+percent1}")
    rows += [
        (_("The ratio changed"), words.fill(changed, asdict(point)))
        for point in answer.change_points
    ]
    rows += [
        (
            _("Mismatch that is constant")
            if what is Mismatch.CONSTANT
            else _("Mismatch going with {what}").format(what=words.say(what)),
            words.number("percent0", share),
        )
        for what, share in answer.mismatch_shares.items()
    ]
    return rows + course_rows(answer, words)


def course_rows(answer: PassAnswer, words: Words) -> Rows:
    """What a taped course says: the true speed, and of each source true ÷ shown."""
    course = answer.course
    if course is None:
        return []
    true = words.number("speed", course.true_speed_mps, 2 * course.u_true_speed_mps)
    factors = [
        (
            _("True ÷ {source}").format(source=name),
            words.number("ratio", one.factor, 2 * one.u_factor),
        )
        for name, one in course.true_over_shown.items()
    ]
    return [(_("True speed by the taped course"), true), *factors]


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
    used = _("Belt by {belt}, ground by {ground}: {why}.")
    if answer.ground_why is None:
        used = _("Belt by {belt}, ground by {ground}.")
    why = words.say(answer.ground_why or "")
    said = [used.format(belt=answer.belt, ground=answer.ground, why=why)]
    if answer.stands_apart:
        apart = _("{source} stands apart from all the other ground speeds.")
        said.append(apart.format(source=answer.stands_apart))
    if math.isfinite(answer.wheel_slip):
        slip = {
            "source": answer.wheel_slip_against or "",
            "slip_rel": PlusMinus(answer.wheel_slip, 2 * answer.u_wheel_slip),
        }
        text = N_("Wheel slip beyond the wheels' set-up, against {source}: {slip_rel:+percent1}.")
        said.append(words.fill(text, slip))
    return said

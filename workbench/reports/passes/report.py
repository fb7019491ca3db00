"""The pass report: did belt and ground keep pace, how far apart, when, why, and what to do."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.numbers import NO_VALUE
from workbench.base.statements import Statement
from workbench.jobs.passes.answer import GroundSource, PassAnswer
from workbench.match.trend import Mismatch
from workbench.reports.document import (
    Answer,
    Block,
    CautionBlock,
    Document,
    Facts,
    Figure,
    Footnote,
    Heading,
    Paragraph,
    Signature,
    Table,
)
from workbench.reports.drawing import picture_svg
from workbench.reports.passes.picture import track_picture
from workbench.words.language import N_, _
from workbench.words.passes import (
    evidence_words,
    not_looked_for,
    pass_words,
    sources_used,
    stands_apart,
)
from workbench.words.pictures.passes import picture_of
from workbench.words.view import json_view
from workbench.words.words import Words


def pass_document(
    answer: PassAnswer,
    machine: Machine | None,
    words: Words,
    number: int | None = None,
    earlier: Sequence[Statement] = (),
) -> Document:
    """The report of a pass, `number` what it has in the store.

    `earlier` is said of earlier passes of the machine.
    """
    known = math.isfinite(answer.ratio)
    said = pass_words(answer, words)
    sentence = f"{said.headline}: {words.say(answer.reason)}." if known else said.sentence
    blocks: list[Block] = [Answer(sentence, str(answer.verdict))]
    blocks += _drift(answer, words) if known else []
    blocks += [CautionBlock(words.say(caution)) for caution in _cautions(answer)]
    blocks += _why(answer, words) + _what_to_do(answer, words)
    blocks += _details(answer, words) if known else []
    if earlier:
        blocks.append(Heading(_("Earlier passes of this machine")))
        blocks += map(Paragraph, words.say_all(earlier))
    for warning in words.say_all(answer.warnings):
        blocks.append(Paragraph(_("Note: {note}").format(note=warning)))
    rule = _(
        "Ratio is always belt ÷ ground. Pass: inside the limits by more than the expanded "
        "uncertainty U (about 95 % coverage); conditional: nearer to a limit than U; after "
        "ILAC-G8:09/2019. Approach, headlands and stops are left out. Probabilities of causes "
        "hold among the causes named, each taken as equally likely beforehand."
    )
    blocks += [
        CautionBlock(words.say(Caution.BEFORE_A_PASS), _("Before the next pass")),
        Signature(((_("Driven by"), ""), (_("Date"), ""))),
        Footnote(rule),
    ]
    kept = {} if number is None else {"result": number}
    return Document(
        title=_("Test pass"),
        subtitle=machine.name if machine else answer.source,
        number=_("Result {number}").format(number=number) if number is not None else "",
        blocks=blocks,
        simulated=answer.simulated,
        data=kept | json_view(answer, words),
    )


def _cautions(answer: PassAnswer) -> list[Caution]:
    """Paper goes to the shop, where more than a lever is touched."""
    found = list(answer.cautions)
    if Caution.HANDS_OFF in found:
        found[found.index(Caution.HANDS_OFF)] = Caution.AT_THE_HYDRAULICS
    return found


def _drift(answer: PassAnswer, words: Words) -> list[Block]:
    if not answer.series.time_s.size:
        return []
    caption = _(
        "Belt and ground speed with what lies between them; the ratio belt ÷ ground with its "
        "band (green) and its mean with U (grey); belt distance minus ground distance. Grey "
        "stretches are left out; a dashed line marks a change."
    )
    alt = words.fill(
        N_(
            "Speeds over {duration_s:seconds}; ratio belt ÷ ground {ratio:.3f}; separation "
            "{apart_m:+length} at the end."
        ),
        {
            "duration_s": answer.duration_s,
            "ratio": answer.ratio,
            "apart_m": answer.separation_m,
        },
    )
    return [
        Figure(
            picture_svg(picture_of(answer, answer.series.rows()), words.units, 112), caption, alt
        )
    ]


def _details(answer: PassAnswer, words: Words) -> list[Block]:
    blocks: list[Block] = [Heading(_("Figures")), Facts(_facts(answer, words), columns=2)]
    if len(answer.segments) > 1:
        blocks += [Heading(_("In equal segments")), _segments(answer, words)]
    if answer.track:
        way = words.fill(
            N_("The way, {way_m:length}, by the ratio belt ÷ ground."),
            {"way_m": answer.track.length_m},
        )
        blocks += [Heading(_("Where")), Figure(track_picture(answer, words.units), way, way)]
    if len(answer.ground_sources) > 1:
        blocks += [Heading(_("Ground speed sources")), _sources(answer, words)]
    return blocks


def _facts(answer: PassAnswer, words: Words) -> list[tuple[str, str]]:
    ratio = words.number("ratio", answer.ratio, answer.U_ratio)
    rows = [
        (_("Ratio belt ÷ ground"), f"{ratio} (k = {answer.k:.2f})"),
        (
            _("Limits of the ratio"),
            _("{low:g} to {high:g}").format(low=answer.ratio_low, high=answer.ratio_high),
        ),
        (_("Belt"), f"{words.number('speed', answer.belt_speed_mps)} ({answer.belt})"),
        (_("Ground"), f"{words.number('speed', answer.ground_speed_mps)} ({answer.ground})"),
        (_("Time within the limits"), words.number("percent0", answer.in_band_fraction)),
        (_("Steady for"), words.number("seconds", answer.duration_s)),
        (
            _("Separation at the end"),
            _found("length", answer.separation_m, answer.u_separation_m, words),
        ),
        (_("Ground source behind by"), _found("time", answer.lag_s, answer.u_lag_s, words)),
        (
            _("Drift of the ratio an hour"),
            _found("ratio", answer.drift_per_hour, answer.u_drift_per_hour, words),
        ),
    ]
    if math.isfinite(answer.wheel_slip):
        slip = _found("percent", answer.wheel_slip, answer.u_wheel_slip, words)
        rows.append((_("Wheel slip beyond its set-up"), slip))
    return rows + [
        (_mismatch(what, words), words.number("percent0", share))
        for what, share in answer.mismatch_shares.items()
    ]


def _mismatch(what: Mismatch, words: Words) -> str:
    if what is Mismatch.CONSTANT:
        return _("Mismatch that is constant")
    return _("Mismatch going with {what}").format(what=words.say(what))


def _found(kind: str, value: float, u: float, words: Words) -> str:
    if not math.isfinite(value):
        return _("could not be found")
    return words.number(kind, value, 2 * u, signed=True)


def _segments(answer: PassAnswer, words: Words) -> Table:
    rows = [
        (
            words.fill(
                N_("{from_s:.0f} to {to_s:.0f} s"), {"from_s": one.from_s, "to_s": one.to_s}
            ),
            words.number("ratio", one.ratio, 2 * one.u_ratio),
            words.number("speed", one.belt_speed_mps),
            words.number("speed", one.ground_speed_mps),
            words.number("length", one.separation_m, signed=True),
        )
        for one in answer.segments
    ]
    return Table(
        (_("Time"), _("Ratio belt ÷ ground ± U"), _("Belt"), _("Ground"), _("Apart")),
        rows,
        note=_("U of a segment counts its own scatter only; what all share is left out."),
    )


def _sources(answer: PassAnswer, words: Words) -> Table:
    rows = []
    for one in answer.ground_sources:
        name = _("{source} (used)") if one.source == answer.ground else "{source}"
        rows.append(
            (
                name.format(source=one.source),
                words.say(one.kind),
                words.number("percent0", one.share_with_value),
                _factor(one, words),
                words.number("time", one.lag_s, 2 * one.u_lag_s),
            )
        )
    note = sources_used(answer, words)
    if answer.stands_apart:
        note += f" {stands_apart(answer.stands_apart)}"
    return Table(
        (_("Source"), _("Kind"), _("With a value"), _("÷ reference"), _("Behind")),
        rows,
        note=note,
        align="llrrr",
    )


def _factor(one: GroundSource, words: Words) -> str:
    if math.isfinite(one.factor):
        return words.number("ratio", one.factor, 2 * one.u_factor)
    return _("reference") if one.reference else NO_VALUE


def _why(answer: PassAnswer, words: Words) -> list[Block]:
    if not answer.causes:
        return []
    blocks: list[Block] = [Heading(_("Why, the most likely first"))]
    if not answer.cause_clear:
        blocks.append(Paragraph(_("Not clear: no cause stands out.")))
    rows = [
        (
            words.number("percent0", one.probability),
            words.say(one.title),
            evidence_words(one, words),
            words.say(one.check_next),
        )
        for one in answer.likely_causes
    ]
    header = (_("Probability"), _("Cause"), _("What speaks for it"), _("Check next"))
    blocks.append(Table(header, rows, align="rlll"))
    hidden = not_looked_for(answer, words)
    return [*blocks, Footnote(hidden)] if hidden else blocks


def _what_to_do(answer: PassAnswer, words: Words) -> list[Block]:
    if answer.advice is None or not answer.advice.sentences:
        return []
    return [Heading(_("What to do")), *map(Paragraph, words.say_all(answer.advice.sentences))]

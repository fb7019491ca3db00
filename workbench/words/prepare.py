"""A preparation in words: its checks, figures, parts and ground speed sources as rows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from workbench.base.numbers import NO_VALUE
from workbench.base.statements import statement
from workbench.base.units import INCH_M, inch_fraction
from workbench.calibration.prepare.due import ServiceLine, UsualPart
from workbench.calibration.prepare.measures import (
    CHECKS,
    COLD_OIL_C,
    FIGURES,
    HOT_OIL_C,
    SOUND,
    WORN,
    CheckKind,
    Computed,
    Topic,
)
from workbench.calibration.prepare.sheet import CheckLine, FigureLine, Whose
from workbench.jobs.prepare.answer import DO, PrepareAnswer, ProvenSource
from workbench.words.catalogue import sentences
from workbench.words.language import _, ngettext
from workbench.words.words import Words

Rows = list[tuple[str, ...]]


def headline_words(answer: PrepareAnswer, words: Words) -> str:
    """What it comes to, in a sentence, with how many parts are due."""
    said = words.say(answer.reason)
    said = said[:1].upper() + said[1:] + "."
    if answer.due:
        count = len(answer.due)
        told = ngettext("{count} part is due.", "{count} parts are due.", count)
        said = f"{said} {told.format(count=count)}"
    return said


def what_words(line: CheckLine | FigureLine, words: Words) -> str:
    """'belt sag, left'."""
    what = words.say(line.check) if isinstance(line, CheckLine) else _figure(line, words)
    return f"{what}: {line.place}" if line.place else what


def _figure(line: FigureLine, words: Words) -> str:
    oil_c = {Computed.SPEED_CHANGE_COLD: COLD_OIL_C, Computed.SPEED_CHANGE_HOT: HOT_OIL_C}
    values = {"oil_c": oil_c[line.figure]} if line.figure in oil_c else {}
    return words.fill(sentences()[line.figure], values)


def value_words(line: CheckLine | FigureLine, words: Words) -> str:
    """'2.25 ± 0.16 in'; a part's state as its word."""
    if isinstance(line, FigureLine):
        shown, signed = FIGURES[line.figure], line.unit in ("1", "deg") and line.value < 0
        return words.number(shown.quantity, line.value, line.U_value, signed=signed)
    if line.check is CheckKind.WEAR:
        return _(WORN) if line.value else _(SOUND)
    return words.number(CHECKS[line.check].quantity, line.value, line.U_value)


def limit_words(line: CheckLine, words: Words) -> str:
    """'1.75 to 2.75 in', 'at least 15 gal/min', with whose it is."""
    if line.limit_from is Whose.EYE:
        return words.say(line.limit_from)
    shown = words.quantity(CHECKS[line.check].quantity)
    ends = (line.limit_low, line.limit_high)
    low, high = (
        words.fill("{end:g}", {"end": round(end * shown.per_si, shown.decimals)}) for end in ends
    )
    if math.isnan(line.limit_high):
        told = _("at least {low}").format(low=low)
    elif math.isnan(line.limit_low):
        told = _("at most {high}").format(high=high)
    elif line.limit_low == -line.limit_high:
        told = f"± {high}"
    else:
        told = _("{low} to {high}").format(low=low, high=high)
    return f"{told} {shown.unit} ({words.say(line.limit_from)})"


def check_rows(answer: PrepareAnswer, words: Words) -> Rows:
    """What, its value, its limit and its verdict."""
    return [
        (
            what_words(one, words),
            value_words(one, words),
            limit_words(one, words),
            words.say(one.verdict),
        )
        for one in answer.checks
    ]


def figure_rows(answer: PrepareAnswer, words: Words) -> Rows:
    """What was computed, and its value."""
    return [(what_words(one, words), value_words(one, words)) for one in answer.figures]


def figure_words(figures: Iterable[FigureLine], topic: Topic, words: Words) -> str:
    """The figures of a topic in one line, but those that are drawn; '' where there are none."""
    drawn = Computed.SHANK_DISTANCE
    mine = (
        one for one in figures if FIGURES[one.figure].topic is topic and one.figure is not drawn
    )
    said = "; ".join(f"{what_words(one, words)} {value_words(one, words)}" for one in mine)
    return f"{said[:1].upper()}{said[1:]}." if said else ""


def to_do_words(lines: Sequence[CheckLine], words: Words) -> str:
    """What to do at the worst of lines, which comes first; '' where it is passed."""
    worst = lines[0]
    if not worst.verdict.is_fail:
        return ""
    same = (one for one in lines if one.verdict.is_fail and one.check is worst.check)
    places = ", ".join(filter(None, (one.place for one in same)))
    return words.say(statement(DO[worst.check][0 if worst.too_low else 1], places=places))


def part_words(part: str, words: Words) -> str:
    """The part's name, in the person's language where it is of the list to start from."""
    return words.say(UsualPart(part)) if part in tuple(UsualPart) else words.say(part)


def service_rows(lines: tuple[ServiceLine, ...], words: Words) -> Rows:
    """Part, where it stands, when it was done last, when it is due, how to tell its wear."""
    return [
        (
            ", ".join(filter(None, (part_words(one.part, words), one.place))),
            words.say(one.standing),
            " ".join(filter(None, (one.last_on, one.last_by))) or NO_VALUE,
            _due(one, words) or NO_VALUE,
            words.say(one.sign) if one.sign else "",
        )
        for one in lines
    ]


def _due(one: ServiceLine, words: Words) -> str:
    hours = words.number("hours", one.due_at_hours) if math.isfinite(one.due_at_hours) else ""
    return _(" or at ").join(filter(None, (one.due_on, hours)))


def source_rows(sources: tuple[ProvenSource, ...], words: Words) -> Rows:
    """Source, true ÷ shown, runs, and whether passes use it from now on."""
    used, not_used = _("used by passes from now on"), _("not used: there and back, twice at least")
    return [
        (
            words.say(one.source),
            words.number("ratio", one.factor, one.U_factor),
            ngettext("{count} run", "{count} runs", one.runs).format(count=one.runs),
            used if one.proven else not_used,
        )
        for one in sources
    ]


def as_on_a_rule(length_m: float, words: Words) -> str:
    """A length as a rule shows it: to 1/16 in, or in whole millimetres."""
    if words.units.gap == "in":
        return f"{inch_fraction(round(length_m / INCH_M * 16) / 16 * INCH_M)} in"
    return f"{length_m * 1000:.0f} mm"

"""A pass's answer as a person reads it."""

from __future__ import annotations

import math
import sys

from workbench.cli.output import print_table
from workbench.jobs.passes.answer import PassAnswer
from workbench.words.language import _
from workbench.words.words import Words

Rows = list[tuple[str, str]]


def print_pass(answer: PassAnswer, words: Words) -> None:
    """The answer as tables on stdout, what to heed before anything is done on stderr."""
    rows = [(_("Verdict"), f"{words.say(answer.verdict)}: {words.say(answer.reason)}")]
    if math.isfinite(answer.ratio):
        rows += _figures(answer, words)
    print_table(answer.source, rows)
    for caution in answer.cautions:
        print(_("CAUTION. {caution}").format(caution=words.say(caution)), file=sys.stderr)
    if answer.likely_causes:
        print_table("\n" + _("Why, the most likely first"), _causes(answer, words))
    if answer.advice and answer.advice.sentences:
        sentences = words.say_all(answer.advice.sentences)
        print_table("\n" + _("What to do"), [[sentence] for sentence in sentences])
    if answer.simulated:
        print(_("Simulated data."), file=sys.stderr)


def _figures(answer: PassAnswer, words: Words) -> Rows:
    ratio = words.number("ratio", answer.ratio, answer.U_ratio)
    apart = _or("length", answer.separation_m, answer.u_separation_m, words)
    rows = [
        (
            _("Ratio belt ÷ ground"),
            _("{ratio} (k = {k:.3g}), limits {low:g} to {high:g}").format(
                ratio=ratio, k=answer.k, low=answer.ratio_low, high=answer.ratio_high
            ),
        ),
        (_("Belt"), _mean(answer.belt, answer.belt_speed_mps, words)),
        (_("Ground"), _mean(answer.ground, answer.ground_speed_mps, words)),
        (_("Why this ground"), words.say(answer.ground_why) if answer.ground_why else ""),
        (_("Time within the limits"), words.number("percent0", answer.in_band_fraction)),
        (_("Ground source behind by"), _or("time", answer.lag_s, answer.u_lag_s, words)),
        (
            _("Drift of the ratio an hour"),
            _or("ratio", answer.drift_per_hour, answer.u_drift_per_hour, words),
        ),
        (_("Separation at the end"), _("{apart}, belt minus ground").format(apart=apart)),
        (_("Steady for"), words.number("time", answer.duration_s)),
    ]
    if math.isfinite(answer.wheel_slip):
        slip = _or("percent", answer.wheel_slip, answer.u_wheel_slip, words)
        rows.append((_("Wheel slip beyond its set-up"), slip))
    if answer.stands_apart:
        rows.append((_("Stands apart from the others"), answer.stands_apart))
    for point in answer.change_points:
        at = words.number("seconds", point.time_s)
        by = words.number("percent1", point.change, signed=True)
        rows.append((_("The ratio changed"), _("at {at} by {by}").format(at=at, by=by)))
    return rows + _course(answer, words)


def _mean(source: str | None, speed_mps: float, words: Words) -> str:
    mean = words.number("speed", speed_mps)
    return _("{source}, mean {mean}").format(source=source, mean=mean)


def _or(kind: str, value: float, u: float, words: Words) -> str:
    """A value with its expanded uncertainty, or that it could not be found."""
    if not math.isfinite(value):
        return _("could not be found")
    return f"{words.number(kind, value, 2 * u)} (k = 2)"


def _course(answer: PassAnswer, words: Words) -> Rows:
    course = answer.course
    if course is None:
        return []
    true = words.number("speed", course.true_speed_mps, 2 * course.u_true_speed_mps)
    rows = [(_("True speed by the taped course"), true)]
    for name, one in course.true_over_shown.items():
        factor = words.number("ratio", one.factor, 2 * one.u_factor)
        rows.append((_("True ÷ {source}").format(source=name), factor))
    return rows


def _causes(answer: PassAnswer, words: Words) -> Rows:
    rows = []
    if not answer.cause_clear:
        rows.append((_("Not clear"), _("no cause stands out; the likeliest are")))
    said: set[str] = set()
    for cause in answer.likely_causes:
        rows.append((words.number("percent0", cause.probability), f"{words.say(cause.title)}."))
        evidence = words.say_all(cause.evidence)
        rows += [("", sentence) for sentence in evidence if sentence not in said]
        said.update(evidence)
        rows.append(("", _("Next: {check}").format(check=words.say(cause.check_next))))
    return rows

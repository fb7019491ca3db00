"""A stored result in words: what it says first, then chapter by chapter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from workbench.base.numbers import plain, with_uncertainty
from workbench.calibration.gap.answer import FeelerAnswer, WheelAnswer
from workbench.calibration.readout.runs import RunResult
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.jobs.prepare.answer import PrepareAnswer
from workbench.jobs.speed.answer import SpeedAnswer
from workbench.words.figures import figures
from workbench.words.gap import capital, details, found_rows, headline_words, measured_rows
from workbench.words.language import _
from workbench.words.prepare import (
    check_rows,
    figure_rows,
    service_rows,
    source_rows,
)
from workbench.words.prepare import (
    headline_words as prepare_headline,
)
from workbench.words.words import Words

Chapters = dict[str, list[str]]


@dataclass(frozen=True, slots=True)
class Opened:
    """`verdict` None where the kind has none; `setting` the new setting in large type, '' where
    there is none; `rows` a table below `heads`."""

    verdict: Verdict | None
    sentence: str
    chapters: Chapters
    setting: str = ""
    heads: tuple[str, ...] = ()
    rows: Sequence[tuple[str, ...]] = ()


def calibration_words(answer: CalibrateAnswer, words: Words) -> Opened:
    """A calibration: its sentence, the setting, and a line for each run."""
    last, new, now = answer.latest, answer.setting_new, answer.setting_now
    setting, big = [], ""
    if new == now:
        setting = [_("The setting is right as it is.")]
    elif answer.has_new_setting:
        left = words.number("percent", answer.residual_error, signed=True)
        told = _("In place of {setting:g}; an error of {error} is left with it.")
        setting = [told.format(setting=now, error=left)]
        big = _("Set {setting:g}").format(setting=new)
    return Opened(
        last.verdict,
        words.say(last.headline),
        {
            _("New setting"): setting,
            _("What to do"): [words.say(last.advice)] if last.advice else [],
            _("Notes"): words.say_all(last.warnings),
        },
        setting=f"{big} {answer.setting_unit}".strip() if big else "",
        heads=(
            _("Run"),
            _("Shown, {unit}").format(unit=answer.unit),
            _("True, {unit}").format(unit=words.units.speed),
            _("Error ± U, %"),
        ),
        rows=[
            *_runs(answer.runs, words, "{run}"),
            *_runs(answer.as_left.runs if answer.as_left else (), words, _("{run} as left")),
        ],
    )


def _runs(runs: Sequence[RunResult], words: Words, name: str) -> list[tuple[str, ...]]:
    per_mps = words.quantity("speed").per_si
    rows: list[tuple[str, ...]] = []
    for run in runs:
        error = with_uncertainty(100 * run.error, 200 * run.u_error, signed=True)
        if run.note is not None:
            error = _("left out: {why}").format(why=words.say(run.note))
        true = plain(per_mps * run.true_mps, 3)
        rows.append((name.format(run=run.run), f"{run.shown:g}", true, error))
    return rows


def gap_words(
    pickup: FeelerAnswer | WheelAnswer,
    words: Words,
    as_found: FeelerAnswer | WheelAnswer | None = None,
) -> Opened:
    """One pickup of a gap check; `as_found` before it was adjusted, None where it was not."""
    rows = [*measured_rows(pickup, words), *found_rows(pickup, words)]
    chapters = {_("What was found"): details(pickup, words)}
    if as_found is not None:
        told = f"{words.say(as_found.verdict)}. {headline_words(as_found, words)}"
        chapters = {_("As left, after it was adjusted"): details(pickup, words)}
        chapters[_("As found")] = [capital(told)]
    return Opened(pickup.verdict, headline_words(pickup, words), chapters, rows=rows)


def prepare_words(answer: PrepareAnswer, words: Words) -> Opened:
    """A preparation: what to do, what is due, and a line for each check."""
    due = [": ".join(filter(None, (row[0], row[4]))) for row in service_rows(answer.due, words)]
    sources = [", ".join(row) for row in source_rows(answer.sources, words)]
    figures = [": ".join(row) for row in figure_rows(answer, words)]
    return Opened(
        answer.verdict,
        prepare_headline(answer, words),
        {
            _("What to do"): words.say_all(answer.to_do),
            _("Due"): due,
            _("True ÷ shown ground speed"): sources,
            _("Computed"): figures,
            _("Notes"): words.say_all(answer.warnings),
        },
        heads=(_("Check"), _("Value"), _("Limits"), _("Verdict")),
        rows=check_rows(answer, words),
    )


def speed_words(answer: SpeedAnswer, words: Words) -> Opened:
    """A belt speed: its figures, and every other speed there was."""
    sentence = _("There was nothing to measure the belt by.")
    if math.isfinite(answer.belt_speed_mps):
        speed = words.number("speed", answer.belt_speed_mps, answer.U_belt_speed_mps)
        sentence = _("The belt ran at {speed} on average.").format(speed=speed)
    others = [
        f"{one.source}: {words.number('speed', one.speed_mps, one.U_speed_mps)}"
        for one in answer.speeds
        if one.values
    ]
    return Opened(
        None,
        sentence,
        {_("Other speeds"): others, _("Notes"): words.say_all(answer.warnings)},
        rows=_rows(answer, words),
    )


def _rows(answer: object, words: Words) -> list[tuple[str, ...]]:
    return [(one.name, one.text(words)) for one in figures(answer)]

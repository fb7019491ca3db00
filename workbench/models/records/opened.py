"""A stored result in words: what it says first, then chapter by chapter."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from workbench.base.machine import Pickup
from workbench.base.numbers import plain, with_uncertainty
from workbench.base.units import UnitSystem
from workbench.calibration.gap.batch import PickupList
from workbench.calibration.gap.feeler import FeelerGap
from workbench.calibration.gap.table import parse_gap_table
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate.answer import CalibrateAnswer, RunAnswer
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.keep import answer_of
from workbench.jobs.speed.answer import SpeedAnswer
from workbench.models.gap.words import (
    feeler_advice,
    feeler_sentence,
    wheel_details,
    wheel_sentence,
)
from workbench.records.entries import StoredResult
from workbench.words.figures import figures
from workbench.words.language import _
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
        words.say(last.sentence),
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


def _runs(runs: Sequence[RunAnswer], words: Words, name: str) -> list[tuple[str, ...]]:
    per_mps = words.quantity("speed").per_si
    rows: list[tuple[str, ...]] = []
    for run in runs:
        error = with_uncertainty(100 * run.error, 200 * run.u_error, signed=True)
        if run.note is not None:
            error = _("left out: {why}").format(why=words.say(run.note))
        true = plain(per_mps * run.true_mps, 3)
        rows.append((name.format(run=run.run), f"{run.shown:g}", true, error))
    return rows


def pickups_of(answer: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The pickups of a gap check, the worst verdict first as the answer has them."""
    return answer.get("pickups") or [answer]


def gap_words(
    stored: StoredResult, at: int, units: UnitSystem
) -> tuple[Opened, FeelerGap | None, Pickup]:
    """One pickup of a gap check, its feeler gap (None where it was judged by its pulses), and
    the limits it was judged by."""
    answer, pickup = stored.answer, pickups_of(stored.answer)[at]
    limits = Pickup(gap_best_m=answer["gap_best_m"], gap_max_m=answer["gap_max_m"])
    marked = bool(pickup.get("marked"))
    gap = _feeler(stored, str(pickup.get("pickup") or ""), limits)
    if gap is not None:
        sentence, details = feeler_sentence(gap, units), [feeler_advice(gap, units)]
    else:
        sentence = wheel_sentence(pickup, marked=marked, units=units)
        details = wheel_details(pickup, units)
    rows = _rows(answer_of(stored, GapAnswer).pickups[at], Words(units))
    chapters = {_("What was found"): details}
    opened = Opened(Verdict(pickup["verdict"]), sentence, chapters, rows=rows)
    return opened, gap, limits


def _feeler(stored: StoredResult, name: str, limits: Pickup) -> FeelerGap | None:
    if stored.table is None:
        return None
    readings = parse_gap_table(stored.table, stored.table_name)
    listed = PickupList.from_table(readings, limits)
    listed.blade_step_m = stored.answer.get("blade_step_m") or listed.blade_step_m
    entry = next((one for one in listed.entries if one.pickup.name == name), None)
    return listed.judge(entry) if entry is not None else None


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


def late_shares(pickup: Mapping[str, Any]) -> list[float]:
    """Each tooth's lateness in pitches, NaN where it was not seen."""
    shares = pickup.get("spacing_rel") or []
    return [math.nan if share is None else float(share) for share in shares]


def suspects(pickup: Mapping[str, Any]) -> dict[int, str]:
    """Suspect teeth, from 1, with their fault."""
    found = pickup.get("faults") or []
    return {int(one["tooth"]): str(one["kind"]) for one in found if one.get("tooth")}

"""A shop's list of pickups in the person's words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from workbench.base.statements import PlusMinus
from workbench.calibration.gap.answer import WheelAnswer
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.sheet import Standing
from workbench.models.gap.pickups import PickupState
from workbench.models.gap.store import KeptAnswer
from workbench.words.language import N_, _
from workbench.words.words import Words

SHAPES: dict[Verdict | Standing, str] = {
    Standing.NOT_YET: "○",
    Standing.BEGUN: "◔",
    Verdict.PASS: "✓",
    Verdict.CONDITIONAL_PASS: "✓",
    Verdict.CONDITIONAL_FAIL: "△",
    Verdict.FAIL: "✕",
    Verdict.CANNOT_TELL: "?",
}
"""Beside each state's word a shape, so that colour is never needed."""


def drop_out_facts(pickup: WheelAnswer, low_mps: float, words: Words) -> str:
    """The drop-out speed beside the lowest working speed, '' where no tooth went missing."""
    drop = pickup.drop_out
    if drop is None or not math.isfinite(drop.speed_mps):
        return ""
    values = {"speed_mps": PlusMinus(drop.speed_mps, drop.U_speed_mps), "low_mps": low_mps}
    return words.fill(N_("Drop-out at {speed_mps}, lowest working speed {low_mps}."), values)


def kept_words(kept: Sequence[KeptAnswer]) -> str:
    """'Kept as result 4.', or the results of several machines."""
    if len(kept) == 1:
        return _("Kept as result {number}.").format(number=kept[0].number)
    told = _("Kept as results {numbers}, one for each machine.")
    if len({one.answer.simulated for one in kept}) > 1:
        told = _("Kept as results {numbers}, one for each machine, simulated readings apart.")
    return told.format(numbers=Words().joined([str(one.number) for one in kept]))


def state_words(state: PickupState, words: Words) -> str:
    """'✓ pass', '○ not yet', '◔ 2 read'; with 'simulated' where a run was."""
    said = words.say(state.standing)
    if state.standing is Standing.BEGUN:
        said = _("{count} read").format(count=state.readings)
    if state.as_found is not None:
        before = words.say(state.as_found.verdict)
        again = _("{state}, found {before}") if state.done else _("{before}, to be checked again")
        said = again.format(state=said, before=before)
    if state.simulated:
        said = _("{state}, simulated").format(state=said)
    return f"{SHAPES[state.standing]} {said}"


def limits_words(state: PickupState) -> str:
    """Whose limits a pickup is judged by."""
    if not state.held.name:
        return _("Usual limits, no machine")
    return _("Limits of {machine}").format(machine=state.held.name)


def name_words(state: PickupState) -> str:
    """A pickup's name in the list, and below it whose limits hold, unless the name tells."""
    if state.held.name and state.name.startswith(state.held.name):
        return state.name
    return f"{state.name}\n{state.held.name or limits_words(state)}"


def found_words(state: PickupState, words: Words) -> str:
    """What was found at a pickup of the list: its gap, and what its runs say."""
    found = []
    gap = state.gap
    if state.as_found is not None:
        found.append(words.fill(N_("found {gap_m:gap}"), {"gap_m": state.as_found.gap_m}))
    if gap is not None:
        values = {"gap_m": gap.gap_m, "runout_m": gap.runout_m}
        told = N_("{gap_m:gap}, run-out {runout_m:gap}")
        if not math.isfinite(gap.runout_m):
            told = N_("{gap_m:gap}")
        found.append(words.fill(told, values))
    found += [words.say(run.said) for run in state.runs]
    return "; ".join(found)


def to_do_words(state: PickupState, words: Words) -> str:
    """What to do at a pickup of the list."""
    if state.gap is None or state.gap.advice is None or state.standing is Standing.BEGUN:
        return ""
    return words.say(state.gap.advice)

"""Verdict, cause and advice of a pass do not contradict each other, on every scenario.

The scenarios are invented; what must not stand side by side is common practice, no source.
"""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import pytest

import sim
from sim.run import simulate
from workbench.base.machine import parse_machine
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.passes.answer import PassOptions, PassSays
from workbench.jobs.passes.compute import compute
from workbench.match.advice import AdviceSays
from workbench.match.hypotheses import Cause, CauseSays
from workbench.words.passes import pass_words
from workbench.words.words import Words

SCENARIOS = sorted(path.stem for path in (Path(sim.__file__).parent / "library").glob("*.toml"))
SEEDS, FOR_S = (1, 2, 5), 90.0
LEAVES = AdviceSays.LEAVE_BOTH
NO_CHANGE = {AdviceSays.LEAVE_UNTIL_ANOTHER_PASS, AdviceSays.LEAVE_UNTIL_JUDGED_AGAIN, LEAVES}
CHANGE = {AdviceSays.RUN_BELT_FASTER, AdviceSays.RUN_BELT_SLOWER}
PASSES_OVER = {Cause.OIL_WARMING, Cause.ENGINE_DROOP, Cause.BELT_NOT_FOLLOWING}
MISLEADS = {Cause.BELT_SLIP, Cause.ROLL_BUILD_UP, CauseSays.WRONG_TEETH_TYPED}


@cache
def run_of(scenario, seed):
    run = simulate(scenario, seed, FOR_S)
    return run.recording, parse_machine(run.machine_text)


def grounds():
    for scenario in SCENARIOS:
        for seed in SEEDS:
            yield scenario, seed, None
    for seed in SEEDS:
        yield "gnss-dropouts", seed, "gnss"
        yield "wheel-slip", seed, "wheel"


def says(answer):
    return {said.what for said in answer.advice.sentences}


@pytest.mark.parametrize(("scenario", "seed", "ground"), list(grounds()))
def test_verdict_cause_and_advice_agree(scenario, seed, ground):
    recording, machine = run_of(scenario, seed)
    answer = compute(recording, machine, PassOptions(ground=ground))
    advice, said, reason = answer.advice, says(answer), answer.reason.what
    words = " ".join(pass_words(answer, Words()).to_do)
    changes = math.isfinite(advice.belt_change_rel)
    # What to do is said, and only one thing about the belt's speed.
    assert words
    assert changes == bool(said & CHANGE)
    assert not (said & CHANGE and said & NO_CHANGE)
    # More of the same settles it, or it does not.
    if reason == PassSays.MORE_WOULD_NOT_SETTLE:
        assert AdviceSays.TOO_UNSURE_TO_CHANGE not in said
        assert "longer pass" not in words
    if reason == PassSays.MORE_WOULD_SETTLE:
        assert answer.reason.values["more_s"] <= 1800
        assert AdviceSays.TAKE_A_SURER_GROUND not in said
    # Of what cannot be told no change of the belt follows, nor that it is right as it is.
    if answer.verdict is Verdict.CANNOT_TELL and not answer.stretches:
        assert not changes
        assert LEAVES not in said
    _agrees_with_the_cause(answer)
    _agrees_with_the_ratio(answer)


def _agrees_with_the_cause(answer):
    said, advice = says(answer), answer.advice
    likely = [one.cause for one in answer.likely_causes]
    if answer.verdict.is_fail or not math.isfinite(answer.ratio):
        assert Cause.NONE not in likely
    if not answer.cause_clear or not math.isfinite(answer.ratio):
        return
    first = answer.causes[0]
    if first.cause in PASSES_OVER:
        assert LEAVES not in said
        assert first.check_next.what in said
        assert answer.reason.what != PassSays.MORE_WOULD_SETTLE
    if first.title.what in MISLEADS:
        assert not said & (CHANGE | {LEAVES})
        assert first.check_next.what in said
        assert not math.isfinite(advice.steps_to_go)
    if first.cause in (Cause.LOSING_PULSES, Cause.EXTRA_PULSES, Cause.DAMAGED_WHEEL):
        assert first.check_next.what in said
    if first.cause is Cause.NONE:
        assert LEAVES in said or answer.verdict is Verdict.CANNOT_TELL


def _agrees_with_the_ratio(answer):
    advice = answer.advice
    latest = answer.stretches[-1] if answer.stretches else answer
    if math.isfinite(advice.belt_change_rel):
        assert advice.belt_change_rel == pytest.approx(1 / latest.ratio - 1)
        assert latest.verdict not in (Verdict.PASS, Verdict.CONDITIONAL_PASS)
    if LEAVES in says(answer):
        assert latest.verdict in (Verdict.PASS, Verdict.CONDITIONAL_PASS)
    if answer.stretches:
        # A mean of before and after is settled by nothing.
        assert answer.reason.what not in (
            PassSays.MORE_WOULD_SETTLE,
            PassSays.MORE_WOULD_NOT_SETTLE,
        )
        before, after = answer.stretches
        assert before.to_s <= after.from_s


@pytest.mark.parametrize("seed", SEEDS)
def test_another_ground_is_offered_where_it_settles_the_pass(seed):
    recording, machine = run_of("gnss-dropouts", seed)
    unsure = compute(recording, machine, PassOptions(ground="gnss"))
    assert unsure.verdict is Verdict.CANNOT_TELL
    assert unsure.advice.judge_again_with == "radar"
    offer = unsure.advice.sentences[0]
    assert offer.what == AdviceSays.JUDGE_AGAIN_WITH
    again = compute(recording, machine, PassOptions(ground=unsure.advice.judge_again_with))
    assert again.verdict is not Verdict.CANNOT_TELL
    assert again.ratio == pytest.approx(offer.values["ratio"].value)
    assert again.U_ratio == pytest.approx(offer.values["ratio"].U)
    assert not again.advice.judge_again_with


@pytest.mark.parametrize("seed", SEEDS)
def test_wheels_that_slip_are_no_slow_belt(seed):
    recording, machine = run_of("wheel-slip", seed)
    by_wheel = compute(recording, machine, PassOptions(ground="wheel"))
    assert by_wheel.causes[0].cause is Cause.WHEEL_SLIP
    assert not math.isfinite(by_wheel.advice.belt_change_rel)
    assert by_wheel.advice.judge_again_with in ("gnss", "radar")


def test_where_no_other_ground_is_left_a_surer_one_is_asked_for(tmp_path):
    alone = tmp_path / "alone.toml"
    alone.write_text('base = "gnss-dropouts"\n[sensors]\nradar = 0\nwheel = 0\n')
    run = simulate(alone, 1, FOR_S)
    answer = compute(run.recording, parse_machine(run.machine_text), PassOptions(ground="gnss"))
    assert answer.verdict is Verdict.CANNOT_TELL
    assert not answer.advice.judge_again_with
    assert answer.reason.what == PassSays.MORE_WOULD_NOT_SETTLE
    assert AdviceSays.TAKE_A_SURER_GROUND in says(answer)


@pytest.mark.parametrize("seed", SEEDS)
def test_before_and_after_a_bump_stand_side_by_side(seed):
    """The valve is bumped between 34 and 42 s, to 0.86 to 0.92 of its opening."""
    recording, machine = run_of("bumped-valve", seed)
    answer = compute(recording, machine, PassOptions())
    before, after = answer.stretches
    assert 33 < before.to_s < 44
    assert before.ratio == pytest.approx(1.0, abs=0.03)
    assert 0.84 < after.ratio < 0.94
    assert after.verdict.is_fail
    assert not before.verdict.is_fail

"""The pass while it is driven says what the pass afterwards says."""

from __future__ import annotations

import math

import numpy as np
import pytest

from workbench.calibration.statistics.decision import Verdict
from workbench.match.live import LiveMatch
from workbench.match.live_seconds import TractorState
from workbench.match.ratio import PaceLimits

BAND = PaceLimits(0.95, 1.05)


@pytest.mark.parametrize(
    ("scenario", "seed", "for_s", "ground"),
    [
        ("healthy", 1, 60.0, "radar"),
        ("valve-off", 2, 60.0, "gnss"),
        ("valve-too-fast", 3, 60.0, "radar"),
    ],
)
def test_the_last_snapshot_agrees_with_the_answer_afterwards(
    replayed, scenario, seed, for_s, ground
):
    run = replayed(scenario, seed, for_s, ground)
    last, after = run.snapshots[-1], run.after
    assert last.standing.ratio == pytest.approx(after.ratio, abs=after.U_ratio / 3)
    assert last.separation_m == pytest.approx(after.separation_m, abs=after.u_separation_m)
    assert 0.4 < last.standing.U_ratio / after.U_ratio < 2.5


def test_approach_steady_run_and_headland_are_told_as_they_come(replayed):
    """Stand 3 s, approach 8 s, run 240 s, headland 25 s, run again (the healthy scenario)."""
    run = replayed("healthy", 4, 325.0, chunk_s=1.0)

    def state_at(time_s):
        return min(run.snapshots, key=lambda one: abs(one.time_s - time_s)).state

    assert state_at(2.5) == TractorState.STOPPED
    assert state_at(8.0) == TractorState.APPROACH
    assert state_at(60.0) == TractorState.STEADY
    assert state_at(265.0) == TractorState.HEADLAND
    assert state_at(310.0) == TractorState.STEADY


def test_an_answer_comes_early_and_says_what_is_missing_before(replayed):
    run = replayed("valve-off", 2, 60.0)
    answers = [one.standing.verdict for one in run.snapshots]
    assert answers[20] == Verdict.CANNOT_TELL
    assert Verdict.FAIL in answers
    waiting = [one.standing.more_s for one in run.snapshots if one.standing.more_s > 0]
    assert waiting
    assert waiting[-1] < waiting[0]


def stream(live, ratio, seed, seconds, from_s=0.0, memory=0.9, wander_mps=0.02):
    """Tenths of a belt that wanders (AR(1)) beside a steady ground, second by second."""
    rng = np.random.default_rng(seed)
    wander, time_s = 0.0, from_s
    for _ in range(seconds):
        tenth = time_s + 0.1 * np.arange(1, 11)
        belt = np.empty(10)
        for at in range(10):
            wander = memory * wander + math.sqrt(1 - memory**2) * rng.normal(0, wander_mps)
            belt[at] = 1.2 * ratio + wander
        time_s = float(tenth[-1])
        live.add_belt(tenth, belt, time_s)
        live.add_ground(tenth, 1.2 + rng.normal(0, 0.01, 10), time_s)
        yield live.snapshot(time_s)


def test_an_early_answer_is_seldom_wrong_though_it_is_looked_for_every_second():
    """A ratio 0.5 % within the lower limit: 'fail' would be wrong, whenever it is said."""
    wrong = 0
    for seed in range(20):
        said = [one.standing.verdict for one in stream(LiveMatch(BAND), 0.955, seed, 40)]
        wrong += Verdict.FAIL in said
    assert wrong <= 1


def test_a_lost_signal_is_said_and_nothing_coasts():
    live = LiveMatch(BAND)
    assert live.snapshot(0.0).state == TractorState.WAITING
    last = list(stream(live, 1.0, 1, 30))[-1]
    assert last.state == TractorState.STEADY
    later = live.snapshot(last.time_s + 2.5)
    assert later.state == TractorState.LOST
    assert (later.belt_lost, later.ground_lost) == (True, True)
    assert math.isnan(later.belt_mps)
    assert later.separation_m == last.separation_m
    assert list(stream(live, 1.0, 2, 8, from_s=60.0))[-1].state == TractorState.STEADY


def test_no_value_is_no_speed_and_an_empty_block_does_no_harm():
    live = LiveMatch(BAND)
    none = np.empty(0)
    live.add_belt(none, none, 0.0)
    live.add_ground(np.array([1.0]), np.array([math.nan]), 1.0)
    live.add_edges(none, 0, 1.0)
    assert live.snapshot(1.5).state == TractorState.WAITING
    assert math.isnan(live.snapshot(1.5).standing.ratio)

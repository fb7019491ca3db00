"""Drop-out runs of wheels whose threshold speed is known."""

import math

import numpy as np
import pytest

from workbench.base.errors import WrongInput
from workbench.calibration.gap.amplitude import BaselinePoint, fit_law
from workbench.calibration.gap.dropout import DropOut, find_drop_out, follow
from workbench.calibration.gap.judgement import Estimate
from workbench.calibration.gap.margin import DropOutSays, judge_drop_out, with_gap_at_limit
from workbench.calibration.pulses.drive_line import MetresPerPulse
from workbench.calibration.statistics.decision import Verdict

TEETH = 24


def slowing(rng, *, swing=0.1, noise=0.02, worn=None, threshold_hz=30.0, to_hz=20.0):
    """(edges seen, the true drop-out rate): the tooth rate falls evenly from 90 Hz in 100 s.

    A tooth is seen where its rate exceeds threshold·exp(swing·cos θ), times 1 ± noise.
    """
    slope = (90.0 - to_hz) / 100.0
    index = np.arange(int(100 * (90 + to_hz) / 2))
    time_s = (90.0 - np.sqrt(90.0**2 - 2 * slope * index)) / slope
    rate = 90.0 - slope * time_s
    theta = 2 * np.pi * (index % TEETH) / TEETH
    level = threshold_hz * np.exp(swing * np.cos(theta - 2.0))
    if worn is not None:
        level[index % TEETH == worn[0]] *= worn[1]
    seen = rate > level * np.exp(rng.normal(0, noise, index.size))
    weakest = threshold_hz * math.exp(swing)
    return time_s[seen], max(weakest, level.max() if worn else 0.0)


@pytest.mark.parametrize(
    "run", [{}, {"swing": 0.0}, {"swing": 0.25}, {"noise": 0.08}, {"worn": (5, 1.6)}]
)
def test_the_drop_out_rate_lies_in_its_interval(run) -> None:
    rng = np.random.default_rng(12)
    inside = 0
    for _ in range(12):
        time_s, truth_hz = slowing(rng, **run)
        found = find_drop_out(time_s, TEETH)
        inside += abs(found.tooth_hz / truth_hz - 1) <= 2 * found.u_rel
    assert inside >= 10


def test_the_weakest_side_and_a_single_weak_tooth_are_named() -> None:
    rng = np.random.default_rng(1)
    side = find_drop_out(slowing(rng)[0], TEETH)
    assert side.angle_deg == pytest.approx(math.degrees(2.0), abs=12)
    single = find_drop_out(slowing(rng, worn=(5, 1.6))[0], TEETH)
    assert single.tooth == 6
    assert single.first_hz > 45


def test_teeth_count_from_the_mark_in_a_drop_out_run_too() -> None:
    time_s, _ = slowing(np.random.default_rng(1), worn=(5, 1.6))
    # Tooth 1 is the fourth of a turn before, and of a turn after the belt begins to slow.
    for turn in (2, 60):
        assert find_drop_out(time_s, TEETH, time_s[24 * turn + 3]).tooth == 3


def test_the_count_holds_where_half_the_wheel_is_gone() -> None:
    time_s, _ = slowing(np.random.default_rng(3), swing=0.25)
    passages = follow(time_s, TEETH)
    # The rate falls evenly: a miscount would make it jump.
    assert np.max(np.abs(np.diff(np.log(passages.tooth_hz)))) < 0.05
    assert np.count_nonzero(~passages.seen) > 100


def test_a_missing_tooth_is_not_taken_for_drop_out() -> None:
    time_s, truth_hz = slowing(np.random.default_rng(4), noise=0.01)
    index = np.arange(time_s.size)
    broken = np.delete(time_s, np.flatnonzero((index % TEETH == 9) & (index < 24 * 180)))
    found = find_drop_out(broken, TEETH)
    assert found.tooth_hz == pytest.approx(truth_hz, rel=0.03)


def test_a_belt_that_was_not_slowed_gets_a_sentence() -> None:
    for pulses in (30, 2000):
        with pytest.raises(WrongInput, match=r"fewer than two turns|The belt was not slowed"):
            find_drop_out(np.arange(pulses) / 80.0, TEETH)


def drop_out(tooth_hz: float, lowest_hz: float = 20.0) -> DropOut:
    return DropOut(tooth_hz, 0.01, 6, 75.0, 34.0, lowest_hz, 90.0, 0.02, 40, 5000)


PER_PULSE = MetresPerPulse(0.0135, 0.0)


@pytest.mark.parametrize(
    ("tooth_hz", "verdict", "says"),
    [
        (30.0, Verdict.PASS, DropOutSays.MISSING_BELOW_WORK),
        (65.9, Verdict.CONDITIONAL_PASS, DropOutSays.MISSING_BELOW_WORK),
        (66.5, Verdict.CONDITIONAL_FAIL, DropOutSays.MISSING_AT_WORK),
        (80.0, Verdict.FAIL, DropOutSays.MISSING_AT_WORK),
    ],
)
def test_the_margin_to_the_lowest_working_speed_decides(tooth_hz, verdict, says) -> None:
    shown, decision = judge_drop_out(drop_out(tooth_hz), PER_PULSE, 0.894)
    assert decision.verdict is verdict
    assert shown.sentence.what == says
    assert shown.sentence.values["tooth"] == 6
    assert shown.sentence.values["speed_mps"] == pytest.approx(0.0135 * tooth_hz)
    assert shown.margin == pytest.approx(0.894 / (0.0135 * tooth_hz))


def test_a_run_without_missing_teeth_passes_only_if_it_was_slow_enough() -> None:
    _, slow = judge_drop_out(drop_out(math.nan, 30.0), PER_PULSE, 0.894)
    assert slow.verdict is Verdict.PASS
    shown, fast = judge_drop_out(drop_out(math.nan, 80.0), PER_PULSE, 0.894)
    assert fast.verdict is Verdict.CANNOT_TELL
    assert shown.sentence.what == DropOutSays.NONE_MISSING_YET


def test_the_gap_that_just_does_follows_the_amplitude_law() -> None:
    # v ∝ exp(g/δ): with δ = 2 mm a margin of e leaves 2 mm of gap.
    law = fit_law([BaselinePoint(g, 1e-5, -g / 0.002) for g in (0.001, 0.002, 0.003)])
    shown, _ = judge_drop_out(drop_out(30.0), PER_PULSE, math.e * 30.0 * PER_PULSE.value_m)
    limit = with_gap_at_limit(shown, Estimate(0.0016, 5e-5), law)
    assert limit.gap_at_limit_m == pytest.approx(0.0036, rel=1e-6)
    assert limit.u_gap_at_limit_m > 5e-5


@pytest.mark.parametrize("stands_s", [0.0, 5.0])
def test_a_belt_that_is_raised_again_was_slowed_all_the_same(stands_s) -> None:
    """The page says it: slow it evenly, then raise the speed again and stop the run."""
    down_s, truth_hz = slowing(np.random.default_rng(7), worn=(5, 1.6))
    alone = find_drop_out(down_s, TEETH)
    fast_s = down_s[-1] + stands_s + np.arange(1, 900) / 90.0
    again = find_drop_out(np.concatenate((down_s, fast_s)), TEETH)
    assert again.tooth_hz == pytest.approx(truth_hz, abs=2 * again.u_rel * truth_hz)
    assert again.tooth == alone.tooth == 6
    # A run-up before it, slower than all that follows, is no slowing.
    run_up_s = down_s[0] - 20.0 + np.sqrt(np.linspace(0.0, 1.0, 900)) * 19.98
    late = find_drop_out(np.concatenate((run_up_s, down_s)), TEETH, down_s[0])
    assert late.tooth_hz == pytest.approx(alone.tooth_hz)

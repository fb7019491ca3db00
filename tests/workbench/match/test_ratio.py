"""Two speeds compared: lag, ratio and its uncertainty, separation, verdict."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from workbench.calibration.pulses.speed import SpeedSeries
from workbench.calibration.statistics.decision import Verdict
from workbench.match.align import align, find_lag
from workbench.match.mean import reading_mean
from workbench.match.ratio import PaceLimits, PaceSays, compare, own_accuracy, seconds_to_settle
from workbench.match.steady import steady_part

Floats = NDArray[np.float64]
BAND = PaceLimits(0.95, 1.05)


def series(
    time_s: Floats, speed_mps: Floats, u_mps: float = 0.0, common: float = 0.0
) -> SpeedSeries:
    return SpeedSeries(time_s, speed_mps, np.full(time_s.size, u_mps), common)


def pass_profile(time_s: Floats) -> Floats:
    """A pass of invented data: approach, steady with a slow swing, headland; m/s."""
    steady = 1.2 + 0.06 * np.sin(2 * np.pi * time_s / 17) + 0.03 * np.sin(2 * np.pi * time_s / 5)
    return steady * np.clip((time_s - 4) / 6, 0, 1) * np.clip((118 - time_s) / 4, 0.3, 1)


def two_speeds(
    seed: int, ratio: float = 1.0, lag_s: float = 0.4, noise_mps: float = 0.01
) -> tuple[SpeedSeries, SpeedSeries]:
    rng = np.random.default_rng(seed)
    belt_s = np.sort(rng.uniform(0, 120, 2400))
    ground_s = np.arange(0, 120, 0.1)
    belt = ratio * pass_profile(belt_s) + rng.normal(0, 0.003, belt_s.size)
    ground = pass_profile(ground_s - lag_s) + rng.normal(0, noise_mps, ground_s.size)
    return series(belt_s, belt, 0.003), series(ground_s, ground, 0.01)


@pytest.mark.parametrize("lag_s", [-0.7, 0.0, 0.35, 1.2])
def test_the_lag_is_found_with_its_sign(lag_s: float) -> None:
    found = [align(*two_speeds(seed, lag_s=lag_s)) for seed in range(10)]
    error = np.array([one.lag_s - lag_s for one in found])
    u = np.array([one.u_lag_s for one in found])
    assert np.abs(error).max() < 0.1
    assert np.median(np.abs(error) / u) < 1.5
    assert np.median(u) < 0.1


def test_no_lag_is_claimed_at_constant_speed() -> None:
    rng = np.random.default_rng(0)
    lag_s, u_lag_s = find_lag(1.2 + rng.normal(0, 0.01, 900), 1.2 + rng.normal(0, 0.05, 900), 0.1)
    assert math.isnan(lag_s)
    assert math.isinf(u_lag_s)


@pytest.mark.parametrize(
    ("ratio", "verdict"),
    [(1.0, Verdict.PASS), (0.80, Verdict.FAIL), (1.20, Verdict.FAIL)],
)
def test_the_ratio_is_right_and_judged(ratio: float, verdict: Verdict) -> None:
    for seed in range(10):
        answer = compare(*two_speeds(seed, ratio), BAND).pace
        assert answer.decision.verdict == verdict
        assert answer.ratio == pytest.approx(ratio, abs=max(0.004, 2 * answer.U_ratio))


def test_the_interval_of_the_ratio_holds_the_truth() -> None:
    inside = [
        abs(answer.ratio - 0.97) <= answer.U_ratio
        for answer in (
            compare(*two_speeds(seed, 0.97, noise_mps=0.03), BAND).pace for seed in range(200)
        )
    ]
    assert np.mean(inside) >= 0.93


def test_separation_is_belt_distance_minus_ground_distance() -> None:
    answer = compare(*two_speeds(1, 0.9, noise_mps=0.002), BAND).pace
    assert answer.separation_m == pytest.approx(
        (0.9 - 1) * answer.ground_speed_mps * answer.duration_s, abs=0.3
    )
    assert answer.separation_m < 0


def test_drift_is_the_change_of_the_ratio_an_hour() -> None:
    time_s = np.arange(0, 600, 0.1)
    answers = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        ground = 1.2 + rng.normal(0, 0.02, time_s.size)
        belt = 1.2 * (1 + 0.24 * (time_s - 300) / 3600) + rng.normal(0, 0.01, time_s.size)
        answers.append(compare(series(time_s, belt), series(time_s, ground), BAND).pace)
    drift = np.array([answer.drift_per_hour for answer in answers])
    assert drift.mean() == pytest.approx(0.24, abs=0.004)
    assert drift.std() == pytest.approx(answers[0].u_drift_per_hour, rel=0.4)


def test_the_share_in_band_counts_seconds() -> None:
    time_s = np.arange(0, 100, 0.1)
    belt = np.where(time_s < 75, 1.2, 1.4)
    answer = compare(series(time_s, belt), series(time_s, np.full(time_s.size, 1.2)), BAND).pace
    assert answer.in_band == pytest.approx(0.75, abs=0.03)


def test_what_the_metres_a_pulse_may_be_wrong_by_does_not_average_out() -> None:
    belt, ground = two_speeds(3, noise_mps=0.001)
    shared = SpeedSeries(belt.time_s, belt.speed_mps, belt.u_mps, 0.02)
    answer = compare(shared, ground, BAND).pace
    assert answer.u_ratio / answer.ratio >= 0.02


def test_a_coarse_reading_that_never_moves_keeps_its_resolution() -> None:
    time_s = np.arange(0, 100, 1.0)
    still = series(time_s, np.full(100, 1.0), u_mps=0.015)
    moving = series(time_s, 1 + 0.1 * np.sin(time_s), u_mps=0.015)
    assert own_accuracy(still, 100.0) == pytest.approx(0.015)
    assert own_accuracy(moving, 100.0) < 0.003


@pytest.mark.parametrize(
    ("belt", "ground", "says", "values"),
    [
        ([math.nan] * 100, [1.0] * 100, PaceSays.BELT_WITHOUT_VALUE, {"messages": 100}),
        ([1.0] * 100, [math.nan] * 100, PaceSays.GROUND_WITHOUT_VALUE, {"messages": 100}),
        ([0.0] * 100, [0.0] * 100, PaceSays.HARDLY_MOVED, {"moved_s": 0.0}),
        ([1.0] * 3, [1.0] * 3, PaceSays.HARDLY_MOVED, {"least_mps": 0.2}),
    ],
)
def test_what_cannot_be_compared_says_why(
    belt: list[float], ground: list[float], says: PaceSays, values: dict[str, float]
) -> None:
    time_s = np.arange(len(belt)) * 0.1
    answer = compare(series(time_s, np.array(belt)), series(time_s, np.array(ground)), BAND).pace
    assert answer.decision.verdict == Verdict.CANNOT_TELL
    assert answer.decision.reason.what == says
    assert answer.decision.reason.values.items() >= values.items()


def test_sources_at_different_times_cannot_be_compared() -> None:
    time_s = np.arange(0, 60, 0.1)
    one = np.ones(time_s.size)
    answer = compare(series(time_s, one), series(time_s + 1000, one), BAND).pace
    assert answer.decision.reason.what == PaceSays.NO_TIME_IN_COMMON


def test_a_hole_is_not_bridged() -> None:
    belt, ground = two_speeds(4)
    hole = (ground.time_s > 50) & (ground.time_s < 70)
    holed = SpeedSeries(ground.time_s[~hole], ground.speed_mps[~hole], ground.u_mps[~hole], 0.0)
    answer = compare(belt, holed, BAND).pace
    assert answer.duration_s == pytest.approx(
        compare(belt, ground, BAND).pace.duration_s - 20, abs=1.5
    )
    assert PaceSays.TIMES_WITHOUT_VALUE in [warning.what for warning in answer.warnings]


def test_how_much_longer_is_said_where_it_helps() -> None:
    belt, ground = two_speeds(5, ratio=0.951, noise_mps=0.05)
    answer = compare(belt, ground, BAND).pace
    more_s = seconds_to_settle(answer, BAND)
    assert more_s > 0
    assert answer.decision.verdict in (Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL)


def test_approach_and_headland_are_left_out() -> None:
    time_s = np.arange(0, 120, 0.1)
    speed = pass_profile(time_s)
    part = steady_part(speed, 0.1, speed > 0.2)
    assert 8.5 <= time_s[part][0] <= 11.5
    assert 112 <= time_s[part][-1] <= 117


def test_the_mean_of_a_changing_speed_is_not_blamed_for_the_change() -> None:
    rng = np.random.default_rng(0)
    values = np.linspace(0.5, 2.0, 1000) + rng.normal(0, 0.02, 1000)
    mean = reading_mean(values, np.zeros(1000))
    assert mean.u == pytest.approx(0.02 / math.sqrt(1000), rel=0.15)


def test_twice_the_lags_uncertainty_holds_it() -> None:
    """Short form of tests/benchmarks/bench_lag.py: swings of 6 to 30 s under a noise as large."""
    held = told = 0
    for seed in range(240):
        rng = np.random.default_rng(seed)
        time_s = np.arange(0.0, 60.0, 0.1)
        swings = rng.uniform(6, 30, 3), rng.uniform(0, 7, 3)

        def speed(at_s, swings=swings):
            waves = np.sin(2 * np.pi * at_s[:, None] / swings[0] + swings[1]).sum(axis=1)
            return 1.25 + 0.02 * waves

        behind = speed(time_s - 0.3) + rng.normal(0, 0.04, time_s.size)
        lag_s, u_lag_s = find_lag(speed(time_s) + rng.normal(0, 0.004, 600), behind, 0.1)
        told += bool(np.isfinite(lag_s))
        held += bool(abs(lag_s - 0.3) <= 2 * u_lag_s)
    assert told >= 216
    assert held >= 0.9 * told

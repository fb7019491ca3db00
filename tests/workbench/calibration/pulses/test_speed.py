"""Belt speed, its uncertainty, the speed series, the teeth as the signal says."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.calibration.pulses.edges import CleanEdges, clean
from workbench.calibration.pulses.speed import belt_speed, fit_period, speed_series
from workbench.calibration.pulses.target_wheel import teeth_seen, tooth_signature
from workbench.calibration.statistics.coverage import coverage_factor

TEETH = 24
PERIOD_S = 0.01
JITTER_S = 20e-6


def pulses(
    seed: int, turns: int, spacing: float = 0.0, missing: float = 0.0, extra: float = 0.0
) -> NDArray[np.float64]:
    """Edge times of a belt at constant speed; invented data, its truth is PERIOD_S."""
    rng = np.random.default_rng(seed)
    offset = rng.normal(0, spacing, TEETH)
    index = np.arange(turns * TEETH)
    time_s = PERIOD_S * (index + offset[index % TEETH]) + rng.normal(0, JITTER_S, index.size)
    kept = time_s[rng.random(index.size) >= missing]
    noise = rng.uniform(time_s[0], time_s[-1], rng.poisson(extra * index.size))
    return np.sort(np.concatenate((kept, noise)))


@pytest.mark.parametrize(
    ("case", "turns"),
    [
        ({}, 10),
        ({"spacing": 0.01}, 10),
        ({"spacing": 0.01, "missing": 0.02, "extra": 0.01}, 12),
    ],
    ids=["white jitter", "tooth spacing error", "2 % missing and 1 % extra"],
)
def test_the_95_percent_interval_holds_the_truth_93_to_97_times_in_100(
    case: dict[str, float], turns: int
) -> None:
    seeds = 600
    inside = 0
    for seed in range(seeds):
        fit = fit_period(clean(pulses(seed, turns, **case)), TEETH)
        inside += abs(fit.period_s - PERIOD_S) <= coverage_factor(fit.dof, 0.95) * fit.u_period_s
    assert 0.93 <= inside / seeds <= 0.97


def wandering(seed: int, seconds: float = 30.0) -> tuple[CleanEdges, float]:
    """A belt whose speed wanders by 2 %, and its true mean pulse rate between its end edges."""
    rng = np.random.default_rng(seed)
    clock = np.linspace(0, seconds, 60_001)
    wander = np.cumsum(rng.normal(0, 1, clock.size))
    wander = 0.02 * (wander - wander.mean()) / np.abs(wander).max()
    phase = np.concatenate(([0], np.cumsum(100 * (1 + wander[:-1]) * np.diff(clock))))
    true_s = np.interp(np.arange(1, int(phase[-1])), phase, clock)
    edges = clean(true_s + rng.normal(0, JITTER_S, true_s.size))
    return edges, (true_s.size - 1) / (true_s[-1] - true_s[0])


def test_a_wandering_belt_gives_the_mean_over_the_run() -> None:
    """The wander is the belt's own: the end points say what was travelled in what time."""
    inside = 0
    for seed in range(200):
        edges, rate_hz = wandering(seed)
        fit = fit_period(edges, TEETH)
        assert fit.method == "end points"
        inside += abs(fit.period_s - 1 / rate_hz) <= 2 * fit.u_period_s
    assert inside / 200 >= 0.93


def test_fewer_than_two_turns_allow_for_the_spacing_error() -> None:
    errors, u = [], []
    for seed in range(300):
        fit = fit_period(clean(pulses(seed, 1, spacing=0.01)), TEETH)
        assert fit.method == "line"
        errors.append(fit.period_s - PERIOD_S)
        u.append(fit.u_period_s)
    assert 1.0 <= np.mean(u) / np.std(errors) <= 2.5


def test_an_interruption_is_left_out_of_the_mean() -> None:
    time_s = pulses(1, 60)
    broken = np.concatenate((time_s[:700], time_s[700:] + 3.217))
    fit = fit_period(clean(broken), TEETH)
    assert fit.period_s == pytest.approx(PERIOD_S, abs=3 * fit.u_period_s)
    assert fit.span_s == pytest.approx(time_s[-1] - time_s[0] - PERIOD_S, abs=0.001)


def test_contributions_add_in_squares() -> None:
    """GUM 5.1.6, relative standard uncertainties of a quotient."""
    speed = belt_speed(clean(pulses(2, 20)), TEETH, 0.012, 0.012 * 0.001, 30e-6)
    assert speed.speed_mps == pytest.approx(0.012 / PERIOD_S, rel=1e-5)
    assert speed.u_mps / speed.speed_mps == pytest.approx(
        math.sqrt(sum(part**2 for part in speed.parts.values()))
    )
    assert speed.k == pytest.approx(2.0, abs=0.01)
    assert speed.turns == pytest.approx(20, abs=0.1)


def test_two_edges_are_no_speed() -> None:
    with pytest.raises(WrongInput, match="at least 3"):
        fit_period(clean(np.array([0.0, 1.0])), TEETH)


def test_the_series_follows_a_ramp_and_states_its_scatter_rightly() -> None:
    rng = np.random.default_rng(5)
    clock = np.linspace(0, 20, 200_001)
    speed_mps = np.interp(clock, [0, 5, 10, 20], [0.8, 0.8, 1.4, 1.4])
    metre_per_pulse_m = 0.0125
    travelled_m = np.concatenate(([0], np.cumsum(speed_mps[:-1] * np.diff(clock))))
    marks_m = metre_per_pulse_m * np.arange(1, int(travelled_m[-1] / metre_per_pulse_m))
    time_s = np.interp(marks_m, travelled_m, clock) + rng.normal(0, JITTER_S, marks_m.size)
    series = speed_series(clean(time_s), TEETH, metre_per_pulse_m)
    true_mps = np.interp(series.time_s, clock, speed_mps)
    steady = (series.time_s < 4.5) | (series.time_s > 10.5)
    assert np.abs(series.speed_mps - true_mps).max() < 0.01
    scaled = (series.speed_mps - true_mps)[steady] / series.u_mps[steady]
    assert np.std(scaled) == pytest.approx(1.0, abs=0.2)


def test_the_series_leaves_out_turns_with_a_lost_tooth() -> None:
    time_s = pulses(3, 40, spacing=0.01)
    series = speed_series(clean(np.delete(time_s, 480)), TEETH, 1.0)
    np.testing.assert_allclose(series.speed_mps, 1 / PERIOD_S, rtol=3e-3)


def test_the_signal_tells_the_number_of_teeth() -> None:
    for seed in range(20):
        seen = teeth_seen(clean(pulses(seed, 20, spacing=0.01)))
        assert seen.teeth == TEETH
        assert seen.confidence > 0.99
        assert not seen.contradicts(TEETH)
        assert seen.contradicts(23)
        assert seen.contradicts(12)


def test_a_perfect_wheel_contradicts_no_count() -> None:
    """Nothing repeats in white jitter: no count may be called wrong on the strength of it."""
    assert not any(teeth_seen(clean(pulses(seed, 30))).contradicts(25) for seed in range(200))


@pytest.mark.parametrize("decimals", [3, 4, 6])
def test_a_coarse_clock_beating_with_a_perfect_wheel_is_no_signature(decimals: int) -> None:
    """Times rounded to a whole millisecond, tenth or microsecond repeat after some teeth."""
    time_s = np.round(0.381 / 24 / 1.2 * np.arange(3000), decimals)
    assert not teeth_seen(clean(time_s)).contradicts(TEETH)


def test_edges_at_one_moment_are_no_speed() -> None:
    with pytest.raises(WrongInput, match="one and the same moment"):
        fit_period(clean(np.full(3, 1.0)), TEETH)


def test_a_missing_tooth_tells_the_number_of_teeth_too() -> None:
    time_s = pulses(4, 30)
    seen = teeth_seen(clean(np.delete(time_s, np.arange(5, time_s.size, TEETH))))
    assert (seen.teeth, seen.confidence > 0.99) == (TEETH, True)


def test_the_signature_gives_each_tooth_its_place() -> None:
    scaled = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        offset = rng.normal(0, 0.01, TEETH)
        time_s = pulses(seed, 40, spacing=0.01, missing=0.02, extra=0.01)
        signature = tooth_signature(clean(time_s), TEETH)
        offset = np.roll(offset - offset.mean(), -round(time_s[0] / PERIOD_S))
        scaled.append((signature.offset_rel - offset) / signature.u_offset_rel)
    assert np.std(np.concatenate(scaled)) == pytest.approx(1.0, abs=0.15)


def test_a_signature_needs_two_turns() -> None:
    with pytest.raises(ValueError, match="two turns"):
        tooth_signature(clean(pulses(0, 1)), TEETH)


def test_pulses_lost_because_the_belt_is_slow_do_not_make_it_fast() -> None:
    """Every tooth below 0.7 of full speed is lost: the mean over the rest would be 9 % high."""
    clock = np.linspace(0, 60, 600_001)
    rate_hz = 100 * (1 - 0.4 * np.sin(2 * np.pi * clock / 12) ** 4)
    phase = np.concatenate(([0], np.cumsum(rate_hz[:-1] * np.diff(clock))))
    true_s = np.interp(np.arange(1, int(phase[-1])), phase, clock)
    seen = np.interp(true_s, clock, rate_hz) > 70
    edges = clean(true_s[seen])
    speed = belt_speed(edges, TEETH, 1.0, 0.0)
    assert edges.starts.size > 5
    assert speed.speed_mps == pytest.approx(phase[-1] / 60, abs=speed.U_mps)
    assert speed.U_mps / speed.speed_mps < 0.25


def test_a_stop_leaves_the_mean_of_the_rest_alone() -> None:
    time_s = pulses(1, 60)
    speed = belt_speed(clean(np.concatenate((time_s[:700], time_s[700:] + 5.0))), TEETH, 1.0, 0.0)
    assert speed.speed_mps == pytest.approx(1 / PERIOD_S, rel=1e-3)


def test_sparks_nearly_as_fast_as_teeth_do_not_change_the_count() -> None:
    """A burst of 110 Hz beside teeth at 100 Hz for half a second; invented data."""
    time_s = pulses(2, 60)
    for seed in range(20):
        rng = np.random.default_rng(seed)
        sparks = 5 + 3 * rng.random() + np.arange(0, 0.5, 1 / 110) * (1 + 0.02 * rng.random())
        edges = clean(np.sort(np.concatenate((time_s, sparks))))
        assert abs(int(edges.tooth[-1]) - (time_s.size - 1)) <= (1 if edges.starts.size == 1 else 3)


@pytest.mark.parametrize("teeth", [1, 2, 3, 24])
@pytest.mark.parametrize("wander", [0.0, 0.001, 0.05])
def test_a_speed_always_has_an_uncertainty_or_is_refused(teeth: int, wander: float) -> None:
    """However few the pulses are; one a turn and a belt that wanders gave a speed without ±."""
    for count in range(3, 14):
        for seed in range(5):
            steps = np.random.default_rng(seed).normal(size=count)
            time_s = np.cumsum(0.3 * np.exp(wander * np.cumsum(steps)))
            found = belt_speed(clean(time_s), teeth, 1.0, 0.0)
            assert math.isfinite(found.U_mps), (count, seed)
            assert found.U_mps > 0 or not wander, (count, seed)
    alone = replace(clean(np.array([0.0, 1.0, 2.0])), starts=np.arange(3))
    with pytest.raises(WrongInput, match="neighbours"):
        belt_speed(alone, teeth, 1.0, 0.0)

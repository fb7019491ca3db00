"""Segments, trend, change points, what the mismatch follows: on invented rows of values."""

from __future__ import annotations

import numpy as np
import pytest

from workbench.calibration.pulses.speed import SpeedSeries
from workbench.match.changes import change_points, cusum_of_changes
from workbench.match.evidence import Bins
from workbench.match.ratio import PaceLimits, compare
from workbench.match.trend import following, mismatch_shares, segments, theil_sen


def wander(rng, n, phi, sd):
    noise = rng.normal(0, sd * np.sqrt(1 - phi**2), n)
    noise[0] = rng.normal(0, sd)
    for at in range(1, n):
        noise[at] += phi * noise[at - 1]
    return noise


def test_the_interval_of_the_trend_holds_the_truth_where_values_hang_together():
    """AR(1) with φ = 0.6; without widening the interval holds it in two thirds of the cases."""
    x, inside = np.arange(100.0), []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        found = theil_sen(x, 1 + 2e-4 * x + wander(rng, 100, 0.6, 0.01))
        inside.append(found.low <= 2e-4 <= found.high)
    assert np.mean(inside) >= 0.85


def test_change_points_are_found_where_they_are_and_seldom_where_not():
    found, false = 0, 0
    for seed in range(50):
        rng = np.random.default_rng(seed)
        noise = wander(rng, 120, 0.5, 0.01)
        false += bool(change_points(1 + noise))
        stepped = 1 + noise - 0.08 * (np.arange(120) >= 70)
        points = change_points(stepped)
        found += len(points) >= 1 and any(abs(point.index - 70) <= 2 for point in points)
    assert found >= 48
    assert false <= 6


def test_two_changes_are_told_apart_with_their_sizes():
    rng = np.random.default_rng(0)
    at = np.arange(120)
    values = 1 - 0.08 * (at >= 40) + 0.12 * (at >= 80) + rng.normal(0, 0.005, 120)
    points = change_points(values)
    assert [point.index for point in points] == [40, 80]
    assert [point.change for point in points] == pytest.approx([-0.08, 0.12], abs=0.01)


def test_a_chart_that_watches_alarms_after_a_change_and_not_before():
    rng = np.random.default_rng(1)
    values = 1 + rng.normal(0, 0.01, 120) - 0.05 * (np.arange(120) >= 60)
    alarms = cusum_of_changes(values).alarms
    assert 60 <= alarms[0] <= 66


def series(time_s, speed_mps):
    return SpeedSeries(time_s, speed_mps, np.zeros(time_s.size), 0.0)


def test_segments_add_up_to_the_whole():
    time_s = np.arange(0, 120, 0.1)
    rng = np.random.default_rng(2)
    ground = 1.2 + rng.normal(0, 0.01, time_s.size)
    belt = 1.2 * (1 - 0.001 * time_s) + rng.normal(0, 0.01, time_s.size)
    found = compare(series(time_s, belt), series(time_s, ground), PaceLimits(0.9, 1.1))
    parts = segments(found)
    assert len(parts) == 6
    assert sum(part.separation_m for part in parts) == pytest.approx(found.pace.separation_m)
    ratios = [part.ratio for part in parts]
    assert ratios == sorted(ratios, reverse=True)
    assert ratios[0] == pytest.approx(1 - 0.001 * 10, abs=0.004)


def bins(belt_log, ground_log, engine_log=None, oil_c=None):
    return Bins(np.arange(belt_log.size, dtype=float), belt_log, ground_log, engine_log, oil_c)


def test_a_belt_set_once_has_slope_0_and_one_that_follows_slope_1():
    rng = np.random.default_rng(3)
    ground = 0.1 * np.sin(np.arange(100) / 7)
    noise = rng.normal(0, 0.002, 100)
    still, follows = (following(bins(log, ground), 1.2) for log in (noise, ground + noise))
    assert still.slope == pytest.approx(0, abs=3 * still.u_slope + 0.02)
    assert follows.slope == pytest.approx(1, abs=3 * follows.u_slope + 0.02)
    assert following(bins(noise, np.full(100, 0.0)), 1.2) is None


@pytest.mark.parametrize("culprit", ["constant", "ground speed", "engine speed", "time"])
def test_the_mismatch_is_laid_at_the_door_of_what_made_it(culprit):
    rng = np.random.default_rng(4)
    at = np.arange(100)
    ground, engine = 0.02 * np.sin(at / 9), 0.03 * np.sin(at / 5 + 1)
    made = {
        "constant": (np.full(100, -0.1), 0 * ground),
        "ground speed": (0 * ground, 4 * ground),
        "engine speed": (engine, 0 * ground),
        "time": (0.001 * (at - 49.5), 0 * ground),
    }
    belt, moved = made[culprit]
    shares = mismatch_shares(
        bins(belt + rng.normal(0, 0.002, 100), moved + 1e-4 * ground, engine, None)
    )
    assert sum(shares.values()) == pytest.approx(1)
    assert max(shares, key=shares.get) == culprit
    assert shares[culprit] > 0.8

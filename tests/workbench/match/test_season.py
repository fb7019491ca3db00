"""Control charts of one quantity over a season."""

from __future__ import annotations

import math

import numpy as np

from workbench.match.season import Visit, chart


def visits(values, u=0.004):
    return [Visit(f"2031-05-{day:02d}T08:00:00", value, u) for day, value in enumerate(values, 1)]


def test_a_visit_that_is_not_like_the_others_is_outside():
    rng = np.random.default_rng(3)
    found = chart(visits([*(1 + rng.normal(0, 0.004, 12)), 0.93]))
    assert found.outside == (12,)
    assert found.steps[-1] == 12


def test_a_setting_that_was_changed_is_a_step_and_few_visits_have_no_limits():
    found = chart(visits([225.0, 225.0, 234.0], u=0.0))
    assert found.steps == (2,)
    assert math.isnan(found.low)


def test_a_step_is_a_change_beyond_both_uncertainties():
    # √(0.01² + 0.01²) · 2 = 0.028 (GUM 5.1.2, uncorrelated; k = 2)
    assert chart(visits([1, 1.02, 0.9, 0.92], u=0.01)).steps == (2,)


def test_bad_visits_do_not_widen_what_is_usual():
    """Twelve sound visits that scatter by 1, and the same with two far off: the limits stay."""
    rng = np.random.default_rng(5)
    sound = rng.normal(100.0, 1.0, 12)
    bad = np.insert(sound, [4, 9], [118.0, 80.0])
    usual, found = (
        chart([Visit(f"2026-09-{day + 1:02}", float(value), 0.1) for day, value in enumerate(row)])
        for row in (sound, bad)
    )
    assert found.outside == (4, 10)
    assert found.high - found.low <= 1.2 * (usual.high - usual.low)
    assert found.mean == usual.mean


def test_sound_visits_all_tell_what_is_usual():
    """By simulation: the limits are those of all visits in nearly every sound season of ten."""
    rng = np.random.default_rng(6)
    seasons = rng.normal(0.0, 1.0, (400, 10))
    charts = [
        chart([Visit(f"day {day}", float(value), 0.1) for day, value in enumerate(row)])
        for row in seasons
    ]
    whole = sum(found.mean == row.mean() for found, row in zip(charts, seasons, strict=True))
    assert whole >= 0.95 * len(seasons)

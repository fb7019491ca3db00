"""Ground speed sources: which is used, which stands apart, slip, the taped course, the track."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from workbench.calibration.pulses.speed import SpeedSeries
from workbench.match.course import taped_course
from workbench.match.sources import (
    GNSS,
    RADAR,
    WHEEL,
    Factor,
    best,
    factor_to,
    quality,
    stands_apart,
    wheel_slip,
)
from workbench.match.track import make_track
from workbench.reports.passes.way import to_geojson

TIME_S = np.arange(0, 100, 0.1)


def series(speed_mps, u_mps=0.001):
    return SpeedSeries(TIME_S, speed_mps, np.full(TIME_S.size, u_mps), 0.0)


def test_the_surest_source_of_the_ground_is_taken_and_not_the_wheels():
    rng = np.random.default_rng(0)
    speed = 1.2 + rng.normal(0, 0.01, TIME_S.size)
    gaps = np.where(TIME_S % 10 < 7, math.nan, speed)
    good = [
        quality("wheel", WHEEL, series(speed)),
        quality("radar", RADAR, series(speed)),
        quality("gnss", GNSS, series(speed, 0.04)),
    ]
    assert best(good).source == "gnss"
    assert best([*good[:2], quality("gnss", GNSS, series(gaps, 0.04))]).source == "radar"
    assert best([*good[:2], quality("gnss", GNSS, series(speed, 0.5))]).source == "radar"
    assert best(good[:1]).source == "wheel"
    assert best([quality("gnss", GNSS, series(np.full(TIME_S.size, math.nan)))]) is None


def test_factor_lag_and_slip_of_a_slipping_wheel():
    rng = np.random.default_rng(1)
    true = 1.2 + 0.1 * np.sin(TIME_S / 3) + 0.05 * np.sin(TIME_S / 1.1)
    late = np.interp(TIME_S - 0.4, TIME_S, true)
    wheel = series(true / (1 - 0.15) + rng.normal(0, 0.002, TIME_S.size))
    found = factor_to(series(late), "wheel", wheel, 10, 90)
    assert found.factor == pytest.approx(1 / 0.85, abs=3 * found.u_factor + 0.002)
    assert found.lag_s == pytest.approx(-0.4, abs=0.1)
    slip, u_slip = wheel_slip(found, 0.01)
    assert slip == pytest.approx(0.15, abs=2 * u_slip)
    assert 0.007 < u_slip < 0.02


def factor(source, value, u=0.002):
    return Factor(source, value, u, 0.0, 0.1, 60.0)


def test_the_one_that_stands_apart_is_named_only_where_the_others_agree():
    assert stands_apart("radar", [factor("gnss", 1.003), factor("wheel", 1.15)]) == "wheel"
    assert stands_apart("radar", [factor("gnss", 0.88), factor("wheel", 0.881)]) == "radar"
    assert stands_apart("radar", [factor("gnss", 1.003), factor("wheel", 1.004)]) is None
    assert stands_apart("radar", [factor("wheel", 1.15)]) is None
    assert stands_apart("radar", [factor("gnss", 1.003), factor("wheel", 1.05, 0.03)]) is None


def test_a_taped_course_gives_the_truth_to_all():
    course = taped_course(50.0, 20.0, 60.0, {"radar": series(np.full(TIME_S.size, 1.30))})
    assert course.speed_mps == pytest.approx(1.25)
    value, u = course.factors["radar"]
    assert value == pytest.approx(1.25 / 1.30)
    assert u == pytest.approx(value * math.hypot(0.03 / 50, 0.10 / 40), rel=0.1)
    with pytest.raises(ValueError, match="a length and an end"):
        taped_course(50.0, 60.0, 20.0, {})


def test_a_track_in_metres_and_as_geojson():
    latitude = 31.5 + np.linspace(0, 0.001, 50)
    longitude = np.full(50, -84.0)
    latitude[7], longitude[8] = math.nan, 500.0
    time_s = np.arange(50.0)
    ratio = np.where(time_s < 25, 1.0, math.nan)
    track = make_track(time_s, latitude, longitude, time_s, ratio)
    assert track.time_s.size == 48
    assert np.isfinite(track.ratio).sum() in range(22, 28)
    found = json.loads(json.dumps(to_geojson(track), allow_nan=False))
    line, first = found["features"][:2]
    assert line["geometry"]["type"] == "LineString"
    assert first["geometry"]["coordinates"] == [-84.0, 31.5], "longitude first (RFC 7946, 3.1.1)"
    assert make_track(time_s[:1], latitude[:1], longitude[:1], time_s, ratio) is None

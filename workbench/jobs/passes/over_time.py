"""A pass along its time and its way: segments, trend, changes, what the mismatch follows."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drivers.contract import Floats, Recording
from workbench.jobs.passes.answer import Change, PassAnswer, Series
from workbench.match.changes import change_points, cusum_of_changes
from workbench.match.evidence import Bins
from workbench.match.ratio import Comparison
from workbench.match.track import Track, make_track
from workbench.match.trend import following, mismatch_shares, segments, theil_sen

MOST_SERIES = 300
"""Points of the series kept for the picture."""


def over_time(answer: PassAnswer, found: Comparison, bins: Bins | None) -> PassAnswer:
    """The answer with segments, trend, change points, CUSUM, belt against ground, series."""
    answer = replace(answer, segments=tuple(segments(found)), series=_series(found))
    if bins is None:
        return answer
    ratio = np.exp(bins.belt_log - bins.ground_log)
    trend = theil_sen(bins.time_s, ratio)
    step_s = float(np.median(np.diff(bins.time_s)))
    alarms = cusum_of_changes(ratio, step_s).alarms
    return replace(
        answer,
        trend_per_hour=3600 * trend.slope,
        trend_per_hour_low=3600 * trend.low,
        trend_per_hour_high=3600 * trend.high,
        change_points=tuple(
            Change(float(bins.time_s[point.index]), point.change)
            for point in change_points(ratio, step_s)
        ),
        cusum_alarm_s=float(bins.time_s[alarms[0]]) if alarms else math.nan,
        belt_against_ground=following(bins, found.pace.ground_speed_mps),
        mismatch_shares=mismatch_shares(bins),
    )


def _series(found: Comparison) -> Series:
    """Belt, ground and separation for the picture; a steady one is 1, what is left out 0."""
    both, steady = found.aligned, found.steady
    if both is None or steady is None:
        return Series()
    width = max(1, -(-both.time_s.size // MOST_SERIES))
    starts = np.arange(0, both.time_s.size, width)
    away = np.cumsum(np.where(steady, np.nan_to_num(both.belt_mps - both.ground_mps), 0.0))

    def mean(values: Floats) -> Floats:
        good = np.isfinite(values)
        total = np.add.reduceat(np.where(good, values, 0.0), starts)
        count = np.add.reduceat(good.astype(np.float64), starts)
        return np.where(count > 0, total / np.maximum(count, 1), math.nan)

    return Series(
        time_s=mean(both.time_s),
        belt_mps=mean(both.belt_mps),
        ground_mps=mean(both.ground_mps),
        steady=np.round(np.add.reduceat(steady.astype(np.float64), starts) / width),
        separation_m=away[np.minimum(starts + width, away.size) - 1] * both.step_s,
    )


def track_of(recording: Recording, found: Comparison) -> Track | None:
    """The way with the ratio, where there were positions."""
    both, steady = found.aligned, found.steady
    pairs = {
        source: (track, recording.values.get((source, "longitude_deg")))
        for (source, quantity), track in recording.values.items()
        if quantity == "latitude_deg"
    }
    latitude, longitude = next(iter(pairs.values()), (None, None))
    if latitude is None or longitude is None or latitude.time_s.size != longitude.time_s.size:
        return None
    at_s, ratio = np.empty(0), np.empty(0)
    if both is not None and steady is not None:
        width = max(1, round(1.0 / both.step_s))
        number = np.arange(0, both.time_s.size, width)
        b = np.add.reduceat(np.where(steady, both.belt_mps, 0.0), number)
        g = np.add.reduceat(np.where(steady, both.ground_mps, 0.0), number)
        at_s = both.time_s[number] + 0.5 * width * both.step_s
        ratio = np.where(g > 0, b / np.where(g > 0, g, 1.0), math.nan)
    return make_track(latitude.time_s, latitude.value, longitude.value, at_s, ratio)

"""The pyramid draws few points, hides no extreme and bridges no pause: held to a plain loop."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workbench.words.pictures.pyramid import STEP, Pyramid

LINES = st.builds(
    lambda size, seed, blind: _line(size, seed, blind),
    st.integers(0, 3000),
    st.integers(0, 2**31),
    st.sampled_from((0.0, 0.1, 0.9)),
)
CUTS = st.tuples(st.floats(-0.2, 1.2), st.floats(-0.2, 1.2))


def _line(size, seed, blind):
    """Random times with some long pauses, random values of which a share is missing."""
    rng = np.random.default_rng(seed)
    steps_s = rng.uniform(0.001, 1.0, size) + (rng.random(size) < 0.01) * rng.uniform(3, 300, size)
    value = rng.normal(size=size)
    value[rng.random(size) < blind] = np.nan
    return np.cumsum(steps_s), value


def _plain(value, start, end):
    """Lowest and highest by a plain loop."""
    low = high = math.nan
    for one in value[start:end].tolist():
        if one == one:
            low = one if low != low else min(low, one)
            high = one if high != high else max(high, one)
    return low, high


@settings(max_examples=80, deadline=None)
@given(line=LINES, cuts=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1))
def test_extremes_of_any_stretch_are_those_of_a_plain_loop(line, cuts):
    time_s, value = line
    ends = np.sort((np.array(cuts) * (value.size + 1)).astype(np.intp).clip(0, value.size), axis=1)
    low, high = Pyramid(time_s, value).extremes(ends[:, 0], ends[:, 1])
    for at, (start, end) in enumerate(ends.tolist()):
        np.testing.assert_equal((low[at], high[at]), _plain(value, start, end))


@settings(max_examples=80, deadline=None)
@given(line=LINES, cut=CUTS, columns=st.integers(1, 200))
def test_what_is_drawn_is_in_each_column_what_a_plain_loop_finds(line, cut, columns):
    time_s, value = line
    longest = float(time_s[-1]) if time_s.size else 1.0
    from_s, to_s = sorted(share * longest for share in cut)
    to_s = max(to_s, from_s + 1e-6)
    x, y = Pyramid(time_s, value, pause_s=2.0).visible(from_s, to_s, columns)
    assert x.size == y.size <= 3 * columns + 4
    assert (np.diff(x) >= 0).all()
    inside = np.flatnonzero((time_s >= from_s) & (time_s <= to_s))
    for at in inside.tolist():
        if value[at] == value[at]:  # no point leaves the drawn line's reach in its own column
            near = np.abs(x - time_s[at]) <= (to_s - from_s) / columns + 1e-9
            assert np.nanmin(y[near]) <= value[at] <= np.nanmax(y[near])
    known = value[inside][np.isfinite(value[inside])]
    drawn = y[(x >= from_s) & (x <= to_s)]
    if known.size:
        assert np.nanmin(drawn) == known.min()
        assert np.nanmax(drawn) == known.max()


@settings(max_examples=80, deadline=None)
@given(line=LINES, columns=st.integers(1, 400))
def test_no_pause_is_bridged(line, columns):
    time_s, value = line
    value = np.nan_to_num(value)
    if time_s.size < 2:
        return
    x, y = Pyramid(time_s, value, pause_s=2.0).visible(time_s[0], time_s[-1], columns)
    column_s = (time_s[-1] - time_s[0]) / columns
    for at in np.flatnonzero(np.diff(time_s) > 2.0).tolist():
        if time_s[at + 1] - time_s[at] > 2 * column_s:  # wide enough to be seen
            between = (x > time_s[at] - column_s) & (x < time_s[at + 1] + column_s)
            assert np.isnan(y[between]).any()


def test_a_single_spike_in_a_million_points_is_seen():
    value = np.zeros(1_000_000)
    value[654_321] = 5.0
    x, y = Pyramid(np.arange(1e6), value).visible(0, 1e6, 1000)
    assert y.max() == 5.0
    assert x[y.argmax()] == pytest.approx(654_321, abs=1000)


def test_nothing_and_one_point():
    for size in (0, 1, STEP, STEP + 1):
        line = Pyramid(np.arange(float(size)), np.arange(float(size)))
        x, y = line.visible(-1.0, 100.0, 3)
        assert x.size == y.size
        assert set(y) == ({0.0, size - 1.0} if size > 6 else set(range(size)))
    assert all(math.isnan(one) for one in Pyramid(np.empty(0), np.empty(0)).at(1.0))
    assert Pyramid(np.array([2.0]), np.array([7.0])).at(5.0) == (2.0, 7.0)


def test_a_pause_has_no_value_to_read_out():
    line = Pyramid(np.array([0.0, 1.0, 10.0]), np.array([1.0, 2.0, 3.0]), pause_s=1.5)
    assert line.at(1.2) == (1.0, 2.0)
    assert math.isnan(line.at(5.0)[1])
    assert line.at(9.5) == (10.0, 3.0)

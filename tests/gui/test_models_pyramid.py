"""The pyramid draws few points and hides no extreme."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from workbench.models.pyramid import STEP, Pyramid


@settings(max_examples=60, deadline=None)
@given(
    size=st.integers(1, 6000),
    seed=st.integers(0, 2**31),
    cut=st.tuples(st.floats(-0.1, 1.1), st.floats(-0.1, 1.1)),
    columns=st.integers(5, 400),
)
def test_extremes_of_what_is_visible_are_drawn(size, seed, cut, columns):
    rng = np.random.default_rng(seed)
    time_s, value = np.cumsum(rng.uniform(0.001, 1.0, size)), rng.normal(size=size)
    from_s, to_s = sorted(share * time_s[-1] for share in cut)
    x, y = Pyramid(time_s, value).visible(from_s, to_s, columns)
    inside = (time_s >= from_s) & (time_s <= to_s)
    assert x.size == y.size <= max(2 * columns + 4, 4 * STEP * STEP)
    assert (np.diff(x) >= 0).all()
    if inside.any():
        assert y.max() >= value[inside].max()
        assert y.min() <= value[inside].min()
        assert set(y) <= set(value)


def test_a_single_spike_in_a_million_points_is_seen():
    value = np.zeros(1_000_000)
    value[654_321] = 5.0
    x, y = Pyramid(np.arange(1e6), value).visible(0, 1e6, 1000)
    assert y.max() == 5.0
    assert x[y.argmax()] == pytest.approx(654_321, abs=1024)

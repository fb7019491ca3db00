"""A clock followed as its points come stands where the whole recording puts it afterwards."""

from __future__ import annotations

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, SpeedBlock
from drivers.timeline import clock_points
from workbench.calibration.pulses.running_base import MOST_POINTS, RunningBase
from workbench.calibration.pulses.time_base import fit_clock

DRIFT = 40e-6
"""The device's clock runs 40 ppm fast."""


def points(seed, n=3000, span_s=60.0, mean_delay_s=1e-3):
    """(n, 2) device times of a clock that runs fast, and late arrivals on the host's clock."""
    rng = np.random.default_rng(seed)
    true_s = np.sort(rng.uniform(0.0, span_s, n))
    host_s = 100.0 + true_s + rng.exponential(mean_delay_s, n)
    return np.stack((true_s * (1 + DRIFT) + 7.0, host_s), axis=1)


def followed(points, in_one=1):
    base = RunningBase()
    for start in range(0, len(points), in_one):
        base.add(*points[start : start + in_one].T)
    return base


def assert_agree(running, after, device_s):
    """Within the uncertainty that the line itself states (k = 3), at any of these times."""
    base = running.base
    u_s = after.u_offset_s + after.u_rate * np.abs(device_s - device_s.mean())
    apart_s = running.to_host(device_s) - after.to_host(device_s)
    assert np.abs(apart_s).max() < 3 * u_s.max()
    assert abs(base.rate - after.rate) < 3 * after.u_rate
    assert base.u_rate == pytest.approx(after.u_rate, rel=0.5)


@pytest.mark.parametrize("n", [40, MOST_POINTS - 1, 3000, 40_000])
@pytest.mark.parametrize("in_one", [1, 7])
def test_the_same_points_both_ways(n, in_one):
    known = points(n, n=n, span_s=n / 50)
    after = fit_clock([(known[:, 0], known[:, 1])]).bases[0]
    assert_agree(followed(known, in_one), after, known[:, 0])


def test_every_edge_is_placed_as_it_comes_where_the_points_so_far_put_it():
    known = points(3, n=100, span_s=200.0)
    running = RunningBase()
    for at in range(100):
        running.add(*known[at : at + 1].T)
        after = fit_clock([tuple(known[: at + 1].T)]).bases[0]
        assert running.to_host(known[at : at + 1, 0]) == pytest.approx(
            after.to_host(known[at : at + 1, 0]), abs=1e-3
        )


@pytest.mark.parametrize("scenario", ["healthy", "gnss-dropouts"])
def test_the_simulators_items_both_ways(scenario):
    """The counter's clock and the receiver's, by all that came from them."""
    driver = open_input(f"sim:{scenario}?seed=3&pace=fast")
    running, known = {}, {}
    with driver:
        for _ in range(1200):
            for item in driver.read(0.1):
                told = clock_points(item)
                if told is not None:
                    running.setdefault(told[0], RunningBase()).add(*told[1:])
                    known.setdefault(told[0], []).append(told[1:])
    assert set(known) == {"", "gnss"}
    for whose, parts in known.items():
        after = fit_clock(parts)
        assert (running[whose].run, len(after.bases)) == (0, 1)
        assert_agree(running[whose], after.bases[0], np.concatenate([own for own, _ in parts]))


def test_a_restart_is_seen_at_once_and_the_rate_is_kept():
    known = points(6)
    cut = 2850
    known[cut:, 0] -= known[cut, 0] - 0.5  # the board starts anew at half a second
    after = fit_clock([tuple(known.T)]).bases
    running = followed(known[: cut + 1])
    assert running.run == 1
    for point in known[cut + 1 :]:
        running.add(*point[:, None])
    assert running.run == 1
    assert_agree(running, after[1], known[cut:, 0])


def test_a_clock_set_ahead_is_a_restart_and_a_late_delivery_is_none():
    known = points(7)
    known[1500:, 0] += 3600.0
    assert followed(known).run == 1
    known = points(7)
    stalled = (known[:, 1] > 120) & (known[:, 1] < 124)
    known[stalled, 1] = 124.0 + np.arange(stalled.sum()) * 1e-5
    running = followed(known)
    assert running.run == 0
    assert_agree(running, fit_clock([tuple(known.T)]).bases[0], known[:, 0])


def test_a_clock_that_stood_for_a_second_is_told_once_nothing_prompt_came():
    known = points(8)
    known[1500:, 0] -= 1.0
    assert len(fit_clock([tuple(known.T)]).bases) == 2
    assert followed(known[:1510]).run == 0
    assert followed(known).run == 1


def test_no_point_is_no_line():
    running = RunningBase()
    running.add(np.array([np.nan]), np.array([1.0]))
    assert running.base is None
    with pytest.raises(ValueError, match="no point is known"):
        running.to_host(np.array([1.0]))


def test_what_an_item_tells_of_its_senders_clock():
    one = np.array([7.0])
    assert clock_points(EdgeBlock("left", 0, np.empty(0, np.int64), 1e-6, 1.0, 0)) is None
    edges = EdgeBlock("left", 0, np.array([5, 9]), 1e-6, 1.0, 2)
    assert clock_points(edges) == ("", pytest.approx(9e-6), 1.0)
    assert clock_points(SpeedBlock("rmc", one, one, one)) is None
    assert clock_points(SpeedBlock("rmc", one, one, one + 1)) == ("rmc", 7.0, 8.0)

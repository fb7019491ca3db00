"""The pickup: what it sees of a wheel turning at a known rate."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim import spec
from sim.pickup import Edges, RunningPickup
from sim.run import simulate
from sim.scenarios import load
from sim.wiring import SHORTEST_S, Wiring

TEETH = 30
PLAIN = spec.PickupPlan(spacing_rel=0.0, runout_m=0.0, play_m=0.0, noise_v=1e-9)


def sensed(plan, turns_per_s=3.0, for_s=20.0, seed=1, teeth=TEETH):
    time_s = np.arange(0, for_s + 0.01, 0.02)
    pickup = RunningPickup(plan, teeth, seed, "left")
    seen, lost = pickup.sense(time_s, turns_per_s * time_s)
    return pickup, seen, lost


def test_a_perfect_wheel_gives_even_edges():
    _, seen, lost = sensed(PLAIN)
    np.testing.assert_allclose(np.diff(seen.rise_s), 1 / 90, rtol=1e-6)
    assert lost.rise_s.size == 0
    assert seen.rise_s.size == pytest.approx(20 * 90, abs=4)


def test_spacing_and_run_out_repeat_every_turn():
    pickup, seen, _ = sensed(replace(PLAIN, spacing_rel=0.02, runout_m=0.0003))
    turns = seen.rise_s[: TEETH * 10].reshape(10, TEETH) * 3.0
    assert np.ptp(turns - turns[:, :1], axis=0).max() < 1e-6
    # What the edges tell is what the wheel is, but for the comparator's share in run-out.
    first = seen.tooth[0]
    told = np.roll((turns[0] - turns[0, 0]) * TEETH - np.arange(TEETH), first)
    true = pickup.wheel.offset_rel
    assert told - told.mean() == pytest.approx(true - true.mean(), abs=0.01)


def test_bearing_play_does_not_repeat():
    _, seen, _ = sensed(replace(PLAIN, play_m=0.0002))
    intervals = np.diff(seen.rise_s)[: TEETH * 50].reshape(50, TEETH) * 90
    assert intervals.std(axis=0).mean() > 5e-4


@pytest.mark.parametrize("speed_share", [1.0, 0.6])
def test_teeth_go_unseen_below_the_threshold_and_only_then(speed_share):
    plan = replace(PLAIN, gap_m=0.0040, runout_m=0.0006)
    pickup, seen, lost = sensed(plan, 3.0 * speed_share)
    decay_m = pickup.wheel.pitch_m / (2 * np.pi)
    surface_mps = 2 * np.pi * plan.tip_radius_m * 3.0 * speed_share
    volts = 3.0 * surface_mps * np.exp((0.0016 - pickup.wheel.gap_m) / decay_m)
    np.testing.assert_array_equal(np.unique(seen.tooth), np.flatnonzero(volts > 0.5))
    np.testing.assert_array_equal(np.unique(lost.tooth), np.flatnonzero(volts <= 0.5))
    np.testing.assert_allclose(seen.peak_v, volts[seen.tooth], rtol=1e-6)


def test_comparator_switches_at_threshold_and_threshold_less_hysteresis():
    plan = replace(PLAIN, threshold_v=0.8, hysteresis_v=0.5)
    _, seen, _ = sensed(plan)
    amplitude = seen.peak_v.mean()
    duty = (seen.fall_s - seen.rise_s).mean() * 90
    expected = (np.pi - np.arcsin(0.3 / amplitude) - np.arcsin(0.8 / amplitude)) / (2 * np.pi)
    assert duty == pytest.approx(expected, rel=1e-5)


def test_jitter_is_noise_over_slope():
    quiet, loud = (
        np.std(np.diff(sensed(replace(PLAIN, noise_v=0.01, gap_m=gap))[1].rise_s))
        for gap in (0.0016, 0.0028)
    )
    wave = sensed(PLAIN)[1].peak_v.mean()
    slope = np.sqrt(wave**2 - 0.5**2) * 2 * np.pi * 90
    assert quiet == pytest.approx(np.sqrt(2) * 0.01 / slope, rel=0.1)
    assert loud > 1.8 * quiet


@pytest.mark.parametrize("kind", ["hall", "inductive"])
def test_hall_and_inductive_see_at_any_low_speed_until_the_gap_is_too_wide(kind):
    plan = replace(PLAIN, kind=kind)
    _, seen, lost = sensed(plan, turns_per_s=0.05, for_s=100.0)
    assert lost.rise_s.size == 0
    assert np.isnan(seen.peak_v).all()
    limit_m = np.log(1 / plan.operate_rel) * sensed(plan)[0].wheel.pitch_m / (2 * np.pi)
    assert sensed(replace(plan, gap_m=0.98 * limit_m))[2].rise_s.size == 0
    assert sensed(replace(plan, gap_m=1.02 * limit_m))[1].rise_s.size == 0


def test_duty_cycle_of_a_hall_pickup_falls_with_the_gap():
    duties = []
    for gap in (0.0010, 0.0016, 0.0024, 0.0030):
        _, seen, _ = sensed(replace(PLAIN, kind="hall", gap_m=gap))
        duties.append(np.mean(seen.fall_s - seen.rise_s) * 90)
    assert duties == sorted(duties, reverse=True)
    assert duties[0] - duties[-1] > 0.2


def test_an_inductive_pickup_cannot_follow_fast_teeth():
    plan = replace(PLAIN, kind="inductive", most_hz=80.0)
    assert sensed(plan, turns_per_s=3.0)[1].rise_s.size == 0  # 90 Hz
    assert sensed(plan, turns_per_s=2.0)[2].rise_s.size == 0  # 60 Hz


@given(cuts=st.lists(st.integers(1, 999), max_size=6, unique=True))
def test_teeth_are_told_once_however_the_run_is_cut(cuts):
    time_s = np.arange(0, 20.001, 0.02)
    turns = 3.0 * time_s + 0.2 * np.sin(time_s)
    plan = replace(PLAIN, spacing_rel=0.01, play_m=1e-5, noise_v=0.02)
    whole, _ = RunningPickup(plan, TEETH, 1, "left").sense(time_s, turns)
    pickup, parts = RunningPickup(plan, TEETH, 1, "left"), []
    for low, high in zip([0, *sorted(cuts)], [*sorted(cuts), 1000], strict=True):
        from_node = max(0, low - 5)
        parts.append(pickup.sense(time_s[from_node : high + 1], turns[from_node : high + 1])[0])
    np.testing.assert_array_equal(np.concatenate([part.tooth for part in parts]), whole.tooth)
    rises = np.concatenate([part.rise_s for part in parts])
    # A speed is taken from the grid's step, which rounds otherwise at the cut.
    np.testing.assert_allclose(rises, whole.rise_s, atol=1e-9)


def even_edges(rate_hz, from_s, to_s):
    rise_s = np.arange(np.ceil(from_s * rate_hz), np.ceil(to_s * rate_hz)) / rate_hz
    nan = np.full(rise_s.size, np.nan)
    return Edges(rise_s, rise_s + 0.4 / rate_hz, nan, np.arange(rise_s.size) % 30)


def carried(plan, seconds=600, seed=1):
    wiring = Wiring(plan, seed, "left")
    spans = [(float(a), float(a + 60)) for a in range(0, seconds, 60)]
    return [wiring.carry(even_edges(90.0, *span), *span) for span in spans]


def test_a_plain_cable_changes_nothing():
    (part,) = carried(spec.PickupPlan(), 60)
    np.testing.assert_array_equal(part.rise_s, even_edges(90.0, 0.0, 60.0).rise_s)


def test_bounce_comes_as_often_and_as_late_as_it_says():
    parts = carried(spec.PickupPlan(bounce=0.05, bounce_s=0.0005))
    tooth = np.concatenate([part.tooth for part in parts])
    rise_s = np.concatenate([part.rise_s for part in parts])
    extra = tooth < 0
    assert extra.sum() / (~extra).sum() == pytest.approx(0.05, abs=0.003)
    late = rise_s[extra] - rise_s[np.flatnonzero(extra) - 1]
    assert late.mean() == pytest.approx(0.0005 + 2 * SHORTEST_S, rel=0.05)
    falls = np.concatenate([part.fall_s for part in parts])
    assert np.all(falls[:-1] <= rise_s[1:])


def test_bursts_breaks_and_hum_come_as_often_as_they_say():
    bursts = carried(spec.PickupPlan(bursts_per_s=0.2, burst_s=0.3, burst_hz=110.0), 3000)
    extra = sum(int((part.tooth < 0).sum()) for part in bursts)
    assert extra / 3000 == pytest.approx(0.2 * (0.3 * 110 + 1), rel=0.2)
    broken = carried(spec.PickupPlan(breaks_per_s=0.1, break_s=0.5), 3000)
    missing = 1 - sum(part.rise_s.size for part in broken) / (3000 * 90)
    assert missing == pytest.approx(1 - np.exp(-0.1 * 0.5), rel=0.25)  # breaks overlap
    hum = carried(spec.PickupPlan(hum_hz=50.0), 60)[0]
    assert np.count_nonzero(hum.tooth < 0) == pytest.approx(3000, abs=2)
    np.testing.assert_allclose(np.diff(hum.rise_s[hum.tooth < 0]), 0.02, rtol=1e-6)


@given(seed=st.integers(0, 10**6))
def test_edges_come_in_order_and_not_nearer_than_a_counter_tells_apart(seed):
    plan = spec.PickupPlan(
        bounce=0.2, bursts_per_s=0.5, burst_hz=900.0, breaks_per_s=0.3, hum_hz=60.0
    )
    rise_s = np.concatenate([part.rise_s for part in carried(plan, 120, seed)])
    assert np.diff(rise_s).min() > 0.9 * SHORTEST_S
    assert rise_s[-1] < 120


@pytest.mark.parametrize("seed", range(6))
def test_the_bent_tooth_is_the_seventh_from_the_first_mark_of_the_belt(seed):
    """What the scenario's paragraph says, counted as a person would: tooth 1 follows the mark."""
    run = simulate(load("bent-tooth"), seed, 30.0)
    edges = run.recording.edges["left"].time_s
    first = int(np.searchsorted(edges, run.recording.edges["lap"].time_s[0]))
    turns = (edges.size - 1 - first) // TEETH
    bend = np.abs(np.diff(edges[first - 1 : first + TEETH * turns + 1], n=2))
    assert int(np.argmax(bend.reshape(turns, TEETH).mean(axis=0))) + 1 == 7

"""Cleaning of edges: what is extra, what is missed, and where nothing can be said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import CHUNK, clean

PERIOD_S = 0.02
TEETH = 24


def wheel(
    turns: int, seed: int = 0, spacing: float = 0.01, jitter_s: float = 20e-6
) -> NDArray[np.float64]:
    """Edge times of a wheel at constant speed; invented data."""
    rng = np.random.default_rng(seed)
    offset = rng.normal(0, spacing, TEETH)
    index = np.arange(turns * TEETH)
    return PERIOD_S * (index + offset[index % TEETH]) + rng.normal(0, jitter_s, index.size)


def true_index(time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.rint(time_s / PERIOD_S)


def test_clean_edges_are_left_as_they_are() -> None:
    time_s = wheel(200)
    edges = clean(time_s)
    assert (edges.missed, edges.extra, edges.starts.tolist()) == (0, 0, [0])
    np.testing.assert_array_equal(edges.tooth, np.arange(time_s.size))
    np.testing.assert_array_equal(edges.time_s, time_s)


def test_one_missed_tooth_is_counted_where_it_was() -> None:
    time_s = np.delete(wheel(50), 700)
    edges = clean(time_s)
    assert (edges.missed, edges.extra) == (1, 0)
    assert edges.missed_s[0] == pytest.approx(time_s[699])
    assert edges.tooth[700] == 701


def test_three_missed_teeth_in_a_row() -> None:
    edges = clean(np.delete(wheel(50), [300, 301, 302]))
    assert (edges.missed, edges.extra, edges.starts.size) == (3, 0, 1)


def test_a_tooth_missing_every_turn_is_missed_every_turn() -> None:
    time_s = wheel(50)
    edges = clean(np.delete(time_s, np.arange(7, time_s.size, TEETH)))
    assert (edges.missed, edges.extra) == (50, 0)


@pytest.mark.parametrize("place", [0.03, 0.2, 0.5, 0.8, 0.97])
def test_one_extra_edge_is_taken_out(place: float) -> None:
    time_s = wheel(50)
    noise_s = time_s[500] + place * PERIOD_S
    edges = clean(np.sort(np.append(time_s, noise_s)))
    assert (edges.missed, edges.extra) == (0, 1)
    assert edges.extra_s[0] == pytest.approx(noise_s, abs=0.05 * PERIOD_S)


def test_a_burst_of_noise_inside_one_pitch() -> None:
    time_s = wheel(50)
    burst = time_s[600] + PERIOD_S * np.linspace(0.2, 0.8, 60)
    edges = clean(np.sort(np.concatenate((time_s, burst))))
    assert (edges.missed, edges.extra, int(edges.tooth[-1])) == (0, 60, 50 * TEETH - 1)


def test_a_bent_tooth_is_neither_missed_nor_extra() -> None:
    time_s = wheel(60)
    time_s[5::TEETH] += 0.4 * PERIOD_S
    edges = clean(time_s)
    assert (edges.missed, edges.extra) == (0, 0)


def test_a_break_starts_a_segment_and_guesses_nothing() -> None:
    time_s = wheel(50)
    edges = clean(np.concatenate((time_s[:500], time_s[500:] + 7.31)))
    assert edges.starts.tolist() == [0, 500]
    assert (edges.missed, edges.extra) == (0, 0)


@pytest.mark.parametrize("rate", [0.3, 0.8])
def test_a_belt_that_speeds_up_and_slows_down_loses_nothing(rate: float) -> None:
    """Constant acceleration from a crawl, a steady part, a stop: no tooth is missing."""
    clock = np.linspace(0, 30, 300_001)
    turns_a_s = np.minimum(0.05 + rate * clock, 2.0) * np.clip((30 - clock) / 4, 0, 1)
    phase = TEETH * np.concatenate(([0], np.cumsum(turns_a_s[:-1]) * 1e-4))
    time_s = np.interp(np.arange(1, int(phase[-1])), phase, clock)
    edges = clean(time_s[time_s < 28.5])
    assert (edges.missed, edges.extra) == (0, 0)


def test_lost_and_extra_edges_together_keep_the_count() -> None:
    """2 % missing and 1 % extra: the index at the end is right, whatever fell together."""
    for seed in range(60):
        rng = np.random.default_rng(1000 + seed)
        time_s = wheel(100, seed)
        kept = time_s[rng.random(time_s.size) >= 0.02]
        noise = rng.uniform(time_s[0], time_s[-1], time_s.size // 100)
        edges = clean(np.sort(np.concatenate((kept, noise))))
        off = true_index(edges.time_s) - true_index(edges.time_s)[0] - edges.tooth
        wrong = np.abs(off - np.median(off)) > 0
        assert wrong.mean() < 0.01, f"seed {seed}"
        assert edges.missed == pytest.approx(time_s.size - kept.size, rel=0.2)
        assert edges.extra == pytest.approx(noise.size, rel=0.2)


def test_the_seam_between_chunks_decides_as_anywhere_else() -> None:
    index = np.arange(CHUNK + 4000)
    time_s = PERIOD_S * index + np.random.default_rng(3).normal(0, 20e-6, index.size)
    near = np.arange(CHUNK - 40, CHUNK + 40, 10)
    noise = time_s[near + 5] + 0.4 * PERIOD_S
    edges = clean(np.sort(np.concatenate((np.delete(time_s, near), noise))))
    assert (edges.missed, edges.extra) == (near.size, near.size)


@pytest.mark.parametrize("bad", [[0.0, 1.0, 0.5, 2.0], [0.0, np.nan, 2.0], [0.0, 1.0, np.inf]])
def test_times_that_are_no_times_are_refused(bad: list[float]) -> None:
    with pytest.raises(ValueError, match="finite"):
        clean(np.array(bad))


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_edges_are_no_error(count: int) -> None:
    edges = clean(np.arange(count, dtype=np.float64))
    assert (edges.time_s.size, edges.missed, edges.extra) == (count, 0, 0)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.floats(0, 1e6, allow_nan=False), max_size=300))
def test_any_ascending_times_give_a_consistent_answer(times: list[float]) -> None:
    time_s = np.sort(np.array(times, dtype=np.float64))
    edges = clean(time_s)
    assert edges.time_s.size + edges.extra == time_s.size
    assert np.all(np.diff(edges.tooth) >= 1)
    assert np.all(np.diff(edges.time_s) >= 0)
    assert edges.starts[0] == 0


@pytest.mark.parametrize("seed", [5, 8])
def test_edges_of_one_time_are_no_error(seed):
    """A coarse clock gives many edges one time; invented data."""
    rng = np.random.default_rng(seed)
    time_s = np.round(np.cumsum(rng.exponential(0.003, 150)), 2)
    same = np.repeat(time_s[rng.integers(0, 150)], 80)
    found = clean(np.sort(np.concatenate([time_s, same])))
    assert np.isfinite(found.time_s).all()
    assert (np.diff(found.tooth)[np.diff(found.segment()) == 0] > 0).all()


@pytest.mark.parametrize("seed", range(4))
def test_no_two_edges_of_a_segment_are_one_tooth(seed: int) -> None:
    """Bursts anywhere, most of all at the ends of a short recording, on few and jittery teeth: the
    count goes up from edge to edge, and where it cannot tell a new segment starts."""
    rng = np.random.default_rng(seed)
    for _ in range(500):
        teeth = int(rng.integers(4, 70))
        time_s = 0.01 * np.arange(teeth) + rng.normal(0, rng.choice([0, 1e-5, 3e-4, 1e-3]), teeth)
        time_s = time_s[rng.random(teeth) > rng.choice([0, 0.05, 0.3])]
        for _ in range(int(rng.integers(0, 3))):
            at_s = rng.choice([0.0, 0.01 * teeth, rng.uniform(0, 0.01 * teeth)])
            wide_s = rng.choice([1e-6, 1e-4, 1e-3, 5e-3, 0.03])
            burst_s = at_s + wide_s * rng.uniform(-1, 1, int(rng.integers(1, 25)))
            time_s = np.concatenate((time_s, burst_s))
        found = clean(np.sort(time_s))
        assert np.all(np.diff(found.tooth) > 0), (seed, time_s)
        assert np.all(np.diff(found.starts) > 0)

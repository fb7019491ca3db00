"""Edges to a speed series, and the variance of the belt speed beside other ways to get it."""

import tracemalloc

import numpy as np
from timed import best_s

from workbench.calibration.pulses.edges import clean
from workbench.calibration.pulses.speed import fit_period, speed_series

EDGES = 17_280_000
TEETH, TURNS, PERIOD_S, JITTER_S = 24, 10, 0.01, 20e-6


def eight_hours(wrong):
    """8 h at 600 Hz with 20 µs jitter; a share of `wrong` edges missed, half as many extra."""
    rng = np.random.default_rng(0)
    time_s = np.arange(EDGES) / 600.0 + rng.normal(0, JITTER_S, EDGES)
    if wrong:
        kept = time_s[rng.random(EDGES) >= wrong]
        extra = rng.uniform(0, time_s[-1], int(EDGES * wrong / 2))
        time_s = np.concatenate((kept, extra))
    return np.sort(time_s)


def cleaned_series(time_s):
    return speed_series(clean(time_s), TEETH, 0.0125)


def test_eight_hours_of_edges_to_a_speed_series(figures):
    print()
    for wrong, most in ((0.0, 25), (1e-5, 25), (0.02, 90)):
        time_s = eight_hours(wrong)
        diff_s = best_s(lambda edges=time_s: np.diff(edges))
        clean_s = best_s(lambda edges=time_s: clean(edges))
        ours_s = best_s(lambda edges=time_s: cleaned_series(edges))
        print(
            f"{time_s.size / 1e6:.2f} million edges, {100 * wrong:g} % missed: {ours_s:.2f} s, "
            f"{ours_s / diff_s:.1f} × one np.diff (at most {most})"
        )
        name = f"8 h of edges to speeds, {100 * wrong:g} % missed"
        figures.at_most(f"cleaned, {100 * wrong:g} % missed", clean_s / diff_s, 60, "×", "np.diff")
        figures.at_most(name, ours_s / diff_s, most, "×", "np.diff")


def test_memory_of_eight_hours(figures):
    time_s = eight_hours(0.0)
    tracemalloc.start()
    cleaned_series(time_s)
    peak = tracemalloc.get_traced_memory()[1] + time_s.nbytes
    tracemalloc.stop()
    print(f"\npeak with the edges themselves {peak / 1e9:.2f} GB (under 1)")
    figures.at_most("memory of 8 h of edges", peak / 1e9, 1, "GB")


def gate_count(time_s):
    """M: edges counted in a gate of fixed length."""
    gate_s = 0.9 * (time_s[-1] - time_s[0])
    start_s = time_s[0] + 0.37 * PERIOD_S
    return gate_s / np.count_nonzero((time_s >= start_s) & (time_s < start_s + gate_s))


def mean_of_single_periods(time_s):
    """T: single periods, read one in ten as an instrument does."""
    return np.mean(np.diff(time_s)[::10])


def end_points(time_s):
    """M/T: whole periods over the time they took (Ohmae et al., IEEE TIE 29(3), 1982)."""
    return (time_s[-1] - time_s[0]) / (time_s.size - 1)


def plain_line(time_s):
    return np.polyfit(np.arange(time_s.size), time_s, 1)[0]


def per_tooth(time_s):
    return fit_period(clean(time_s), TEETH).period_s


def test_variance_of_the_belt_speed_beside_other_ways(figures):
    rng = np.random.default_rng(1)
    index = np.arange(TEETH * TURNS)
    runs = [
        PERIOD_S * (index + rng.normal(0, 0.01, TEETH)[index % TEETH])
        + rng.normal(0, JITTER_S, index.size)
        for _ in range(6000)
    ]
    n = index.size
    bound = 12 * JITTER_S**2 / (n * (n**2 - TEETH**2))
    print("\nvariance of the period ÷ 12σ²/[N(N² − Z²)], 10 turns of 24 teeth, 1 % spacing error")
    for way in (per_tooth, plain_line, end_points, gate_count, mean_of_single_periods):
        ratio = np.mean([(way(time_s) - PERIOD_S) ** 2 for time_s in runs]) / bound
        print(f"  {way.__name__:24s}{ratio:12.3f}")
        if way is per_tooth:
            ours = ratio
    figures.at_most("variance of the period", ours, 1.05, "×", "the Cramér-Rao bound")

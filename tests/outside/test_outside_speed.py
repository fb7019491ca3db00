"""The speed maths and the match against published figures and reference libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest

from workbench.base.machine import Drive, Machine
from workbench.base.units import SPEED_UNITS_MPS, to_mps
from workbench.calibration.pulses.drive_line import (
    belt_per_shaft_turn,
    metres_per_pulse,
    pitch_diameter,
)
from workbench.calibration.pulses.edges import clean
from workbench.calibration.pulses.speed import fit_period
from workbench.calibration.statistics.coverage import coverage_factor
from workbench.match.align import parabola_peak
from workbench.match.mean import autocorrelated_mean


def spacing_and_jitter(seed: int, teeth: int, turns: int, jitter_s: float) -> np.ndarray:
    rng = np.random.default_rng(seed)
    offset = rng.normal(0, 0.01, teeth)
    index = np.arange(teeth * turns)
    return 0.01 * (index + offset[index % teeth]) + rng.normal(0, jitter_s, index.size)


@pytest.mark.parametrize("turns", [5, 10, 20])
def test_the_variance_of_the_period_reaches_its_bound(turns: int) -> None:
    """var(T) = 12σ²/[N(N² − Z²)] with one intercept a tooth; for a perfect wheel the
    Cramér-Rao bound 12σ²/[N(N² − 1)], the Ω counter of Rubiola, Lenczner, Bourgeois &
    Vernotte, IEEE Trans. UFFC 63(7), 2016 (the first derived from it by the
    Frisch-Waugh theorem)."""
    teeth, jitter_s, seeds = 24, 20e-6, 1500
    n = teeth * turns
    fits = [
        fit_period(clean(spacing_and_jitter(seed, teeth, turns, jitter_s)), teeth)
        for seed in range(seeds)
    ]
    bound = 12 * jitter_s**2 / (n * (n**2 - teeth**2))
    period_s = np.array([fit.period_s for fit in fits])
    # The variance of 1500 draws scatters by √(2/1500) = 3.7 %.
    assert np.var(period_s) / bound == pytest.approx(1.0, abs=4 * math.sqrt(2 / seeds))
    assert np.mean([fit.u_period_s**2 for fit in fits]) / bound == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("teeth", "ratio"),
    [
        (8, 2.6131),
        (10, 3.2361),
        (12, 3.8637),
        (15, 4.8097),
        (17, 5.4422),
        (25, 7.9787),
        (40, 12.7455),
    ],
)
def test_sprocket_table(teeth: int, ratio: float) -> None:
    """Pitch diameter ÷ pitch of roller chain sprockets, handbook table after ISO 606."""
    assert pitch_diameter(1.0, teeth) == pytest.approx(ratio, abs=5.1e-5)


@pytest.mark.parametrize("pitch_m", [0.0127, 0.015875, 0.01905, 0.0254])
def test_one_turn_moves_n_pitches_not_pi_times_the_pitch_diameter(pitch_m: float) -> None:
    """Pitches of ISO 606 / ANSI B29.1 chains 40, 50, 60, 80; a polygon's circumference."""
    drive = Drive(24, "sprocket", sprocket_teeth=12, rod_pitch_m=pitch_m, u_rod_pitch_m=0.0)
    turn_m, _ = belt_per_shaft_turn(drive)
    assert turn_m == pytest.approx(12 * pitch_m)
    chord_m = pitch_diameter(pitch_m, 12) * math.sin(math.pi / 12)
    assert turn_m == pytest.approx(12 * chord_m)
    assert turn_m < math.pi * pitch_diameter(pitch_m, 12)


def test_mud_of_5_mm_on_a_roll_of_100_mm_radius_is_5_percent() -> None:
    """v = ω(R + offset of the pitch line): common practice, no source."""
    clean_m, _ = belt_per_shaft_turn(Drive(24, "roll", roll_diameter_m=0.200))
    muddy_m, _ = belt_per_shaft_turn(Drive(24, "roll", roll_diameter_m=0.210))
    assert muddy_m / clean_m == pytest.approx(1.05)


def test_metres_a_pulse_through_a_ratio() -> None:
    """GUM 5.1.6: relative uncertainties of a product carry over."""
    drive = Drive(30, "sprocket", 1.5, sprocket_teeth=10, rod_pitch_m=0.04, u_rod_pitch_m=4e-5)
    per_pulse = metres_per_pulse(Machine("demo", drive))
    assert per_pulse.value_m == pytest.approx(10 * 0.04 * 1.5 / 30)
    assert per_pulse.u_rel == pytest.approx(0.001)


@pytest.mark.parametrize(
    ("dof", "factor"),
    [
        (1, 13.97),
        (2, 4.53),
        (3, 3.31),
        (4, 2.87),
        (5, 2.65),
        (8, 2.37),
        (10, 2.28),
        (16, 2.17),
        (16.9, 2.17),
        (20, 2.13),
        (50, 2.05),
        (math.inf, 2.00),
    ],
)
def test_coverage_factors(dof: float, factor: float) -> None:
    """GUM (JCGM 100:2008) table G.2, 95.45 %; ν_eff truncated (G.4.1)."""
    assert coverage_factor(dof) == pytest.approx(factor, abs=0.006)


def test_autocorrelated_mean_against_many_repeats_of_an_ar1_series() -> None:
    """The stated u of the mean is the scatter of the mean over repeats (simulation)."""
    from scipy.signal import lfilter

    rng = np.random.default_rng(7)
    noise = rng.normal(0, 1, (1500, 800))
    series = lfilter([1.0], [1.0, -0.8], noise, axis=1)[:, 200:]
    means = [autocorrelated_mean(row) for row in series]
    scatter = np.std([mean.value for mean in means])
    assert math.sqrt(np.mean([mean.u**2 for mean in means])) / scatter == pytest.approx(1, abs=0.1)


def test_bias_of_the_parabola_through_a_correlation_peak() -> None:
    """At 20 samples a period the bias is at most 0.0016 samples (computed, Smith's quadratic
    interpolation of spectral and correlation peaks)."""
    worst = 0.0
    for true in np.linspace(-0.5, 0.5, 101):
        before, at, after = np.cos(2 * np.pi * (np.array([-1, 0, 1]) - true) / 20)
        worst = max(worst, abs(parabola_peak(before, at, after) - true))
    assert 0.0010 < worst <= 0.0016


def test_speed_units_are_exact() -> None:
    """NIST SP 811 appendix B: 1 mi/h = 0.447 04 m/s, 1 ft/min = 0.005 08 m/s, exactly.
    A taped course: 88 ft in 60 s is 1 mph, 88 ft in 20 s 3.00 mph (extension leaflets)."""
    assert SPEED_UNITS_MPS["mph"] == pytest.approx(0.44704, rel=1e-15)
    assert SPEED_UNITS_MPS["ft/min"] == pytest.approx(0.00508, rel=1e-15)
    assert to_mps(1, "mph") == pytest.approx(88 * 0.3048 / 60, rel=1e-15)
    assert to_mps(3, "mph") == pytest.approx(88 * 0.3048 / 20, rel=1e-15)
    assert to_mps(3.6, "km/h") == pytest.approx(1.0, rel=1e-15)

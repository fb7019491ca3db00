"""The gap check against general-purpose libraries."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import bootstrap, linregress

from workbench.base.machine import Pickup
from workbench.calibration.gap.amplitude import BaselinePoint, fit_law, gap_from_voltage
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.table import GapReadings
from workbench.calibration.gap.wheel_faults import check_wheel


def readings(angle_deg: np.ndarray, gap_m: np.ndarray) -> GapReadings:
    return GapReadings("left", angle_deg, gap_m, np.zeros(angle_deg.size, dtype=np.int64))


def test_the_swing_is_numpys_least_squares() -> None:
    # numpy.linalg.lstsq on the same design, unequal angles, one reading a place.
    rng = np.random.default_rng(2)
    angle = np.array([0.0, 50.0, 120.0, 155.0, 230.0, 300.0])
    gap_m = 1.6e-3 + 2e-4 * np.cos(np.radians(angle - 77)) + rng.normal(0, 2e-5, 6)
    theta = np.radians(angle)
    design = np.column_stack([np.ones(6), np.cos(theta), np.sin(theta)])
    beta = np.linalg.lstsq(design, gap_m, rcond=None)[0]
    gap = feeler_gap(readings(angle, gap_m), Pickup())
    assert gap.swing_m == pytest.approx(tuple(beta), rel=1e-10)
    assert gap.runout_m == pytest.approx(2 * np.hypot(beta[1], beta[2]), rel=1e-10)


def test_weights_and_uncertainty_are_statsmodels_weighted_least_squares() -> None:
    # statsmodels WLS with known variances (unit scale): places read 4, 1, 2, 8, 1 times.
    rng = np.random.default_rng(4)
    places = np.array([10.0, 80.0, 150.0, 220.0, 310.0])
    count = np.array([4, 1, 2, 8, 1])
    angle = np.repeat(places, count)
    gap_m = 2e-3 + 1e-4 * np.sin(np.radians(angle)) + rng.normal(0, 1e-4, angle.size)
    gap = feeler_gap(readings(angle, gap_m), Pickup(), blade_step_m=1e-9)
    u_place = gap.repeatability_m / np.sqrt(count)
    theta = np.radians(places)
    design = np.column_stack([np.ones(5), np.cos(theta), np.sin(theta)])
    fit = sm.WLS([place.gap_m for place in gap.places], design, weights=1 / u_place**2).fit()
    assert gap.swing_m == pytest.approx(tuple(fit.params), rel=1e-8)
    # statsmodels scales by χ²/ν of the residuals alone; undo that, then apply ours.
    freedom = angle.size - 5
    pooled = max(1.0, (freedom + fit.scale * 2) / (freedom + 2))
    u_mean = fit.bse[0] / np.sqrt(fit.scale) * np.sqrt(pooled)
    assert gap.u_gap_m == pytest.approx(u_mean, rel=1e-6)


def test_the_extreme_gaps_uncertainty_agrees_with_a_bootstrap() -> None:
    # scipy.stats.bootstrap of the residuals of many readings, blades too fine to matter.
    rng = np.random.default_rng(8)
    angle = np.repeat(np.arange(8) * 45.0, 6)
    theta = np.radians(angle)
    gap_m = 1.7e-3 + 2.5e-4 * np.cos(theta - 1.0) + rng.normal(0, 6e-5, angle.size)
    gap = feeler_gap(readings(angle, gap_m), Pickup(), blade_step_m=1e-9)
    design = np.column_stack([np.ones(theta.size), np.cos(theta), np.sin(theta)])
    pseudo = np.linalg.pinv(design)
    beta = pseudo @ gap_m
    residual = (gap_m - design @ beta) * np.sqrt(angle.size / (angle.size - 3))

    def widest(sample: np.ndarray, axis: int = -1) -> np.ndarray:
        again = (design @ beta + np.moveaxis(sample, axis, -1)) @ pseudo.T
        return again[..., 0] + np.hypot(again[..., 1], again[..., 2])

    resampled = bootstrap((residual,), widest, n_resamples=4000, method="basic", rng=rng)
    assert gap.u_widest_m == pytest.approx(resampled.standard_error, rel=0.15)


def test_the_extreme_gap_agrees_with_a_gaussian_process() -> None:
    # A Gaussian process whose covariance is that of a once-a-turn swing with a wide prior,
    # conditioned on the readings (Rasmussen & Williams 2006, eq. 2.25, from memory): its
    # draws' largest value round the wheel, against our widest point.
    rng = np.random.default_rng(9)
    angle = np.array([0.0, 45.0, 90.0, 180.0, 225.0, 290.0])
    u_m = 5e-5
    gap_m = 1.9e-3 + 3e-4 * np.cos(np.radians(angle - 120)) + rng.normal(0, u_m, angle.size)
    gap = feeler_gap(readings(angle, gap_m), Pickup(), blade_step_m=1e-9)

    def covariance(one: np.ndarray, two: np.ndarray) -> np.ndarray:
        return 0.01**2 * (1 + np.cos(np.radians(one[:, None] - two)))

    around = np.arange(0, 360, 3.0)
    gain = covariance(around, angle) @ np.linalg.inv(
        covariance(angle, angle) + u_m**2 * np.eye(angle.size)
    )
    mean = gain @ gap_m
    posterior = covariance(around, around) - gain @ covariance(angle, around)
    draws = rng.multivariate_normal(mean, posterior, 4000, method="eigh").max(axis=1)
    # The readings are single: their scatter is the chosen 0.05 mm, as in this process.
    assert gap.widest_m == pytest.approx(draws.mean(), abs=0.5 * draws.std())
    assert gap.u_widest_m == pytest.approx(draws.std(), rel=0.2)


def test_the_amplitude_law_reproduces_wallaces_ratios() -> None:
    # Wallace, Bell System Technical Journal 30(4) 1951: 54.575 dB a wavelength of spacing,
    # that is exp(−2π·d/λ); ratios at λ = 10 mm computed from it. Its use for a toothed
    # wheel is an analogy, so the law is fitted to two of them and must give the others.
    ratios = {0.5e-3: 0.730, 1.0e-3: 0.533, 1.5e-3: 0.390, 2.0e-3: 0.285, 2.5e-3: 0.208}
    law = fit_law(
        [BaselinePoint(gap, 1e-6, float(np.log(ratios[gap]))) for gap in (0.5e-3, 2.5e-3)]
    )
    assert law.decay_m == pytest.approx(10e-3 / (2 * np.pi), rel=2e-3)
    for gap_m, ratio in ratios.items():
        assert np.exp(law.log_k - gap_m / law.decay_m) == pytest.approx(ratio, abs=1e-3)
        assert gap_from_voltage(law, float(np.log(ratio))).value == pytest.approx(gap_m, abs=5e-6)
    assert 20 * np.log10(np.e) * 10e-3 / law.decay_m == pytest.approx(54.575, rel=2e-3)


def test_the_amplitude_law_is_scipys_line_through_the_logarithms() -> None:
    # scipy.stats.linregress: equal weights, since all gaps are known equally well.
    rng = np.random.default_rng(3)
    gap_m = np.linspace(0.8e-3, 3e-3, 9)
    level = -2.0 - gap_m / 1.7e-3 + rng.normal(0, 0.2, 9)
    law = fit_law([BaselinePoint(g, 2e-5, float(v)) for g, v in zip(gap_m, level, strict=True)])
    line = linregress(gap_m, level)
    assert law.log_k == pytest.approx(line.intercept, rel=1e-9)
    assert 1 / law.decay_m == pytest.approx(-line.slope, rel=1e-9)
    # The scatter is far above what was assumed of pickups, so the residuals set the scale.
    assert law.variance[2] == pytest.approx(line.stderr**2, rel=1e-6)
    assert law.variance[0] == pytest.approx(line.intercept_stderr**2, rel=1e-6)


def test_an_eccentric_wheel_swings_its_intervals_by_e_over_r() -> None:
    # Geometry, derived: e on pitch radius r swings the intervals by e/r once a turn,
    # 0.2 % for 0.1 mm on 50 mm.
    teeth, turns, e_rel = 24, 40, 0.1 / 50
    angle = 2 * np.pi * np.arange(teeth * turns) / teeth
    check = check_wheel((angle + e_rel * np.sin(angle)) / (2 * np.pi * 3.0), teeth)
    assert check.answer.eccentricity_rel == pytest.approx(e_rel, rel=0.01)
    assert check.answer.late_angle_deg == pytest.approx(90.0, abs=0.5)

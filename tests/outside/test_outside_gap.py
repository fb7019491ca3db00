"""The gap check against general-purpose libraries."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import bootstrap

from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.table import GapReadings
from workbench.machine import Pickup


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
    assert gap.runout.value == pytest.approx(2 * np.hypot(beta[1], beta[2]), rel=1e-10)


def test_weights_and_uncertainty_are_statsmodels_weighted_least_squares() -> None:
    # statsmodels WLS with known variances (unit scale): places read 4, 1, 2, 8, 1 times.
    rng = np.random.default_rng(4)
    places = np.array([10.0, 80.0, 150.0, 220.0, 310.0])
    count = np.array([4, 1, 2, 8, 1])
    angle = np.repeat(places, count)
    gap_m = 2e-3 + 1e-4 * np.sin(np.radians(angle)) + rng.normal(0, 1e-4, angle.size)
    gap = feeler_gap(readings(angle, gap_m), Pickup(), blade_step_m=1e-9)
    u_place = gap.places.scatter_m / np.sqrt(count)
    theta = np.radians(places)
    design = np.column_stack([np.ones(5), np.cos(theta), np.sin(theta)])
    fit = sm.WLS(gap.places.gap_m, design, weights=1 / u_place**2).fit()
    assert gap.swing_m == pytest.approx(tuple(fit.params), rel=1e-8)
    # statsmodels scales by χ²/ν of the residuals alone; undo that, then apply ours.
    freedom = angle.size - 5
    pooled = max(1.0, (freedom + fit.scale * 2) / (freedom + 2))
    u_mean = fit.bse[0] / np.sqrt(fit.scale) * np.sqrt(pooled)
    assert gap.mean.u == pytest.approx(u_mean, rel=1e-6)


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
    assert gap.widest.u == pytest.approx(resampled.standard_error, rel=0.15)


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
    assert gap.widest.value == pytest.approx(draws.mean(), abs=0.5 * draws.std())
    assert gap.widest.u == pytest.approx(draws.std(), rel=0.2)

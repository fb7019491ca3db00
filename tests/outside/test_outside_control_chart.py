"""Control charts against the worked examples of the NIST/SEMATECH e-Handbook."""

import numpy as np
import pytest

from workbench.calibration.statistics.control_chart import cusum, ewma, sigma_from_ranges

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3, the example's 20 values.
CUSUM_X = np.array(
    [
        [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600],
        [324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350],
    ]
).ravel()
# NIST/SEMATECH 6.3.2.4, the example's 20 values and its printed EWMA.
EWMA_X = np.array(
    [
        [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5],
        [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1],
    ]
).ravel()
EWMA_Z = np.array(
    [
        [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33],
        [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99],
    ]
).ravel()


def test_cusum_of_nist_6_3_2_3() -> None:
    chart = cusum(CUSUM_X, target=325.0, slack=0.3175, decision=4.1959)
    high = np.zeros(20)
    high[4] = 0.0325
    high[12:] = [3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035]
    low = np.zeros(20)
    low[[1, 3, 6, 7, 8, 9, 10]] = [0.0075, 0.3325, 0.5575, 0.715, 0.1725, 0.255, 0.3125]
    np.testing.assert_allclose(chart.high, high, atol=1e-9)
    np.testing.assert_allclose(chart.low, low, atol=1e-9)
    assert chart.alarms[0] + 1 == 14


def test_ewma_of_nist_6_3_2_4() -> None:
    chart = ewma(EWMA_X, target=50.0, sigma=2.0539, weight=0.3)
    np.testing.assert_allclose(chart.mean, EWMA_Z, atol=0.0051)
    assert chart.high == pytest.approx(52.5884, abs=1e-4)
    assert chart.low == pytest.approx(47.4115, abs=1.1e-4)
    assert chart.alarms == []


def test_sigma_from_ranges_is_that_of_normal_values() -> None:
    # d₂ = 1.128 for ranges of two: NIST/SEMATECH 6.3.2.
    values = np.random.default_rng(1).normal(5.0, 0.2, 20_000)
    assert sigma_from_ranges(values) == pytest.approx(0.2, rel=0.02)

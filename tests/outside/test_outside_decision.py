"""Decisions against JCGM 106, ILAC-G8 and two worked cases from memory."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from workbench.calibration.statistics.decision import (
    Verdict,
    conformance_probability,
    decide,
    times_as_many,
    uncertainty_to_settle,
)


def test_jcgm_106_two_sided_example():
    """JCGM 106:2012, 7.4: y = 13.6, u = 1.8, limits 12.5 and 16.3 (0.66263 by SciPy's normal)."""
    assert f"{conformance_probability(13.6, 1.8, 12.5, 16.3):.5f}" == "0.66263"


def test_zener_diode():
    """JCGM 106, Zener diode with an upper limit of −5.40 V: 0.9192 (from memory)."""
    assert f"{conformance_probability(-5.47, 0.05, -math.inf, -5.40):.4f}" == "0.9192"


def test_speed_limit():
    """JCGM 106, speed enforcement: limit 100, u 2 %, 99.9 % sure above 106.59 (from memory)."""
    assert 1 - conformance_probability(106.59, 0.02 * 106.59, -math.inf, 100) == pytest.approx(
        0.999, abs=5e-5
    )


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (0.0, Verdict.PASS),
        (0.0100, Verdict.PASS),
        (0.0101, Verdict.CONDITIONAL_PASS),
        (0.0200, Verdict.CONDITIONAL_PASS),
        (-0.0201, Verdict.CONDITIONAL_FAIL),
        (0.0299, Verdict.CONDITIONAL_FAIL),
        (-0.0301, Verdict.FAIL),
    ],
)
def test_ilac_g8_four_answers(value, verdict):
    """ILAC-G8:09/2019, four answers with guard band w = U (k = 2), second hand."""
    assert decide(value, 0.005, -0.02, 0.02).verdict == verdict


def test_ilac_g8_false_accept_below_2_5_percent():
    """ILAC-G8:09/2019: with w = U, k = 2, whatever is passed is wrong in under 2.5 %; worst
    where the true value lies on the limit, where it is the normal tail beyond 2: 2.28 %."""
    rng = np.random.default_rng(6)
    u, n = 0.005, 20_000
    for true in (0.02, 0.0205, 0.022):
        passed = sum(
            decide(float(y), u, -0.02, 0.02).verdict == Verdict.PASS
            for y in true + u * rng.standard_normal(n)
        )
        assert passed / n < 0.025
        expected = norm.cdf((0.01 - true) / u)
        assert passed / n == pytest.approx(expected, abs=4 * math.sqrt(expected / n) + 1e-4)


def test_too_wide_an_uncertainty_cannot_tell():
    assert decide(0.0, 0.0101, -0.02, 0.02).verdict == Verdict.CANNOT_TELL
    assert decide(math.nan, 0.001, -0.02, 0.02).verdict == Verdict.CANNOT_TELL
    assert decide(0.06, 0.0101, -0.02, 0.02).verdict == Verdict.FAIL


def test_what_would_settle_it_does():
    """The uncertainty named as settling brings a plain answer, and so does that much more data."""
    for value in (0.0, 0.012, -0.015, 0.019, 0.024, 0.04):
        found = decide(value, 0.009, -0.02, 0.02)
        U = uncertainty_to_settle(found, value, -0.02, 0.02)
        assert decide(value, U / 2, -0.02, 0.02, U=U * 0.999).verdict in (
            Verdict.PASS,
            Verdict.FAIL,
        )
    doubtful = decide(0.019, 0.03, -0.02, 0.02)
    assert doubtful.verdict == Verdict.CANNOT_TELL
    enough = uncertainty_to_settle(doubtful, 0.019, -0.02, 0.02)
    assert decide(0.019, enough / 2, -0.02, 0.02).verdict == Verdict.CONDITIONAL_PASS
    times = times_as_many(0.004, 0.001, 0.012)
    assert math.hypot(0.001, 0.012 / math.sqrt(times)) == pytest.approx(0.004)
    times = times_as_many(0.004, 0.001, 0.012, power=1)
    assert math.hypot(0.001, 0.012 / times) == pytest.approx(0.004)
    assert math.isinf(times_as_many(0.004, 0.005, 0.001))
    assert times_as_many(0.004, 0.001, 0.002) == 1

"""Reading a coarse display by its change-over points, against a typed reading.

OIML R 76-1, A.4.4.3, weighs by change-over points (from memory). The readout simulated
here is this file's own: an exponential average, a scale error, rounding to a step, and a
person whose key presses lag by N(0.11 s, (0.07 s)²) (Am. J. Phys. 87(2), 2019, 110).
"""

import math

import numpy as np
import pytest

from workbench.base.errors import WrongInput
from workbench.calibration.pulses.speed import SpeedSeries
from workbench.calibration.readout.change_overs import Flip, FlipSays, change_overs, flips_of
from workbench.calibration.readout.rounding import display_correlation, rounding_correlation

MPH = 0.44704
STEP = 0.1 * MPH


def ramp(error, *, lag_s=0.8, period_s=180.0, hysteresis=0.0, cut_off=False, ways=4, rng=None):
    """(true speed series, flips as pressed) of a belt ramped up and down between two speeds."""
    time_s = np.arange(0, ways * period_s / 2, 0.05)
    phase = (time_s / (period_s / 2)) % 2
    true = 0.9 + 0.45 * np.where(phase < 1, phase, 2 - phase)
    indication = (1 + error) * true
    lagged = np.empty_like(indication)
    lagged[0] = indication[0]
    for i in range(1, time_s.size):
        lagged[i] = lagged[i - 1] + 0.05 / lag_s * (indication[i] - lagged[i - 1])
    steps = lagged / STEP + (0.0 if cut_off else 0.5)
    shown = np.floor(steps)
    if hysteresis:
        for i in range(1, shown.size):
            stays = abs(steps[i] - 0.5 - shown[i - 1]) <= 0.5 + hysteresis
            shown[i] = shown[i - 1] if stays else shown[i]
    flips = flips_of(time_s, shown * 0.1, 0.1)
    if rng is not None:
        flips = [Flip(f.time_s + rng.normal(0.11, 0.07), f.shown, f.up) for f in flips]
    noise = 1e-4 * (np.random.default_rng(5).standard_normal(time_s.size))
    series = SpeedSeries(time_s, true + noise, np.full(time_s.size, 1e-4), 0.0)
    return series, flips


def told(found):
    """What is said of which line."""
    return [(one.what, one.values["flip"].values.get("line")) for one in found.warnings]


def test_five_fold_better_than_a_typed_reading():
    """At least five-fold in uncertainty, and the uncertainty is true: |error| within 3 u."""
    rng = np.random.default_rng(1)
    typed_u = 0.1 / math.sqrt(12) / 2.5
    normed = []
    for _ in range(20):
        error = rng.normal(0, 0.03)
        series, flips = ramp(error, rng=rng)
        found = change_overs(flips, series, STEP, MPH)
        value, u = found.error(2.5 * MPH)
        assert u < typed_u / 5
        normed.append((value - error) / u)
    assert np.abs(normed).max() < 3.5
    assert 0.6 < np.std(normed) < 1.4


def test_lag_is_told_from_error():
    series, flips = ramp(0.02, lag_s=1.5, rng=np.random.default_rng(3))
    found = change_overs(flips, series, STEP, MPH)
    assert found.error(2.5 * MPH)[0] == pytest.approx(0.02, abs=0.002)
    # The hand's 0.11 s are part of the lag found.
    assert found.lag_s == pytest.approx(1.5 + 0.11, abs=max(3 * found.u_lag_s, 0.1))


def test_hysteresis_moves_the_branches_apart_and_not_the_error():
    series, flips = ramp(-0.03, hysteresis=0.2, rng=np.random.default_rng(4))
    found = change_overs(flips, series, STEP, MPH)
    assert found.error(2.5 * MPH)[0] == pytest.approx(-0.03, abs=0.003)
    assert found.lag_s > 0.8 + 0.11


def test_ramps_of_two_slopes_tell_lag_from_hysteresis():
    rng = np.random.default_rng(8)
    slow, slow_flips = ramp(0.01, period_s=240.0, hysteresis=0.2, rng=rng)
    fast, fast_flips = ramp(0.01, period_s=80.0, hysteresis=0.2, rng=rng)
    shift = float(slow.time_s[-1]) + 20.0
    series = SpeedSeries(
        np.concatenate([slow.time_s, fast.time_s + shift]),
        np.concatenate([slow.speed_mps, fast.speed_mps]),
        np.concatenate([slow.u_mps, fast.u_mps]),
        0.0,
    )
    flips = slow_flips + [Flip(f.time_s + shift, f.shown, f.up) for f in fast_flips]
    found = change_overs(flips, series, STEP, MPH)
    assert found.hysteresis_mps == pytest.approx(0.2 * STEP, abs=4 * found.u_hysteresis_mps)
    assert found.u_hysteresis_mps < 0.2 * STEP
    assert found.lag_s == pytest.approx(0.8 + 0.11, abs=4 * found.u_lag_s)


def test_a_display_that_cuts_off_is_found_out():
    """Cut off instead of rounded, all thresholds lie half a step higher: a fixed offset."""
    series, flips = ramp(0.0, cut_off=True, rng=np.random.default_rng(6))
    found = change_overs(flips, series, STEP, MPH)
    assert found.offset_mps == pytest.approx(-STEP / 2, rel=0.25)
    assert FlipSays.DISPLAY_OFF_BY_FIXED in [warning.what for warning in found.warnings]


def test_one_way_only_widens_the_answer():
    series, flips = ramp(0.02, rng=np.random.default_rng(7))
    both = change_overs(flips, series, STEP, MPH)
    up = change_overs([flip for flip in flips if flip.up], series, STEP, MPH)
    assert up.error(2.5 * MPH)[1] > 2 * both.error(2.5 * MPH)[1]
    assert up.error(2.5 * MPH)[0] == pytest.approx(0.02, abs=2.5 * up.error(2.5 * MPH)[1])
    assert FlipSays.FLIPS_GO_ONE_WAY in [warning.what for warning in up.warnings]


def test_a_late_press_is_named_and_left_out():
    series, flips = ramp(0.02, rng=np.random.default_rng(9))
    late = flips[7]
    flips[7] = Flip(late.time_s + 6.0, late.shown, late.up, line=9)
    found = change_overs(flips, series, STEP, MPH)
    assert told(found) == [(FlipSays.FLIP_STANDS_APART, 9)]
    assert found.error(2.5 * MPH)[0] == pytest.approx(0.02, abs=0.002)


def test_wrong_flips_are_sentences():
    series, flips = ramp(0.02)
    wrong = [Flip(-5.0, 2.2, True, line=2), Flip(flips[2].time_s, 2.3, not flips[2].up, line=3)]
    found = change_overs([*flips, *wrong], series, STEP, MPH)
    says = FlipSays.DOWN_WHILE_SPEEDING_UP if flips[2].up else FlipSays.UP_WHILE_SLOWING
    assert told(found) == [(FlipSays.NO_BELT_SPEED_AT_FLIP, 2), (says, 3)]
    with pytest.raises(WrongInput, match="at least 4"):
        change_overs(flips[:3], series, STEP, MPH)
    same = [flip for flip in flips if flip.up and flip.shown == flips[0].shown]
    with pytest.raises(WrongInput, match=r"same digits|at least 4"):
        change_overs(same * 4, series, STEP, MPH)


def test_correlation_of_rounding_errors():
    """The autocorrelation of a sawtooth is 1 − 6τ(1 − τ) (its Fourier series; elementary),
    and by simulation."""
    for tau in (0.0, 0.1, 0.25, 0.5, 0.8, 1.0):
        exact = 1 - 6 * tau * (1 - tau)
        assert rounding_correlation(tau, 0.0, 1.0) == pytest.approx(exact, abs=0.09)
    rng = np.random.default_rng(0)
    x = rng.uniform(0, 100, 200_000)
    apart = 0.3 + 0.15 * rng.standard_normal(x.size)
    one, other = np.round(x) - x, np.round(x + apart) - (x + apart)
    assert rounding_correlation(0.3, 0.15, 1.0) == pytest.approx(
        np.corrcoef(one, other)[0, 1], abs=0.01
    )
    assert rounding_correlation(0.0, 0.5, 1.0) == pytest.approx(0.0, abs=0.01)


def test_equal_speeds_share_their_rounding_error():
    speed, V = np.array([1.0, 1.0005, 1.3]), np.diag([1e-6] * 3)
    found = display_correlation(np.array([1.0, 1.0, 1.3]), speed, V, 0.1)
    assert found[0, 1] == pytest.approx(0.95)
    assert abs(found[0, 2]) < 0.6
    assert np.linalg.eigvalsh(found).min() > 0

"""The time base against simulated one-sided delays, and beside plain least squares."""

from __future__ import annotations

import numpy as np
import pytest

from workbench.calibration.pulses.time_base import fit_segments, fit_timebase, restarts

DRIFT = 40e-6
"""The device's clock runs 40 ppm fast."""


def points(rng, n=3000, span_s=60.0, mean_delay_s=1e-3):
    """Device times of a clock that runs fast, and late arrivals on the host's clock."""
    true_s = np.sort(rng.uniform(0.0, span_s, n))
    return true_s, true_s * (1 + DRIFT) + 7.0, 100.0 + true_s + rng.exponential(mean_delay_s, n)


def with_bursts(rng, true_s, host_s, every_s=10.0, length_s=1.0):
    """A host that stalls: all that comes in a stall arrives at its end."""
    late_s = host_s.copy()
    for start_s in rng.uniform(0, true_s[-1], int(true_s[-1] / every_s)):
        caught = (true_s > start_s) & (true_s < start_s + length_s)
        late_s[caught] += start_s + length_s - true_s[caught]
    return late_s


@pytest.mark.parametrize("bursts", [False, True])
def test_the_envelope_finds_rate_and_place_where_least_squares_does_not(bursts):
    rng = np.random.default_rng(11)
    rate_errors, plain_errors, scaled, place_errors, plain_places = [], [], [], [], []
    for _ in range(40):
        true_s, device_s, host_s = points(rng)
        if bursts:
            host_s = with_bursts(rng, true_s, host_s)
        base = fit_timebase(device_s, host_s)
        rate_errors.append(base.rate * (1 + DRIFT) - 1)
        scaled.append(rate_errors[-1] / base.u_rate)
        middle = float(device_s.mean())
        true_middle = 100.0 + (middle - 7.0) / (1 + DRIFT)
        place_errors.append(float(base.to_host(np.array([middle]))[0]) - true_middle)
        slope, height = np.polyfit(device_s - middle, host_s, 1)
        plain_errors.append(slope * (1 + DRIFT) - 1)
        plain_places.append(height - true_middle)
    # Theory for exponential delays (least squares: u = μ/(√n·s_x) = 1.05 ppm here): the
    # envelope's error falls as 1/n, not 1/√n.
    assert np.std(rate_errors) < 0.1e-6
    assert np.std(plain_errors) > 5 * np.std(rate_errors)
    assert np.abs(place_errors).max() < 20e-6
    assert np.mean(plain_places) > 0.9e-3  # the mean delay, which the envelope leaves out
    assert np.std(scaled) < 1.5  # the stated uncertainty is not too small


def test_a_burst_pulls_least_squares_away_by_a_thousand_ppm():
    rng = np.random.default_rng(5)
    true_s, device_s, host_s = points(rng, n=500, span_s=10.0)
    host_s[true_s > 8.5] += 10.0 - true_s[true_s > 8.5]
    base = fit_timebase(device_s, host_s)
    slope = np.polyfit(device_s, host_s, 1)[0]
    assert abs(base.rate * (1 + DRIFT) - 1) < 20e-6
    assert abs(slope * (1 + DRIFT) - 1) > 1000e-6


def test_drift_is_told_in_ppm_with_its_uncertainty():
    _, device_s, host_s = points(np.random.default_rng(2))
    base = fit_timebase(device_s, host_s)
    assert base.drift_ppm == pytest.approx(40.0, abs=3 * base.u_drift_ppm)
    assert base.u_drift_ppm < 0.5
    assert base.delay_s == pytest.approx(1e-3, rel=0.1)
    assert base.points == 3000
    assert not base.odd


def test_a_short_recording_keeps_the_crystals_rate():
    _, device_s, host_s = points(np.random.default_rng(3), n=30, span_s=1.0, mean_delay_s=5e-3)
    base = fit_timebase(device_s, host_s)
    assert abs(base.rate - 1) < 100e-6
    assert 30e-6 < base.u_rate <= 50e-6


def test_one_block_is_enough_for_a_place():
    base = fit_timebase(np.array([5.0]), np.array([105.0]))
    assert base.to_host(np.array([5.0, 6.0])) == pytest.approx([105.0, 106.0])
    assert base.u_rate == 50e-6
    with pytest.raises(ValueError, match="at least one"):
        fit_timebase(np.array([]), np.array([]))


def test_a_wrong_clock_rate_is_seen():
    _, device_s, host_s = points(np.random.default_rng(4))
    base = fit_timebase(device_s * 125 / 133, host_s)  # 125 MHz said, 133 MHz true
    assert base.odd
    assert base.rate == pytest.approx(133 / 125 / (1 + DRIFT), rel=1e-6)


def test_a_restarted_clock_begins_a_new_line_and_keeps_the_rate():
    rng = np.random.default_rng(6)
    true_s, device_s, host_s = points(rng)
    cut = int(np.searchsorted(true_s, 57.0))
    device_s[cut:] -= device_s[cut] - 0.5  # the board starts anew at half a second
    runs = fit_segments(device_s, host_s)
    assert [run for run, _ in runs] == [slice(0, cut), slice(cut, 3000)]
    for run, base in runs:
        assert np.abs(base.to_host(device_s[run]) - 100.0 - true_s[run]).max() < 60e-6
        assert abs(base.rate * (1 + DRIFT) - 1) < 1e-6


def test_a_late_delivery_is_no_restart():
    rng = np.random.default_rng(7)
    true_s, device_s, host_s = points(rng)
    stalled = (true_s > 20) & (true_s < 25)
    host_s[stalled] = 125.0 + np.arange(stalled.sum()) * 1e-5
    assert restarts(device_s, host_s) == []
    jumped_s = np.concatenate([device_s, device_s + 3600.0])  # unwrapped a turn too far
    assert restarts(jumped_s, np.concatenate([host_s, host_s + 61.0])) == [3000]

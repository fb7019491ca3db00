"""Samples to edges, against teeth whose every crossing is known."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from drivers.wave.crossings import Crossings, ToothFinder, TurningFinder

RATE_HZ = 48_000
LEAST = 0.003
HEIGHT = 0.4


def found(samples, rate_hz=RATE_HZ, pieces=1):
    finder = ToothFinder(rate_hz, LEAST)
    parts = [finder.feed(part) for part in np.array_split(samples, pieces)]
    return Crossings.joined([*parts, finder.finish()])


def teeth(tooth_hz, for_s=10.0, rate_hz=RATE_HZ, noise=0.002, seed=1):
    """A sine a tooth with white noise, and where each tooth's middle stands, in samples."""
    time_s = np.arange(round(for_s * rate_hz)) / rate_hz
    chance = np.random.default_rng(seed)
    samples = HEIGHT * np.sin(2 * np.pi * tooth_hz * time_s)
    samples += noise * chance.standard_normal(time_s.size)
    return samples, (np.arange(int(tooth_hz * for_s)) + 0.5) / tooth_hz * rate_hz


def off_s(edges, true, rate_hz=RATE_HZ):
    """How late each edge is; fails where a tooth is missed or told twice."""
    assert edges.at.size == true.size
    off = (edges.at - true) / rate_hz
    assert np.abs(off).max() < 0.25 * np.diff(true).min() / rate_hz
    return off


@pytest.mark.parametrize("noise", [0.002, 0.01, 0.04])
@pytest.mark.parametrize("tooth_hz", [31.7, 101.3, 437.7, 997.1])
def test_an_edge_s_spread_stays_near_the_bound_and_it_is_not_late(tooth_hz, noise):
    """Bound of Cramér and Rao for the samples from peak to peak, σ²/Σs'² (S. M. Kay, Fundamentals
    of Statistical Signal Processing: Estimation Theory, 1993, eq. 3.14); of a sine with N samples a
    period that is 2σ/(slope·√N)."""
    samples, true = teeth(tooth_hz, for_s=15.0, noise=noise)
    off = off_s(found(samples), true)
    slope_per_s = HEIGHT * 2 * np.pi * tooth_hz
    bound_s = 2 * noise / slope_per_s / np.sqrt(RATE_HZ / tooth_hz)
    assert off.std() <= 1.3 * bound_s
    assert abs(off.mean()) < 1e-6 + 3 * off.std() / np.sqrt(off.size)
    # What a straight line between the two samples around the crossing gives at its best.
    assert off.std() < np.sqrt(2 / 3) * noise / slope_per_s


@pytest.mark.parametrize("tooth_hz", [31.7, 101.3, 437.7, 997.1])
def test_without_noise_an_edge_is_right_to_a_microsecond_between_the_samples(tooth_hz):
    samples, true = teeth(tooth_hz, noise=0.0)
    edges = found(samples)
    assert np.abs(off_s(edges, true)[2:]).max() < 1e-6
    np.testing.assert_allclose(edges.peak, HEIGHT, rtol=1e-2)
    half = RATE_HZ / tooth_hz / 2
    np.testing.assert_allclose((edges.fall - edges.at)[3:-1], half, atol=0.05)


@settings(max_examples=15, deadline=None)
@given(cuts=st.lists(st.integers(0, 60_000), max_size=12), seed=st.integers(0, 99))
def test_the_edges_are_the_same_however_the_samples_come(cuts, seed):
    samples = np.concatenate(
        [teeth(hz, 0.4, noise=0.02, seed=seed)[0] for hz in (41.0, 0.5, 260.0)]
    )
    finder = ToothFinder(RATE_HZ, LEAST)
    bounds = [0, *sorted(cuts), samples.size]
    parts = [finder.feed(samples[a:b]) for a, b in itertools.pairwise(bounds)]
    cut, whole = Crossings.joined([*parts, finder.finish()]), found(samples)
    for name in ("at", "fall", "peak"):
        np.testing.assert_array_equal(getattr(cut, name), getattr(whole, name))


@pytest.mark.parametrize("tooth_hz", [40.0, 100.0, 230.0])
@pytest.mark.parametrize("hum_hz", [50.0, 60.0])
@pytest.mark.parametrize("share", [0.05, 0.3])
def test_hum_moves_edges_as_far_as_it_must_and_makes_none(tooth_hz, hum_hz, share):
    samples, true = teeth(tooth_hz)
    hum = share * HEIGHT * np.sin(2 * np.pi * hum_hz * np.arange(samples.size) / RATE_HZ + 1)
    off = off_s(found(samples + hum), true)
    # A voltage h more at a slope is h/slope earlier or later; √2·rms is h.
    assert off.std() < 1.2 * share / (2 * np.pi * tooth_hz) / np.sqrt(1 - share**2)


@pytest.mark.parametrize("height", [0.4, 0.8])
@pytest.mark.parametrize("tooth_hz", [40.0, 100.0])
def test_ignition_bursts_as_high_as_teeth_and_twice_as_high_make_no_edges(tooth_hz, height):
    """Sparks of 0.1 ms, ringing at 8 kHz, at 110 Hz: their shape is from memory."""
    samples, true = teeth(tooth_hz)
    chance = np.random.default_rng(5)
    ring_s = np.arange(round(0.0004 * RATE_HZ)) / RATE_HZ
    spark = height * np.exp(-ring_s / 1e-4) * np.cos(2 * np.pi * 8000 * ring_s)
    for burst_s in chance.uniform(0, 9, 4):
        for number in range(28):
            at = round((burst_s + number / 110 + chance.uniform(0, 5e-4)) * RATE_HZ)
            samples[at : at + spark.size] += spark
    off = off_s(found(np.clip(samples, -1, 1)), true)
    assert np.abs(off).max() < 1e-4


@pytest.mark.parametrize("tooth_hz", [40.0, 230.0, 900.0])
def test_clipping_eight_bits_an_offset_and_resampling_lose_no_tooth(tooth_hz):
    samples, true = teeth(tooth_hz)
    clipped = np.clip(samples, -HEIGHT / 2, HEIGHT / 2)
    assert off_s(found(clipped), true).std() < 2e-6
    assert off_s(found(np.round(samples * 128) / 128), true).std() < 5e-6
    assert off_s(found(samples + 0.3), true).std() < 2e-6
    other_hz = 44_100
    again = signal.resample_poly(samples, 147, 160)
    off = off_s(found(again, other_hz), true * other_hz / RATE_HZ, other_hz)
    assert off[3:-3].std() < 2e-6
    assert abs(off[3:-3].mean()) < 1e-6


def test_a_weak_tooth_is_seen_a_missing_one_is_not():
    samples, true = teeth(100.0)
    tooth = np.floor(np.arange(samples.size) / RATE_HZ * 100.0).astype(int) % 12
    edges = found(samples * np.where(tooth == 5, 0.4, 1.0))
    off_s(edges, true)
    weak = np.arange(true.size) % 12 == 5
    np.testing.assert_allclose(edges.peak[weak], 0.4 * HEIGHT, rtol=0.05)
    np.testing.assert_allclose(edges.peak[~weak], HEIGHT, rtol=0.02)
    off_s(found(samples * np.where(tooth == 5, 0.0, 1.0)), true[~weak])


def test_a_machine_that_stands_gives_no_edges_and_its_stop_and_start_lose_none():
    """A coil's voltage goes with the speed (Faraday's law)."""
    time_s = np.arange(20 * RATE_HZ) / RATE_HZ
    tooth_hz = np.interp(time_s, [0, 5, 8, 12, 15, 20], [100, 100, 0, 0, 150, 150])
    pitches = np.cumsum(tooth_hz) / RATE_HZ
    samples = HEIGHT * tooth_hz / 100 * np.sin(2 * np.pi * pitches)
    samples += 0.001 * np.random.default_rng(1).standard_normal(samples.size)
    edges = found(samples)
    true = np.interp(np.arange(int(pitches[-1])) + 0.5, pitches, np.arange(samples.size))
    moving = tooth_hz[true.astype(int)] > 10  # a tenth of the working speed
    near = np.abs(edges.at[:, None] - true[moving]).min(axis=0)
    assert near.max() / RATE_HZ < 1e-3
    assert abs(edges.at.size - true.size) <= 2
    standing = (edges.at > 8.2 * RATE_HZ) & (edges.at < 12 * RATE_HZ)
    assert not standing.any()


@pytest.mark.parametrize("noise", [0.0, 1e-4, 0.05])
def test_noise_alone_is_no_tooth(noise):
    samples = noise * np.random.default_rng(1).standard_normal(10 * RATE_HZ)
    assert found(samples).at.size == 0
    assert found(samples[:0]).at.size == 0
    assert found(samples[:5]).at.size == 0


def narrow(tooth_hz, noise=0.005, share=0.1):
    """Teeth narrower than their pitch: the derivative of a bump, 10 s of it, and the bump's width
    as a share of the pitch."""
    time_s = np.arange(10 * RATE_HZ) / RATE_HZ
    away = ((tooth_hz * time_s) % 1 - 0.5) / share
    clean = -away * np.exp(-(away**2)) * HEIGHT / np.sqrt(0.5 / np.e)
    return clean, noise * np.random.default_rng(2).standard_normal(time_s.size)


@pytest.mark.parametrize("turn", [1, -1])
@pytest.mark.parametrize("tooth_hz", [30.0, 90.0, 250.0])
def test_narrow_teeth_are_timed_near_the_bound_whichever_way_round_the_wires_are(tooth_hz, turn):
    """Kay's eq. 3.14 again, over all samples of a pitch of this shape."""
    clean, noise = narrow(tooth_hz)
    samples = turn * (clean + noise)
    finder = TurningFinder(RATE_HZ, LEAST)
    parts = [finder.feed(part) for part in np.array_split(samples, 97)]
    edges = Crossings.joined([*parts, finder.finish()])
    assert finder.is_turned is (turn < 0)
    off = off_s(edges, (np.arange(int(10 * tooth_hz)) + 0.5) / tooth_hz * RATE_HZ)
    pitch = np.gradient(clean, 1 / RATE_HZ)[: round(RATE_HZ / tooth_hz)]
    assert off.std() <= 1.3 * 0.005 / np.sqrt(np.sum(pitch**2))
    assert abs(off.mean()) < 1e-6


@pytest.mark.parametrize("count", [0, 400, 2000, 40_000])
def test_a_short_waveform_is_not_turned_and_loses_no_tooth(count):
    samples = teeth(100.0)[0][:count]
    finder = TurningFinder(RATE_HZ, LEAST)
    edges = Crossings.joined([finder.feed(samples), finder.finish()])
    np.testing.assert_array_equal(edges.at, found(samples).at)
    assert not finder.is_turned


def test_the_mean_rate_is_the_line_in_scipy_s_spectrum():
    samples, _ = teeth(101.3)
    edges = found(samples)
    rate_hz = (edges.at.size - 1) / (edges.at[-1] - edges.at[0]) * RATE_HZ
    frequency_hz, power = signal.periodogram(samples, RATE_HZ, window="hann", nfft=1 << 23)
    line_hz = frequency_hz[np.argmax(power)]
    assert rate_hz == pytest.approx(line_hz, abs=frequency_hz[1])

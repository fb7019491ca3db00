"""The simulator as a driver: the same seed, the same bytes; clocks handed in."""

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.catalogue import listing, open_input
from drivers.contract import AddressError, Driver, EdgeBlock, SpeedBlock, ValueBlock
from sim.driver import SimDriver
from sim.scenarios import SCENARIOS
from workbench.records.rebuild import collect


def streams(items):
    """All arrays of the items, joined by stream, as bytes."""
    parts = {}
    for item in items:
        match item:
            case EdgeBlock():
                arrays = {"rise": item.ticks, "fall": item.fall_ticks, "peak": item.peak_v}
                key = item.channel
            case SpeedBlock():
                arrays, key = {"value": item.speed_mps, "time": item.time_s}, item.source
            case ValueBlock():
                arrays = {"value": item.value, "time": item.time_s}
                key = (item.source, item.quantity)
        for name, array in arrays.items():
            if array is not None:
                parts.setdefault((key, name), []).append(array)
    return {key: np.concatenate(arrays).tobytes() for key, arrays in parts.items()}


def read(address, timeouts):
    driver = open_input(address)
    with driver:
        return [item for timeout_s in timeouts for item in driver.read(timeout_s)]


def test_is_a_driver_of_the_catalogue():
    driver = open_input("sim:healthy?seed=3&pace=fast")
    assert isinstance(driver, Driver)
    assert isinstance(driver, SimDriver)
    assert driver.simulated
    assert driver.address == "sim:healthy?seed=3&pace=fast"
    assert [one.address for one in listing("sim")] == [f"sim:{name}" for name in SCENARIOS]


def test_same_seed_same_bytes():
    address = "sim:noisy-wiring?seed={}&pace=fast"
    first, again, other = (streams(read(address.format(seed), [0.5] * 140)) for seed in (5, 5, 6))
    assert first == again
    assert all(first[key] != other[key] for key in first if key[1] == "rise")


@settings(max_examples=8, deadline=None)
@given(cuts=st.lists(st.floats(0.01, 30.0), max_size=8))
def test_same_bytes_however_it_is_read(cuts):
    cuts = [cut for cut, total in zip(cuts, itertools.accumulate(cuts), strict=True) if total < 65]
    timeouts = [*cuts, 65.0 - sum(cuts)]
    address = "sim:gap-too-wide?seed=2&pace=fast"
    assert streams(read(address, timeouts)) == streams(read(address, [65.0]))


def test_a_sensor_less_changes_nobody_else(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("[sensors]\nradar = 0\ngnss = 0\n[right]\nfitted = 0\n")
    with_all = streams(read("sim:healthy?seed=4&pace=fast", [30.0]))
    with_few = streams(read(f"sim:{path}?seed=4&pace=fast", [30.0]))
    assert set(with_few) < set(with_all)
    assert all(with_all[key] == data for key, data in with_few.items())


def test_blocks_keep_the_contract():
    counts, sequences = {}, {}
    for item in read("sim:noisy-wiring?pace=fast", [0.3] * 400):
        if isinstance(item, EdgeBlock):
            ticks = item.ticks
            assert ticks.dtype == np.int64
            assert np.all(np.diff(ticks) > 0)
            assert item.fall_ticks.size == ticks.size
            assert item.channel == "lap" or item.peak_v.size == ticks.size
            assert np.all((item.fall_ticks == 0) | (item.fall_ticks > ticks))
            counts[item.channel] = counts.get(item.channel, 0) + ticks.size
            assert item.count == counts[item.channel]
            sequences[item.channel] = sequences.get(item.channel, 0) + 1
            assert item.sequence == sequences[item.channel]
        elif isinstance(item, SpeedBlock):
            assert item.speed_mps.size == item.time_s.size == item.host_s.size == item.u_mps.size
    assert set(counts) == {"left", "right", "lap"}


def test_the_recording_read_is_the_recording_simulated(run):
    simulated = run("healthy", 3, 60.0)
    expected = simulated.recording
    found = collect(open_input("sim:healthy?seed=3&pace=fast"), 60.0)
    assert set(found.edges) == set(expected.edges)
    assert set(found.speeds) == set(expected.speeds)
    assert set(found.values) == set(expected.values)
    for name, track in expected.edges.items():
        # The counter's own clock is off by its crystal; what was read is on the host's line.
        true_s = simulated.truth.true_s(track.time_s)
        late_s = found.edges[name].time_s - true_s
        assert abs(late_s[0]) < 0.02  # the fastest delivery decides where a clock lies
        np.testing.assert_allclose(late_s, late_s[0], atol=60 * 3 * found.edges[name].u_clock_rel)
    for name, track in expected.speeds.items():
        np.testing.assert_array_equal(found.speeds[name].speed_mps, track.speed_mps)
        np.testing.assert_allclose(found.speeds[name].time_s, track.time_s, atol=1e-6)


class HandClock:
    """A clock that a test moves on."""

    def __init__(self):
        self.now_s = 1000.0

    def __call__(self):
        return self.now_s


def test_real_pace_follows_the_clock_it_is_given():
    clock = HandClock()
    with SimDriver("healthy", {}, clock) as driver:
        assert driver.read(0.0) == []
        clock.now_s += 5.0
        items = driver.read(0.0)
        left = next(item for item in items if getattr(item, "channel", "") == "left")
        assert left.host_s == pytest.approx(1005.0)
        assert left.ticks.size == pytest.approx(5 * 92, abs=10)
        assert driver.read(0.0) == []
        assert driver.truth().until_s >= 5.0


def test_fast_pace_passes_the_time_it_is_asked_to_wait():
    driver = open_input("sim:healthy?pace=fast")
    with driver:
        for _ in range(3):
            driver.read(20.0)
        assert driver.clock() == pytest.approx(60.0)


def test_every_opening_starts_anew():
    driver = open_input("sim:healthy?pace=fast")
    with driver:
        first = streams(driver.read(10.0))
    with driver:
        again = streams(driver.read(10.0))
    edges = [key for key in first if key[1] in ("rise", "fall", "peak")]
    assert all(first[key] == again[key] for key in edges)


def test_the_counter_s_clock_is_as_wrong_as_it_says(run):
    ppm = [run("healthy", seed, 60.0).truth.clock_rel * 1e6 for seed in range(30)]
    assert 15 < np.std(ppm) < 45
    run_ = run("healthy", 1, 60.0)
    edges = run_.recording.edges["left"].time_s
    true_s = run_.truth.true_s(edges)
    turns = run_.truth.shaft_turns(true_s[[0, -30 * 7 - 1]])
    assert np.ptp(turns) == pytest.approx((edges.size - 1 - 30 * 7) / 30, abs=2e-3)


@pytest.mark.parametrize(
    ("rest", "options", "words"),
    [
        ("helthy", {}, ("did you mean 'sim:healthy'", "gap-too-wide")),
        ("healthy", {"sed": "3"}, ("no option 'sed'", "seed, pace")),
        ("healthy", {"seed": "-1"}, ("seed is '-1'", "whole number")),
        ("healthy", {"seed": "9" * 30}, ("whole number",)),
        ("healthy", {"pace": "slow"}, ("pace is 'slow'", "real or fast")),
        ("nowhere.toml", {}, ("nowhere.toml", "No such file", "TOML")),
        (".", {}, ("no scenario has this name",)),
    ],
)
def test_a_wrong_address_says_what_would_be_right(rest, options, words):
    with pytest.raises(AddressError) as raised:
        SimDriver(rest, options)
    for word in words:
        assert word in str(raised.value)


def test_the_machine_file_comes_along():
    driver = open_input("sim:healthy")
    assert driver.machine_text == SCENARIOS["healthy"].machine_text
    assert dataclasses.is_dataclass(SCENARIOS["healthy"])

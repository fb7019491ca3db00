"""What comes in, kept for every page in one place: bounded, on the host's clock, thread-safe."""

from __future__ import annotations

import math
import threading

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import ChannelKind, EdgeBlock, Lost, Notes, SpeedBlock, ValueBlock
from workbench.live import pulses as live_pulses
from workbench.live.pulses import Rows
from workbench.live.streams import Streams
from workbench.records.rebuild import rebuild

RATE_HZ, TICK_S = 90.0, 1e-6
BOARD = "counter:x"


def block(time_s, *, count, channel="left", host_s=None, behind_s=100.0):
    """Edges at these host times, by a clock that is behind."""
    ticks = np.rint((np.asarray(time_s) - behind_s) / TICK_S).astype(np.int64)
    arrived_s = float(time_s[-1]) + 0.002 if host_s is None else host_s
    return EdgeBlock(channel, 0, ticks, TICK_S, arrived_s, count)


def fed(time_s, streams=None, size=9, **more):
    streams = streams or Streams()
    for at in range(0, len(time_s), size):
        part = time_s[at : at + size]
        streams.take(BOARD, [block(part, count=at + len(part), **more)])
    return streams


def even(seconds, from_s=1000.0):
    return from_s + np.arange(1, round(seconds * RATE_HZ) + 1) / RATE_HZ


class TestPulses:
    def test_they_are_read_on_the_hosts_clock(self):
        time_s = even(10)
        passed = fed(time_s).by_name["left"].pulses.after(0)
        assert (passed.first, passed.breaks) == (0, ())
        # The quickest delivery took 2 ms: so much later they stand, and no spacing is changed.
        np.testing.assert_allclose(passed.time_s, time_s + 0.002, atol=2e-6)

    def test_what_is_new_is_told_by_number(self):
        streams = fed(even(10))
        pulses = streams.by_name["left"].pulses
        assert pulses.total == 900
        assert pulses.after(890).time_s.size == 10
        assert pulses.newest(30).first == 870
        assert pulses.after(900).time_s.size == pulses.after(5000).time_s.size == 0
        assert pulses.newest(5000).time_s.size == 900

    def test_a_hole_and_a_restart_are_breaks(self):
        streams, time_s = Streams(), even(1)
        pulses = fed(time_s, streams).by_name["left"].pulses
        streams.take(BOARD, [Lost("left", 7, 1001.0, 1001.1, "test")])
        streams.take(BOARD, [block(time_s[:9] + 1.2, count=106)])
        assert pulses.after(0).breaks == (90,)
        streams.take(BOARD, [block(time_s[:9] + 1.4, count=120)])  # five are missing
        streams.take(BOARD, [block(time_s[:9] + 9.0, count=9, behind_s=1009.0)])  # anew
        passed = pulses.after(0)
        assert passed.breaks == (90, 99, 108)
        assert [(first, part.size) for first, part in passed.stretches] == [
            (0, 90),
            (90, 9),
            (99, 9),
            (108, 9),
        ]
        np.testing.assert_allclose(passed.time_s[-9:], time_s[:9] + 9.002, atol=1e-4)
        np.testing.assert_allclose(passed.time_s[:90], time_s + 0.002, atol=1e-4)

    def test_a_hole_of_the_whole_input_is_one_of_each_of_its_channels(self):
        streams = fed(even(1))
        fed(even(1), streams, channel="lap")
        streams.take("counter:y", [block(even(1), count=90, channel="other")])
        streams.take(BOARD, [Lost("", None, 1001.0, 1002.0, "unplugged")])
        for name, breaks in (("left", (90,)), ("lap", (90,)), ("other", ())):
            assert streams.by_name[name].pulses.after(0).breaks == breaks
        assert streams.by_name["left"].lost == 0

    def test_all_channels_of_a_board_are_on_its_one_clock(self):
        """The lap mark comes seldom and late: by itself it could not tell its place."""
        streams = fed(even(10))
        streams.take(BOARD, [block([1009.2], count=1, channel="lap", host_s=1010.1)])
        (at_s,) = streams.by_name["lap"].pulses.after(0).time_s
        assert at_s == pytest.approx(1009.202, abs=1e-4)

    def test_memory_is_bounded(self, monkeypatch):
        monkeypatch.setattr(live_pulses, "MOST_PULSES", 500)
        pulses = fed(even(100)).by_name["left"].pulses
        passed = pulses.after(0)
        assert 500 <= passed.time_s.size <= 1000
        assert passed.first + passed.time_s.size == pulses.total == 9000
        assert pulses.teeth_between(1001.0, 1002.0) == 0, "no longer all there"
        assert pulses.teeth_between(1099.0, 1099.5) == 45

    def test_teeth_between_two_moments(self):
        """Two extra pulses are left out, one missed tooth is counted in, as Signals does."""
        time_s = even(10)
        noisy_s = np.sort(np.append(np.delete(time_s, 200), (1003.003, 1006.0055)))
        streams = fed(noisy_s)
        pulses = streams.by_name["left"].pulses
        assert pulses.teeth_between(1001.006, 1009.006) == 720
        counts = streams.by_name["left"].health.count()
        assert (counts.missed, counts.extra) == (1, 2)
        assert pulses.teeth_between(1001.0, 1010.5) == 0, "not all of it was heard"
        assert pulses.teeth_between(999.0, 1002.0) == 0
        streams.take(BOARD, [Lost("left", 5, 1005.0, 1005.1, "test")])
        assert pulses.teeth_between(1004.006, 1006.006) == 0, "some were lost"
        assert pulses.teeth_between(1007.006, 1008.006) == 90

    def test_teeth_are_counted_after_the_board_began_anew_and_never_across(self):
        streams = fed(even(10))
        fed(even(5, 1020.0), streams, behind_s=1019.0)
        pulses = streams.by_name["left"].pulses
        assert pulses.teeth_between(1021.006, 1022.006) == 90
        assert pulses.teeth_between(1005.006, 1021.006) == 0

    def test_read_while_it_is_filled(self):
        streams, time_s = Streams(), even(200)
        fed(time_s[:9], streams)
        pulses, stop, wrong = streams.by_name["left"].pulses, threading.Event(), []

        def read():
            while not stop.is_set():
                passed = pulses.after(0)
                apart_s = np.diff(passed.time_s)
                if passed.time_s.size and not np.allclose(apart_s, 1 / RATE_HZ, atol=1e-5):
                    wrong.append(passed)
                streams.by_name["left"].health.count()

        readers = [threading.Thread(target=read) for _ in range(2)]
        for reader in readers:
            reader.start()
        for at in range(9, time_s.size, 9):
            part = time_s[at : at + 9]
            streams.take(BOARD, [block(part, count=at + part.size)])
        stop.set()
        for reader in readers:
            reader.join()
        assert not wrong
        assert streams.by_name["left"].health.count().edges == time_s.size


class TestSpeeds:
    def test_a_sender_that_stamps_its_values_is_on_the_hosts_line(self):
        streams = Streams()
        for second in range(60):
            own_s = 43_200.0 + second + 0.1 * np.arange(10)
            late_s = 0.02 + 0.3 * (second % 3)
            speed = SpeedBlock(
                "rmc", np.full(10, 1.2), own_s, 500.0 + second + 0.1 * np.arange(10) + late_s
            )
            streams.take("gnss:a", [speed])
        time_s, speed_mps = streams.by_name["rmc"].history(555.0)
        np.testing.assert_allclose(time_s[-10:], 559.02 + 0.1 * np.arange(10), atol=1e-3)
        assert set(speed_mps) == {1.2}

    def test_a_clock_that_starts_anew_goes_on(self):
        streams = Streams()
        for origin_s, from_s in ((0.0, 0.0), (-900.0, 15.0)):
            for second in range(15):
                at_s = from_s + second + 0.1 * np.arange(1, 11)
                speed = SpeedBlock("rmc", np.full(10, 1.2), at_s + origin_s, at_s)
                streams.take("gnss:a", [speed])
        time_s, _ = streams.by_name["rmc"].history(-math.inf)
        np.testing.assert_allclose(time_s, 0.1 * np.arange(1, 301), atol=1e-6)

    def test_no_value_is_kept_as_such_and_is_no_news(self):
        streams, at_s = Streams(), np.array([1.0, 2.0])
        streams.take("x:1", [SpeedBlock("radar", np.array([1.2, math.nan]), at_s, at_s)])
        stream = streams.by_name["radar"]
        assert math.isnan(stream.speed_mps)
        assert stream.last_host_s == 1.0
        total, (time_s, speed_mps, u_mps) = stream.speeds_after(1)
        assert (total, time_s.tolist()) == (2, [2.0])
        assert np.isnan([*speed_mps, *u_mps]).all()

    def test_time_never_goes_back(self):
        streams = Streams()
        for at_s in (5.0, 3.0):
            at = np.array([at_s])
            streams.take("x:1", [SpeedBlock("radar", at * 0 + 1, at, at)])
        assert streams.by_name["radar"].history(-math.inf)[0].tolist() == [5.0, 5.0]


def test_two_inputs_of_one_name_are_kept_apart_as_in_a_recording():
    streams = Streams()
    for address in ("counter:a", "counter:b"):
        streams.take(address, [block(even(1), count=90)])
    assert {name: one.address for name, one in streams.by_name.items()} == {
        "left": "counter:a",
        "left@2": "counter:b",
    }
    assert streams.by_name["left@2"].edges == 90


def test_channels_that_an_input_names_are_there_before_their_first_pulse():
    streams = Streams()
    streams.expect(BOARD, {"left": ChannelKind.BELT, "lap": ChannelKind.LAP_MARK})
    assert not streams.by_name["lap"].has_been_heard()
    assert streams.by_name["left"].health is not None
    assert streams.by_name["lap"].health is None


def test_other_values_are_the_newest():
    streams, at_s = Streams(), np.array([1.0, 2.0])
    streams.take("x:1", [ValueBlock("oil", "oil_temperature_c", at_s * 10, at_s, at_s)])
    assert streams.values == {("oil", "oil_temperature_c"): 20.0}
    assert streams.news == 1


def test_live_and_stored_the_same_items_stand_at_the_same_times():
    """All the simulator sends in two minutes, by the one map of each clock."""
    driver, streams, pairs = open_input("sim:healthy?seed=5&pace=fast"), Streams(), []
    with driver:
        for _ in range(1200):
            items = driver.read(0.1)
            streams.take(driver.address, items)
            pairs += [(driver.address, item) for item in items]
    whole = rebuild(pairs, Notes(), 0.0, "", simulated=True)
    for name, track in whole.edges.items():
        passed = streams.by_name[name].pulses.after(0)
        assert passed.time_s.size == track.time_s.size
        assert np.abs(passed.time_s - track.time_s).max() < 1e-3
        if track.time_s.size > 2:
            rates = (np.ptp(passed.time_s), np.ptp(track.time_s))
            assert rates[0] / rates[1] == pytest.approx(1.0, abs=1e-6)
    for name, track in whole.speeds.items():
        time_s, speed_mps = streams.by_name[name].history(-math.inf)
        # As they came each stands by the line of its time; the newest are placed best.
        assert np.abs(time_s[-100:] - track.time_s[-100:]).max() < 2e-3
        np.testing.assert_array_equal(speed_mps, track.speed_mps)


class TestRows:
    def test_the_newest_in_order(self):
        rows = Rows(2, most=4)
        for at in range(11):
            rows.add(np.array([float(at)]), np.array([10.0 * at]))
        first, (time_s, value) = rows.after(8)
        assert (first, time_s.tolist(), value.tolist()) == (8, [8, 9, 10], [80, 90, 100])
        assert rows.since(9.0)[0].tolist() == [9, 10]
        first, kept = rows.after(0)
        assert 4 <= kept.shape[1] <= 8
        assert first == 11 - kept.shape[1]
        assert rows.last(1) == 100.0

    def test_more_at_once_than_is_kept(self):
        rows = Rows(1, most=4)
        rows.add(np.arange(100.0))
        assert rows.after(0)[1].tolist() == [[96, 97, 98, 99]]
        assert rows.total == 100
        assert math.isnan(Rows(1, 4).last(0))

    def test_what_was_read_stays_as_it_was(self):
        rows = Rows(1, most=2)
        rows.add(np.array([1.0]))
        _, seen = rows.after(0)
        rows.add(np.arange(10.0))
        assert seen.tolist() == [[1.0]]

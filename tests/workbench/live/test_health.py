"""Missed and extra pulses of a live channel: against what was taken out and put in, and against
the count of the speed command over the whole run."""

from __future__ import annotations

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import ChannelKind, EdgeBlock
from workbench.calibration.pulses.edges import clean
from workbench.live.health import MOST_WAITING
from workbench.live.streams import Streams

TEETH, RATE_HZ, TICK_S = 30, 90.0, 1e-6


def wheel(turns, seed=1):
    """Pulse times of an even wheel with 1 % of spacing error and a little jitter."""
    rng = np.random.default_rng(seed)
    spacing = np.tile(rng.normal(0, 0.01, TEETH), turns)
    return (np.arange(turns * TEETH) + spacing + rng.normal(0, 1e-3, turns * TEETH)) / RATE_HZ


def blocks(time_s, size=9):
    ticks = np.rint(time_s / TICK_S).astype(np.int64)
    for at in range(0, ticks.size, size):
        part = ticks[at : at + size]
        yield EdgeBlock("left", at // size, part, TICK_S, part[-1] * TICK_S, at + part.size)


class Channel:
    """One channel of a counter, a block at a time."""

    def __init__(self):
        self.streams = Streams()
        self.streams.expect("counter:x", {"left": ChannelKind.BELT})
        self.pulses, self.health = self.stream.pulses, self.stream.health

    @property
    def stream(self):
        return self.streams.by_name["left"]

    def add(self, item):
        self.streams.take("counter:x", [item])


def fed(time_s, channel=None, each=6):
    channel = channel or Channel()
    for at, block in enumerate(blocks(time_s)):
        channel.add(block)
        if at % each == 0:
            channel.health.count()
    channel.health.count()
    return channel.health


def test_an_even_wheel_misses_nothing():
    counts = fed(wheel(100)).counts
    assert (counts.edges, counts.missed, counts.extra) == (3000, 0, 0)


def test_what_was_taken_out_is_missed_and_what_was_put_in_is_extra():
    time_s = wheel(100)
    gone = np.arange(100, 2900, 97)
    extra_s = time_s[np.arange(150, 2900, 140)] + 0.4 / RATE_HZ
    counts = fed(np.sort(np.concatenate((np.delete(time_s, gone), extra_s)))).counts
    assert (counts.missed, counts.extra) == (gone.size, extra_s.size)


def test_the_newest_pulses_are_counted_at_once():
    time_s = np.delete(wheel(20), [590])
    assert fed(time_s).counts.missed == 1


@pytest.mark.parametrize("scenario", ["gap-too-wide", "noisy-wiring", "low-speed-dropout"])
def test_the_count_is_that_of_the_speed_command(scenario):
    driver = open_input(f"sim:{scenario}?seed=3&pace=fast")
    channel, ticks = Channel(), []
    health = channel.health
    with driver:
        for _ in range(200):
            for item in driver.read(0.5):
                if isinstance(item, EdgeBlock) and item.channel == "left":
                    channel.add(item)
                    ticks.append(item.ticks * item.tick_s)
            health.count()
    whole = clean(np.concatenate(ticks))
    assert whole.missed + whole.extra > 10
    # Where noise and lost teeth fall together, the two may read a few edges differently.
    assert health.counts.missed == pytest.approx(whole.missed, abs=3, rel=0.02)
    assert health.counts.extra == pytest.approx(whole.extra, abs=3, rel=0.05)


def test_pulses_lost_on_the_way_are_not_missed_teeth():
    channel = Channel()
    health = channel.health
    for at, block in enumerate(blocks(wheel(40))):
        if at not in (50, 51, 90):
            channel.add(block)
    assert health.count().missed == 0
    assert health.counts.edges == 1200 - 27


def test_a_counter_that_begins_anew_does_no_harm():
    channel = Channel()
    fed(wheel(10), channel)
    health = fed(wheel(10), channel)
    assert health.counts.missed == 0
    assert health.counts.edges == 600


def test_what_nobody_asks_for_is_counted_as_it_comes():
    channel, time_s = Channel(), wheel(2000)
    for block in blocks(time_s, size=200):
        channel.add(block)
        assert channel.health.waiting < MOST_WAITING
    assert channel.health.count().edges == time_s.size


def test_a_broken_tooth_keeps_its_number():
    time_s = wheel(150)
    time_s = np.delete(time_s, np.arange(6, time_s.size, TEETH))  # tooth 7
    channel = Channel()
    health = channel.health
    for block in blocks(time_s, size=50):
        channel.add(block)
        look = health.look(2 * TEETH)
        at = look.tooth[look.missed > 0] - 1
        assert set(at % TEETH) <= {6}
    assert look.missed.sum() == 2
    assert health.look(8 * TEETH).gone(TEETH) == [6]
    assert look.gone(TEETH) == []  # two turns do not tell
    assert look.median_s == pytest.approx(1 / RATE_HZ, rel=0.01)


def test_teeth_missed_now_here_now_there_are_not_gone():
    time_s = np.delete(wheel(40), np.arange(6, 1150, TEETH + 1))
    assert fed(time_s).look(8 * TEETH).gone(TEETH) == []
    once = np.delete(wheel(40), [*range(6, 1200, TEETH), 1111])
    assert fed(once).look(8 * TEETH).gone(TEETH) == []


def test_an_extra_pulse_stands_between_its_teeth():
    time_s = wheel(20)
    look = fed(np.sort(np.append(time_s, 0.5 * (time_s[580] + time_s[581])))).look(2 * TEETH)
    assert look.extra_at == pytest.approx([580.5], abs=0.05)
    assert look.missed.sum() == 0


def test_after_a_stop_the_teeth_are_numbered_anew():
    time_s = wheel(20)
    health = fed(np.concatenate((time_s, time_s + time_s[-1] + 5.0)))
    assert health.counts.missed == 0
    assert health.look(TEETH).tooth[-1] == time_s.size - 1


def test_the_last_half_minute_is_told_apart():
    time_s = wheel(300)  # 100 s
    gone = np.arange(100, 400, 10)
    health = fed(np.delete(time_s, gone))
    assert health.counts.missed == gone.size
    assert health.recent().missed == 0


def test_too_few_edges_are_no_picture():
    assert Channel().health.look(60).tooth.size == 0
    assert fed(wheel(1)[:2]).look(60).tooth.size == 0


def test_the_picture_stays_whole_while_a_burst_of_noise_lasts():
    # Fourteen seconds in, a window of this run ends in a burst: two edges share one tooth.
    driver, channel = open_input("sim:noisy-wiring?seed=4&pace=fast"), Channel()
    health = channel.health
    with driver:
        for _ in range(60):
            for item in driver.read(0.3):
                if isinstance(item, EdgeBlock) and item.channel == "left":
                    channel.add(item)
            look = health.look(2 * TEETH)
            assert health.counts.missed >= 0
            if look.tooth.size:
                assert (np.diff(look.tooth) > 0).all()
                assert look.missed.min() >= 0
                assert np.isfinite(look.off_rel).all()

"""From the board's program through wire, driver and time base: when the edges really passed."""

import numpy as np

from drivers.contract import Notes
from drivers.counter.driver import CounterStream
from drivers.firmware import counter_core as core
from workbench.records.rebuild import rebuild

CLOCK_HZ = 2_500_000
LATENCY_S = 0.002


def test_slow_pulses_are_not_late_by_their_batching():
    """Eight pulses a second wait 50 ms and more to be sent; heartbeats tell the delay."""
    board = core.PulseCounter("b", CLOCK_HZ, 1, [("left", core.PICKUP, core.FALLS)])
    stream = CounterStream(Notes())
    stream.connected()
    items = stream.feed(b"\x00", 0.0)
    rises_s, falls_s = np.arange(0.1, 30.0, 0.125), np.arange(0.18, 30.0, 0.125)
    events = sorted([(t, board.rise) for t in rises_s] + [(t, board.fall) for t in falls_s])
    for now_s in np.arange(0.0, 30.0, 0.002):
        while events and events[0][0] <= now_s:
            at_s, happen = events.pop(0)
            happen(0, round(at_s * CLOCK_HZ))
        items += stream.feed(board.poll(round(now_s * CLOCK_HZ)), now_s + LATENCY_S)
    pairs = [("counter:x", item) for item in items]
    track = rebuild(pairs, Notes(), 0.0, "test", simulated=False).edges["left"]
    np.testing.assert_allclose(track.time_s - LATENCY_S, rises_s[: track.time_s.size], atol=1e-3)
    assert track.time_s.size > 230

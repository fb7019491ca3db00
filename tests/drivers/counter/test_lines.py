"""`counter:…?lines=PATTERN`: simple boards that print a number a line."""

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, Lost, Notes, ValueBlock
from drivers.counter.lines import LineStream


def stream_of(pattern, channel="pulse", notes=None):
    stream = LineStream("counter:test", pattern, channel, notes or Notes())
    stream.connected()
    stream.feed(b"\n", 0.0)
    return stream


def values(items):
    return [
        (i.source, i.quantity, i.value[0], i.host_s[0]) for i in items if isinstance(i, ValueBlock)
    ]


@pytest.mark.parametrize(
    ("pattern", "line", "expected"),
    [
        ("hz", b"48.25\r\n", ("pulse", "pulse_rate_hz", 48.25)),
        ("count", b" 1042 \n", ("pulse", "pulse_count", 1042)),
        ("period_us", b"20000\n", ("pulse", "pulse_rate_hz", 50)),
        ("period_ms", b"2.5e1\n", ("pulse", "pulse_rate_hz", 40)),
        ("{left:period_s}", b"0.02\n", ("left", "pulse_rate_hz", 50)),
        ("rate: {hz} Hz", b"rate:   12 Hz\n", ("pulse", "pulse_rate_hz", 12)),
    ],
)
def test_one_number_a_line(pattern, line, expected):
    items = stream_of(pattern).feed(line, 3.0)
    assert values(items) == [(*expected, 3.0)]


def test_several_channels_in_one_line_in_pieces():
    stream = stream_of("L={left:hz} R={right:hz}")
    assert stream.feed(b"L=1", 1.0) == []
    assert values(stream.feed(b"0 R=12.5\nL=11 R=", 1.1)) == [
        ("left", "pulse_rate_hz", 10, 1.1),
        ("right", "pulse_rate_hz", 12.5, 1.1),
    ]


def test_standing_still_is_no_value_as_a_period_and_zero_as_a_rate():
    assert np.isnan(stream_of("period_us").feed(b"0\n", 1.0)[0].value[0])
    assert stream_of("hz").feed(b"0\n", 1.0)[0].value[0] == 0


def test_count_that_goes_back_is_said():
    stream = stream_of("count")
    stream.feed(b"90\n", 1.0)
    lost, value = stream.feed(b"3\n", 2.0)
    assert (lost.stream, lost.count, lost.from_s, lost.to_s) == ("pulse", None, 1.0, 2.0)
    assert "count went back" in lost.reason
    assert value.value[0] == 3


def test_lines_that_do_not_fit_are_counted():
    notes = Notes()
    assert stream_of("hz", notes=notes).feed(b"hello\n12\n", 1.0)[0].value[0] == 12
    assert notes.rejects == {"line that does not fit the pattern": 1}


def test_every_period_makes_edges_by_summation():
    stream = stream_of("each_period_us", "left")
    items = []
    time_s = 10.0
    for _ in range(50):
        time_s += 0.02
        items += stream.feed(b"20000\n", time_s)
    assert all(isinstance(i, EdgeBlock) and i.channel == "left" for i in items)
    edges_s = np.concatenate([i.ticks * i.tick_s for i in items])
    np.testing.assert_allclose(np.diff(edges_s), 0.02, rtol=1e-9)
    # Fifty periods lie between fifty-one edges.
    assert items[-1].count == edges_s.size == 51


def test_unread_period_breaks_the_sum_and_says_so():
    stream = stream_of("each_period_us")
    stream.feed(b"20000\n", 1.0)
    lost, block = stream.feed(b"2x000\n20000\n", 1.04)
    assert isinstance(lost, Lost)
    assert (lost.count, lost.from_s, lost.to_s) == (None, 1.0, 1.04)
    # Anew: both ends of the period, where the host's time puts them.
    np.testing.assert_allclose(block.ticks * block.tick_s + 0.98, [1.02, 1.04], atol=1e-9)


def test_periods_with_some_left_out_do_not_pass_for_edges():
    """A board that prints ten lines a second at 50 pulses a second sums to a fifth of the time."""
    stream = stream_of("each_period_us")
    items = []
    for step in range(40):
        items += stream.feed(b"20000\n", 1.0 + 0.1 * step)
    holes = [i for i in items if isinstance(i, Lost)]
    assert holes
    assert "do not add up" in holes[0].reason
    ticks = np.concatenate([i.ticks for i in items if isinstance(i, EdgeBlock)])
    assert np.all(np.diff(ticks) > 0)


def test_by_address_on_a_port(cable):
    address = f"counter:{cable.port}?lines=left={{left:hz}}&baud=9600"
    with open_input(address) as driver:
        assert driver.address == address
        cable.send(b"ft=3\nleft=41.5\n")
        assert values(driver.read(2.0))[0][:3] == ("left", "pulse_rate_hz", 41.5)

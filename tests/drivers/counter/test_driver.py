"""`counter:` on a pseudo-terminal and byte by byte: no edge lost without its being said."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.catalogue import open_input
from drivers.contract import (
    AddressError,
    DeviceBusy,
    DeviceError,
    DeviceLost,
    DeviceMissing,
    EdgeBlock,
    Lost,
    Notes,
    ValueBlock,
)
from drivers.counter.driver import RESTARTED, CounterStream
from drivers.firmware import counter_core as core

CLOCK_HZ = 2_500_000
CHANNELS = [("left", core.PICKUP, core.FALLS), ("right", core.PICKUP, core.FALLS)]


def hello(boot=1, channels=CHANNELS):
    return core.frame(core.hello("bench counter", CLOCK_HZ, boot, channels))


def edge_frames(rises, channel=0, per_frame=5, start_count=0, sequence=0):
    """The edges as wire frames, `per_frame` each."""
    frames = []
    for at in range(0, len(rises), per_frame):
        part = rises[at : at + per_frame]
        count = start_count + at + len(part)
        falls = [rise + 100 for rise in part]
        frames.append(core.frame(core.edges(channel, sequence, count, part, falls)))
        sequence += 1
    return frames


def edges_of(items, channel="left"):
    blocks = [i for i in items if isinstance(i, EdgeBlock) and i.channel == channel]
    return np.concatenate([b.ticks for b in blocks]) if blocks else np.empty(0, np.int64)


def lost_of(items):
    return [item for item in items if isinstance(item, Lost)]


def started(boot=1):
    stream = CounterStream(Notes())
    stream.connected()
    stream.feed(b"\x00" + hello(boot), 0.0)
    return stream


def test_edges_arrive_as_blocks_with_falls_and_count():
    stream = started()
    rises = [1000 * k for k in range(1, 11)]
    items = stream.feed(b"".join(edge_frames(rises)), 0.5)
    assert lost_of(items) == []
    assert edges_of(items).tolist() == rises
    last = items[-1]
    assert (last.sequence, last.count, last.host_s) == (1, 10, 0.5)
    assert last.tick_s == 1 / CLOCK_HZ
    assert last.fall_ticks.tolist() == [rise + 100 for rise in rises[5:]]


@settings(max_examples=60)
@given(lose=st.sets(st.integers(0, 19)), flip=st.integers(0, 19), data=st.data())
def test_lost_and_damaged_frames_cost_no_count(lose, flip, data):
    """Whatever frames are lost or damaged: edges handed out + edges lost = edges sent."""
    stream = started()
    rises = [700 * k for k in range(1, 101)]
    frames = edge_frames(rises)
    wire = bytearray()
    for number, piece in enumerate(frames):
        if number == flip:
            damaged = bytearray(piece)
            damaged[data.draw(st.integers(0, len(piece) - 1))] ^= 0x10
            piece = bytes(damaged)
        wire += b"" if number in lose else piece
    # Twice: a damaged end byte of the last frame takes the first of them along.
    wire += 2 * core.frame(core.heartbeat(80_000, [100, 0]))
    cuts = sorted(data.draw(st.sets(st.integers(0, len(wire)), max_size=8)))
    items = stream.feed(core.frame(core.heartbeat(1, [0, 0])), 0.1)
    for begin, end in zip([0, *cuts], [*cuts, len(wire)], strict=True):
        items += stream.feed(bytes(wire[begin:end]), 0.2)
    got = edges_of(items).tolist()
    assert set(got) <= set(rises)
    assert len(got) + sum(i.count for i in lost_of(items)) == len(rises)


def test_heartbeat_alone_tells_of_a_lost_frame():
    stream = started()
    stream.feed(edge_frames([100, 200])[0], 0.2)
    items = stream.feed(core.frame(core.heartbeat(5000, [7, 0])), 0.7)
    assert [(i.stream, i.count, i.from_s, i.to_s) for i in lost_of(items)] == [
        ("left", 5, 0.2, 0.7)
    ]
    [beat] = [i for i in items if isinstance(i, ValueBlock)]
    assert (beat.quantity, beat.value[0], beat.host_s[0]) == ("clock_s", 5000 / CLOCK_HZ, 0.7)


def test_ticks_counts_and_sequence_wrap():
    stream = CounterStream(Notes())
    stream.connected()
    stream.feed(b"\x00" + hello(), 0.0)
    first = 2**32 - 3_000
    rises = [first + 1000 * k for k in range(10)]
    frames = edge_frames(rises, start_count=2**32 - 4, sequence=2**16 - 1)
    items = stream.feed(frames[0], 0.1) + stream.feed(frames[1], 0.2)
    assert lost_of(items) == []
    assert edges_of(items).tolist() == rises
    assert items[1].count == items[0].count + 5
    assert items[1].sequence == items[0].sequence + 1


def test_ticks_are_unwrapped_across_a_hole_of_several_turns():
    # 2**32 ticks at 2.5 MHz are 1718 s; after 5000 s away the host's time says how often it went.
    stream = started()
    stream.feed(edge_frames([1000])[0], 1.0)
    stream.connected()
    late = 1000 + 5000 * CLOCK_HZ
    wire = hello() + core.frame(core.edges(0, 1, 2, [late], [None]))
    items = stream.feed(b"\x00" + wire, 5001.02)
    assert edges_of(items).tolist() == [late]


def test_frames_before_the_hello_wait_for_it():
    stream = CounterStream(Notes())
    stream.connected()
    assert stream.feed(b"\x00" + edge_frames([100, 200])[0], 0.1) == []
    [block] = stream.feed(hello(), 0.4)
    assert (block.ticks.tolist(), block.host_s) == ([100, 200], 0.1)


def test_same_board_after_the_plug_was_out_counts_what_was_missed():
    stream = started()
    stream.feed(edge_frames([100, 200])[0], 1.0)
    stream.connected()
    later = edge_frames([9000, 9100], start_count=40, sequence=8)[0]
    items = stream.feed(b"\x00" + later, 3.0) + stream.feed(hello(), 3.2)
    [hole] = lost_of(items)
    assert (hole.count, hole.from_s, hole.to_s) == (38, 1.0, 3.0)
    assert "not connected" in hole.reason
    assert edges_of(items).tolist() == [9000, 9100]


def test_board_that_restarted_begins_anew():
    stream = started()
    stream.feed(edge_frames([900_000, 900_100])[0], 1.0)
    stream.connected()
    items = stream.feed(b"\x00" + hello(boot=2) + edge_frames([50, 60])[0], 4.0)
    assert lost_of(items) == [Lost("", None, 1.0, 4.0, RESTARTED)]
    assert edges_of(items).tolist() == [50, 60]


def test_board_that_could_not_keep_up_is_told_from_a_lost_frame():
    board = core.PulseCounter("b", CLOCK_HZ, 1, CHANNELS)
    stream = CounterStream(Notes())
    stream.connected()
    wire = b"\x00" + board.poll(0)
    for tick in (1000, 2000):
        board.rise(0, tick)
    board.missed(0, 30)
    board.rise(0, 40_000)
    wire += board.poll(CLOCK_HZ * 2)
    [hole] = lost_of(stream.feed(wire, 2.0))
    assert (hole.count, hole.reason) == (30, "the counter could not keep up")


@pytest.mark.parametrize(
    ("payload", "reject"),
    [
        (b"\x55what", "unknown type of frame"),
        (core.edges(9, 0, 1, [5]), "unknown channel"),
        (core.edges(0, 0, 2, [5, 6])[:-1], "the frame is shorter than its content"),
        (
            b"\x02\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00",
            "an edge frame holds no edge",
        ),
    ],
)
def test_frames_that_make_no_sense_are_counted(payload, reject):
    notes = Notes()
    stream = CounterStream(notes)
    stream.feed(b"\x00" + hello() + core.frame(payload), 0.0)
    assert notes.rejects == {reject: 1}


def test_newer_protocol_ends_the_input_with_a_sentence(cable):
    newer = bytearray(core.hello("b", 1000, 1, []))
    newer[1] = 9
    with open_input(f"counter:{cable.port}") as driver:
        cable.send(b"\x00" + core.frame(bytes(newer)))
        with pytest.raises(DeviceError, match="speaks version 9 of the counter protocol") as caught:
            driver.read(2.0)
    assert not isinstance(caught.value, DeviceLost)


def test_pulled_and_plugged_in_again(cable):
    rises = [500 * k for k in range(1, 41)]
    frames = edge_frames(rises)
    got = []
    driver = open_input(f"counter:{cable.port}")
    for turn in range(4):
        driver.open()
        cable.send(b"\x00" + hello() + b"".join(frames[turn * 2 : turn * 2 + 2]))
        want = 10 * (turn + 1)
        while len(edges_of(got)) < want:
            got += driver.read(0.5)
        cable.pull()
        with pytest.raises(DeviceLost, match="went away"):
            driver.read(0.5)
        with pytest.raises(DeviceMissing, match="There is no port"):
            driver.open()
        cable.plug()
    driver.close()
    assert edges_of(got).tolist() == rises
    assert lost_of(got) == []
    assert driver.notes.kind == "pulse counter 'bench counter', 2 channels"


def test_nothing_is_ever_written_to_the_port(cable):
    with open_input(f"counter:{cable.port}") as driver:
        cable.send(b"\x00" + hello())
        driver.read(0.05)
    assert cable.received() == b""


def test_second_program_is_told_that_the_port_is_busy(cable):
    with (
        open_input(f"counter:{cable.port}"),
        pytest.raises(DeviceBusy, match="Another program holds"),
    ):
        open_input(f"counter:{cable.port}").open()


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("counter:/dev/x?baud=fast", "baud is 'fast', expected a rate such as"),
        ("counter:/dev/x?lines=volts", "lines has 'volts' in it; known are count, hz"),
        ("counter:/dev/x?lines={a:hz}{a:hz}", "one channel's quantity twice"),
        ("counter:/dev/x?lines={hz", "has no number's place"),
        ("counter:/dev/x?channel=left", "names its channels itself"),
        ("counter:/dev/x?speed=1", "no option 'speed'; known are baud, lines, channel"),
    ],
)
def test_wrong_addresses(address, says):
    with pytest.raises(AddressError, match=says):
        open_input(address)


def test_what_is_no_serial_port_is_refused(tmp_path):
    plain = tmp_path / "notes.txt"
    plain.write_text("hello")
    with pytest.raises(AddressError, match="is not a serial port"):
        open_input(f"counter:{plain}").open()


@pytest.mark.parametrize(
    ("options", "expected"),
    [("", "a frame of a pulse counter"), ("?lines=hz", "a line of 'hz'")],
)
def test_something_else_on_the_port_is_told_once(cable, options, expected):
    now_s = [0.0]
    with open_input(f"counter:{cable.port}{options}", clock=lambda: now_s[0]) as driver:
        for _ in range(5):
            cable.send(b"$GPGGA,what,is,this*00\r\n\x00")
            driver.read(0.0)
            now_s[0] += 1.0
        [warning] = driver.notes.warnings
    assert f"is {expected}; the list of inputs says" in warning

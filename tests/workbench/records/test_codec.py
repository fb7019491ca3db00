"""Blocks give back what went in, bit for bit, and are small."""

from __future__ import annotations

import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from drivers.contract import ChannelKind, EdgeBlock, FrameBlock, Lost, SpeedBlock, ValueBlock
from workbench.records.codec import CodecError, StreamKey, encode, items_of, key_of, unpack


def decode(key, data):
    (found,) = unpack([data])
    return items_of(key, *found)


def there_and_back(items, address="x:1"):
    return decode(key_of(address, items[0]), encode(items))


def assert_same(found, expected):
    """hypothesis runs one test many times over, which fixtures of a function forbid."""
    for one, other in zip(found, expected, strict=True):
        for name in one.__slots__:
            a, b = getattr(one, name), getattr(other, name)
            assert type(a) is type(b), name
            same = a.tobytes() == b.tobytes() if isinstance(b, np.ndarray) else repr(a) == repr(b)
            assert same, name


def any_array(dtype, most=20):
    return hnp.arrays(dtype, st.integers(0, most))


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(any_array("i8"), st.booleans(), st.booleans()), min_size=1, max_size=4))
def test_any_edges(parts):
    items = [
        EdgeBlock(
            "left",
            index - 5,
            ticks,
            1e-6 * (index + 1),
            -0.0 if index else 5e-324,
            2**62 - index,
            ticks[::-1].copy() if falls else None,
            ticks.view("f8").copy() if peaks else None,
        )
        for index, (ticks, falls, peaks) in enumerate(parts)
    ]
    assert_same(there_and_back(items), items)


@settings(max_examples=25, deadline=None)
@given(st.lists(any_array("i8", most=3), min_size=1, max_size=8))
def test_blocks_read_together_are_those_read_one_by_one(parts):
    blocks = [encode([EdgeBlock("left", 0, ticks, 1e-6, 0.0, 0)]) for ticks in parts]
    for (head, arrays), block in zip(unpack(blocks), blocks, strict=True):
        ((alone, lone),) = unpack([block])
        assert head == alone
        assert arrays.keys() == lone.keys()
        assert all(array.tobytes() == lone[name].tobytes() for name, array in arrays.items())


@settings(max_examples=25, deadline=None)
@given(any_array("f8"), st.booleans())
def test_any_speeds_and_values(numbers, known):
    speed = SpeedBlock("rmc", numbers, -numbers, numbers[::-1], numbers if known else None)
    assert_same(there_and_back([speed, speed]), [speed, speed])
    value = ValueBlock("rmc", "latitude_deg", numbers, -numbers, numbers[::-1])
    assert_same(there_and_back([value]), [value])


@pytest.mark.parametrize("kind", list(ChannelKind)[:-1])
def test_what_the_driver_said_of_a_channel(kind):
    one = np.array([1.0])
    for item in (
        EdgeBlock("lap", 0, one.astype(np.int64), 1e-6, 1.0, 1, kind=kind),
        SpeedBlock("radar", one, one, one, kind=kind),
        ValueBlock("left", "pulse_count", one, one, one, kind),
    ):
        assert_same(there_and_back([item]), [item])


@settings(max_examples=25, deadline=None)
@given(st.lists(st.binary(max_size=64), max_size=10))
def test_any_frames_also_long_ones(payloads):
    count = len(payloads)
    frames = FrameBlock(
        "can0",
        np.arange(count, dtype=np.uint32) + np.uint32(0x98FE4900),
        np.array([len(payload) for payload in payloads], np.uint8),
        b"".join(payloads),
        np.linspace(0, 1, count),
        np.linspace(5, 6, count),
    )
    assert_same(there_and_back([frames, frames]), [frames, frames])


def test_nan_keeps_its_payload():
    odd = np.array([0x7FF8000000000001, 0xFFF0000000000000, 0x7FF4DEADBEEF0001], "u8").view("f8")
    block = SpeedBlock("x", odd, odd, odd)
    assert_same(there_and_back([block]), [block])


def test_losses_and_the_bytes_of_a_file():
    holes = [Lost("left", 12, 1.5, float("inf"), "a hole’s “reason”"), Lost("", None, 0, 2, "")]
    assert there_and_back(holes) == holes
    pieces = [b"\x00\xff" * 1000, b"", b"z"]
    assert there_and_back(pieces) == pieces


def test_edges_at_work_take_less_than_two_bytes_each():
    rng = np.random.default_rng(3)
    ticks = np.cumsum(np.rint(rng.normal(1667, 5, 60_000)).astype(np.int64))
    blocks = [
        EdgeBlock("left", i, part, 1e-6, float(part[-1]) * 1e-6, 50 * i)
        for i, part in enumerate(ticks.reshape(-1, 50))
    ]
    # The entropy of a normal interval with σ = 5 ticks is log2(5·√(2πe)) = 4.4 bits.
    assert len(encode(blocks)) < 2.0 * ticks.size


@pytest.mark.parametrize("damage", [b"", b"garbage", zlib.compress(b"\xff" * 9)])
def test_bytes_that_are_no_block_are_refused(damage):
    with pytest.raises(CodecError):
        decode(StreamKey("edges", "x:1", "left"), damage)
    with pytest.raises(CodecError):
        decode(StreamKey("unheard of", "x:1", "left"), encode([b"abc"]))

"""The counter protocol: what the board encodes, the host decodes.

The encoder is the board's own (CRC and COBS written out); the decoder uses the `cobs`
library and `binascii.crc_hqx`, so each is checked against the other's source.
"""

import binascii
import re
import struct
from pathlib import Path

import numpy as np
import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from drivers.contract import ChannelKind
from drivers.counter.protocol import (
    FRAME_TYPES,
    BoardInput,
    EdgeFrame,
    Heartbeat,
    Hello,
    Malformed,
    NewerProtocol,
    decode,
)
from drivers.firmware import counter_core as core
from drivers.framing import CobsFrames

TICKS = st.integers(0, 2**32 - 1)


def test_crc_check_value():
    # CRC-16/CCITT-FALSE of '123456789' is 0x29B1: catalogue of parametrised CRC
    # algorithms (G. Cook), from memory; also what binascii.crc_hqx gives.
    assert core.crc16(b"123456789") == 0x29B1 == binascii.crc_hqx(b"123456789", 0xFFFF)


@given(st.binary(min_size=1, max_size=core.MOST_PAYLOAD))
def test_frame_agrees_with_cobs_library_and_binascii(payload):
    wire = core.frame(payload)
    assert wire[-1] == 0
    assert 0 not in wire[:-1]
    crc = struct.pack(">H", binascii.crc_hqx(payload, 0xFFFF))
    assert wire[:-1] == cobs.encode(payload + crc)
    assert CobsFrames().feed(b"\x00" + wire) == [payload]


@pytest.mark.parametrize("size", [0, core.MOST_PAYLOAD + 1])
def test_frame_refuses_a_payload_of_wrong_size(size):
    with pytest.raises(ValueError, match=f"not {size}"):
        core.frame(bytes(size))


@given(
    first=TICKS,
    gaps=st.lists(st.integers(1, 2**32 - 1), max_size=core.MOST_EDGES - 1),
    count=TICKS,
    sequence=st.integers(0, 2**16 - 1),
    data=st.data(),
)
def test_edges_come_back_as_sent(first, gaps, count, sequence, data):
    rises = [first]
    for gap in gaps:
        rises.append((rises[-1] + gap) % 2**32)
    n = len(rises)
    widths = data.draw(st.lists(st.integers(0, 2**32 - 1), min_size=n, max_size=n))
    peaks = data.draw(st.lists(st.integers(0, 0xFFFF), min_size=n, max_size=n))
    falls = [
        (rise + width) % 2**32 if width else None for rise, width in zip(rises, widths, strict=True)
    ]
    payload = core.edges(3, sequence, count, rises, falls, peaks)
    assert len(payload) <= core.MOST_PAYLOAD
    got = decode(payload)
    assert isinstance(got, EdgeFrame)
    assert (got.channel, got.sequence, got.count) == (3, sequence, count)
    assert [(first + int(d)) % 2**32 for d in got.since_first] == rises
    assert got.widths.tolist() == widths
    expected = [np.nan if peak == 0xFFFF else peak / 1000 for peak in peaks]
    np.testing.assert_array_equal(got.peaks_v, expected)


def test_hello_and_heartbeat_come_back_as_sent():
    channels = [("left", core.PICKUP, core.FALLS), ("gnd", core.RADAR, core.PEAKS), ("x", 9, 0)]
    got = decode(core.hello("bench counter", 2_500_000, 7, channels))
    assert isinstance(got, Hello)
    assert (got.board, got.clock_hz, got.boot) == ("bench counter", 2_500_000, 7)
    assert [(c.name, c.kind, c.falls, c.peaks) for c in got.channels] == [
        ("left", ChannelKind.BELT, True, False),
        ("gnd", ChannelKind.RADAR, False, True),
        ("x", ChannelKind.OTHER, False, False),
    ]
    assert decode(core.heartbeat(2**32 + 5, [1, 2**32 - 1])) == Heartbeat(5, (1, 2**32 - 1))


def test_unknown_type_is_skipped_and_newer_version_named():
    assert decode(b"\x7fanything") is None
    newer = bytearray(core.hello("b", 1000, 1, []))
    newer[1] = 0
    with pytest.raises(Malformed, match="version 0"):
        decode(bytes(newer))
    newer[1] = core.VERSION + 1
    with pytest.raises(NewerProtocol, match=f"version {core.VERSION + 1} .* up to {core.VERSION}"):
        decode(bytes(newer))


@given(st.binary(min_size=1, max_size=core.MOST_PAYLOAD))
def test_garbage_is_malformed_and_nothing_worse(payload):
    try:
        got = decode(payload)
    except (Malformed, NewerProtocol):
        assert payload[0] in FRAME_TYPES
    else:
        assert (got is None) == (payload[0] not in FRAME_TYPES)


def examples():
    """(payload, crc, line) of each example in PROTOCOL.md."""
    text = Path(core.__file__).with_name("PROTOCOL.md").read_text(encoding="utf-8")
    lines = re.findall(r"^ {4}(payload|crc|line) +([0-9a-f ]+)$", text, re.MULTILINE)
    assert [name for name, _ in lines] == ["payload", "crc", "line"] * 4
    told = [bytes.fromhex(digits) for _, digits in lines]
    return list(zip(told[0::3], told[1::3], told[2::3], strict=True))


@pytest.mark.parametrize("example", range(4))
def test_examples_of_the_written_protocol_frame_and_unframe(example):
    payload, crc, line = examples()[example]
    assert binascii.crc_hqx(payload, 0xFFFF).to_bytes(2, "big") == crc
    assert cobs.encode(payload + crc) + b"\x00" == line
    assert core.frame(payload) == line
    assert CobsFrames().feed(b"\x00" + line) == [payload]


def test_examples_of_the_written_protocol_mean_what_it_says():
    hello, falls, peaks, beat = (payload for payload, _, _ in examples())
    channels = [("left", core.PICKUP, core.FALLS), ("lap", core.LAP_MARK, 0)]
    assert core.hello("pulse counter", 2_500_000, 0x1A2B3C4D, channels) == hello
    assert decode(hello) == Hello(
        "pulse counter",
        2_500_000,
        0x1A2B3C4D,
        (
            BoardInput("left", ChannelKind.BELT, falls=True),
            BoardInput("lap", ChannelKind.LAP_MARK),
        ),
    )
    first = 4_294_967_000
    rises = [first, first + 50_000, first + 100_100]
    assert core.edges(0, 7, 1003, rises, [first + 20_000, None, rises[2] + 20_050]) == falls
    got = decode(falls)
    assert (got.channel, got.sequence, got.count, got.first_tick) == (0, 7, 1003, first)
    assert got.since_first.tolist() == [0, 50_000, 100_100]
    assert got.widths.tolist() == [20_000, 0, 20_050]
    assert core.edges(1, 65535, 0, [128, 256], None, [1500, core.NO_PEAK]) == peaks
    got = decode(peaks)
    assert (got.channel, got.sequence, got.count, got.first_tick) == (1, 65535, 0, 128)
    assert got.since_first.tolist() == [0, 128]
    np.testing.assert_array_equal(got.peaks_v, [1.5, np.nan])
    assert core.heartbeat(125_000_000, [1003, 42]) == beat
    assert decode(beat) == Heartbeat(125_000_000, (1003, 42))


@pytest.mark.parametrize(
    ("number", "told"), [(1, "01"), (300, "AC 02"), (2**32 - 1, "FF FF FF FF 0F")]
)
def test_varints_of_the_written_protocol(number, told):
    assert core.varint(number) == bytes.fromhex(told)
    text = Path(core.__file__).with_name("PROTOCOL.md").read_text(encoding="utf-8")
    assert f"`{told}`" in text

"""The counter protocol: what the board encodes, the host decodes.

The encoder is the board's own (CRC and COBS written out); the decoder uses the `cobs`
library and `binascii.crc_hqx`, so each is checked against the other's source.
"""

import binascii
import struct

import numpy as np
import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from drivers.counter_protocol import (
    FRAME_TYPES,
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
        ("left", "pickup", True, False),
        ("gnd", "radar", False, True),
        ("x", "other", False, False),
    ]
    assert decode(core.heartbeat(2**32 + 5, [1, 2**32 - 1])) == Heartbeat(5, (1, 2**32 - 1))


def test_unknown_type_is_skipped_and_newer_version_named():
    assert decode(b"\x7fanything") is None
    newer = bytearray(core.hello("b", 1000, 1, []))
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

"""The parsers of `drivers.framing`: any bytes in any pieces, and every single-bit flip.

Frames are made by general-purpose libraries: COBS by `cobs`, the CRC by `binascii`, NMEA
sentences by pynmeagps, UBX frames by pyubx2.
"""

import binascii
import pickle
from itertools import pairwise

import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st
from pynmeagps import GET as NMEA_GET
from pynmeagps import NMEAMessage, NMEAReader
from pyubx2 import GET as UBX_GET
from pyubx2 import UBXMessage, UBXReader

from drivers.counter.protocol import decode
from drivers.firmware import counter_core
from drivers.framing import CobsFrames, GnssFrames, TextLines

RMC = NMEAMessage(
    "GN", "RMC", NMEA_GET, time="101530", status="A", lat=31.45, NS="N", lon=-83.5,
    EW="W", spd=2.43, cog=87.1, date="251026", posMode="A",
).serialize()  # fmt: skip
VTG = NMEAMessage("GN", "VTG", NMEA_GET, cogt=87.1, sogn=2.43, sogk=4.5, posMode="A").serialize()
NAV_PVT = UBXMessage("NAV", "NAV-PVT", UBX_GET, iTOW=404148000, fixType=3, gSpeed=1250).serialize()


def cobs_frame(payload):
    crc = binascii.crc_hqx(payload, 0xFFFF).to_bytes(2, "big")
    return cobs.encode(payload + crc) + b"\x00"


def in_pieces(data, cuts):
    edges = [0, *sorted(cut % (len(data) + 1) for cut in cuts), len(data)]
    return [data[a:b] for a, b in pairwise(edges)]


def flips(frame):
    for bit in range(8 * len(frame)):
        damaged = bytearray(frame)
        damaged[bit // 8] ^= 1 << bit % 8
        yield bit, bytes(damaged)


def fed(parser, pieces):
    frames = [frame for piece in pieces for frame in parser.feed(piece)]
    if hasattr(parser, "finish"):
        frames += parser.finish()
    return frames, parser.rejects


# Garbage that is likely to look like the beginning of something.
tricky = st.lists(
    st.one_of(
        st.binary(max_size=12),
        st.sampled_from(
            [b"$", b"!", b"*", b"\r\n", b"\x00", b"\xb5", b"\xb5b", b"$GNRMC,", b"*7F"]
        ),
        st.sampled_from([RMC, VTG, NAV_PVT, NAV_PVT[:40], RMC[:30], cobs_frame(b"payload")]),
    ),
    max_size=12,
).map(b"".join)
cuts = st.lists(st.integers(0, 1 << 16), max_size=20)


@pytest.mark.parametrize("parser", [CobsFrames, TextLines, GnssFrames])
@settings(max_examples=60, deadline=None)
@given(data=tricky, cuts=cuts)
def test_any_bytes_in_any_pieces_give_the_same(parser, data, cuts):
    assert fed(parser(), in_pieces(data, cuts)) == fed(parser(), [data])


@settings(max_examples=60, deadline=None)
@given(garbage=tricky)
def test_good_frame_after_garbage_is_found(garbage):
    payload = b"\x02left"
    assert CobsFrames().feed(garbage + b"\x00" + cobs_frame(payload))[-1] == payload
    # A half UBX frame may take bytes behind it for its own until its length is reached.
    enough = b"\r\n" + RMC * 200
    assert GnssFrames().feed(garbage + enough)[-1] == RMC.rstrip()


@pytest.mark.parametrize("payload", [b"\x00", bytes(range(40)), b"\x00" * 20, b"\xff" * 250])
def test_every_flip_of_a_cobs_frame_is_refused(payload):
    # CRC-16 finds every single-bit error; one in COBS's own bytes or in the zero that ends
    # the frame cuts or glues frames, and the glued one is refused whole.
    following = b"\x02next"
    for bit, damaged in flips(cobs_frame(payload)):
        parser = CobsFrames()
        got = parser.feed(b"\x00" + damaged + cobs_frame(following))
        assert got in ([following], []), bit
        assert got or bit // 8 == len(damaged) - 1, bit
        assert sum(parser.rejects.values()) >= 1, bit


def test_what_the_crc_cannot_see_changes_nothing():
    # A CRC that ends in zero stays zero over more zeros: where the frame's end turns from 00
    # to 01 and another 00 follows at once, a byte is added that the CRC does not see;
    # the counter's messages know their own length and leave it out.
    payload = counter_core.heartbeat(5, [7])
    added = CobsFrames().feed(b"\x00" + cobs_frame(payload)[:-1] + b"\x01\x00")
    assert [len(got) for got in added] == [len(payload) + 1]
    assert decode(added[0]) == decode(payload)


@pytest.mark.parametrize("sentence", [RMC, VTG], ids=["RMC", "VTG"])
def test_every_flip_of_a_sentence_is_refused_or_says_the_same(sentence):
    # XOR finds every single-bit error between $ and *; what is let through is the case of
    # a checksum digit and the line feed behind the carriage return.
    let_through = 0
    whole = NMEAReader.parse(sentence)
    for bit, damaged in flips(sentence):
        parser = GnssFrames()
        got = parser.feed(damaged) + parser.finish()
        if got:
            let_through += 1
            assert str(NMEAReader.parse(got[0] + b"\r\n")) == str(whole), bit
        else:
            assert sum(parser.rejects.values()) >= 1, bit
    assert let_through <= 2 + 8


def test_every_flip_of_a_ubx_frame_is_refused():
    # The 8-bit Fletcher sum finds every single-bit error.
    for bit, damaged in flips(NAV_PVT):
        parser = GnssFrames()
        assert parser.feed(damaged) + parser.finish() == [], bit
        assert sum(parser.rejects.values()) >= 1, bit


def test_sentences_and_frames_mixed_on_one_wire():
    frames = GnssFrames().feed(RMC + NAV_PVT + VTG)
    assert frames == [RMC.rstrip(), NAV_PVT, VTG.rstrip()]
    assert UBXReader.parse(frames[1]).gSpeed == 1250


@pytest.mark.parametrize(
    ("data", "reject"),
    [
        (b"$GNRMC,101530,A,,,,,2.43,,,,,A\r\n", "no checksum"),
        (b"$GNVTG,,,,,1.0,N,1.9,K,A*00\r\n", "bad checksum"),
        (b"$GNVTG,,,,,1.0,N,\x07", "cut off"),
        (b"$GNVTG,,,,,1.0,N,$", "cut off"),
        (b"$" + b"A" * 600, "too long"),
        (b"\xb5\x62\x01\x07\xff\xff", "too long"),
        (NAV_PVT[:50], "cut off"),
        (NAV_PVT[:-1] + b"\x00", "bad checksum"),
        (b"hello\r\n", "stray bytes"),
    ],
)
def test_gnss_rejects_by_kind(data, reject):
    parser = GnssFrames()
    assert parser.feed(data) + parser.finish() == []
    assert reject in parser.rejects


def test_a_frame_inside_a_false_one_is_found():
    # A stray sync that claims 60 bytes, with a whole sentence among them.
    false = b"\xb5\x62\x01\x07\x3c\x00" + b"\x11" * 10
    assert GnssFrames().feed(false + RMC * 2) == [RMC.rstrip()] * 2


@pytest.mark.parametrize("parser", [CobsFrames(), TextLines(), GnssFrames()], ids=type)
@pytest.mark.parametrize("piece", [b"\xff" * 4096, b"$" + b"A" * 99, b"\xb5\x62\x01\x07\xff\x1f"])
def test_endless_garbage_is_not_hoarded(parser, piece):
    for _ in range(300):
        parser.feed(piece)
    # Half a kilobyte more for what is not held.
    assert len(pickle.dumps(parser)) <= 8192 + 8 + len(piece) + 500


def test_lines_begin_at_the_first_line_end():
    lines = TextLines(most_bytes=8)
    assert lines.feed(b"34\r\n12") == []
    assert lines.feed(b"34\r\n\n5678\n") == ["1234", "5678"]
    assert lines.feed(b"123456789\n\x07\xff\n9\n") == ["9"]
    assert lines.rejects == {"too long": 1, "not text": 1}


def test_reset_forgets_the_half_frame_and_keeps_the_counts():
    parser = GnssFrames()
    parser.feed(b"$GNRMC,1*00\r\n" + RMC[:20])
    parser.reset()
    assert parser.feed(RMC[20:] + VTG) == [VTG.rstrip()]
    assert parser.rejects["bad checksum"] == 1

"""Ranges, directions and streams of the bus messages; layouts are checked in tests/outside."""

import math

import numpy as np
import pytest

from drivers.can.tractor_messages import MESSAGES, Frames, decode, split_id
from drivers.contract import Notes, SpeedBlock


def frames(*rows):
    """Frames of (PGN, sender, data in hex), a tenth of a second apart; short data are filled."""
    pgn = np.array([row[0] for row in rows], np.int32)
    sender = np.array([row[1] for row in rows], np.uint8)
    data = [bytes.fromhex(row[2])[:8].ljust(8, b"\xff") for row in rows]
    time_s = np.arange(len(rows)) / 10
    return Frames(
        pgn, sender, np.array([list(d) for d in data], np.uint8).reshape(-1, 8), time_s, time_s
    )


def values(*rows):
    found = {}
    for item in decode(frames(*rows), Notes()):
        speed = isinstance(item, SpeedBlock)
        key = (item.source, "speed_mps" if speed else item.quantity)
        found[key] = (item.speed_mps if speed else item.value).tolist()
    return found


@pytest.mark.parametrize(
    ("data", "speed_mps"),
    [
        ("00 00", 0.0),
        ("01 00", 0.001),
        ("FF FA", 64.255),  # the largest value, SAE J1939-71
        ("00 FB", math.nan),  # reserved
        ("FF FD", math.nan),
        ("00 FE", math.nan),  # error
        ("FF FE", math.nan),
        ("00 FF", math.nan),  # not available
        ("FF FF", math.nan),
    ],
)
def test_sixteen_bits_of_j1939(data, speed_mps):
    np.testing.assert_equal(values((65096, 1, data))["65096/1", "speed_mps"], [speed_mps])


@pytest.mark.parametrize(
    ("data", "distance_m"),
    [
        ("00 00 00 00", 0.0),
        ("FF FF FF FA", 4211081.215),  # where the distance wraps, ISO 11783-7 A.6
        ("00 00 00 FB", math.nan),
        ("00 00 00 FE", math.nan),
        ("FF FF FF FF", math.nan),
        ("FF FF 00 00", 65.535),  # two bytes FF are no 'not available' of four
    ],
)
def test_thirty_two_bits_of_j1939(data, distance_m):
    got = values((65097, 1, "FFFF" + data))["65097/1", "distance_m"]
    np.testing.assert_allclose(got, [distance_m], rtol=1e-15)


@pytest.mark.parametrize(
    ("data", "speed_mps"),
    [("0000", 0.0), ("FDFF", 655.33), ("FEFF", math.nan), ("FFFF", math.nan), ("00FE", 650.24)],
)
def test_sixteen_bits_of_nmea_2000(data, speed_mps):
    got = values((129026, 1, "00FC0000" + data))["129026/1", "speed_mps"]
    np.testing.assert_allclose(got, [speed_mps], rtol=1e-15)


@pytest.mark.parametrize(
    ("data", "latitude_deg"),
    [
        ("FFFFFF7F", math.nan),
        ("FEFFFF7F", math.nan),
        ("00E9A435", 90.0),
        ("00175BCA", -90.0),
        ("FFFFFFFF", -1e-7),
    ],
)
def test_signed_numbers_of_nmea_2000(data, latitude_deg):
    got = values((129025, 1, data + "00000000"))["129025/1", "latitude_deg"]
    np.testing.assert_allclose(got, [latitude_deg], rtol=1e-12)


def test_every_field_is_judged_for_itself():
    got = values((65096, 1, "FFFF E8030000 FF FD"), (65096, 1, "E803 FFFFFFFF FF FF"))
    np.testing.assert_allclose(got["65096/1", "speed_mps"], [np.nan, 1.0])
    np.testing.assert_allclose(got["65096/1", "distance_m"], [1.0, np.nan])
    np.testing.assert_equal(got["65096/1", "direction"], [1, np.nan])


def test_direction_counts_while_moving_only():
    # 0 reverse, 1 forward, 2 error, 3 not available (ISO 11783-7 A.7); at standstill the
    # bits stay as they were.
    moving = [(65097, 1, f"E803 00000000 FF F{bits:X}") for bits in (0xC, 0xD, 0xE, 0xF)]
    standing = [(65097, 1, f"0000 00000000 FF F{bits:X}") for bits in (0xC, 0xD)]
    got = values(*moving, *standing)["65097/1", "direction"]
    np.testing.assert_equal(got, [0, 1, *[np.nan] * 4])
    # Speed keeps its magnitude: reverse is told by the direction alone.
    assert values(moving[0])["65097/1", "speed_mps"] == [1.0]


def test_two_speeds_in_one_message():
    got = values((128259, 35, "00 7B00 FFFF 00"))
    np.testing.assert_allclose(got["128259-water/35", "speed_mps"], [1.23])
    np.testing.assert_equal(got["128259-ground/35", "speed_mps"], [np.nan])


def test_senders_are_kept_apart_and_one_may_be_silent_for_ever():
    got = values(*[(65097, 1, "FFFF"), (65097, 2, "E803"), (65096, 1, "D007")] * 2)
    np.testing.assert_equal(got["65097/1", "speed_mps"], [np.nan, np.nan])
    np.testing.assert_equal(got["65097/2", "speed_mps"], [1.0, 1.0])
    np.testing.assert_equal(got["65096/1", "speed_mps"], [2.0, 2.0])


def test_short_frame_has_no_value_where_it_ends():
    got = values((65096, 1, "E803 E803"))
    np.testing.assert_equal(got["65096/1", "speed_mps"], [1.0])
    np.testing.assert_equal(got["65096/1", "distance_m"], [np.nan])


def test_resolution_is_the_uncertainty():
    # d / sqrt(12), rectangular: GUM F.2.2.1.
    blocks = decode(frames((65096, 1, "E803"), (129026, 1, "00" * 8)), Notes())
    resolution = {b.source: b.u_mps[0] * math.sqrt(12) for b in blocks if isinstance(b, SpeedBlock)}
    assert resolution == pytest.approx({"65096/1": 0.001, "129026/1": 0.01})


def test_identifiers_split():
    # PF under 240: PS is a destination and no part of the PGN (SAE J1939-21).
    ids = np.array([0x0CFE48F0, 0x18EA00F9, 0x18EAFFF9, 0x19F80203, 0x18FEF100], np.uint32)
    pgn, sender = split_id(ids)
    assert pgn.tolist() == [65096, 59904, 59904, 129026, 65265]
    assert sender.tolist() == [0xF0, 0xF9, 0xF9, 3, 0]


def test_order_of_mixed_frames_and_counts():
    rows = [(65096, 1, f"{i:02X}00") for i in range(50)]
    mixed = [
        row for pair in zip(rows, [(61444, 0, "FFFFFF00F0")] * 50, strict=True) for row in pair
    ]
    notes = Notes()
    (wheel,) = [i for i in decode(frames(*mixed), notes) if isinstance(i, SpeedBlock)]
    np.testing.assert_allclose(wheel.speed_mps, np.arange(50) / 1000)
    np.testing.assert_allclose(wheel.time_s, np.arange(50) / 5)
    assert notes.messages == {
        "frames": 100,
        "61444 engine speed": 50,
        "65096 wheel-based speed and distance": 50,
    }


def test_frames_of_no_message_and_no_frames():
    notes = Notes()
    assert decode(frames((-1, 0, "00"), (262143, 0, "00"), (0, 0, "00")), notes) == []
    assert notes.messages == {"frames": 3}
    assert decode(frames(), notes) == []


def test_every_message_fits_its_eight_bytes():
    for message in MESSAGES.values():
        assert all(n.first >= 1 and n.first + n.size <= 9 for n in message.numbers), message
        assert all(b.byte <= 8 and b.first + b.size <= 9 for b in message.bits), message

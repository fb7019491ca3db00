"""Decoding checked against the outside: other people's vectors, recordings and libraries.

Sources: AgIsoStack++ (Open-Agriculture), test/speed_distance_message_tests.cpp; the
recordings in ../shared/data with the figures that an independent decoder found in them
(its README.md); cantools, pynmeagps and pyubx2 as general-purpose reference libraries;
layouts of ISO 11783-7, SAE J1939-71 and the canboat database of NMEA 2000.
"""

import math
from collections import Counter

import cantools
import numpy as np
import pytest
from pynmeagps import NMEAReader
from pyproj import Geod
from pyubx2 import UBX_PROTOCOL, UBXReader

from drivers.can.tractor_messages import MESSAGES, Frames, decode, split_id
from drivers.contract import Notes, SpeedBlock
from drivers.files.reading import read_recording


def decoded(*frames):
    """{(source, quantity): values} of frames given as (identifier, data)."""
    pgn, sender = split_id(np.array([can_id for can_id, _ in frames], np.uint32))
    data = np.array([list(data) for _, data in frames], np.uint8)
    time_s = np.arange(float(len(frames)))
    values = {}
    for item in decode(Frames(pgn, sender, data, time_s, time_s), Notes()):
        speed = isinstance(item, SpeedBlock)
        key = (item.source, "speed_mps" if speed else item.quantity)
        values[key] = item.speed_mps if speed else item.value
    return values


@pytest.mark.parametrize(
    ("can_id", "data", "source", "expected"),
    [
        (
            0x0CF02245,
            "E8 03 40 E2 01 00 0F 69",
            "61474/69",
            {
                "speed_mps": 1.000,
                "distance_m": 123.456,
                "exit_code": 15,
                "direction": 1,
                "speed_source_code": 2,
                "limit_status_code": 3,
            },
        ),
        (
            0x0CFE4845,
            "94 26 88 13 00 00 03 14",
            "65096/69",
            {"speed_mps": 9.876, "distance_m": 5.000, "direction": 0, "key_switch": 1},
        ),
        (
            0x0CFE4945,
            "0F 27 80 38 01 00 FF FD",
            "65097/69",
            {"speed_mps": 9.999, "distance_m": 80.000, "direction": 1},
        ),
    ],
)
def test_vectors_of_agisostack(can_id, data, source, expected):
    values = decoded((can_id, bytes.fromhex(data)))
    assert {name: v[0] for (_, name), v in values.items()} == pytest.approx(expected, rel=1e-15)
    assert {name for name, _ in values} == {source}


DBC = """VERSION ""
BU_: A
BO_ 2365475070 Wheel: 8 A
 SG_ speed : 0|16@1+ (0.001,0) [0|0] "m/s" A
 SG_ distance : 16|32@1+ (0.001,0) [0|0] "m" A
 SG_ direction : 56|2@1+ (1,0) [0|0] "" A
BO_ 2566844926 Cruise: 8 A
 SG_ speed : 8|16@1+ (0.00390625,0) [0|0] "km/h" A
BO_ 2364540158 Engine: 8 A
 SG_ speed : 24|16@1+ (0.125,0) [0|0] "rpm" A
BO_ 2365473790 Pto: 8 A
 SG_ speed : 0|16@1+ (0.125,0) [0|0] "rpm" A
BO_ 2566842622 Vehicle: 8 A
 SG_ course : 0|16@1+ (0.0078125,0) [0|0] "deg" A
 SG_ speed : 16|16@1+ (0.00390625,0) [0|0] "km/h" A
BO_ 2314732286 Cog: 8 A
 SG_ course : 16|16@1+ (0.0001,0) [0|0] "rad" A
 SG_ speed : 32|16@1+ (0.01,0) [0|0] "m/s" A
BO_ 2314535934 Speed: 8 A
 SG_ water : 8|16@1+ (0.01,0) [0|0] "m/s" A
 SG_ ground : 24|16@1+ (0.01,0) [0|0] "m/s" A
BO_ 2314732030 Position: 8 A
 SG_ latitude : 0|32@1- (0.0000001,0) [0|0] "deg" A
 SG_ longitude : 32|32@1- (0.0000001,0) [0|0] "deg" A
"""
"""The identifiers are 0x80000000 (extended) + priority, PGN and the null address FE."""

RPM_HZ, KMH_MPS, RAD_DEG = 1 / 60, 1 / 3.6, 180 / math.pi
SIGNALS = [
    ("Wheel", "speed", "65096/254", "speed_mps", 1),
    ("Wheel", "distance", "65096/254", "distance_m", 1),
    ("Cruise", "speed", "65265/254", "speed_mps", KMH_MPS),
    ("Engine", "speed", "61444/254", "engine_speed_hz", RPM_HZ),
    ("Pto", "speed", "65091/254", "pto_speed_hz", RPM_HZ),
    ("Vehicle", "course", "65256/254", "course_deg", 1),
    ("Vehicle", "speed", "65256/254", "speed_mps", KMH_MPS),
    ("Cog", "course", "129026/254", "course_deg", RAD_DEG),
    ("Cog", "speed", "129026/254", "speed_mps", 1),
    ("Speed", "water", "128259-water/254", "speed_mps", 1),
    ("Speed", "ground", "128259-ground/254", "speed_mps", 1),
    ("Position", "latitude", "129025/254", "latitude_deg", 1),
    ("Position", "longitude", "129025/254", "longitude_deg", 1),
]


@pytest.mark.parametrize(("message", "signal", "source", "quantity", "scale"), SIGNALS)
def test_agrees_with_cantools_wherever_there_is_a_value(message, signal, source, quantity, scale):
    """cantools knows no ranges, so where a field is no value only ours says so."""
    database = cantools.database.load_string(DBC)
    known = database.get_message_by_name(message)
    rng = np.random.default_rng(20261125)
    frames = [(known.frame_id, rng.bytes(8)) for _ in range(300)]
    ours = decoded(*frames)[source, quantity]
    theirs = np.array([known.decode(data)[signal] for _, data in frames]) * scale
    valid = ~np.isnan(ours)
    assert valid.mean() > 0.9
    np.testing.assert_allclose(ours[valid], theirs[valid], rtol=1e-12)


def test_identifiers_of_the_dbc_are_those_of_the_messages():
    database = cantools.database.load_string(DBC)
    ids = np.array([message.frame_id for message in database.messages], np.uint32)
    assert set(split_id(ids)[0].tolist()) <= set(MESSAGES)


# What ../shared/data/README.md says an independent decoder found.


def moving(track):
    """(number of values, least, most) of a track."""
    values = getattr(track, "speed_mps", getattr(track, "value", None))
    valid = values[~np.isnan(values)]
    return valid.size, valid.min(initial=np.inf), valid.max(initial=-np.inf)


def test_idle_tractor_on_the_isobus(data_dir):
    recording = read_recording(data_dir / "tractor_isobus_idle.txt")
    counts = Counter({name.split()[0]: n for name, n in recording.messages.items()})
    assert counts["frames"] == 6883
    assert all(counts[pgn] == 430 for pgn in ("65096", "65097", "61474", "61444"))
    assert counts["129026"] == 118
    assert counts["129025"] > 0
    assert moving(recording.speeds["65096/240"]) == (430, 0, 0)
    assert moving(recording.speeds["61474/240"]) == (430, 0, 0)
    # Direction bits 0 are no 'reverse' at standstill.
    assert moving(recording.values["65096/240", "direction"])[0] == 0
    # Ground-based speed is not available; its distance decodes all the same.
    assert moving(recording.speeds["65097/240"])[0] == 0
    assert moving(recording.values["65097/240", "distance_m"]) == (430, 65.535, 65.535)
    (gnss,) = [t for name, t in recording.speeds.items() if name.startswith("129026/")]
    assert moving(gnss) == (118, 0, 0.07)
    assert not any(track.timed for track in recording.speeds.values())
    assert any("no time stamps" in warning for warning in recording.warnings)
    assert recording.rejects == {}


def test_tractor_that_starts_its_engine(data_dir):
    recording = read_recording(data_dir / "tractor_j1939_start.csv")
    counts = Counter({name.split()[0]: n for name, n in recording.messages.items()})
    expected = {"frames": 11662, "65097": 195, "65265": 193, "65091": 194, "61444": 1980}
    assert {name: counts[name] for name in expected} == expected
    assert moving(recording.speeds["65097/71"])[0] == 0
    assert recording.speeds["65097/71"].speed_mps.size == 195
    assert moving(recording.speeds["65265/71"]) == (193, 0, 0)
    assert moving(recording.values["65091/71", "pto_speed_hz"])[0] == 194 - 6
    size, least, most = moving(recording.values["61444/0", "engine_speed_hz"])
    assert (size, least * 60, most * 60) == (1980, 0, 1012.5)
    assert recording.values["61444/0", "engine_speed_hz"].time_s[-1] == pytest.approx(39.6, abs=0.1)


def test_boat_with_two_speeds_that_disagree(data_dir):
    recording = read_recording(data_dir / "boat_n2k_two_speeds.raw")
    ground, water = recording.speeds["129026/25"], recording.speeds["128259-water/35"]
    assert moving(ground) == (1220, 0.07, 4.42)
    assert moving(water) == (1693, 0, 3.84)
    assert recording.rejects == {}
    ends = [track.time_s[[0, -1]] for track in recording.speeds.values()]
    assert np.max(ends) - np.min(ends) == pytest.approx(338.6, abs=0.2)
    at_water = np.interp(ground.time_s, water.time_s, water.speed_mps)
    slope = at_water @ ground.speed_mps / (ground.speed_mps @ ground.speed_mps)
    assert slope == pytest.approx(0.678, abs=0.002)


def test_receiver_at_walking_pace(data_dir):
    recording = read_recording(data_dir / "gnss_walking.nmea")
    rmc = recording.speeds["rmc"]
    # Six RMC have status V, although their mode letter says A.
    assert rmc.speed_mps.size - moving(rmc)[0] == 6
    assert moving(rmc)[1:] == (0, pytest.approx(2.67, abs=0.005))
    valid = ~np.isnan(rmc.speed_mps)
    walked_m = rmc.speed_mps[valid][:-1] @ np.diff(rmc.time_s[valid])
    assert walked_m == pytest.approx(72.6, abs=0.1)
    # The positions wander over twice as much: speed is never taken from them.
    fixes = [recording.values["rmc", f"{axis}itude_deg"].value[valid] for axis in ("long", "lat")]
    assert Geod(ellps="WGS84").line_length(*fixes) > 2 * walked_m


def test_receiver_with_a_weak_fix(data_dir):
    recording = read_recording(data_dir / "gnss_weak_fix.ubx")
    assert recording.messages["NAV-PVT"] == 299
    track = recording.speeds["nav-pvt"]
    assert (track.speed_mps.size, moving(track)[0]) == (299, 16)
    assert track.time_s[-1] == pytest.approx(298)
    u_mps = track.u_mps[~np.isnan(track.speed_mps)]
    assert u_mps.min() > 0.49
    assert u_mps.max() < 8.3


def test_car_with_wheels_and_gnss(data_dir):
    recording = read_recording(data_dir / "car_wheel_gnss.csv")
    wheel, gnss = recording.speeds["wheel"], recording.speeds["gnss"]
    assert (moving(wheel)[0], moving(gnss)[0]) == (4974, 579)
    assert 4973 / np.ptp(wheel.time_s) == pytest.approx(82.9, abs=0.05)
    assert 578 / np.ptp(gnss.time_s) == pytest.approx(9.7, abs=0.05)
    assert moving(wheel)[1:] == (pytest.approx(7.97, abs=0.01), pytest.approx(19.84, abs=0.01))
    ratio = gnss.speed_mps / np.interp(gnss.time_s, wheel.time_s, wheel.speed_mps)
    assert ratio.mean() == pytest.approx(1.0077, abs=0.0002)
    assert ratio.std() == pytest.approx(0.0103, abs=0.0005)


def test_every_sentence_is_found_that_pynmeagps_finds(data_dir):
    with (data_dir / "gnss_walking.nmea").open("rb") as stream:
        names = [message.identity for raw, message in NMEAReader(stream) if message]
    assert read_recording(data_dir / "gnss_walking.nmea").messages == {
        f"GP{name.removeprefix('GP')}": count for name, count in Counter(names).items()
    }


def test_every_frame_is_found_that_pyubx2_finds(data_dir):
    with (data_dir / "gnss_weak_fix.ubx").open("rb") as stream:
        frames = [raw for raw, _ in UBXReader(stream, protfilter=UBX_PROTOCOL, quitonerror=0)]
    ours = read_recording(data_dir / "gnss_weak_fix.ubx").messages
    assert sum(ours.values()) == len(frames)
    assert ours["NAV-PVT"] == sum(raw[2:4] == b"\x01\x07" for raw in frames)

"""What counts as a speed in NMEA 0183 and UBX, and when it was."""

import functools
import math
import operator
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyubx2 import GET, UBXMessage

from drivers.contract import Notes, SpeedBlock
from drivers.files.reading import read_recording
from drivers.gnss.sentences import GnssDecoder
from drivers.timeline import Timeline

KNOT_MPS = 1852 / 3600


def sentence(body):
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}\r\n".encode()


def rmc(time="101530.00", status="A", knots="2.43", mode="A", date="251126"):
    return sentence(f"GNRMC,{time},{status},3127.0,N,08330.0,W,{knots},87.1,{date},,,{mode}")


def vtg(knots="2.43", kmh="4.50", mode="A"):
    return sentence(f"GNVTG,87.1,T,,M,{knots},N,{kmh},K,{mode}")


def gga(time="101530.00", quality=1):
    return sentence(f"GNGGA,{time},3127.0,N,08330.0,W,{quality},08,1.0,90.0,M,-30.0,M,,")


def nav_pvt(itow_s=404148, **fields):
    usual = {"fixType": 3, "gnssFixOk": 1, "gSpeed": 1250, "sAcc": 100, "lat": 31.45, "lon": -83.5}
    message = UBXMessage("NAV", "NAV-PVT", GET, iTOW=int(itow_s * 1000), **(usual | fields))
    return message.serialize()


@pytest.fixture
def log(tmp_path):
    def read(*pieces):
        path = tmp_path / "log"
        path.write_bytes(b"".join(pieces))
        return read_recording(path)

    return read


@pytest.mark.parametrize("mode", ["A", "D", "F", "P", "R", ""])
def test_rmc_with_a_fix(log, mode):
    track = log(rmc(mode=mode)).speeds["rmc"]
    np.testing.assert_allclose(track.speed_mps, [2.43 * KNOT_MPS], rtol=1e-15)
    np.testing.assert_allclose(track.u_mps, [0.01 * KNOT_MPS / math.sqrt(12)])


@pytest.mark.parametrize(("status", "mode"), [("V", "A"), ("V", "N"), *(("A", m) for m in "NEMS")])
def test_rmc_without_a_fix_is_no_value(log, status, mode):
    recording = log(rmc(status=status, mode=mode), vtg())
    assert np.isnan(recording.speeds["rmc"].speed_mps).all()
    assert np.isnan(recording.values["rmc", "latitude_deg"].value).all()
    # VTG has no status of its own: the RMC before it stands for both.
    assert np.isnan(recording.speeds["vtg"].speed_mps).all()
    assert np.isnan(recording.speeds["vtg"].u_mps).all()


@pytest.mark.parametrize(
    ("sent", "speed_mps", "step_mps"),
    [
        (vtg("2.43", "4.50"), 4.50 / 3.6, 0.01 / 3.6),
        (vtg("2.4", "4.5"), 4.5 / 3.6, 0.1 / 3.6),
        (vtg("2.431", "4.5"), 2.431 * KNOT_MPS, 0.001 * KNOT_MPS),
        (vtg("2.43", ""), 2.43 * KNOT_MPS, 0.01 * KNOT_MPS),
        (vtg("", "4"), 4 / 3.6, 1 / 3.6),
        (vtg("", ""), math.nan, math.nan),
        (vtg(mode="N"), math.nan, math.nan),
        (sentence("GPVTG,87.1,T,,M,2.43,N,4.50,K"), 4.50 / 3.6, 0.01 / 3.6),
    ],
)
def test_vtg_takes_its_finer_unit(log, sent, speed_mps, step_mps):
    track = log(rmc(), sent).speeds["vtg"]
    np.testing.assert_allclose(track.speed_mps, [speed_mps], rtol=1e-15)
    np.testing.assert_allclose(track.u_mps, [step_mps / math.sqrt(12)], rtol=1e-12)


@pytest.mark.parametrize(("quality", "valid"), [(0, 0), (1, 1), (2, 1), (4, 1), (6, 0), (8, 0)])
def test_vtg_after_gga_alone(log, quality, valid):
    track = log(gga(quality=quality), vtg()).speeds["vtg"]
    assert np.isfinite(track.speed_mps).sum() == valid


def test_time_runs_on_over_midnight(log):
    times = ["235958.50", "235959.50", "000000.50", "000001.50"]
    dates = ["311226"] * 2 + ["010127"] * 2
    recording = log(
        *(gga(time) + rmc(time, date=date) + vtg() for time, date in zip(times, dates, strict=True))
    )
    np.testing.assert_allclose(recording.speeds["rmc"].time_s, [0, 1, 2, 3])
    np.testing.assert_allclose(recording.speeds["vtg"].time_s, [0, 1, 2, 3])
    np.testing.assert_allclose(recording.values["gga", "latitude_deg"].time_s, [0, 1, 2, 3])
    assert recording.warnings == []
    undated = log(*(gga(time) + vtg() for time in times))
    np.testing.assert_allclose(undated.speeds["vtg"].time_s, [0, 1, 2, 3])


def test_clock_that_jumps_at_the_first_fix_is_told(log):
    recording = log(rmc("230000", status="V"), rmc("101530"), rmc("101531"))
    np.testing.assert_allclose(recording.speeds["rmc"].time_s, [0, 0, 1])
    assert any("stamps jump once" in warning for warning in recording.warnings)


def test_values_before_the_first_time_are_counted(log):
    recording = log(vtg(), rmc(time="", status="V"), rmc())
    assert recording.speeds["rmc"].time_s.tolist() == [0]
    assert recording.messages == {"GNVTG": 1, "GNRMC": 2}
    assert recording.rejects["value before the first time"] > 0


@pytest.mark.parametrize(
    ("fields", "valid"),
    [
        ({}, True),
        ({"fixType": 2}, True),
        ({"fixType": 4}, True),
        ({"fixType": 0}, False),
        ({"fixType": 1}, False),  # dead reckoning only
        ({"fixType": 5}, False),  # time only
        ({"gnssFixOk": 0}, False),
        ({"sAcc": 0}, False),
        ({"sAcc": 20000}, False),
        ({"gSpeed": -1}, False),
    ],
)
def test_nav_pvt_is_gated_by_fix_and_accuracy(log, fields, valid):
    recording = log(nav_pvt(**fields))
    track = recording.speeds["nav-pvt"]
    expected = [1.25, math.hypot(0.1, 0.001 / math.sqrt(12))] if valid else [math.nan, math.nan]
    np.testing.assert_allclose([track.speed_mps[0], track.u_mps[0]], expected, rtol=1e-12)
    assert recording.messages == {"NAV-PVT": 1}
    assert recording.kind == "UBX log of a GNSS receiver"


def test_week_of_gps_time_ends(log):
    week_s = 604_800
    recording = log(*(nav_pvt(second % week_s) for second in range(week_s - 2, week_s + 2)))
    np.testing.assert_allclose(recording.speeds["nav-pvt"].time_s, [0, 1, 2, 3])


def test_nmea_and_ubx_of_one_receiver_share_one_time(log):
    # 404 148 s into the week is 16:15:48 GPS time; with 17 leap seconds, as until 2016,
    # 16:15:31 UTC, which the frame itself says.
    utc = {"hour": 16, "min": 15, "second": 31, "validTime": 1, "fullyResolved": 1}
    recording = log(rmc("161530.00"), nav_pvt(**utc), rmc("161532.00"), vtg())
    assert recording.kind == "NMEA 0183 and UBX log of a GNSS receiver"
    np.testing.assert_allclose(recording.speeds["rmc"].time_s, [0, 2])
    np.testing.assert_allclose(recording.speeds["nav-pvt"].time_s, [1])


def test_other_sentences_are_counted_and_left_alone(log):
    bodies = ["GPGSV,1,1,00", "PUBX,00,RMC", "PSRFVTG,1", "GPTXT,01,01,02,hello", "GNRMC,nonsense"]
    recording = log(*map(sentence, bodies))
    assert sum(recording.messages.values()) == 5
    assert not recording.speeds
    assert recording.warnings == [
        "None of its messages carries a speed; RMC, VTG or NAV-PVT would."
    ]


def test_comment_above_a_log_is_no_damage(log):
    recording = log(b"# Name: a receiver\n# it cost $100\n#\n", rmc())
    assert recording.rejects == {}


def test_live_values_carry_both_times():
    decoder = GnssDecoder(Notes())
    (early,) = [i for i in decoder.feed(vtg(), host_s=50.0) if isinstance(i, SpeedBlock)]
    assert early.time_s.tolist() == early.host_s.tolist() == [50.0]
    blocks = [i for i in decoder.feed(rmc("101530.00") + vtg(), 51.0) if isinstance(i, SpeedBlock)]
    assert [(b.source, b.time_s.tolist(), b.host_s.tolist()) for b in blocks] == [
        ("rmc", [36930.0], [51.0]),
        ("vtg", [36930.0], [51.0]),
    ]


@settings(max_examples=60, deadline=None)
@given(
    pieces=st.lists(
        st.sampled_from([rmc(), vtg(), gga(), nav_pvt(), rmc(status="V"), b"\xb5b", b"$GP"])
        | st.binary(max_size=8),
        max_size=8,
    ),
    cuts=st.lists(st.integers(0, 999), max_size=6),
)
def test_any_cutting_gives_the_same_values(pieces, cuts):
    data = b"".join(pieces)
    whole = GnssDecoder(Notes(), Timeline())
    expected = speeds(whole.feed(data) + whole.finish())
    edges = [0, *sorted(cut % (len(data) + 1) for cut in cuts), len(data)]
    decoder = GnssDecoder(Notes(), Timeline())
    items = [i for a, b in pairwise(edges) for i in decoder.feed(data[a:b])]
    assert speeds(items + decoder.finish()) == expected
    assert decoder.notes == whole.notes


def speeds(items):
    found = {}
    for item in items:
        if isinstance(item, SpeedBlock):
            found.setdefault(item.source, []).extend(map(repr, item.speed_mps.tolist()))
    return found

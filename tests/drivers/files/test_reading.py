"""CAN logs in every format, read by content; the file as a driver gives the same."""

import dataclasses
import hashlib

import numpy as np
import pytest

from drivers import source_file
from drivers.catalogue import open_input
from drivers.contract import AddressError, FileRefused, FrameBlock
from drivers.files.reading import read_recording
from drivers.recording import assemble, read_for

# Wheel-based speed 1.000, 1.250 and 1.500 m/s from sender F0, a quarter of a second apart.
HEX = ["E8030000000001FD", "E2040000000001FD", "DC050000000001FD"]
SPACED = [" ".join(data[i : i + 2] for i in range(0, 16, 2)) for data in HEX]
SPEEDS = [1.0, 1.25, 1.5]


@pytest.fixture
def log(tmp_path):
    def read(text, name="log"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_recording(path)

    return read


def console(stamps, tail=""):
    return "".join(
        f" ({stamp})  can0  0CFE48F0   [8]  {data}{tail}\n"
        for stamp, data in zip(stamps, SPACED, strict=True)
    )


TIMED = {
    "seconds since 1970": console(["1700000000.000000", "1700000000.250000", "1700000000.500000"]),
    "from zero": console(["000.000000", "000.250000", "000.500000"]),
    "dates": console(
        [
            "2026-01-31 23:59:59.750000",
            "2026-02-01 00:00:00.000000",
            "2026-02-01 00:00:00.250000",
        ]
    ),
    "with letters": console(["0.00", "0.25", "0.50"], tail="   '........'"),
    "with directions": console(["0.00", "0.25", "0.50"]).replace("can0  ", "can0  RX - -  "),
    "Windows line ends": console(["0.00", "0.25", "0.50"]).replace("\n", "\r\n"),
    "byte order mark": "\ufeff" + console(["0.00", "0.25", "0.50"]),
    "log file": "".join(
        f"({1700000000 + i / 4:.6f}) can0 0CFE48F0#{d}\n" for i, d in enumerate(HEX)
    ),
    "log file with directions": "".join(
        f"({1700000000 + i / 4:.6f}) vcan0 0CFE48F0#{d} R\n" for i, d in enumerate(HEX)
    ),
    "log file, FD and lower case": "".join(
        f"({1700000000 + i / 4:.6f}) can0 0cfe48f0##1{d.lower()}0011\n" for i, d in enumerate(HEX)
    ),
    "J1939 table": ",time,pgn,priority,source,destination,data,description\n"
    + "".join(f"{i},{250.0 * i},65096,3,240,255,{d} ,Unknown\n" for i, d in enumerate(SPACED)),
    "canboat": "".join(
        f"2026-02-28T23:59:{59.25 + i / 4:06.3f}Z,3,65096,240,255,8,{d.replace(' ', ',').lower()}\n"
        for i, d in enumerate(SPACED)
    ),
    "canboat, older": "# format=PLAIN\n"
    + "".join(
        f"2011-11-24-22:42:{4 + i / 4:06.3f},3,65096,240,255,8,{d.replace(' ', ',')}\n"
        for i, d in enumerate(SPACED)
    ),
}


@pytest.mark.parametrize("name", TIMED)
def test_timed_text_logs(log, name):
    recording = log(TIMED[name])
    track = recording.speeds["65096/240"]
    np.testing.assert_allclose(track.speed_mps, SPEEDS, rtol=1e-15)
    np.testing.assert_allclose(track.time_s, [0, 0.25, 0.5], atol=1e-6)
    assert track.timed
    assert recording.messages == {"frames": 3, "65096 wheel-based speed and distance": 3}
    assert (recording.rejects, recording.warnings) == ({}, [])


def test_console_dump_without_stamps(log):
    track = log(console([0, 0, 0]).replace(" (0)", "")).speeds["65096/240"]
    assert not track.timed
    np.testing.assert_array_equal(track.time_s, [0, 1, 2])


def test_stamps_that_count_from_the_frame_before(log):
    lines = "".join(
        f" (000.{250000 + (-1) ** i * 1000:06d})  can0  0CFE48F0   [8]  {SPACED[0]}\n"
        for i in range(40)
    )
    recording = log(lines)
    time_s = recording.speeds["65096/240"].time_s
    np.testing.assert_allclose(np.diff(time_s), 0.25, atol=0.0011)
    assert any("since the frame before" in warning for warning in recording.warnings)


@pytest.mark.parametrize("suffix", ["asc", "blf", "csv", "log", "trc", "mf4"])
def test_what_python_can_writes_under_any_name(tmp_path, suffix):
    can = pytest.importorskip("can")
    if suffix == "mf4":
        pytest.importorskip("asammdf", reason="asammdf, the extra 'mf4', is not installed")
    written = tmp_path / f"log.{suffix}"
    with can.Logger(written) as logger:
        for i, data in enumerate(HEX):
            logger(
                can.Message(
                    timestamp=1.7e9 + i / 4,
                    arbitration_id=0x0CFE48F0,
                    data=bytes.fromhex(data),
                    channel=0,
                )
            )
        logger(can.Message(timestamp=1.7e9 + 1, arbitration_id=0x123, is_extended_id=False))
    renamed = written.rename(tmp_path / "recording.dat")
    recording = read_recording(renamed)
    track = recording.speeds["65096/240"]
    np.testing.assert_allclose(track.speed_mps, SPEEDS, rtol=1e-15)
    np.testing.assert_allclose(track.time_s, [0, 0.25, 0.5], atol=1e-5)
    assert (recording.messages["frames"], recording.warnings) == (4, [])
    assert recording.sha256 == hashlib.sha256(renamed.read_bytes()).hexdigest()


ASC = (
    "date Wed Nov 25 09:00:20.694 2026\nbase hex  timestamps absolute\ninternal events logged\n"
    "Begin Triggerblock Tue Nov 14 22:13:20.0 2023\n 0.000000 Start of measurement\n"
    + "".join(f" {i / 4:.6f} 1  CFE48F0x        Rx   d 8 {d}\n" for i, d in enumerate(SPACED))
)
TRC = ";$FILEVERSION=2.1\n;$STARTTIME=45244.925\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n" + "".join(
    f"{i + 1:7} {250.0 * i:13.3f} DT 1 0CFE48F0 Rx - 8    {d}\n" for i, d in enumerate(SPACED)
)
CAN_CSV = "timestamp,arbitration_id,extended,remote,error,dlc,data\n" + "".join(
    f"{i / 4},0xcfe48f0,1,0,0,8,{d}\n"
    for i, d in enumerate(["6AMAAAAAAf0=", "4gQAAAAAAf0=", "3AUAAAAAAf0="])
)


@pytest.mark.parametrize(
    ("text", "cut"),
    [(ASC, ("d 8 E8", "d Q E8")), (TRC, ("8    E8", "8    XX")), (CAN_CSV, ("8,6AMAAA", "8,6A"))],
    ids=["asc", "trc", "csv"],
)
def test_damaged_line_costs_one_frame(log, text, cut):
    assert log(text).speeds["65096/240"].speed_mps.size == 3
    recording = log(text.replace(*cut))
    track = recording.speeds["65096/240"]
    np.testing.assert_allclose(track.speed_mps[-2:], SPEEDS[1:], rtol=1e-15)
    assert recording.rejects == {"lines not understood": 1}
    line = 1 + text[: text.index(cut[0])].count("\n")
    assert any(f"the first is line {line}, '" in warning for warning in recording.warnings)


def test_blf_cut_short_gives_what_is_whole(tmp_path):
    can = pytest.importorskip("can")
    path = tmp_path / "log.blf"
    with can.BLFWriter(path, max_container_size=4096) as writer:
        for i in range(1000):
            data = bytes.fromhex(HEX[i % 3])
            writer(can.Message(timestamp=1.7e9 + i / 10, arbitration_id=0xCFE48F0, data=data))
    path.write_bytes(path.read_bytes()[:-500])
    recording = read_recording(path)
    assert 500 < recording.speeds["65096/240"].speed_mps.size < 1000
    assert recording.rejects
    assert recording.warnings


def test_blf_with_an_object_of_no_length_ends(tmp_path):
    can = pytest.importorskip("can")
    path = tmp_path / "log.blf"
    with can.BLFWriter(path, compression_level=0) as writer:
        for i in range(3):
            data = bytes.fromhex(HEX[i])
            writer(can.Message(timestamp=1.7e9 + i / 4, arbitration_id=0xCFE48F0, data=data))
    content = bytearray(path.read_bytes())
    objects = [i for i in range(144, len(content)) if content[i : i + 4] == b"LOBJ"]
    content[objects[-1] + 8 : objects[-1] + 12] = bytes(4)
    path.write_bytes(content)
    with pytest.raises(FileRefused, match="senseless length"):
        read_recording(path)


def test_wrong_lines_of_a_log_are_counted_and_the_first_is_shown(log):
    good = TIMED["log file"].splitlines(keepends=True)
    recording = log(good[0] + "(17000\n" + "\n".join(["noise"] * 4) + "\n" + good[1] + good[2][:-6])
    assert recording.speeds["65096/240"].speed_mps.size == 2
    assert recording.rejects == {"lines not understood": 6}
    assert (
        "6 of the lines were not understood; the first is line 2, '(17000'." in recording.warnings
    )


def test_frames_that_are_none_of_j1939s(log):
    recording = log(
        TIMED["log file"]
        + "(1700000001.0) can0 0CFE48F0#R\n(1700000001.0) can0 123#E803\n"
        + "(1700000001.0) can0 20000004#0008000000000000\n"
    )
    assert recording.speeds["65096/240"].speed_mps.size == 3
    assert recording.messages["frames"] == 6


def test_log_without_speeds_says_what_it_holds(log):
    recording = log("(1.0) can0 18FEEE00#FFFFFFFFFFFFFFFF\n(1.0) can0 123#00\n" * 3)
    assert recording.speeds == {}
    (warning,) = recording.warnings
    assert "None of the 6 frames is a speed message" in warning
    assert "PGNs seen most are 65262" in warning


def test_clock_that_was_set_while_logging(log):
    lines = TIMED["log file"] + TIMED["log file"].replace("(17", "(04")
    recording = log(lines)
    time_s = recording.speeds["65096/240"].time_s
    np.testing.assert_allclose(time_s, [0, 0.25, 0.5, 0.5, 0.75, 1.0], atol=1e-6)
    assert any("stamps jump once" in warning for warning in recording.warnings)


def test_small_steps_back_are_levelled(log):
    lines = TIMED["log file"].splitlines(keepends=True)
    recording = log(lines[0] + lines[2] + lines[1])
    time_s = recording.speeds["65096/240"].time_s
    np.testing.assert_allclose(time_s, [0, 0.5, 0.5], atol=1e-6)
    assert recording.warnings == []


def test_all_tracks_share_the_time_of_the_first_frame(log):
    recording = log(
        "(100.0) can0 18FEEE00#FF\n(101.0) can0 0CF004F0#FFFFFFD018FFFFFF\n" + TIMED["log file"]
    )
    assert recording.values["61444/240", "engine_speed_hz"].time_s[0] == 1.0


def test_file_is_cut_anywhere_with_the_same_result(tmp_path, monkeypatch):
    path = tmp_path / "log"
    path.write_text(TIMED["log file"] * 20)
    whole = read_recording(path)
    monkeypatch.setattr(source_file, "CHUNK_BYTES", 50)
    assert_same(read_recording(path), whole)


def assert_same(one, other):
    for field in dataclasses.fields(one):
        mine, theirs = getattr(one, field.name), getattr(other, field.name)
        if field.name not in ("edges", "speeds", "values"):
            assert mine == theirs, field.name
            continue
        assert list(mine) == list(theirs)
        for key in mine:
            for part in dataclasses.fields(mine[key]):
                np.testing.assert_array_equal(
                    getattr(mine[key], part.name), getattr(theirs[key], part.name)
                )


@pytest.mark.parametrize(
    "text",
    [
        TIMED["canboat"],
        console([0, 0, 0]).replace(" (0)", ""),
        "time_s,channel,fall_s\n0.1,left,0.2\n0.3,left,\n",
        "time_s,source,speed_mps\n5,wheel,1.5\n6,wheel,\n",
        "$GPVTG,0.00,T,,,0.00,N,0.00,K,A*70\r\n",
    ],
)
def test_file_driver_gives_what_read_recording_gives(tmp_path, text):
    path = tmp_path / "log"
    path.write_text(text)
    driver = open_input(f"file:{path}")
    items = read_for(driver, float("inf"))
    assert_same(assemble(items, driver.notes, name=str(path)), read_recording(path))


def test_file_takes_names_of_a_waveform_s_channels_and_no_other_options(tmp_path):
    with pytest.raises(AddressError, match="no option 'baud'; known are left, right"):
        open_input(f"file:{tmp_path}?baud=9600")
    path = tmp_path / "log"
    path.write_text(TIMED["log file"])
    with pytest.raises(FileRefused, match="its channels have names of their own"):
        open_input(f"file:{path}?left=pickup").open()


def test_file_driver_can_be_read_again(tmp_path):
    path = tmp_path / "log"
    path.write_text(TIMED["log file"])
    driver = open_input(f"file:{path}")
    first, again = (
        assemble(read_for(driver, float("inf")), driver.notes, name="log") for _ in range(2)
    )
    assert_same(first, again)


def test_frames_kept_beside_change_nothing(tmp_path):
    path = tmp_path / "log"
    path.write_text(TIMED["log file"])
    driver = open_input(f"file:{path}")
    with driver:
        items = driver.read(1.0)
    time_s = np.zeros(0)
    frames = FrameBlock(
        "can0", time_s.astype(np.uint32), time_s.astype(np.uint8), b"", time_s, time_s
    )
    assert set(assemble([*items, frames], driver.notes).speeds) == {"65096/240"}


REAL = [
    "boat_n2k_two_speeds.raw",
    "car_wheel_gnss.csv",
    "gnss_walking.nmea",
    "gnss_weak_fix.ubx",
    "tractor_isobus_idle.txt",
    "tractor_j1939_start.csv",
]


@pytest.mark.parametrize("name", REAL)
@pytest.mark.parametrize("left_out", [1, 3, 7, 15_001])
def test_real_recordings_cut_short_give_what_is_whole(data_dir, tmp_path, name, left_out):
    content = (data_dir / name).read_bytes()[:60_000]
    whole, cut = tmp_path / "whole", tmp_path / "cut"
    whole.write_bytes(content[: content.rfind(b"\n") + 1])
    cut.write_bytes(whole.read_bytes()[:-left_out])
    if name.endswith("gnss.csv") and cut.read_bytes().rpartition(b"\n")[2].count(b",") < 2:
        with pytest.raises(FileRefused, match=r"line \d+: \d cell"):
            read_recording(cut)
        return
    expected = read_recording(whole).speeds
    for source, track in read_recording(cut).speeds.items():
        last = track.speed_mps.size - 1  # a number cut short may still be a number
        assert 0 < track.speed_mps.size <= expected[source].speed_mps.size
        np.testing.assert_array_equal(
            track.speed_mps[:last], expected[source].speed_mps[:last], err_msg=source
        )


def test_a_log_of_more_values_than_memory_holds_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "long.csv"
    path.write_text("time_s,source,speed_mps\n" + "".join(f"{n},wheel,1\n" for n in range(101)))
    monkeypatch.setattr("drivers.files.reading.MOST_VALUES", 101)
    assert read_recording(path).speeds["wheel"].time_s.size == 101
    monkeypatch.setattr("drivers.files.reading.MOST_VALUES", 100)
    with pytest.raises(FileRefused, match="more than 100 values; expected a shorter recording"):
        read_recording(path)

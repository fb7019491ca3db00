"""Files that are wrong: each is refused with a sentence that says where and what."""

import io
import os
import stat
from contextlib import suppress

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from drivers.contract import FileRefused, Recording
from drivers.files.reading import read_recording
from drivers.source_file import HEAD_BYTES

EDGES, SPEEDS = "time_s,channel\n", "time_s,source,speed_mps\n"
CONSOLE = b"  can0  0CFE48F0   [8]  00 00 00 00 00 00 01 14\n"

BAD = {
    # name: (content, where, words that say what was found or expected)
    "empty": (b"", "", "the file is empty"),
    "blank lines": (b"\n\n\n", "", "no format known"),
    "random bytes": (bytes(range(256)) * 40, "", "no format known"),
    "zeros": (bytes(5000), "", "00 00 00 00"),
    "prose": (b"Dear all,\nthe belt ran well today.\n", "", "begins 'Dear all,'"),
    "spreadsheet": (b"PK\x03\x04\x14\x00\x06\x00", "", "a spreadsheet"),
    "gzip": (b"\x1f\x8b\x08\x00\x00", "", "unpack it first"),
    "pdf": (b"%PDF-1.7\n", "", "PDF"),
    "database": (b"SQLite format 3\x00", "", "a database"),
    "utf-16": ("time_s,channel\n1,left\n".encode("utf-16"), "", "UTF-16"),
    "run table": (b"run,shown,laps,laps_time_s,pulses,pulses_time_s\n", "line 1", "a run table"),
    "gap table": (b"pickup,angle_deg,gap_m\nleft,0,0.0016\n", "line 1", "a gap table"),
    "unknown header": (b"time,speed\n0,1\n", "", "time_s,source,speed_mps"),
    # tables
    "semicolons": (b"time_s;source;speed_mps\n0;wheel;1.2\n", "line 1", "separated by commas"),
    "tabs": (b"time_s\tchannel\n0\tleft\n", "line 1", "separated by commas"),
    "header only": (EDGES, "", "a header and no rows"),
    "no channel column": (b"time_s,amplitude_v\n0,1\n", "line 1", "'channel' is missing"),
    "no time column": (b"source,speed_mps\nwheel,1\n", "line 1", "'time_s' is missing"),
    "no speed column": (b"time_s,source\n0,wheel\n", "line 1", "'speed_mps' is missing"),
    "column twice": (b"time_s,channel,time_s\n0,left,0\n", "line 1", "'time_s' is there 2 times"),
    "header twice": (EDGES + "0,left\n" + EDGES + "1,left\n", "line 3", "'time_s' in column"),
    "row too short": (EDGES + "0,left\n0.1\n", "line 3", "1 cell in '0.1'"),
    "row too long": (EDGES + "0,left,5\n", "line 2", "expected 2 cells"),
    "decimal comma": (SPEEDS + "0,1,wheel,1,25\n", "line 2", "decimals with a point"),
    "two wrongs that even out": (SPEEDS + "0,a,1\n0.1,a\n0.2,a,1,2\n", "line 3", "2 cells"),
    "time no number": (EDGES + "0,left\nnoon,left\n", "line 3", "'noon' in column 'time_s'"),
    "time missing": (EDGES + ",left\n", "line 2", "an empty cell in column 'time_s'"),
    "time nan": (EDGES + "nan,left\n", "line 2", "'nan'"),
    "time infinite": (EDGES + "inf,left\n", "line 2", "'inf'"),
    "time overflows": (EDGES + "1e400,left\n", "line 2", "'1e400'"),
    "time in microseconds": (EDGES + "1.7e15,left\n", "line 2", "a time in seconds"),
    "underscores": (EDGES + "1_0,left\n", "line 2", "'1_0'"),
    "time goes back": (EDGES + "1,left\n2,right\n0.5,left\n", "line 4", "goes back to 0.5 s"),
    "speed time goes back": (
        SPEEDS + "1,gnss,1\n0,gnss,1\n",
        "line 3",
        "'gnss' that never go back",
    ),
    "speed nan": (SPEEDS + "0,wheel,nan\n", "line 2", "nothing where there is no value"),
    "speed infinite": (SPEEDS + "0,wheel,-inf\n", "line 2", "'-inf'"),
    "speed negative": (SPEEDS + "0,wheel,-1.2\n", "line 2", "0 to 100 m/s"),
    "speed absurd": (SPEEDS + "0,wheel,1e4\n", "line 2", "0 to 100 m/s"),
    "speed with unit": (SPEEDS + "0,wheel,1.2 m/s\n", "line 2", "'1.2 m/s'"),
    "uncertainty negative": (
        b"time_s,source,speed_mps,u_mps\n0,wheel,1,-0.1\n",
        "line 2",
        "'-0.1' in column 'u_mps'",
    ),
    "no source name": (SPEEDS + "0,,1.2\n", "line 2", "an empty cell in column 'source'"),
    "name too long": (EDGES + f"0,{'x' * 65}\n", "line 2", "1 to 64 letters"),
    "name of control characters": (EDGES + "0,le\x07ft\n", "line 2", "le·ft"),
    "too many channels": (EDGES + "".join(f"{i},c{i}\n" for i in range(99)), "line 2", "64"),
    "latin-1": (SPEEDS.encode() + b"0,wheel,1\n0.1,r\xe4der,1\n", "line 3", "byte 6 of the line"),
    "quote left open": (EDGES + '0,"left\n', "line 2", "unexpected end of data"),
    "fall before rise": (b"time_s,channel,fall_s\n1,left,0.9\n", "line 2", "after the rise"),
    "amplitude negative": (b"time_s,channel,amplitude_v\n1,left,-3\n", "line 2", "volts"),
    "a line that never ends": (EDGES.encode() + b"1" * (1 << 23), "line 2", "longer than"),
    # logs of which nothing can be read
    "sentences damaged": (
        b"$GPRMC,1,A*00\r\n" * 5,
        "",
        "no sentence or frame has a right checksum",
    ),
    "console dump cut short": (b"  can0  0CFE48F0   [8]  00 00\n", "", "the first is line 1"),
    "canboat line cut short": (b"2026-01-01T00:00:00.000Z,2,129026,1,255,8,00,01\n", "", "line 1"),
    "j1939 senseless sender": (
        b",time,pgn,priority,source,destination,data,description\n0,0.0,61444,3,999,255,FF ,x\n",
        "",
        "line 2",
    ),
    "asc without frames": (b"date Mon Jan 1\nbase hex  timestamps absolute\n", "", "no frame"),
    "trc without columns": (b";$FILEVERSION=2.1\n 1 0.0 DT 1 CFE48F0 Rx - 8 00\n", "", "no frame"),
    "can csv cut short": (
        b"timestamp,arbitration_id,extended,remote,error,dlc,data\n0.0,0x1\n",
        "",
        "line 2",
    ),
    "blf magic alone": (b"LOGG", "", "no CAN frame"),
    "blf of zeros": (b"LOGG" + bytes(400), "", "no CAN frame"),
}


@pytest.mark.parametrize("name", BAD)
def test_refused_with_a_sentence(tmp_path, name):
    content, where, words = BAD[name]
    path = tmp_path / "bad.csv"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    with pytest.raises(FileRefused) as caught:
        read_recording(path)
    sentence = str(caught.value)
    assert caught.value.where == where, sentence
    assert words in sentence
    assert sentence.startswith(f"{path}, {where}: " if where else f"{path}: ")
    assert "; expected " in sentence
    assert len(sentence) < 400 + len(str(path))


def test_damaged_mf4_is_refused(tmp_path):
    pytest.importorskip("asammdf", reason="asammdf, the extra 'mf4', is not installed")
    path = tmp_path / "bad.mf4"
    path.write_bytes(b"MDF     4.10    " + bytes(100))
    with pytest.raises(FileRefused, match="no CAN frame that can be read"):
        read_recording(path)


def test_mf4_without_its_library_names_the_extra(tmp_path, monkeypatch):
    path = tmp_path / "log.mf4"
    path.write_bytes(b"MDF     4.10    " + bytes(100))
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(FileRefused, match=r"pip install 'evenpace\[mf4\]'"):
        read_recording(path)


def test_what_is_no_file(tmp_path):
    with pytest.raises(FileRefused, match="there is no such file"):
        read_recording(tmp_path / "missing.csv")
    with pytest.raises(FileRefused, match="it is a folder"):
        read_recording(tmp_path)
    with pytest.raises(FileRefused, match="cannot be read"):
        read_recording("bad\0name")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(FileRefused, match="a device or a pipe"):
            read_recording(tmp_path / "pipe")


def test_no_permission(tmp_path, monkeypatch):
    path = tmp_path / "mine.csv"
    path.write_text(EDGES)
    path.chmod(0)
    if os.access(path, os.R_OK):  # as root, or where the system keeps no such rights

        def denied(*_args, **_more):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("pathlib.Path.open", denied)
    with pytest.raises(FileRefused, match="you may not read it"):
        read_recording(path)
    path.chmod(stat.S_IRWXU)


@pytest.mark.parametrize("begin", [b"", EDGES.encode() + b"0,left\n", CONSOLE], ids=repr)
def test_two_gigabytes_of_nothing_are_refused_at_once(tmp_path, begin):
    path = tmp_path / "large.log"
    with path.open("wb") as file:
        file.write(begin)
        file.truncate(2 << 30)  # a sparse file
    with pytest.raises(FileRefused):
        read_recording(path)


def test_a_disk_that_fails_while_it_is_read(tmp_path, monkeypatch):
    path = tmp_path / "table.csv"
    path.write_text(EDGES)

    class Failing(io.BytesIO):
        def read(self, size=-1):
            if size > HEAD_BYTES:
                raise OSError(5, "Input/output error")
            return super().read(size)

    monkeypatch.setattr("pathlib.Path.open", lambda *_: Failing(EDGES.encode()))
    with pytest.raises(FileRefused, match="Input/output error"):
        read_recording(path)


GOOD = [
    (EDGES + "0,left\n0.1,left\n0.2,left\n").encode(),
    (SPEEDS + "0,wheel,1.1\n0.1,gnss,\n0.2,wheel,1.3\n").encode(),
    CONSOLE * 3,
    b"(1700000000.0) can0 0CFE48F0#0000000000000114\n" * 3,
    b",time,pgn,priority,source,destination,data,description\n0,0.0,61444,3,0,255,F0 FF ,x\n",
    b"# format=FAST\n2026-01-01T00:00:00.000Z,2,129026,1,255,8,00,01,02,03,04,00,06,07\n",
    b"$GPVTG,0.00,T,,,0.00,N,0.00,K,A*70\r\n$GPGGA,095257.809,,,,,0,00,00.0,,M,,M,,*52\r\n",
]


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_damage_is_refused_or_read_and_nothing_else(tmp_path, data):
    content = bytearray(data.draw(st.sampled_from(GOOD)))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content)))
        piece = data.draw(
            st.binary(max_size=6)
            | st.sampled_from([b"\n", b",", b'"', b"nan", b"1e999", b"\r", b"-", b"(", b"#", b"  "])
        )
        content[at : at + data.draw(st.integers(0, 8))] = piece
    path = tmp_path / "damaged"
    path.write_bytes(content)
    with suppress(FileRefused):
        assert isinstance(read_recording(path), Recording)

"""Files that would hang a reader or fill the memory: each ends, in a child with its limits."""

from __future__ import annotations

import os
import random
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import can
import pytest

MOST_BYTES = 1_000_000_000
MOST_S = 20

READ_ALL = f"""
import resource, sys, warnings
resource.setrlimit(resource.RLIMIT_AS, ({MOST_BYTES}, {MOST_BYTES}))
warnings.simplefilter("error")
from drivers.contract import InputError
from drivers.files.reading import read_recording
for path in sys.argv[1:]:
    try:
        read_recording(path)
        print("read")
    except InputError as error:
        print("refused:", error)
"""

needs_limits = pytest.mark.skipif(sys.platform != "linux", reason="limits of memory: not on Linux")

TRC = ";$FILEVERSION=2.1\n;$STARTTIME=45244.925\n;$COLUMNS=N,O,T,B,I,d,R,L,D\n" + "".join(
    f"{n:6d} {10 * n:12.3f} DT 1 18FE4945 Rx - 8    E8 03 00 00 00 00 00 01\n" for n in range(1, 40)
)


def read_in_child(*paths) -> list[str]:
    """What became of each file, in a process that may take 1 GB and 20 s."""
    done = subprocess.run(
        [sys.executable, "-c", READ_ALL, *map(str, paths)],
        capture_output=True,
        text=True,
        timeout=MOST_S,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stderr == ""
    return done.stdout.splitlines()


@needs_limits
@pytest.mark.parametrize("start", ["abc", "", ",", "1e308", "-1e308", "99999999999", "45244,925"])
def test_a_damaged_start_time_of_a_trc_log_does_not_hang(tmp_path, start):
    path = tmp_path / "start.trc"
    path.write_text(TRC.replace("45244.925", start))
    (said,) = read_in_child(path)
    assert said == "read"


@needs_limits
def test_mutated_trc_headers_all_end(tmp_path):
    chance = random.Random(20)
    paths = []
    for number in range(250):
        data = bytearray(TRC.encode())
        for _ in range(chance.choice((1, 1, 2, 5))):
            data[chance.randrange(90)] = chance.randrange(256)
        paths.append(tmp_path / f"{number}.trc")
        paths[-1].write_bytes(data)
    assert len(read_in_child(*paths)) == len(paths)


@needs_limits
@pytest.mark.parametrize("first", [TRC.splitlines()[0], "base hex  timestamps absolute"])
def test_a_log_that_is_all_header_takes_little_memory(tmp_path, first):
    path = tmp_path / "header.log"
    with path.open("w") as file:
        file.write(first + "\n")
        for _ in range(30):
            file.write(
                "; nothing but words and more words, as many as there is room for\n" * 50_000
            )
    (said,) = read_in_child(path)
    assert said.startswith("refused:")


READ_IN_LITTLE = """
import resource, sys
from pathlib import Path
from drivers.contract import Notes
from drivers.files.reading import recognise
from drivers.source_file import SourceFile
most = int(sys.argv[2])
read = lambda path: sum(1 for _ in recognise(SourceFile(path))(SourceFile(path), Notes()))
read(sys.argv[3])  # what it needs to be loaded is
pages = int(Path("/proc/self/statm").read_text().split()[0])
limit = pages * resource.getpagesize() + most
resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
print(read(sys.argv[1]))
"""


def long_text(path: Path, piece: str, remark: str) -> Path:
    """A log of 60 MB whose frames come again and again between remarks."""
    with path.open("w") as file:
        for _ in range(60):
            file.write(piece + remark * (1_000_000 // len(remark)))
    return path


def long_blf(path: Path, sound: bytes) -> Path:
    """A log of 60 MB, a sound one whose first container comes again after others that hold
    objects of no CAN frame."""
    at = sound.index(b"LOBJ")
    size = 120_000
    other = b"LOBJ" + struct.pack("<HHII", 32, 1, size, 65) + bytes(size - 16)
    held = struct.pack("<HHII", 16, 1, 32 + size, 10)
    container = b"LOBJ" + held + struct.pack("<H6xI4x", 0, size) + other
    whole = sound[:at] + container * 500 + sound[at:]
    path.write_bytes(whole[:16] + struct.pack("<Q", len(whole)) + whole[24:])
    return path


@needs_limits
@pytest.mark.parametrize("kind", ["asc", "trc", "blf", "nmea", "log"])
def test_a_long_log_is_read_in_pieces(tmp_path, kind):
    """60 MB in 50 MB of memory."""
    short, path = tmp_path / f"short.{kind}", tmp_path / f"long.{kind}"
    if kind == "asc":
        with can.ASCWriter(str(short)) as log:
            log.on_message_received(can.Message(timestamp=1.0, arbitration_id=0x18FE4945))
        long_text(path, short.read_text(), "// nothing but a remark\n")
    elif kind == "trc":
        short.write_text(TRC)
        long_text(path, TRC, "; nothing but a remark\n")
    elif kind == "blf":
        long_blf(path, blf(short))
    elif kind == "nmea":
        sentence = "$GPVTG,0.00,T,,,0.00,N,0.00,K,A*70\r\n"
        short.write_text(sentence)
        long_text(path, sentence, "what a terminal program writes in between\r\n")
    else:
        short.write_text("(1.0) can0 18FE4945#E803000000000001\n")
        long_text(path, short.read_text(), "# nothing but a remark\n")
    done = subprocess.run(
        [sys.executable, "-c", READ_IN_LITTLE, path, "50000000", short],
        capture_output=True,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert int(done.stdout) > 0


def blf(path: Path) -> bytes:
    with can.BLFWriter(str(path)) as log:
        for n in range(200):
            log.on_message_received(can.Message(timestamp=n / 10, arbitration_id=0x18FE4945))
    return path.read_bytes()


@needs_limits
def test_a_blf_container_is_as_large_as_it_is_and_not_as_it_claims(tmp_path):
    sound = blf(tmp_path / "sound.blf")
    at = sound.index(b"LOBJ")
    claims = bytearray(sound)
    claims[at + 24 : at + 28] = (2**31).to_bytes(4, "little")
    (tmp_path / "claims.blf").write_bytes(claims)
    bomb = zlib.compress(bytes(900_000_000), 9)
    size = (32 + len(bomb)).to_bytes(4, "little")
    header = b"LOBJ" + (16).to_bytes(2, "little") + b"\1\0" + size + (10).to_bytes(4, "little")
    inside = (2).to_bytes(2, "little") + bytes(6) + (1000).to_bytes(4, "little") + bytes(4)
    (tmp_path / "bomb.blf").write_bytes(sound[:at] + header + inside + bomb)
    said = read_in_child(*(tmp_path / f"{name}.blf" for name in ("sound", "claims", "bomb")))
    assert said[0] == "read"
    assert all("senseless length" in one for one in said[1:])


@needs_limits
def test_neither_a_device_nor_a_pipe_is_read_as_a_file(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    said = read_in_child("/dev/zero", tmp_path / "pipe", tmp_path)
    assert all(one.startswith("refused:") for one in said)


def test_how_much_was_read_is_told(tmp_path):
    from drivers.files.reading import read_recording

    path = tmp_path / "long.csv"
    path.write_text("time_s,channel\n" + "".join(f"{n / 100},left\n" for n in range(600_000)))
    shares: list[float] = []
    read_recording(path, shares.append)
    assert shares == sorted(shares)
    assert len(shares) > 1
    assert shares[-1] == 1.0

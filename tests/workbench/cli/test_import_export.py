"""`import` and `export`: what goes in comes out the same, as tables, as logs, as itself."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import can
import numpy as np
import pytest

from drivers.contract import EdgeBlock, FrameBlock, Notes, SpeedBlock, ValueBlock
from drivers.files.reading import read_recording
from workbench.cli import main
from workbench.records.store import open_store

DATA = Path(__file__).parents[4] / "shared" / "data"
FILES = sorted(p.name for p in DATA.glob("*") if p.is_file() and p.suffix != ".md") or ["no data"]
NOW = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)


@pytest.fixture
def call(capsys):
    """Runs a command; (exit status, its JSON object or None, what it said on stderr)."""

    def run(*words):
        status = main([*map(str, words), "--json"])
        out, err = capsys.readouterr()
        return status, json.loads(out) if out else None, err

    return run


def same_recording(one, other):
    """Every track of both, number for number."""
    assert one.edges.keys() == other.edges.keys()
    assert one.speeds.keys() == other.speeds.keys()
    assert one.values.keys() == other.values.keys()
    for name, track in one.edges.items():
        assert track.time_s.tobytes() == other.edges[name].time_s.tobytes()
    for name, track in one.speeds.items():
        for column in ("time_s", "speed_mps", "u_mps"):
            a, b = getattr(track, column), getattr(other.speeds[name], column)
            assert a.tobytes() == b.tobytes(), (name, column)
    for name, track in one.values.items():
        assert track.value.tobytes() == other.values[name].value.tobytes()
    assert (one.messages, one.rejects, one.warnings, one.kind, one.sha256) == (
        other.messages,
        other.rejects,
        other.warnings,
        other.kind,
        other.sha256,
    )


@pytest.mark.parametrize("name", FILES)
def test_real_recordings_are_the_same_from_the_store(call, tmp_path, name):
    path = DATA / name
    if not path.exists():
        pytest.skip("the recordings made by others are not there (../shared/data)")
    status, answer, _ = call("import", path)
    assert status == 0
    assert answer["file_sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    with open_store() as store:
        same_recording(store.load_recording(answer["recording"]), read_recording(path))
    status, _, _ = call("export", answer["recording"], "--original", "-o", tmp_path / "back")
    assert status == 0
    assert (tmp_path / "back").read_bytes() == path.read_bytes()


def test_several_files_and_one_that_is_none(call, tmp_path):
    good = tmp_path / "run.csv"
    good.write_text("time_s,channel\n0.0,left\n0.5,left\n")
    bad = tmp_path / "shopping.txt"
    bad.write_text("eggs\nbread\n")
    status, answer, said = call("import", good, bad, tmp_path / "missing.csv", good)
    assert status == 2
    assert [entry["recording"] for entry in answer["imported"]] == [1, 2]
    assert (answer["recording"], answer["refused"]) == (1, 2)
    assert "shopping.txt" in said
    assert "missing.csv" in said
    assert "in the store already, as recording 1" in said
    with open_store() as store:
        assert [entry.name for entry in store.recordings()] == ["run.csv", "run.csv"]


def test_a_table_refused_halfway_leaves_nothing_in_the_store(call, tmp_path):
    path = tmp_path / "run.csv"
    path.write_text("time_s,channel\n" + "1.0,left\n" * 500 + "yesterday,left\n")
    status, answer, said = call("import", path)
    assert (status, answer["recording"]) == (2, None)
    assert "line 502" in said
    with open_store() as store:
        assert store.recordings() == []


@pytest.fixture
def live(edge_blocks):
    """The number of a live recording with edges, speeds, values and CAN frames."""
    times = np.linspace(100.1, 102.0, 20)
    speeds = np.where(np.arange(20) % 5, 1.23456789, np.nan)
    blocks = edge_blocks(30)
    right = [
        EdgeBlock("right", i, b.ticks + 200, 1e-6, b.host_s, b.count, b.ticks + 500, b.ticks * 1e-6)
        for i, b in enumerate(blocks)
    ]
    frames = FrameBlock(
        "can0",
        np.array([0x8CFE4945, 0x123, 0x80000000 | 0x18FF1234], np.uint32),
        np.array([8, 0, 3], np.uint8),
        bytes(range(11)),
        times[:3],
        times[:3],
    )
    with open_store(now=lambda: NOW) as store:
        writer = store.begin_recording("live", started_host_s=100.0)
        writer.write([("counter:a", block) for block in (*blocks, *right)], Notes())
        writer.write(
            [("can:c", SpeedBlock("65096/240", speeds, times, times, speeds * 0.01))], Notes()
        )
        writer.write(
            [("can:c", ValueBlock("65096/240", "distance_m", times, times, times))], Notes()
        )
        writer.write([("can:c", frames)], Notes())
        writer.end(Notes())
        return writer.number


def test_tables_come_back_by_import(call, tmp_path, live):
    with open_store() as store:
        original = store.load_recording(live)
    for table in ("edges", "speeds"):
        path = tmp_path / f"{table}.csv"
        status, answer, _ = call("export", live, "--table", table, "-o", path)
        assert status == 0
        assert answer["rows"] == len(path.read_text().splitlines()) - 1
        again = read_recording(path)
        for name, track in original.edges.items() if table == "edges" else ():
            found = again.edges[name]
            assert np.abs(found.time_s - track.time_s).max() <= 1e-9
            if track.fall_s is not None:
                assert np.abs(found.fall_s - track.fall_s).max() <= 1e-9
                assert found.amplitude_v.tolist() == track.amplitude_v.tolist()
        for name, speed in original.speeds.items() if table == "speeds" else ():
            found = again.speeds[name]
            assert found.speed_mps.tobytes() == speed.speed_mps.tobytes()
            assert np.nanmax(np.abs(found.u_mps - speed.u_mps)) == 0
    header = (tmp_path / "edges.csv").read_text().splitlines()[0]
    assert header == "time_s,channel,fall_s,amplitude_v"
    assert (tmp_path / "speeds.csv").read_text().startswith("time_s,source,speed_mps,u_mps\n")


def test_parquet_is_read_by_another_library(call, tmp_path, live):
    pq = pytest.importorskip("pyarrow.parquet", reason="pyarrow, the extra 'parquet'")
    call("export", live, "-o", tmp_path / "edges.parquet")
    call("export", live, "-o", tmp_path / "values.parquet", "--table", "values")
    edges = pq.read_table(tmp_path / "edges.parquet")
    assert edges.column_names == ["time_s", "channel", "fall_s", "amplitude_v"]
    assert edges.num_rows == 3000
    assert edges["fall_s"].null_count == 1500  # the left channel told no falls
    times = edges["time_s"].to_numpy()
    assert (np.diff(times) >= 0).all()
    values = pq.read_table(tmp_path / "values.parquet").to_pylist()
    assert values[0]["quantity"] == "distance_m"
    assert values[0]["value"] == 100.1


@pytest.mark.parametrize("ending", [".asc", ".blf", ".log", ".trc"])
def test_a_can_recording_becomes_a_log_that_python_can_reads(call, tmp_path, live, ending):
    path = tmp_path / f"bus{ending}"
    status, answer, _ = call("export", live, "-o", path)
    assert (status, answer["rows"]) == (0, 3)
    with can.LogReader(path) as reader:
        messages = list(reader)
    assert [m.arbitration_id for m in messages] == [0x0CFE4945, 0x123, 0x18FF1234]
    assert [m.is_extended_id for m in messages] == [True, False, True]
    assert [bytes(m.data) for m in messages] == [bytes(range(8)), b"", bytes([8, 9, 10])]
    assert messages[1].timestamp - messages[0].timestamp == pytest.approx(0.1, abs=1e-3)
    if ending == ".log":  # the one that keeps the calendar in each line
        assert messages[0].timestamp == pytest.approx(NOW.timestamp() + 0.1, abs=1e-5)


@pytest.mark.parametrize("ending", [".asc", ".blf", ".log", ".trc"])
def test_an_imported_log_becomes_another(call, tmp_path, ending):
    dump = tmp_path / "dump.txt"
    lines = [
        f" ({1700000000 + 0.1 * i:.6f})  can0  0CFE48F0   [8]  {i:02X} 04 00 00 00 00 00 FD"
        for i in range(50)
    ]
    dump.write_text("\n".join(lines) + "\n")
    call("import", dump)
    path = tmp_path / f"bus{ending}"
    status, answer, _ = call("export", 1, "-o", path)
    assert (status, answer["rows"]) == (0, 50)
    one, other = read_recording(dump), read_recording(path)
    assert one.speeds.keys() == other.speeds.keys() == {"65096/240"}
    assert (
        one.speeds["65096/240"].speed_mps.tolist() == other.speeds["65096/240"].speed_mps.tolist()
    )
    assert other.speeds["65096/240"].time_s == pytest.approx(
        one.speeds["65096/240"].time_s, abs=1e-3
    )
    status, answer, _ = call("import", path)
    assert status == 0
    status, answer, _ = call("export", answer["recording"], "-o", tmp_path / "again.log")
    assert (status, answer["rows"]) == (0, 50)


def test_a_store_from_elsewhere_writes_where_it_is_told_to_and_nowhere_else(call, tmp_path):
    dump = tmp_path / "dump.log"
    dump.write_text("(1700000000.100000) can0 0CFE48F0#0004000000000000\n" * 3)
    call("import", dump)
    victim, folder = tmp_path / "victim.log", tmp_path / "out"
    victim.write_text("precious")
    folder.mkdir()
    with closing(sqlite3.connect(tmp_path / "bench.db")) as raw:
        raw.execute("UPDATE recording SET name = ?", (str(victim),))
        raw.commit()
    status, answer, _ = call("export", 1, "-o", folder / "bus.asc")
    assert (status, answer["rows"]) == (0, 3)
    assert victim.read_text() == "precious"
    assert [path.name for path in folder.iterdir()] == ["bus.asc"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["1", "-o", "edges.xlsx"], "ending '.xlsx' is not known"),
        (["1", "-o", "there.csv"], "exists already"),
        (["9", "-o", "edges.csv"], "no recording 9"),
        (["1", "-o", "no/folder/edges.csv"], "cannot be written"),
        (["1", "-o", "bus.asc"], "no frames of a CAN bus"),
        (["1", "-o", "x", "--original"], "was not imported from a file"),
        (["1", "-o", "speeds.csv", "--table", "speeds"], "holds no speeds; it holds edges"),
    ],
)
def test_a_wrong_export_is_a_sentence(call, tmp_path, monkeypatch, edge_blocks, words, says):
    monkeypatch.chdir(tmp_path)
    Path("there.csv").write_text("precious")
    with open_store() as store:
        writer = store.begin_recording("x", started_host_s=100.0)
        writer.write([("counter:a", block) for block in edge_blocks(2)], Notes())
    status, answer, said = call("export", *words)
    assert (status, answer["exit_status"]) == (2, 2)
    assert says in said
    assert Path("there.csv").read_text() == "precious"
    assert sorted(path.name for path in tmp_path.iterdir() if "bench" not in path.name) == [
        "there.csv"
    ]


def test_messages_put_together_from_frames_give_no_log(call, tmp_path):
    path = tmp_path / "boat.raw"
    line = "2020-01-01-10:00:00.{:03d},2,129026,35,255,8,ff,fc,00,00,64,00,ff,ff"
    path.write_text("\n".join(line.format(i) for i in range(20)) + "\n")
    call("import", path)
    status, _, said = call("export", 1, "-o", tmp_path / "boat.asc")
    assert status == 2
    assert "messages and not the frames they came in" in said
    assert "--original" in said


def test_a_damaged_recording_is_saved_as_far_as_it_goes(call, tmp_path, edge_blocks):
    import sqlite3

    with open_store() as store:
        writer = store.begin_recording("x", started_host_s=100.0)
        for block in edge_blocks(4):
            writer.write([("counter:a", block)], Notes())
        writer.end(Notes())
    with sqlite3.connect(tmp_path / "bench.db") as raw:
        raw.execute("DROP TRIGGER block_no_update")
        raw.execute("UPDATE block SET data = x'00' WHERE sequence = 2")
    raw.close()
    status, answer, said = call("export", 1, "-o", tmp_path / "rest.csv")
    assert status == 3
    assert (answer["rows"], answer["damaged"]) == (150, 1)
    assert "Block 2 of recording 1" in said

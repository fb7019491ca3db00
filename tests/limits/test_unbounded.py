"""Devices, pipes, folders and huge files in the place of every file: a sentence in a moment."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

GOLDEN = Path(__file__).resolve().parents[1] / "golden" / "inputs"

CALLS = {
    "machine": ["calibrate", "runs.csv", "--machine", "{}"],
    "machine of a recording": ["speed", "edges.csv", "--machine", "{}"],
    "run": ["calibrate", "{}", "--machine", "digger.toml"],
    "as left": ["calibrate", "runs.csv", "--machine", "digger.toml", "--as-left", "{}"],
    "shown": ["calibrate", "steady.csv", "--machine", "digger.toml", "--shown", "{}"],
    "flips": ["calibrate", "steady.csv", "--machine", "digger.toml", "--flips", "{}"],
    "blade": ["gap", "{}", "--machine", "digger.toml"],
    "recording": ["pass", "{}", "--machine", "digger.toml"],
    "file:": ["speed", "file:{}"],
    "inputs": ["inputs", "{}"],
    "import": ["import", "{}"],
    "DBC": ["record", "dbc:{}@can:socketcan:none?belt=A.B:hz"],
    "scenario": ["speed", "sim:{}"],
    "paper": ["verify", "--paper", "{}"],
    "store": ["verify", "--store", "{}"],
    "store of a job": ["speed", "1", "--store", "{}"],
}


@pytest.fixture(scope="module")
def places(tmp_path_factory, limited):
    folder = tmp_path_factory.mktemp("places")
    for name in ("digger.toml", "edges.csv", "runs.csv", "steady.csv"):
        shutil.copy(GOLDEN / name, folder)
    assert limited([["import", "edges.csv", "--store", "store.db"]], folder).statuses == [0]
    os.mkfifo(folder / "pipe.toml")
    (folder / "folder.toml").mkdir()
    for name in ("zero", "full"):
        (folder / f"{name}.toml").symlink_to(f"/dev/{name}")
    with (folder / "huge.toml").open("wb") as file:
        file.truncate(4 << 30)
    (folder / "lines.toml").write_bytes(b"# nothing\n" * 3_000_000)
    (folder / "brackets.toml").write_text("a = " + "[" * 900_000)
    return folder


@pytest.mark.parametrize("name", ["zero", "full", "pipe", "folder", "huge", "lines", "brackets"])
@pytest.mark.parametrize("call", CALLS)
def test_what_is_no_file_of_its_kind_is_a_sentence(limited, places, call, name):
    kept = "--store" in CALLS[call] or call == "inputs"
    store = [] if kept else ["--store", "store.db"]
    words = [word.replace("{}", f"{name}.toml") for word in CALLS[call]]
    ended = limited([[*words, *store]], places)
    ended.check()
    assert ended.statuses[0] in (2, 3), ended.err
    assert f"{name}.toml" in ended.err


@pytest.mark.parametrize("name", ["zero", "full", "pipe", "folder", "huge"])
def test_what_lies_in_the_place_of_a_store_s_head_harms_nothing(limited, places, tmp_path, name):
    (tmp_path / "store.db.head").symlink_to(places / f"{name}.toml")
    edges = str(places / "edges.csv")
    ended = limited(
        [["import", edges, "--store", "store.db"], ["verify", "--store", "store.db"]], tmp_path
    )
    ended.check()
    assert ended.statuses == [0, 0], ended.err


ROWS = {
    "runs": ("calibrate runs.csv --machine digger.toml", "run,shown,laps,laps_time_s", 501),
    "shown": ("calibrate steady.csv --machine digger.toml --shown", "from_s,to_s,shown", 501),
    "flips": ("calibrate steady.csv --machine digger.toml --flips", "time_s,shown,direction", 501),
    "gaps": ("gap", "pickup,angle_deg,gap_m", 10_001),
}


@pytest.mark.parametrize("kind", ROWS)
def test_a_table_longer_than_anyone_types_is_refused_with_what_would_do(limited, tmp_path, kind):
    call, header, rows = ROWS[kind]
    for name in ("digger.toml", "steady.csv"):
        shutil.copy(GOLDEN / name, tmp_path)
    (tmp_path / "long.csv").write_text(f"{header}\n" + f"1,2.5,10,{93.8}\n" * rows)
    words = [word for word in call.split() if word != "runs.csv"]
    words.insert(1 if kind == "runs" else len(words), "long.csv")
    ended = limited([words], tmp_path)
    ended.check()
    assert ended.statuses == [2]
    assert f"long.csv: {rows} rows; expected at most {rows - 1}" in ended.err


def test_a_long_file_is_imported_in_pieces(limited, tmp_path):
    """Its bytes and their copies would not fit into the memory there is."""
    frame = b"(1.0) can0 0CFE48F0#0000000000000114\n"
    path = tmp_path / "long.log"
    path.write_bytes(frame + b"# nothing but a remark\n" * 12_000_000 + frame)
    store = ["--store", "store.db"]
    ended = limited([["import", "long.log", *store]], tmp_path)
    ended.check()
    assert ended.statuses == [0], ended.err

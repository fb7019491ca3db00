"""A store copied to a file and put back: whole or not at all, and nothing overwritten."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from drivers.contract import EdgeBlock, Notes
from workbench.base.errors import StoreError, WrongInput
from workbench.cli import main
from workbench.records.backup import back_up, restore
from workbench.records.brought_up import brought_up
from workbench.records.database import StoreBusy
from workbench.records.migrate import NEWEST
from workbench.records.store import open_store

NOW = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
FORMATS = Path(__file__).with_name("formats")
TICKS = np.cumsum(np.arange(1000, 1040))


def now():
    return NOW


def begin(store, name):
    writer = store.begin_recording(name, started_host_s=10.0)
    writer.write([("counter:a", EdgeBlock("left", 0, TICKS, 1e-6, 10.1, 40))], Notes())
    return writer


def filled(path):
    with open_store(str(path), now=now) as store:
        begin(store, "first").end(Notes(), "the time is over")
        store.add_result("speed", '{"verdict": "pass"}', "{}", recording=1)
        store.describe(1, "north field", "windy")
    return path


def told(path):
    """All that a store holds, its ledger too."""
    with closing(sqlite3.connect(path)) as database:
        return [line for line in database.iterdump() if not line.startswith("PRAGMA")]


def test_a_copy_is_the_store_in_one_file_and_comes_back_as_it_was(tmp_path):
    store = filled(tmp_path / "bench.db")
    stick = tmp_path / "stick"
    stick.mkdir()
    shares = []
    made = back_up(str(store), stick, lambda share, _: shares.append(share), now)
    assert made.path == stick / "bench-2026-05-04.db"
    assert [one.name for one in stick.iterdir()] == [made.path.name]
    assert not made.found.problems
    assert not made.found.notes
    assert told(made.path) == told(store)
    assert shares == sorted(shares)
    assert shares[-1] <= 1
    again = back_up(str(store), stick, now=now)
    assert again.path.name == "bench-2026-05-04-2.db"
    with open_store(str(store), now=now) as changed:
        changed.describe(1, "another name", "")
    back = restore(made.path, str(store), now=now)
    assert back.set_aside == tmp_path / "bench-2026-05-04-set-aside.db"
    for path, title in ((store, "north field"), (back.set_aside, "another name")):
        with open_store(str(path), make=False, now=now) as opened:
            assert opened.recording(1).title == title
            found = opened.check()
            assert not found.problems
            assert not found.notes
    assert told(made.path) == told(again.path)


def test_a_recording_goes_on_while_it_is_copied(tmp_path):
    path = tmp_path / "bench.db"
    with open_store(str(path), now=now) as store:
        writer = begin(store, "first")

        def at_each_step(_share, _step):
            writer.write([("counter:a", EdgeBlock("left", 0, TICKS, 1e-6, 10.1, 40))], Notes())

        made = back_up(str(path), tmp_path / "copy.db", at_each_step, now)
        writer.end(Notes(), "the time is over")
        assert not store.check().problems
    assert [note.template for note in made.found.notes] == [
        "Recording {number} has no seal: it is under way, or was broken off."
    ]
    restore(made.path, str(tmp_path / "other.db"), now=now)
    with open_store(str(tmp_path / "other.db"), now=now) as copy:
        assert copy.recording(1).state == "recording"


def test_a_store_in_use_is_not_replaced(tmp_path):
    path = filled(tmp_path / "bench.db")
    made = back_up(str(path), tmp_path / "copy.db", now=now)
    with open_store(str(path), now=now) as store:
        writer = begin(store, "second")
        before = sorted(one.name for one in tmp_path.iterdir())
        with pytest.raises(StoreBusy, match="close the bench"):
            restore(made.path, str(path), now=now)
        assert sorted(one.name for one in tmp_path.iterdir()) == before
        writer.end(Notes(), "the time is over")
        assert len(store.recordings()) == 2


def test_a_damaged_copy_is_refused_and_a_damaged_store_copied(tmp_path):
    path = filled(tmp_path / "bench.db")
    before = told(path)
    made = back_up(str(path), tmp_path / "copy.db", now=now)
    for one in (made.path, path):
        with closing(sqlite3.connect(one)) as database, database:
            database.execute("UPDATE card SET head = replace(head, 'pass', 'fail')")
    with pytest.raises(StoreError, match="nothing was restored: Result 1 is not as"):
        restore(made.path, str(tmp_path / "new.db"), now=now)
    assert not (tmp_path / "new.db").exists()
    assert told(path) != before
    again = back_up(str(path), tmp_path / "again.db", now=now)
    assert "Result 1 is not as" in str(again.found.problems[0])
    assert told(again.path) == told(path)


def test_what_is_no_copy_and_what_stands_there_is_left_alone(tmp_path):
    path = filled(tmp_path / "bench.db")
    table = tmp_path / "runs.csv"
    table.write_text("shown,true\n")
    for wrong, said in ((table, "is no store"), (tmp_path / "none", "no such file")):
        with pytest.raises(WrongInput, match=said):
            restore(wrong, str(path), now=now)
    with pytest.raises(WrongInput, match="the store itself"):
        restore(path, str(path), now=now)
    with pytest.raises(WrongInput, match="not overwritten"):
        back_up(str(path), table, now=now)
    with pytest.raises(StoreError, match="not a database of recordings"):
        restore(path, str(table), now=now)
    assert table.read_text() == "shown,true\n"
    with pytest.raises(WrongInput, match="pg_dump"):
        restore(path, "postgresql://bench@127.0.0.1:1/bench", now=now)


@pytest.mark.parametrize("former", sorted(FORMATS.glob("format-*.db")), ids=lambda one: one.stem)
def test_a_copy_of_every_format_comes_back(tmp_path, former):
    copy = shutil.copy(former, tmp_path / "copy.db")
    untouched = Path(copy).read_bytes()
    made = restore(Path(copy), str(tmp_path / "new" / "bench.db"), now=now)
    assert made.set_aside is None
    assert not brought_up
    with open_store(made.store, make=False, now=now) as store:
        assert store.recordings()
        assert not store.check().problems
    assert Path(copy).read_bytes() == untouched
    assert sorted(one.name for one in (tmp_path / "new").iterdir()) == ["bench.db", "bench.db.head"]


def test_a_stick_that_is_full_keeps_no_half_a_copy(tmp_path):
    path, stick = filled(tmp_path / "bench.db"), tmp_path / "stick"
    stick.mkdir()
    if shutil.which("mount") is None or os.geteuid() != 0:
        pytest.skip("mounting a small file system needs root")
    words = ["mount", "-t", "tmpfs", "-o", "size=40k", "tmpfs", str(stick)]
    if subprocess.run(words, check=False).returncode:
        pytest.skip("this root may not mount a file system")
    try:
        with pytest.raises(StoreError, match="the disk is full"):
            back_up(str(path), stick, now=now)
        assert not list(stick.iterdir())
    finally:
        subprocess.run(["umount", str(stick)], check=True)


def test_both_are_commands(tmp_path, capsys):
    path = filled(tmp_path / "bench.db")
    copy = tmp_path / "copy.db"
    assert main(["backup", str(copy), "--store", str(path), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["verified"] is True
    assert (answer["recordings"], answer["results"]) == (1, 1)
    assert answer["bytes"] == copy.stat().st_size
    assert main(["restore", str(copy), "--store", str(path)]) == 0
    assert "set-aside.db" in capsys.readouterr().out
    assert main(["restore", str(tmp_path / "none.db"), "--store", str(path), "--json"]) == 2
    assert "no such file" in json.loads(capsys.readouterr().out)["error"]


@pytest.mark.parametrize("command", [["verify", "--all"], ["report", "77", "-o", "x.html"]])
def test_where_a_store_is_kept_as_it_was_before_is_told(tmp_path, capsys, command):
    former = shutil.copy(FORMATS / "format-0003.db", tmp_path / "bench.db")
    before = told(former)
    main([*command, "--store", str(former)])
    (copy,) = tmp_path.glob("bench-*-format-0003.db")
    said = capsys.readouterr().err
    assert f"from format 0003 to {NEWEST}" in said
    assert str(copy) in said
    assert told(copy) == before
    main([*command, "--store", str(former)])
    assert "from format" not in capsys.readouterr().err

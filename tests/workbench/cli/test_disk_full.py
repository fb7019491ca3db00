"""Every command on a disk that is full at one write after the other.

The disk is a small one of its own, a page larger each time, until all has room. Whatever fails
does so in a sentence, and what was said to be kept is there once there is room again.
`EVENPACE_FAULTS=long` takes every page instead of some.
"""

from __future__ import annotations

import gc
import json
import os
import shutil
import sqlite3
import subprocess
from contextlib import closing

import pytest

from tests.workbench.invented import DIGGER, DIGGER_RUNS
from workbench.cli import main
from workbench.records.store import open_store

PAGE = 4096
STEP = 1 if os.environ.get("EVENPACE_FAULTS") == "long" else 24
ROOM = 240
"""So many pages are room for everything below; the last round shows it."""


@pytest.fixture
def disk(tmp_path):
    """`disk(pages)` is an empty disk of so many; `disk.grow()` gives it room."""
    if shutil.which("mount") is None or os.geteuid() != 0:
        pytest.skip("mounting a small file system needs root")
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = []

    def mount(options):
        words = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
        if subprocess.run(words, capture_output=True).returncode:
            pytest.skip("this root may not mount a file system")
        mounted.append(folder)

    def put_away():
        gc.collect()  # a connection that could not be made may still hang on its error
        while mounted:
            subprocess.run(["umount", str(mounted.pop())], check=True)

    def make(pages):
        put_away()
        mount(f"size={PAGE * pages}")
        return folder

    make.grow = lambda: subprocess.run(
        ["mount", "-o", "remount,size=64m", str(folder)], check=True, capture_output=True
    )
    yield make
    put_away()


@pytest.fixture
def call(capsys):
    """Runs a command; its exit status, its JSON object or None."""

    def run(*words):
        capsys.readouterr()
        status = main([*words, "--json"])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        if status == 3:
            assert "disk is full" in err or "No space left" in err, err
        return status, json.loads(out) if out else None

    return run


def everything(call, folder, tables):
    """Record, compute, report and export; the recordings and results said to be kept, and
    whether all went well."""
    store = ("--store", str(folder / "bench.db"))
    statuses, recordings, results = [], [], []

    def one(kept, *words):
        status, answer = call(*words)
        statuses.append(status)
        number = (answer or {}).get("recording" if kept is recordings else "result")
        if status in (0, 1) and number is not None:
            kept.append(number)
        return number

    one(recordings, "record", "sim:healthy?pace=fast", "--for", "8s", *store)
    runs, machine = tables / "runs.csv", tables / "digger.toml"
    one(results, "calibrate", str(runs), "--machine", str(machine), *store)
    if recordings:
        result = one(results, "pass", "1", *store)
        one([], "export", "1", "-o", str(folder / "edges.csv"), *store)
        if result is not None:
            one([], "report", str(result), "-o", str(folder / "pass.html"), *store)
    return recordings, results, all(status in (0, 1) for status in statuses)


def test_a_disk_that_is_full_at_any_write_costs_only_what_it_says(disk, call, tmp_path):
    (tmp_path / "digger.toml").write_text(DIGGER)
    (tmp_path / "runs.csv").write_text(DIGGER_RUNS)
    went_well = []
    for pages in sorted({*range(1, 12), *range(1, ROOM + STEP, STEP)}):
        folder = disk(pages)
        recordings, results, well = everything(call, folder, tmp_path)
        went_well.append(well)
        disk.grow()
        left = {path.name for path in folder.iterdir()}
        assert left <= {
            *("bench.db", "bench.db-wal", "bench.db-shm", "bench.db-journal", "bench.db.head"),
            *("edges.csv", "pass.html"),
        }, f"{pages} pages: {left}"
        path = folder / "bench.db"
        if not path.exists() or not path.stat().st_size:
            assert not recordings
            assert not results
            continue
        with closing(sqlite3.connect(path)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        with open_store(str(path)) as store:
            assert not store.check().problems, f"{pages} pages"
            assert {one.number for one in store.recordings() if one.state == "ended"} >= set(
                recordings
            )
            assert {one.number for one in store.results()} >= set(results)
            for number in recordings:
                assert store.load_recording(number).edges["left"].time_s.size > 100
    assert not went_well[0]
    assert went_well[-1]

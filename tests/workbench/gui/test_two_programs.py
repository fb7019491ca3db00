"""Commands in another program beside a window that records and shows what is kept."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.workbench.invented import DIGGER, DIGGER_RUNS
from workbench.records.recorder import Recorder
from workbench.records.store import open_store

ROOT = Path(__file__).resolve().parents[3]
ANSWERED = (0, 1)
CALIBRATE = "calibrate runs.csv --machine digger.toml"
ROUNDS = 20
COMMANDS_A_ROUND = 3

OTHER_PROGRAM = """
import sys
from workbench.cli import main

sys.stdout.write("ready\\n")
sys.stdout.flush()
for line in sys.stdin:
    words = line.split("\\t")
    status = main([word.strip() for word in words])
    sys.stdout.write(f"ended {status}\\n")
    sys.stdout.flush()
"""


EDGES = "time_s,channel\n" + "".join(f"{k / 100},left\n" for k in range(2000))


@pytest.fixture
def other_program(tmp_path, bench):
    """Calls commands on the window's store from another program, in the folder of `files`."""
    (tmp_path / "digger.toml").write_text(DIGGER)
    (tmp_path / "runs.csv").write_text(DIGGER_RUNS)
    (tmp_path / "edges.csv").write_text(EDGES)
    with subprocess.Popen(
        [sys.executable, "-c", OTHER_PROGRAM],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "EVENPACE_STORE": bench.store, "PYTHONPATH": str(ROOT)},
    ) as other:

        def answer():
            return next(line for line in other.stdout if line.startswith(("ready", "ended")))

        def call(words):
            other.stdin.write("\t".join(words.split()) + "\t--json\n")
            other.stdin.flush()
            return int(answer().split()[1])

        assert answer().strip() == "ready"
        yield call
        other.stdin.close()


@pytest.fixture
def commits_at_once(monkeypatch):
    """The recorder commits at once, so that commits and commands fall together."""
    monkeypatch.setitem(Recorder.__init__.__kwdefaults__, "period_s", 0.001)


@pytest.mark.usefixtures("commits_at_once")
def test_commands_beside_a_recording_window_lose_nothing(
    window, bench, qtbot, pass_time, other_program
):
    """SQLite's own check of the file, and every second of each recording, twenty times over."""
    window.show_page("Records")
    page = window.page("Records")

    def idle():
        window.tick()
        assert not page.works.busy

    def see_list():
        page.reload()
        qtbot.waitUntil(idle, timeout=60_000)

    for round_ in range(1, ROUNDS + 1):
        bench.recording.start(f"round {round_}")
        for _ in range(COMMANDS_A_ROUND):
            pass_time(2, step_s=0.5, look=window.tick)
            see_list()
            assert other_program(CALIBRATE) in ANSWERED
        pass_time(2, step_s=0.5, look=window.tick)
        bench.recording.stop()
        bench.recording.wait()
        with closing(sqlite3.connect(bench.store)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    see_list()
    with open_store(bench.store) as store:
        assert not store.check().problems
        assert len(store.recordings()) == ROUNDS
        assert len(store.results()) == ROUNDS * COMMANDS_A_ROUND
        for entry in store.recordings():
            edges = store.load_recording(entry.number).edges["left"]
            assert edges.time_s[-1] - edges.time_s[0] > 7.0


COMMANDS = (
    "inputs",
    "record sim:healthy?pace=fast --for 20s --machine digger.toml",
    "import edges.csv",
    "speed 2",
    "pass 2",
    "gap 2 --machine digger.toml",
    CALIBRATE,
    "export 2 -o out.csv",
    "export 3 --original -o original.csv",
    "report 2 -o pass.html",
    "verify 1",
    "verify",
)


@pytest.mark.usefixtures("commits_at_once")
def test_every_command_beside_a_recording_window(window, bench, pass_time, other_program, until):
    """Each command ends as it does alone, the database is whole after each, and so is what was
    recorded meanwhile."""
    bench.recording.start("beside all commands")
    until(lambda: bench.recording.number == 1)
    for command in COMMANDS:
        pass_time(2, step_s=0.5, look=window.tick)
        assert other_program(command) in ANSWERED, command
        with closing(sqlite3.connect(bench.store)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    pass_time(2, step_s=0.5, look=window.tick)
    bench.recording.stop()
    bench.recording.wait()
    with open_store(bench.store) as store:
        assert not store.check().problems
        assert [one.state for one in store.recordings()] == ["ended"] * 3
        edges = store.load_recording(1).edges["left"]
        assert edges.time_s[-1] - edges.time_s[0] > 2 * len(COMMANDS)

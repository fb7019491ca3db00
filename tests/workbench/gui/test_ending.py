"""The program ends well however it is asked to: a process of its own, signals from outside."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from workbench.base.ends import EndSays
from workbench.records.store import open_store

if sys.platform == "win32":
    pytest.skip("no such signals there: not on Windows", allow_module_level=True)

ROOT = Path(__file__).resolve().parents[3]
PROGRAM = """
import sys
from PySide6.QtCore import QTimer
from workbench.gui import app

made = app.make_window

def make_and_record(bench):
    window = made(bench)
    def look():
        recording = bench.recording
        if bench.live.drivers and not recording.running:
            recording.start("until the end")
        elif recording.number is not None and bench.live.streams:
            window.frame.disconnect(look)
            if "defect" in sys.argv:
                window.current.refresh = lambda: 1 / 0
                window.header.units.clicked.connect(lambda: print("recording", flush=True))
                QTimer.singleShot(200, window.header.units.click)
            else:
                print("recording", flush=True)
    window.frame.connect(look)
    return window

app.make_window = make_and_record
sys.exit(app.run())
"""


@pytest.fixture
def start(tmp_path):
    """Starts the program, with a recording running by the time it says so."""
    homes = {f"XDG_{name}_HOME": str(tmp_path / name) for name in ("CONFIG", "DATA", "STATE")}
    homes |= {"XDG_CACHE_HOME": str(tmp_path / "CACHE"), "HOME": str(tmp_path)}
    store = {"EVENPACE_STORE": str(tmp_path / "store.db"), "QT_QPA_PLATFORM": "offscreen"}
    started = []

    def go(*words):
        process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, *words],
            cwd=ROOT,
            env={**os.environ, **homes, **store},
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        started.append(process)
        assert process.stdout.readline() == "recording\n"
        return process

    yield go
    for process in started:
        process.kill()
        process.communicate()


def ends_well(process, tmp_path):
    _, said = process.communicate(timeout=30)
    assert "Traceback" not in said
    assert process.returncode == 0
    with open_store(str(tmp_path / "store.db")) as store:
        (entry,) = store.recordings()
        assert store.load_recording(entry.number).simulated
    assert (entry.state, entry.ended_by) == ("ended", (EndSays.PROGRAM_CLOSED,))
    assert entry.name == "until the end"
    return (tmp_path / "STATE" / "evenpace" / "log" / "evenpace.log").read_text(encoding="utf-8")


def test_asked_to_end_it_seals_the_recording_and_says_nothing(start, tmp_path):
    process = start()
    process.send_signal(signal.SIGTERM)
    assert "unexpected" not in ends_well(process, tmp_path)


def test_ctrl_c_after_a_defect_at_every_frame_which_is_logged_once(start, tmp_path):
    process = start("defect")
    process.send_signal(signal.SIGINT)
    assert ends_well(process, tmp_path).count("ZeroDivisionError: division by zero") == 1

"""Start, stop and failure of a recording; a pass from its start to the answer in the store."""

from __future__ import annotations

import threading

import pytest

from workbench.base.ends import EndSays
from workbench.base.errors import StoreError
from workbench.records.store import open_store
from workbench.records.writer import Writer


def watch_until(bench, holds):
    """Frames until something holds that a thread of the recording brings about."""
    pause = threading.Event()
    for _ in range(2000):
        bench.recording.look()
        if holds():
            return
        pause.wait(0.005)
    pytest.fail(f"it never came; last said: {bench.recording.said}")


def test_a_recording_is_kept_whole_and_sealed(bench, pass_time):
    bench.use_inputs(["sim:healthy?seed=1"])
    bench.recording.start("a try")
    pass_time(5)
    assert bench.recording.running
    assert bench.recording.duration_s == pytest.approx(5.0)
    bench.recording.stop()
    bench.recording.wait()
    with open_store(bench.store) as store:
        (entry,) = store.recordings()
        recording = store.load_recording(entry.number)
    assert (entry.state, entry.simulated, entry.name) == ("ended", True, "a try")
    assert recording.edges["left"].time_s[-1] > 4.5
    assert bench.live.running


def test_closing_seals_what_runs(bench, pass_time):
    bench.use_inputs(["sim:healthy?seed=1"])
    bench.recording.start()
    pass_time(2)
    bench.close()
    with open_store(bench.store) as store:
        (entry,) = store.recordings()
    assert (entry.state, entry.ended_by) == ("ended", (EndSays.PROGRAM_CLOSED,))


def test_without_an_input_nothing_is_recorded(bench):
    bench.recording.start()
    assert not bench.recording.running
    assert "no input" in bench.recording.said


def test_a_store_that_cannot_be_opened_is_said(bench, tmp_path):
    bench.store = str(tmp_path / "no" / "such" / "folder.db")
    (tmp_path / "no").write_text("a file, not a folder")
    bench.use_inputs(["sim:healthy"])
    bench.recording.start()
    watch_until(bench, lambda: not bench.recording.running)
    watch_until(bench, lambda: bench.recording.said.startswith("Not recording: "))
    assert "cannot be used" in bench.told[-1]
    assert bench.live.running


def test_a_full_disk_ends_the_recording_with_a_sentence(bench, pass_time, monkeypatch):
    bench.use_inputs(["sim:healthy?seed=1"])
    bench.recording.start()
    pass_time(1)

    def full(*_args):
        raise StoreError("The store cannot be used: the disk is full; make room.")

    monkeypatch.setattr(Writer, "write", full)
    pass_time(1, look=lambda: None)
    watch_until(bench, lambda: not bench.recording.running)
    watch_until(bench, lambda: "disk is full" in bench.recording.said)
    assert "disk is full" in bench.told[-1]
    assert bench.live.running

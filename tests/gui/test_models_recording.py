"""Start, stop and failure of a recording; a pass from its start to the answer in the store."""

from __future__ import annotations

import threading

import pytest

from workbench.errors import StoreError
from workbench.models import archive
from workbench.models.pass_job import Cue, PassJob
from workbench.models.pass_words import pass_rows, pass_words
from workbench.records.store import open_store
from workbench.records.writer import Writer
from workbench.units import US


def watch_until(bench, holds):
    """Frames until something holds that a thread of the recording brings about."""
    pause = threading.Event()
    for _ in range(2000):
        bench.recording.watch()
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
    assert (entry.state, entry.end_reason) == ("ended", "the program was closed")


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


def test_a_pass_is_judged_live_and_from_the_record(bench, pass_time):
    bench.use_inputs(["sim:valve-off?seed=4"])
    job = PassJob(bench)
    assert job.stop() is None
    pass_time(2)
    job.start()
    pass_time(40, look=lambda: (bench.live.update(), job.look()))
    assert job.cue() is Cue.OUT_OF_BAND
    assert "slow" in job.sentence()
    (driver,) = bench.live.drivers
    truth = driver.truth()
    number = job.stop()
    answer = job.judge(number)
    # The simulator's own truth of this run.
    assert answer["ratio"] == pytest.approx(truth.ratio(15, 39), abs=answer["U_ratio"])
    assert answer["verdict"] in ("fail", "conditional fail")
    stored = archive.result(bench.store, answer["result"])
    assert stored.answer["ratio"] == answer["ratio"]
    words = pass_words(stored.answer, US)
    assert "slower than the ground" in words.sentence
    assert words.to_do
    assert words.why
    assert len(pass_rows(stored.answer)) == len(answer["series"]["time_s"])


def test_a_pass_without_signals_says_what_is_missing(bench, clock):
    job = PassJob(bench)
    job.start()
    assert not job.running
    assert job.said == "There is no belt signal yet; see Signals."


def test_a_lost_signal_has_its_own_cue(bench, clock, pass_time):
    bench.use_inputs(["sim:healthy?seed=1"])
    job = PassJob(bench)
    pass_time(15)
    job.start()
    pass_time(5, look=lambda: (bench.live.update(), job.look()))
    bench.live.stop()
    clock.now_s += 30
    job.look()
    assert job.cue() is Cue.LOST
    assert job.sentence().startswith("No signal from the ")
    bench.use_inputs(["sim:healthy"])
    job.stop()

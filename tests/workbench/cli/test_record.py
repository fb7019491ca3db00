"""`record` as its user meets it, and `speed`, `pass` and `verify` on what was recorded."""

from __future__ import annotations

import io
import json
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from dataclasses import replace

import numpy as np
import pytest

from drivers.contract import DeviceLost, DeviceMissing
from tests.workbench.cli.calling import another_hand
from workbench.base.ends import EndSays
from workbench.cli import main
from workbench.cli.live_line import LiveLine
from workbench.jobs.keep import add
from workbench.jobs.speed.answer import SpeedOptions
from workbench.jobs.speed.compute import compute
from workbench.live.session import InputState, InputStatus
from workbench.records import database, recorder, store
from workbench.records.recorder import Patience
from workbench.records.store import open_store

try:
    import tty
except ImportError:  # Windows has no pseudo-terminals
    tty = None

MACHINE = 'name = "Test bench"\n[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.2\n'


@pytest.fixture
def call(capsys):
    """Runs a command; (exit status, its JSON object or None, what it said on stderr)."""

    def run(*words):
        status = main([*words])
        out, err = capsys.readouterr()
        return status, json.loads(out) if "--json" in words and out else None, err

    return run


@pytest.fixture
def plugged(monkeypatch):
    """Makes `record` find these drivers by their addresses."""

    def plug(*drivers):
        known = {driver.address: driver for driver in drivers}
        monkeypatch.setattr("workbench.cli.record.open_input", known.__getitem__)

    return plug


def test_a_simulated_minute_is_recorded_computed_and_verified(call):
    status, recorded, _ = call("record", "sim:healthy?pace=fast", "--for", "60s", "--json")
    assert status == 0
    assert recorded["recording"] == 1
    assert recorded["duration_s"] == pytest.approx(60.0, abs=0.2)
    assert recorded["simulated"]
    assert recorded["inputs"][0]["edges"] > 1000
    number = "1"
    status, speed, _ = call("speed", number, "--json")
    assert status == 0
    _, direct, _ = call("speed", "sim:healthy", "--for", "60s", "--json")
    # Once by the fitted clock, once by the counter's own: it is a few tens of ppm off.
    assert speed["belt_speed_mps"] == pytest.approx(direct["belt_speed_mps"], rel=100e-6)
    _, passed, _ = call("pass", number, "--json")
    assert passed["verdict"] == "pass"
    for answer in (speed, passed):
        status, verified, _ = call("verify", str(answer["result"]), "--json")
        assert (status, verified["verified"], verified["differences"]) == (0, True, [])
    status, whole, _ = call("verify", "--json")
    assert (status, whole["recordings"], whole["results"]) == (0, 1, 2)


def test_the_whole_way_in_a_shops_postgresql(call, new_database, tmp_path):
    there = ["--store", new_database]
    status, _, _ = call("record", "sim:healthy?pace=fast", "--for", "20s", "--json", *there)
    assert status == 0
    _, speed, _ = call("speed", "1", "--json", *there)
    status, verified, _ = call("verify", str(speed["result"]), "--json", *there)
    assert (status, verified["verified"]) == (0, True)
    status, written, _ = call("export", "1", "-o", str(tmp_path / "x.csv"), "--json", *there)
    assert (status, written["rows"] > 1000) == (0, True)
    assert not (tmp_path / "bench.db").exists()


def test_verify_tells_each_field_that_differs(call, capsys, monkeypatch):
    call("record", "sim:healthy?pace=fast", "--for", "10s", "--json")
    with open_store() as store:
        recording = store.load_recording(1)
        answer = compute(recording, None, SpeedOptions())
        other = replace(answer.speeds[0], label="something else")
        wrong = replace(answer, edges=answer.edges + 1, speeds=(other, *answer.speeds[1:]))
        number = add(store, "speed", wrong, SpeedOptions(), recording=1)
    status, verified, _ = call("verify", str(number), "--json")
    assert status == 1
    fields = {found["field"]: (found["stored"], found["now"]) for found in verified["differences"]}
    assert set(fields) == {"edges", "speeds[0].label"}
    assert fields["edges"][0] == fields["edges"][1] + 1
    for version in (verified["made_by"], "another"):
        monkeypatch.setattr("workbench.jobs.verify.program_version", lambda said=version: said)
        assert main(["verify", str(number)]) == 1
        assert ("another version of the program" in capsys.readouterr().out) == (
            version == "another"
        )


def test_verify_of_a_result_sees_what_another_hand_did_to_what_is_shown_of_it(call, tmp_path):
    call("record", "sim:healthy?pace=fast", "--for", "10s", "--json")
    _, answer, _ = call("speed", "1", "--json")
    with sqlite3.connect(tmp_path / "bench.db") as raw:
        raw.execute("UPDATE card SET note = 'another' WHERE result = 1")
        raw.execute("UPDATE recording SET end_reason = 'another' WHERE number = 1")
    raw.close()
    status, found, _ = call("verify", str(answer["result"]), "--json")
    assert (status, found["verified"]) == (1, False)
    assert [one["field"] for one in found["differences"]] == ["ledger.result", "ledger.recording"]


def test_verify_finds_a_recording_that_was_changed(call, tmp_path):
    call("record", "sim:healthy?pace=fast", "--for", "10s", "--json")
    _, answer, _ = call("speed", "1", "--json")
    with sqlite3.connect(tmp_path / "bench.db") as raw:
        raw.execute("DROP TRIGGER piece_no_delete")
        raw.execute("DELETE FROM piece WHERE sequence = 1")
    raw.close()
    status, _, said = call("verify", str(answer["result"]), "--json")
    assert status == 3
    assert "altered after it ended" in said
    status, whole, said = call("verify", "--json")
    assert (status, whole["verified"]) == (3, False)
    assert whole["problems"]


@pytest.mark.parametrize(("table", "column"), [("stream", "name"), ("piece", "sequence")])
def test_a_damaged_row_is_a_sentence_of_verify_and_export(call, tmp_path, own_store, table, column):
    call("record", "sim:healthy?pace=fast", "--for", "3s", "--json")
    call("speed", "1", "--json")
    another_hand(own_store, f"UPDATE {table} SET {column} = x'00ff' WHERE rowid = 1")
    for words in (["verify"], ["verify", "1"], ["export", "1", "-o", str(tmp_path / "x.csv")]):
        status, answer, said = call(*words, "--json")
        assert (status, bool(answer["error"])) == (3, True), said
        assert "unexpected" not in said


@pytest.mark.parametrize(
    ("table", "column"),
    [("result", "answer"), ("card", "head"), ("recording", "name"), ("recording", "sha256")],
)
def test_a_row_that_holds_bytes_for_text_is_told_as_altered(call, own_store, table, column):
    call("record", "sim:healthy?pace=fast", "--for", "3s", "--json")
    call("speed", "1", "--json")
    another_hand(own_store, f"UPDATE {table} SET {column} = CAST({column} AS BLOB)")
    for words in (["verify"], ["verify", "1"]):
        status, _, said = call(*words, "--json")
        assert status in (1, 3), said
        assert "unexpected" not in said


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["sim:healthy?pace=fast"], 2, "--for 60s"),
        (["sim:nowhere"], 2, "nowhere"),
        (["bluetooth:x"], 2, "no input address"),
        (["file:x.csv"], 2, "evenpace import"),
        (["sim:healthy", "sim:healthy"], 2, "named twice"),
        (["counter:/dev/no-such-port"], 3, "/dev/no-such-port"),
        (["sim:healthy", "counter:/dev/no-such-port"], 3, "/dev/no-such-port"),
        (["sim:healthy?pace=fast", "--for", "1s", "--machine", "no-such.toml"], 2, "no-such.toml"),
        (["sim:healthy?pace=fast", "sim:healthy", "--for", "1s"], 2, "one clock"),
    ],
)
def test_a_wrong_call_is_a_sentence_and_leaves_no_recording(call, words, status, says):
    found, _, said = call("record", *words)
    assert found == status
    assert says in said
    assert "Traceback" not in said
    with open_store() as store:
        assert store.recordings() == []


def test_the_machine_file_goes_with_the_recording(call, tmp_path):
    path = tmp_path / "machine.toml"
    path.write_text(MACHINE)
    call(
        "record", "sim:healthy?pace=fast", "--for", "2s", "--machine", str(path), "--name", "row 7"
    )
    path.unlink()
    with open_store() as store:
        entry = store.recording(1)
    assert (entry.name, entry.machine_name, entry.machine_text) == ("row 7", "Test bench", MACHINE)
    _, answer, _ = call("speed", "1", "--json")
    assert "metres_per_pulse" in answer


def test_an_input_that_fails_on_the_way_is_told_and_what_came_is_kept(
    call, plugged, scripted, edge_blocks
):
    script = [edge_blocks(5), DeviceLost("The plug was pulled."), edge_blocks(1, first=5)]
    openings = [None, DeviceMissing("It is not there."), None]
    driver = scripted(script, address="counter:x", openings=openings)
    plugged(driver)
    status, answer, said = call("record", "counter:x", "--for", "1s", "--json")
    assert status == 0
    assert answer["inputs"][0]["edges"] == 300
    assert answer["inputs"][0]["holes"] == 1
    assert "1 hole in the data is on record" in said
    broken = scripted([edge_blocks(5), ZeroDivisionError("no")], address="counter:y")
    plugged(broken)
    status, answer, said = call("record", "counter:y", "--for", "1s", "--json")
    assert status == 3
    assert answer["inputs"][0]["edges"] == 250
    assert "ZeroDivisionError" in said


def test_a_silent_input_is_told(call, plugged, scripted):
    plugged(scripted([[]] * 50, address="counter:x"))
    status, answer, said = call("record", "counter:x", "--for", "1s", "--json")
    assert status == 3
    assert said.splitlines()[1:] == ["evenpace record: counter:x brought nothing."]
    assert answer["error"] == "counter:x brought nothing."


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals: not on Windows")
def test_garbage_on_the_line_is_a_fault(call):
    ours, theirs = os.openpty()
    done = threading.Event()

    def babble():
        rng = np.random.default_rng(1)
        while not done.wait(0.01):
            os.write(ours, rng.integers(0, 256, 500, dtype=np.uint8).tobytes())

    other = threading.Thread(target=babble)
    other.start()
    try:
        tty.setraw(theirs)
        address = f"counter:{os.ttyname(theirs)}"
        status, answer, said = call("record", address, "--for", "1s", "--json")
    finally:
        done.set()
        other.join()
        os.close(ours)
        os.close(theirs)
    assert status == 3
    assert f"{address} brought nothing that is understood (" in answer["error"]
    assert answer["error"] in said
    assert answer["inputs"][0]["items"] == 0


def test_a_plug_pulled_for_good_is_a_fault_and_what_came_before_is_sealed(
    call, plugged, scripted, edge_blocks
):
    driver = scripted([edge_blocks(5), DeviceLost("The plug was pulled.")], address="counter:x")

    class Away(list):
        def pop(self, _at):
            driver.now_s += 8.0  # between two attempts to open it
            return super().pop(0)

    driver.openings = Away([None, *[DeviceMissing("It is not there.")] * 100])
    plugged(driver)
    status, answer, said = call("record", "counter:x", "--for", "20s", "--json")
    assert status == 3
    faults = [line for line in said.splitlines() if line.startswith("evenpace record:")]
    assert faults == [f"evenpace record: {answer['error']}"]
    assert "The plug was pulled. It was not back by the end of the run." in answer["error"]
    assert answer["inputs"][0]["edges"] == 250
    with open_store() as store:
        assert store.recording(1).state == "ended"
        assert sum(t.time_s.size for t in store.load_recording(1).edges.values()) == 250


def waiting_for(condition):
    def step():
        end_s = time.monotonic() + 20
        while not condition() and time.monotonic() < end_s:
            time.sleep(0.01)
        return []

    return step


def test_a_store_locked_at_the_end_is_a_fault_and_only_what_is_stored_is_told(
    call, plugged, scripted, edge_blocks, tmp_path, monkeypatch
):
    path = tmp_path / "bench.db"
    monkeypatch.setattr(database, "_BUSY_MS", 5)
    monkeypatch.setattr(recorder, "Patience", lambda: Patience(closing_s=0.05))
    other = sqlite3.connect(path, check_same_thread=False, isolation_level=None)

    def lock():
        other.execute("BEGIN IMMEDIATE")
        return []

    blocks = edge_blocks(30)
    script = [
        blocks[:10],
        waiting_for(lambda: _blocks(path) > 0),  # the first are committed
        lock,
        blocks[10:],
    ]
    plugged(scripted(script, address="counter:x"))
    status, answer, said = call("record", "counter:x", "--for", "20s", "--json")
    other.rollback()
    other.close()
    assert status == 3
    assert "another program holds it" in answer["error"]
    assert said.count("evenpace record:") == 1
    with open_store() as store:
        stored = store.load_recording(1).edges["left"].time_s.size
    assert answer["inputs"][0]["edges"] == stored == 500
    assert answer["duration_s"] == pytest.approx(0.5, abs=0.1)  # by the last block's arrival


def test_a_lock_that_goes_before_patience_ends_costs_nothing(
    call, plugged, scripted, edge_blocks, tmp_path, monkeypatch
):
    monkeypatch.setattr(database, "_BUSY_MS", 5)
    other = sqlite3.connect(tmp_path / "bench.db", check_same_thread=False, isolation_level=None)

    def lock():
        other.execute("BEGIN IMMEDIATE")
        threading.Timer(1.0, other.rollback).start()
        return []

    plugged(scripted([edge_blocks(10), lock], address="counter:x"))
    status, answer, _ = call("record", "counter:x", "--for", "20s", "--json")
    other.close()
    assert (status, answer["inputs"][0]["edges"]) == (0, 500)
    with open_store() as store:
        assert store.recording(1).sha256 == answer["sha256"] == store.recording_sha256(1)


def test_a_store_deleted_in_mid_recording_is_a_fault_and_nothing_is_claimed(
    call, plugged, scripted, edge_blocks, tmp_path
):
    path = tmp_path / "bench.db"

    def delete():
        for beside in tmp_path.glob("bench.db*"):
            beside.unlink()
        return []

    blocks = edge_blocks(20)
    script = [blocks[:10], waiting_for(lambda: _blocks(path) > 0), delete, blocks[10:]]
    plugged(scripted(script, address="counter:x"))
    status, answer, said = call("record", "counter:x", "--for", "20s", "--json")
    assert status == 3
    assert "was deleted" in answer["error"]
    assert "is lost with it" in answer["error"]
    assert said.count("evenpace record:") == 1
    assert answer["inputs"][0]["edges"] == 0


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to one process")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_stopping_by_hand_keeps_everything(tmp_path, how):
    words = [sys.executable, "-m", "workbench.cli", "record", "sim:healthy", "--json"]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    while process.poll() is None and not _blocks(tmp_path / "bench.db"):
        time.sleep(0.05)
    process.send_signal(how)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    answer = json.loads(out)
    assert answer["end_reason"] == "stopped by the person"
    with open_store() as store:
        assert store.recording(1).state == "ended"
        assert store.recording(1).ended_by == (EndSays.STOPPED_BY_PERSON,)
        edges = store.load_recording(1).edges
        kept = sum(track.time_s.size for track in edges.values())
    assert kept == answer["inputs"][0]["edges"]


def _blocks(path):
    if not path.exists():
        return 0
    try:
        with sqlite3.connect(f"file:{path}?mode=ro", uri=True) as raw:
            count = raw.execute("SELECT count(*) FROM block").fetchone()[0]
        raw.close()
    except sqlite3.OperationalError:
        return 0
    return count


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_the_answer_is_there_before_it_is_packed_and_ctrl_c_then_costs_nothing(
    call, capsys, monkeypatch
):
    said = []

    def pack(store, number, progress):
        said.append(json.loads(capsys.readouterr().out)["recording"])
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(store.Store, "pack", pack)
        status = main(["record", "sim:healthy?pace=fast", "--for", "5s", "--json"])
    assert (status, said) == (0, [1])
    assert capsys.readouterr() == ("", "")
    assert call("speed", "1", "--json")[0] == 0


def test_the_live_line_tells_rates_losses_and_silence():
    now = [0.0]
    screen = Terminal()
    line = LiveLine(screen, lambda: now[0])
    counter = InputStatus("counter:a", InputState.RUNNING, last_host_s=0.0)
    gnss = InputStatus("gnss:b", InputState.RECONNECTING, "It is not there.")
    line.show([counter, gnss])
    now[0] = 2.0
    later = InputStatus(
        "counter:a", InputState.RUNNING, items=40, edges=4000, lost=7, holes=1, last_host_s=2.0
    )
    line.show([later, gnss])
    shown = screen.getvalue().rsplit("\r", 1)[1]
    assert "2.0 s" in shown
    assert "counter:a 2000 pulses/s" in shown
    assert "gnss:b reconnecting: It is not there." in line.text([later, gnss], 2.0)
    assert "lost 7 in 1 hole" in line.text([later, gnss], 2.0)
    assert "counter:a silent for 5 s" in line.text([later], 7.0)


def test_no_live_line_where_there_is_no_terminal():
    quiet = io.StringIO()
    line = LiveLine(quiet, lambda: 0.0)
    line.show([InputStatus("counter:a")])
    line.end()
    assert quiet.getvalue() == ""

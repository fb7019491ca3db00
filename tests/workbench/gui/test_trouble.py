"""Trouble under way: devices, disks, sleep, a second program. No loss, and a sentence."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing

import numpy as np
import pytest
import sqlalchemy as sa

from drivers.contract import BaseDriver, DeviceBusy, DeviceLost, DeviceMissing, SpeedBlock
from workbench.gui.header import Header
from workbench.gui.theme import THEMES
from workbench.models.bench import Bench
from workbench.models.lookout import Lookout
from workbench.models.settings import Settings
from workbench.records import store as stores
from workbench.records.recorder import Patience, Recorder
from workbench.records.server import PatientConnection
from workbench.records.store import open_store
from workbench.records.writer import Writer

pause = threading.Event()


class Plug(BaseDriver):
    """A radar on a plug that a test pulls; one value a read, at most one each 2 ms."""

    def __init__(self, clock):
        super().__init__("plug:1", clock)
        self.plugged, self.busy, self.told = True, False, 0
        self.noise = np.empty(0)

    def _open(self):
        if self.busy:
            raise DeviceBusy("Another program holds /dev/ttyUSB0; close that one first.")
        if not self.plugged:
            raise DeviceMissing("/dev/ttyUSB0 is not there; plug it in.")

    def _read_some(self, _timeout_s):
        if not self.plugged:
            raise DeviceLost("/dev/ttyUSB0 went away: was its cable pulled?")
        pause.wait(0.002)
        self.told += 1
        speeds = np.append(1.0 + self.told, self.noise)
        at_s = np.full(speeds.size, self.clock())
        return [SpeedBlock("radar", speeds, at_s, at_s)]

    def _close(self):
        pass


@pytest.fixture
def plug(clock):
    return Plug(clock)


@pytest.fixture
def bench(tmp_path, clock, plug):
    store = str(tmp_path / "store.db")
    made = Bench(Settings(), clock, store, lambda *_: plug, computer_clock=lambda: 0.0)
    yield made
    made.close()


@pytest.fixture
def watch(bench):
    return Lookout(bench)


def until(bench, holds, watch=None):
    """Frames until something holds that another thread brings about."""
    for _ in range(2000):
        bench.live.update()
        bench.recording.look()
        if watch is not None:
            watch.look()
        if holds():
            return
        pause.wait(0.005)
    pytest.fail(f"it never came; told: {list(bench.told)}")


def kept(bench):
    bench.recording.wait()
    with open_store(bench.store) as store:
        (entry, *_) = store.recordings()
        return entry, store.load_recording(entry.number)


def test_a_device_that_goes_and_comes_back_is_told_and_the_hole_is_on_record(bench, plug, watch):
    bench.use_inputs(["plug:1"])
    bench.recording.start()
    until(bench, lambda: plug.told > 5, watch)
    plug.plugged, before = False, plug.told
    until(bench, lambda: bench.told, watch)
    assert bench.told[0].startswith("/dev/ttyUSB0 went away: was its cable pulled?")
    assert bench.told[0].endswith("The recording goes on.")
    plug.plugged = True
    until(bench, lambda: any("is back" in said for said in bench.told), watch)
    until(bench, lambda: plug.told > before + 5, watch)
    bench.recording.stop()
    entry, recording = kept(bench)
    assert entry.state == "ended"
    (hole,) = recording.lost
    assert "plugged in again" in hole.reason
    # Every value of the device, in its order, on both sides of the hole.
    values = recording.speeds["radar"].speed_mps
    np.testing.assert_array_equal(np.diff(values), 1.0)
    assert values[0] <= 1 + before < values[-1]


def test_a_device_held_by_another_program_is_told(bench, plug, watch):
    plug.busy = True
    bench.use_inputs(["plug:1"])
    until(bench, lambda: bench.told, watch)
    assert "Another program holds /dev/ttyUSB0; close that one first." in bench.told[0]
    assert len(bench.told) == 1


def test_starting_a_recording_opens_no_device_anew_that_is_being_read(bench, plug):
    bench.use_inputs(["plug:1"])
    until(bench, lambda: plug.told > 2)
    plug.busy = True  # opening it once more would fail
    bench.recording.start()
    until(bench, lambda: bench.recording.number is not None)
    before = plug.told
    until(bench, lambda: plug.told > before + 2)
    bench.recording.stop()
    before = plug.told
    until(bench, lambda: plug.told > before + 2)
    assert kept(bench)[1].speeds["radar"].speed_mps.size > 2


def test_the_computer_asleep_is_told_and_the_recording_goes_on(bench, plug):
    computer_s = [0.0]
    bench.computer_clock = lambda: computer_s[0]
    watch = Lookout(bench)
    bench.use_inputs(["plug:1"])
    bench.recording.start()
    until(bench, lambda: bench.recording.number is not None, watch)
    computer_s[0] += 600.0
    watch.look()
    watch.look()
    assert list(bench.told) == [
        "The computer was asleep, or too busy to look, for 10.0 min. The recording goes on. "
        "The gap is on record."
    ]
    before = plug.told
    until(bench, lambda: plug.told > before + 20, watch)
    assert bench.recording.running
    bench.recording.stop()
    (hole,) = kept(bench)[1].lost
    assert "asleep" in hole.reason


def test_a_slow_disk_holds_up_nothing_and_loses_nothing(bench, plug, monkeypatch):
    """Were the screen's thread to wait for the store, it would wait for itself here."""
    disk, open_really, end_really = threading.Event(), stores.open_store, Writer.end

    def slow_open(*words):
        assert disk.wait(30)
        return open_really(*words)

    def slow_end(*words):
        assert disk.wait(30)
        return end_really(*words)

    monkeypatch.setattr(stores, "open_store", slow_open)
    monkeypatch.setattr(Writer, "end", slow_end)
    bench.use_inputs(["plug:1"])
    until(bench, lambda: plug.told > 2)
    bench.recording.start()
    first = plug.told
    until(bench, lambda: plug.told > first + 20)
    assert bench.recording.running
    assert bench.recording.number is None
    disk.set()
    until(bench, lambda: bench.recording.number is not None)
    disk.clear()
    last = plug.told
    bench.recording.stop()
    assert bench.recording.said == "The recording is being sealed …"
    disk.set()
    until(bench, lambda: bench.recording.said == "Recording 1 is kept.")
    values = kept(bench)[1].speeds["radar"].speed_mps
    np.testing.assert_array_equal(np.diff(values), 1.0)
    # One value may be on its way at the moment of the start and of the stop.
    assert values[0] <= 1.0 + first + 2
    assert values[-1] >= 1.0 + last - 2


def test_a_recording_stopped_before_the_slow_store_was_open_is_kept(bench, plug, monkeypatch):
    disk, open_really = threading.Event(), stores.open_store

    def slow_open(*words):
        assert disk.wait(30)
        return open_really(*words)

    monkeypatch.setattr(stores, "open_store", slow_open)
    bench.use_inputs(["plug:1"])
    bench.recording.start()
    until(bench, lambda: plug.told > 5)
    bench.recording.stop()
    assert bench.recording.last_number is None
    disk.set()
    assert kept(bench)[1].speeds["radar"].speed_mps.size > 2
    assert bench.recording.last_number == 1


@pytest.fixture
def full_disk(bench):
    """The store may grow by four pages, then SQLite says that the disk is full."""
    open_store(bench.store).close()
    with closing(sqlite3.connect(bench.store)) as database:
        (pages,) = database.execute("PRAGMA page_count").fetchone()

    def limit(connection, _record):
        connection.execute(f"PRAGMA max_page_count = {pages + 4}")

    sa.event.listen(sa.Engine, "connect", limit)
    yield
    sa.event.remove(sa.Engine, "connect", limit)


def test_a_full_disk_ends_the_recording_and_keeps_what_was_stored(bench, plug, full_disk):
    plug.noise = np.random.default_rng(1).random(1000)  # cannot be packed into a page
    bench.use_inputs(["plug:1"])
    bench.recording.start()
    until(bench, lambda: bench.told)
    assert not bench.recording.running
    assert "the disk is full" in bench.told[0]
    until(bench, lambda: plug.told > 5)
    assert bench.live.running
    with open_store(bench.store) as store:
        (entry,) = store.recordings()
        assert "the disk is full" in entry.end_reason
        assert store.load_recording(entry.number).simulated is False


@pytest.fixture
def on_a_server(bench, new_database, monkeypatch):
    """The bench keeps its recordings on a server, and is not patient with it."""
    monkeypatch.setattr(PatientConnection, "silence_s", 0.3)
    monkeypatch.setitem(Recorder.__init__.__kwdefaults__, "patience", Patience(closing_s=0.1))
    bench.store = new_database
    bench.use_inputs(["plug:1"])
    bench.recording.start()
    until(bench, lambda: bench.recording.number is not None)


@pytest.mark.usefixtures("on_a_server")
def test_a_frozen_server_is_told_and_waited_for_while_the_screen_goes_on(
    bench, plug, server, qtbot
):
    header = Header(bench, THEMES["bright"])
    qtbot.addWidget(header)
    with server.frozen():
        until(bench, lambda: bench.told)
        assert "the server does not answer. The recording goes on: what comes in" in bench.told[0]
        header.refresh()
        assert header.light.text().endswith("waits for the store")
        before = plug.told
        until(bench, lambda: plug.told > before + 20)
        assert len(bench.told) == 1
    until(bench, lambda: len(bench.told) == 2)
    assert bench.told[1] == "The store takes everything again; nothing was lost."
    header.refresh()
    assert header.light.text().endswith("none lost")
    bench.recording.stop()
    np.testing.assert_array_equal(np.diff(kept(bench)[1].speeds["radar"].speed_mps), 1.0)


@pytest.mark.usefixtures("on_a_server")
def test_a_frozen_server_does_not_hold_up_the_end_of_the_program(bench, plug, server):
    before = plug.told
    until(bench, lambda: plug.told > before + 20)
    with server.frozen():
        bench.close()
        (said,) = bench.told
    assert "the server does not answer. Recording 1 ends here" in said
    assert "blocks not stored: " in said


def test_two_programs_record_into_one_store(bench, plug, tmp_path, clock):
    other_plug = Plug(clock)
    other = Bench(Settings(), clock, store=bench.store, opener=lambda *_: other_plug)
    both = (bench, other)
    for one in both:
        one.use_inputs(["plug:1"])
        one.recording.start()
    for one in both:
        until(one, lambda one=one: one.recording.number is not None and one.live.streams)
    for one in both:
        one.close()
    with open_store(bench.store) as store:
        assert [one.state for one in store.recordings()] == ["ended", "ended"]
        for entry in store.recordings():
            assert store.load_recording(entry.number).speeds["radar"].speed_mps.size

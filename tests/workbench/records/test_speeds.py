"""Read straight into arrays, a recording's speeds are those of `load_recording`."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import numpy as np
import pytest

from drivers.catalogue import open_input
from drivers.contract import (
    ChannelKind,
    EdgeBlock,
    EdgeTrack,
    Notes,
    Recording,
    SpeedBlock,
    ValueBlock,
)
from workbench.base.machine import parse_machine
from workbench.models.records import speed_lines
from workbench.records import speeds
from workbench.records.store import open_store

PER_COMMIT, COMMITS = 100, 120


class Enough(Exception):
    """Ends a reading early."""


def _commit(at, rng):
    """Half a second of two boards with one channel name, one restarted, and a receiver."""
    host_s = 50 + 0.5 * at
    items = []
    for board, rate in (("counter:a", 1 + 40e-6), ("counter:b", 1 - 20e-6)):
        start_s = host_s * rate - (45 if board == "counter:b" and at >= 60 else 3)
        ticks = np.rint((start_s + np.linspace(0, 0.5, PER_COMMIT, endpoint=False)) * 1e6)
        late_s = rng.exponential(1e-3)
        kind = ChannelKind.BELT if board == "counter:a" else ChannelKind.LAP_MARK
        told = (1e-6, host_s + 0.5 + late_s, 0)
        block = EdgeBlock("left", at, ticks.astype(np.int64), *told, kind=kind)
        items.append((board, block))
    now_s = np.array([host_s])
    items.append(("counter:a", ValueBlock("a", "clock_s", now_s * (1 + 40e-6) - 3, now_s, now_s)))
    sent_s = np.array([host_s - 7.0 + 0.1 * i for i in range(5)])
    speed = np.where(rng.random(5) < 0.1, np.nan, 1.2)
    arrived_s = sent_s + 7.01 + rng.exponential(1e-3, 5)
    items.append(("gnss:c", SpeedBlock("rmc", speed, sent_s, arrived_s)))
    return items


@pytest.fixture
def store(tmp_path):
    rng = np.random.default_rng(3)
    with open_store(str(tmp_path / "store.db")) as store:
        writer = store.begin_recording("two boards", started_host_s=49.0)
        for at in range(COMMITS):
            writer.write(_commit(at, rng), Notes())
        writer.end(Notes(warnings=["one sentence"]))
        yield store


def test_the_same_speeds_on_the_same_line_of_time(store):
    told = []
    quick, whole = store.speeds(1, told.append), store.load_recording(1)
    assert told == []
    assert set(quick.edges) == set(whole.edges) == {"left", "left@2"}
    for name, track in whole.edges.items():
        np.testing.assert_array_equal(quick.edges[name].time_s, track.time_s)
        assert quick.edges[name].kind is track.kind
    assert whole.edges["left@2"].kind is ChannelKind.LAP_MARK
    assert set(quick.speeds) == set(whole.speeds) == {"rmc"}
    np.testing.assert_array_equal(quick.speeds["rmc"].time_s, whole.speeds["rmc"].time_s)
    np.testing.assert_array_equal(quick.speeds["rmc"].speed_mps, whole.speeds["rmc"].speed_mps)
    assert quick.warnings == whole.warnings


def test_an_overview_holds_every_stream_from_end_to_end(store, monkeypatch):
    assert store.speeds(1, print, overview=True) is None  # short: reading all takes no longer
    monkeypatch.setattr(speeds, "OVERVIEW", 10)
    some, whole = store.speeds(1, print, overview=True), store.load_recording(1)
    for name, track in whole.edges.items():
        assert some.edges[name].time_s.size >= 9 * PER_COMMIT
        assert some.edges[name].time_s[[0, -1]] == pytest.approx(track.time_s[[0, -1]], abs=0.6)
    assert some.speeds["rmc"].time_s.size >= 45


def test_a_damaged_block_is_told_and_the_rest_is_there(store):
    with closing(sqlite3.connect(store.address)) as raw, raw:
        raw.execute("DROP TRIGGER block_no_update")
        raw.execute("UPDATE block SET data = x'00' WHERE sequence = 4")
    told = []
    quick = store.speeds(1, told.append)
    assert len(told) == 1
    assert "Block 4 of recording 1" in str(told[0])
    edges = sum(track.time_s.size for track in quick.edges.values())
    assert edges == (2 * COMMITS - 1) * PER_COMMIT


def test_reading_can_be_ended_early(store):
    def report(_fraction):
        raise Enough

    with pytest.raises(Enough):
        store.speeds(1, print, report)


def test_a_turn_with_a_pause_in_it_has_no_speed():
    machine = parse_machine(open_input("sim:valve-off", lambda: 0.0).machine_text)
    teeth = machine.drive.target_teeth
    even_s = np.arange(10 * teeth) * 0.01
    time_s = np.concatenate((even_s, even_s + even_s[-1] + 20.0))
    recording = Recording("x", "test", {"left": EdgeTrack("left", time_s, kind=ChannelKind.BELT)})
    line = speed_lines.lines_of(recording, machine).lines["left"]
    slow = np.isnan(line.value)
    assert slow.sum() == teeth
    assert np.allclose(line.value[~slow], line.value[0])
    x, y = line.visible(0.0, time_s[-1], 50)
    assert np.isnan(y[(x > even_s[-1]) & (x < even_s[-1] + 20)]).any()

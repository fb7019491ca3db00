"""A sealed recording is packed into columns, and is then the same to the bit."""

from __future__ import annotations

import sqlite3
import threading
import zlib
from contextlib import closing
from hashlib import sha256

import numpy as np
import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from drivers.catalogue import open_input
from drivers.contract import (
    ChannelKind,
    EdgeBlock,
    EdgeTrack,
    FrameBlock,
    Lost,
    Notes,
    Recording,
    SpeedBlock,
    ValueBlock,
)
from drivers.recording import read_for
from workbench.base.errors import StoreError
from workbench.base.machine import parse_machine
from workbench.models.records import speed_lines
from workbench.records.codec import CodecError
from workbench.records.columns import columns_from, joined, pack, same, unpack
from workbench.records.database import transaction
from workbench.records.store import open_store

PER_COMMIT, COMMITS = 100, 120


class Enough(Exception):
    """Ends a reading early."""


def _commit(at, rng):
    """Half a second of two boards with one channel name, one restarted, a receiver and a bus."""
    host_s = 50 + 0.5 * at
    items = []
    for board, rate in (("counter:a", 1 + 40e-6), ("counter:b", 1 - 20e-6)):
        start_s = host_s * rate - (45 if board == "counter:b" and at >= 60 else 3)
        ticks = np.rint((start_s + np.linspace(0, 0.5, PER_COMMIT, endpoint=False)) * 1e6)
        ticks = ticks.astype(np.int64)
        late_s = rng.exponential(1e-3)
        kind = ChannelKind.BELT if board == "counter:a" else ChannelKind.LAP_MARK
        falls = ticks + 900 if at % 3 else None
        peaks = rng.normal(5, 0.1, ticks.size) if at % 5 == 0 else None
        told = (1e-6, host_s + 0.5 + late_s, at, falls, peaks)
        items.append((board, EdgeBlock("left", at, ticks, *told, kind=kind)))
    now_s = np.array([host_s])
    items.append(("counter:a", ValueBlock("a", "clock_s", now_s * (1 + 40e-6) - 3, now_s, now_s)))
    sent_s = np.array([host_s - 7.0 + 0.1 * i for i in range(5)])
    speed = np.where(rng.random(5) < 0.1, np.nan, 1.2)
    arrived_s = sent_s + 7.01 + rng.exponential(1e-3, 5)
    u_mps = np.full(5, 0.02) if at % 2 else None
    items.append(("gnss:c", SpeedBlock("rmc", speed, sent_s, arrived_s, u_mps)))
    items.append(("gnss:c", ValueBlock("rmc", "latitude_deg", 31 + speed, sent_s, arrived_s)))
    if at % 40 == 7:
        items.append(("counter:b", Lost("left", 3, host_s, host_s + 0.1, "a hole")))
        items.append(("gnss:c", Lost("", None, host_s, host_s + 0.2, "unplugged")))
    ids, lengths = np.array([0x98FEF100, 5], np.uint32), np.array([8, 2], np.uint8)
    data = rng.integers(0, 256, 10).astype(np.uint8).tobytes()
    both_s = np.full(2, host_s)
    return [*items, ("can:c", FrameBlock("can0", ids, lengths, data, both_s, both_s))]


def _fill(store):
    rng = np.random.default_rng(3)
    writer = store.begin_recording("two boards", started_host_s=49.0)
    for at in range(COMMITS):
        writer.write(_commit(at, rng), Notes())
    writer.end(Notes(warnings=["one sentence"]), "the end")
    return writer.number


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.db")) as store:
        _fill(store)
        yield store


@pytest.fixture
def small_pieces(monkeypatch):
    monkeypatch.setattr("workbench.records.packing.PIECE_BYTES", 20_000)


def _raw(store, *statements):
    with closing(sqlite3.connect(store.address)) as raw, raw:
        for statement in statements:
            raw.execute(statement)


def _one(store, query):
    with closing(sqlite3.connect(store.address)) as raw:
        return raw.execute(query).fetchone()[0]


def _count(store, table):
    return _one(store, f"SELECT count(*) FROM {table}")


def assert_same_recording(found, expected):
    for tracks in ("edges", "speeds", "values"):
        one, other = getattr(found, tracks), getattr(expected, tracks)
        assert list(one) == list(other)
        for name, track in other.items():
            for field in track.__slots__:
                a, b = getattr(one[name], field), getattr(track, field)
                if isinstance(b, np.ndarray):
                    np.testing.assert_array_equal(a, b, err_msg=f"{name} {field}")
                else:
                    assert a == b, (name, field)
    for field in ("name", "kind", "lost", "messages", "rejects", "warnings", "simulated", "sha256"):
        assert getattr(found, field) == getattr(expected, field)


@pytest.mark.usefixtures("small_pieces")
def test_packed_it_is_the_same_to_the_bit(any_address, same_items):
    with open_store(any_address) as store:
        number = _fill(store)
        items, whole = list(store.items(number)), store.load_recording(number)
        sha256, clocks = store.recording_sha256(number), store.clocks(number)
        assert store.unpacked() == [number]
        store.pack(number)
        assert store.unpacked() == []
        packed = list(store.items(number))
        assert [address for address, _ in packed] == [address for address, _ in items]
        same_items([item for _, item in packed], [item for _, item in items])
        assert_same_recording(store.load_recording(number), whole)
        assert store.recording_sha256(number) == sha256 == store.recording(number).sha256
        assert store.clocks(number) == clocks
        assert store.check().problems == ()
        assert whole.edges["left@2"].kind is ChannelKind.LAP_MARK
        store.pack(number)  # nothing is left to do
        assert store.check().problems == ()


def test_the_journal_is_gone_and_its_place_is_used_again(store):
    store.pack(1)
    assert _count(store, "block") == 0
    with closing(sqlite3.connect(store.address)) as raw:
        raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        before = raw.execute("PRAGMA page_count").fetchone()[0]
    store.pack(_fill(store))
    with closing(sqlite3.connect(store.address)) as raw:
        assert raw.execute("PRAGMA page_count").fetchone()[0] < 1.5 * before


def test_simulated_recordings_are_the_same(tmp_path):
    with open_store(str(tmp_path / "s.db")) as store:
        for scenario in ("healthy", "valve-off", "gnss-dropouts"):
            driver = open_input(f"sim:{scenario}?pace=fast")
            items = read_for(driver, 30.0)
            writer = store.begin_recording(scenario, started_host_s=0.0, simulated=True)
            for start in range(0, len(items), 40):
                some = items[start : start + 40]
                writer.write([(driver.address, item) for item in some], driver.notes)
            writer.end(driver.notes)
            before = store.load_recording(writer.number)
            store.pack(writer.number)
            assert_same_recording(store.load_recording(writer.number), before)


def test_one_that_runs_or_is_damaged_stays_a_journal(store):
    running = store.begin_recording("runs", started_host_s=0.0)
    running.write(_commit(1, np.random.default_rng(1)), Notes())
    store.pack(running.number)
    _raw(store, "DROP TRIGGER block_no_update", "UPDATE block SET data = x'00' WHERE sequence = 4")
    with pytest.raises(StoreError, match="Block 4 of recording 1"):
        store.pack(1)
    assert store.unpacked() == [1]
    assert len(list(store.items(1, lambda _error: None))) > COMMITS


@pytest.mark.usefixtures("small_pieces")
def test_a_packing_that_is_broken_off_loses_nothing(store):
    whole = store.load_recording(1)

    def progress(share, _step):
        if share > 0.5:
            raise Enough

    with pytest.raises(Enough):
        store.pack(1, progress)
    assert _count(store, "piece") == 0
    assert_same_recording(store.load_recording(1), whole)
    # A program that was killed leaves some.
    _raw(store, "INSERT INTO piece VALUES (1, 0, 1, 1, x'00', x'00')")
    assert_same_recording(store.load_recording(1), whole)
    assert store.check().problems == ()
    store.pack(1)
    assert store.check().problems == ()
    assert_same_recording(store.load_recording(1), whole)


def test_packed_while_it_is_being_read(store, same_items):
    expected = list(store.items(1))
    reading = store.items(1)
    found = [next(reading) for _ in range(3)]
    store.pack(1)
    found += list(reading)
    same_items([item for _, item in found], [item for _, item in expected])


@pytest.mark.usefixtures("small_pieces")
@pytest.mark.parametrize(
    "change",
    [
        "UPDATE piece SET data = x'00' WHERE sequence = 0",
        "UPDATE piece SET items = items + 1 WHERE sequence = 0",
        "UPDATE piece SET sequence = 999 WHERE sequence = 0",
        "DELETE FROM piece WHERE sequence = 1",
        "DELETE FROM piece",
        "DELETE FROM packed",
        "UPDATE packed SET clocks = '{\"clocks\": []}'",
        "UPDATE packed SET sha256 = 'none'",
        "UPDATE recording SET sha256 = '0000000000000000'",
    ],
)
def test_another_hand_is_found(store, change):
    store.pack(1)
    kept = [f"{table}_no_{verb}" for table in ("piece", "packed") for verb in ("update", "delete")]
    _raw(store, *(f"DROP TRIGGER {name}" for name in kept), change)
    assert store.check().problems
    with pytest.raises(StoreError):
        store.recording_sha256(1)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE piece SET items = 5",
        "DELETE FROM piece",
        "INSERT INTO piece SELECT recording, 999, stream, items, sha256, data FROM piece LIMIT 1",
        "UPDATE packed SET sha256 = ''",
        "DELETE FROM packed",
    ],
)
def test_the_database_itself_refuses_to_change_what_is_packed(any_address, change):
    with open_store(any_address) as store:
        number = _fill(store)
        store.pack(number)
        with (
            pytest.raises(StoreError, match="written once and kept"),
            transaction(store._engine, store._url, writing=True) as connection,  # noqa: SLF001
        ):
            connection.execute(sa.text(change))
        assert store.check().problems == ()


@pytest.mark.usefixtures("small_pieces")
def test_two_programs_pack_one_recording_at_once(any_address):
    """The second comes to its first step after the first has come to its end, and the other way."""
    with open_store(any_address) as store:
        number = _fill(store)
        whole = store.load_recording(number)
        began = threading.Event()

        def second(share, _step):
            if share > 0.3 and not began.is_set():
                began.set()
                other = threading.Thread(target=store.pack, args=(number,))
                other.start()
                other.join()

        with pytest.raises(StoreError):
            store.pack(number, second)
        assert store.unpacked() == []
        assert_same_recording(store.load_recording(number), whole)
        assert store.check().problems == ()


@pytest.mark.usefixtures("small_pieces")
def test_a_damaged_piece_is_told_and_the_rest_is_there(store):
    whole = store.load_recording(1)
    store.pack(1)
    _raw(store, "DROP TRIGGER piece_no_update", "UPDATE piece SET data = x'00' WHERE sequence = 0")
    with pytest.raises(StoreError, match="Block 0 of recording 1"):
        store.load_recording(1)
    told = []
    rest = store.load_recording(1, told.append)
    assert len(told) == 1
    assert "Block 0 of recording 1" in str(told[0])
    edges = sum(track.time_s.size for track in rest.edges.values())
    assert 0.5 < edges / sum(track.time_s.size for track in whole.edges.values()) < 1
    told.clear()
    assert len(list(store.items(1, told.append))) > COMMITS
    assert len(told) == 1


def test_a_damaged_block_is_told_and_the_rest_is_there(store):
    _raw(store, "DROP TRIGGER block_no_update", "UPDATE block SET data = x'00' WHERE sequence = 0")
    told = []
    rest = store.load_recording(1, told.append)
    assert len(told) == 1
    assert "Block 0 of recording 1" in str(told[0])
    edges = sum(track.time_s.size for track in rest.edges.values())
    assert edges == (2 * COMMITS - 1) * PER_COMMIT


def test_a_block_that_is_none_is_told_alone_of_those_read_together(store):
    """Its checksum is right: only who decodes it can tell."""
    none = zlib.compress(b"no block")
    at = _one(
        store, "SELECT max(sequence) FROM block JOIN stream ON id = stream WHERE kind = 'edges'"
    )
    change = f"UPDATE block SET data = x'{none.hex()}', sha256 = x'{sha256(none).hexdigest()}'"
    _raw(store, "DROP TRIGGER block_no_update", f"{change} WHERE sequence = {at}")
    told = []
    rest = store.load_recording(1, told.append)
    assert [f"Block {at} of recording 1" in str(one) for one in told] == [True]
    assert sum(track.time_s.size for track in rest.edges.values()) == (2 * COMMITS - 1) * PER_COMMIT


def test_the_last_minutes_of_a_journal_are_there_at_once(store, monkeypatch):
    monkeypatch.setattr(speed_lines, "_NEWEST", 70)
    whole = speed_lines.speed_lines(store.address, 1).lines["rmc"]
    newest = speed_lines.newest_lines(store.address, 1).lines["rmc"]
    assert 0 < newest.time_s.size < whole.time_s.size / 5
    np.testing.assert_allclose(newest.time_s, whole.time_s[-newest.time_s.size :], atol=0.02)
    store.pack(1)
    assert speed_lines.newest_lines(store.address, 1) is None


def test_reading_can_be_ended_early(store):
    def progress(_share, _step):
        raise Enough

    with pytest.raises(Enough):
        store.load_recording(1, print, progress)


@settings(max_examples=25, deadline=None)
@given(
    hnp.arrays("i8", st.integers(0, 20)),
    st.lists(st.tuples(st.booleans(), st.booleans()), min_size=1, max_size=4),
)
def test_any_columns_there_and_back(ticks, parts):
    blocks = [
        EdgeBlock(
            *("left", at, ticks, 5e-324, -0.0, 2**62),
            ticks[::-1].copy() if falls else None,
            ticks.view("f8").copy() if peaks else None,
        )
        for at, (falls, peaks) in enumerate(parts)
    ]
    (whole,) = columns_from([("x:1", block) for block in blocks])
    apart = joined([columns_from([("x:1", block)])[0] for block in blocks])
    assert whole.head == apart.head
    assert {
        name: array.tolist() for name, array in whole.arrays.items() if array.dtype != "f8"
    } == {name: array.tolist() for name, array in apart.arrays.items() if array.dtype != "f8"}
    assert same(unpack(whole.key, pack(whole)), whole)
    for length in (0, 3, len(pack(whole)) // 2):
        with pytest.raises(CodecError):
            unpack(whole.key, pack(whole)[:length])


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

"""Recordings and results in and out of the store, in SQLite and in a real PostgreSQL."""

from __future__ import annotations

import math
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import sqlalchemy as sa

from drivers.contract import EdgeBlock, FrameBlock, Lost, Notes, SpeedBlock, ValueBlock
from drivers.recording import assemble
from workbench.base.ends import EndSays
from workbench.base.errors import StoreError, WrongInput
from workbench.base.machine import parse_machine
from workbench.records import schema
from workbench.records.database import database_url, make_engine
from workbench.records.recorder import Recorder
from workbench.records.store import open_store

MACHINE = parse_machine(
    'name = "Test bench"\n[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.2\n'
)


def wire_items(blocks):
    """Some of everything a wire can bring, from two inputs."""
    times = np.linspace(100.0, 103.0, 31)
    return [
        *(("counter:a", block) for block in blocks),
        ("gnss:b", SpeedBlock("rmc", times * 0 + 1.1, times, times, None)),
        ("gnss:b", ValueBlock("rmc", "latitude_deg", times * 0 + 31.5, times, times)),
        (
            "can:c",
            FrameBlock(
                "can0",
                np.array([0x8CFE4945, 0x123], np.uint32),
                np.array([8, 0], np.uint8),
                bytes(range(8)),
                times[:2],
                times[:2],
            ),
        ),
        ("counter:a", Lost("left", 12, 101.0, 101.5, "a frame was damaged")),
        ("gnss:b", Lost("", None, 102.0, 102.5, "the plug was pulled")),
    ]


def test_a_recording_comes_back_bit_for_bit(any_address, edge_blocks, same_items):
    blocks = edge_blocks(40)
    pairs = wire_items(blocks)
    notes = Notes(kind="pulse counter", messages={"rmc": 31}, rejects={"bad CRC": 2})
    with open_store(any_address) as store:
        writer = store.begin_recording(
            "pass 1", started_host_s=100.0, simulated=True, machine=MACHINE
        )
        for start in range(0, len(pairs), 7):
            writer.write(pairs[start : start + 7], notes)
        writer.write([], notes)  # a quiet half second is no block
        sha256 = writer.end(notes, "the time is over")
    with open_store(any_address) as store:
        found = list(store.items(writer.number))
        for address in ("counter:a", "gnss:b", "can:c"):
            kinds = {type(item) for name, item in pairs if name == address}
            for kind in kinds:
                mine = [item for name, item in found if name == address and type(item) is kind]
                sent = [item for name, item in pairs if name == address and type(item) is kind]
                same_items(mine, sent)
        entry = store.recording(writer.number)
        assert (entry.name, entry.kind, entry.state) == ("pass 1", "pulse counter", "ended")
        assert (entry.end_reason, entry.sha256) == ("the time is over", sha256)
        assert entry.ended_by == (EndSays.TIME_OVER,)  # as the first versions said it
        assert entry.machine_text == MACHINE.text
        assert entry.simulated
        assert store.recording_sha256(writer.number) == sha256
        recording = store.load_recording(writer.number)
        assert recording.sha256 == sha256
        assert recording.simulated
        assert recording.edges["left"].time_s.size == 2000
        assert recording.speeds["rmc"].time_s[0] == pytest.approx(0.0, abs=1e-9)
        assert recording.values[("rmc", "latitude_deg")].value[0] == 31.5
        assert recording.messages == {"rmc": 31}
        assert recording.rejects == {"bad CRC": 2}
        assert [hole.from_s for hole in recording.lost] == [1.0, 2.0]


def test_pulses_and_speeds_of_a_live_recording_share_one_line(store, edge_blocks):
    rng = np.random.default_rng(2)
    late_s = rng.exponential(2e-3, 400)
    blocks = [
        _arriving(block, block.ticks[-1] * 1e-6 * (1 - 30e-6) + 100.0 + delay_s)
        for block, delay_s in zip(edge_blocks(400), late_s, strict=True)
    ]
    writer = store.begin_recording("live", started_host_s=100.0)
    writer.write([("counter:a", block) for block in blocks], Notes())
    writer.end(Notes())
    track = store.load_recording(writer.number).edges["left"]
    true_s = np.concatenate([block.ticks for block in blocks]) * 1e-6 * (1 - 30e-6)
    assert np.abs(track.time_s - true_s).max() < 50e-6
    assert 30e-6 < track.u_clock_rel < 50e-6
    (base,) = store.clocks(writer.number)["counter:a"].bases
    assert base.drift_ppm == pytest.approx(30.0, abs=3 * base.u_drift_ppm)


def test_a_sender_that_stamps_its_values_is_on_the_same_line(store):
    rng = np.random.default_rng(12)
    true_s = np.arange(0, 1200, 0.1)
    host_s = 100.0 + true_s + 0.02 + rng.exponential(5e-3, true_s.size)
    own_s = 43_200.0 + true_s * (1 + 40e-6)  # its time of day, and the host's crystal is slow
    lost = slice(6000, 6300)  # half a minute without it
    blocks = [
        SpeedBlock("rmc", np.array([1.0]), own, host)
        for own, host in zip(own_s.reshape(-1, 1), host_s.reshape(-1, 1), strict=True)
    ]
    del blocks[lost]
    writer = store.begin_recording("live", started_host_s=100.0)
    writer.write([("gnss:a", block) for block in blocks], Notes())
    writer.write([("gnss:b", block) for block in blocks[:100]], Notes())
    speeds = store.load_recording(writer.number).speeds
    errors_s = speeds["rmc"].time_s - np.delete(true_s, lost) - 0.02
    assert np.abs(errors_s).max() < 0.5e-3  # the smallest delay alone would be 48 ms out
    assert speeds["rmc@2"].time_s.size == 100


def test_all_channels_of_a_board_are_on_its_one_clock(store, edge_blocks):
    lefts = [_arriving(b, b.host_s + 1e-3 * (b.sequence % 7)) for b in edge_blocks(200)]
    # The lap mark comes seldom and late: by itself it could not tell its place.
    laps = [
        EdgeBlock("lap", i, b.ticks[:1], 1e-6, b.host_s + 0.8, i + 1)
        for i, b in enumerate(lefts[20::40])
    ]
    writer = store.begin_recording("live", started_host_s=100.0)
    writer.write([("counter:a", block) for block in (*lefts, *laps)], Notes())
    edges = store.load_recording(writer.number).edges
    assert len(store.clocks(writer.number)["counter:a"].bases) == 1
    assert set(edges["lap"].time_s) <= set(edges["left"].time_s)


def test_a_board_that_starts_anew_goes_on_as_the_same_channel(store, edge_blocks):
    before, after = edge_blocks(100), edge_blocks(100, seed=4)
    later = [_arriving(b, b.host_s + 30.0) for b in after]
    writer = store.begin_recording("live", started_host_s=100.0)
    writer.write([("counter:a", block) for block in (*before, *later)], Notes())
    time_s = store.load_recording(writer.number).edges["left"].time_s
    assert time_s[:5000] == pytest.approx(np.concatenate([b.ticks for b in before]) * 1e-6)
    assert time_s[5000:] == pytest.approx(np.concatenate([b.ticks for b in after]) * 1e-6 + 30.0)


def test_a_file_gives_the_same_from_the_store_as_directly(store, edge_blocks):
    notes = Notes(kind="edge table", origin_s=0.0, sha256="ab" * 32, timed=True)
    blocks = edge_blocks(10)
    writer = store.begin_recording("run.csv", started_host_s=55.0)
    writer.write(
        [("file:run.csv", b"time_s,channel\n"), *(("file:run.csv", b) for b in blocks)], notes
    )
    writer.end(notes)
    direct = assemble(blocks, notes, name="run.csv")
    stored = store.load_recording(writer.number)
    assert stored.edges["left"].time_s.tobytes() == direct.edges["left"].time_s.tobytes()
    assert math.isnan(stored.edges["left"].u_clock_rel)  # a table does not tell of its clock
    assert math.isnan(direct.edges["left"].u_clock_rel)
    assert stored.sha256 == "ab" * 32
    assert store.recording(writer.number).source_sha256 == "ab" * 32


def test_two_inputs_with_one_channel_name_stay_apart(store, edge_blocks):
    writer = store.begin_recording("two", started_host_s=100.0)
    one, two = edge_blocks(3), edge_blocks(5, seed=9)
    hole = Lost("left", 1, 101.0, 102.0, "")
    pairs = [
        *(("counter:a", b) for b in one),
        *(("counter:b", b) for b in two),
        ("counter:b", hole),
    ]
    writer.write(pairs, Notes())
    recording = store.load_recording(writer.number)
    assert recording.edges["left"].time_s.size == 150
    assert recording.edges["left@2"].time_s.size == 250
    assert recording.lost[0].stream == "left@2"


def test_a_wrong_clock_rate_is_a_warning(store, edge_blocks):
    blocks = [_arriving(b, b.ticks[-1] * 1.02e-6) for b in edge_blocks(100)]
    writer = store.begin_recording("odd", started_host_s=0.0)
    writer.write([("counter:a", b) for b in blocks], Notes())
    (warning,) = store.load_recording(writer.number).warnings
    assert "counter:a runs 19608 ppm slow" in warning


def test_a_dead_writer_leaves_an_interrupted_recording(any_address, edge_blocks):
    now = [datetime(2026, 5, 4, 8, 0, tzinfo=UTC)]
    with open_store(any_address, now=lambda: now[0]) as store:
        writer = store.begin_recording("x", started_host_s=100.0)
        writer.write([("counter:a", b) for b in edge_blocks(3)], Notes(kind="counter"))
        assert store.recording(writer.number).state == "recording"
        now[0] += timedelta(minutes=1)
        assert store.recording(writer.number).state == "interrupted"
        assert store.load_recording(writer.number).edges["left"].time_s.size == 150
        now[0] += timedelta(seconds=1)
        writer.write([("counter:a", b) for b in edge_blocks(1, first=3)], Notes())
        assert store.recording(writer.number).state == "recording"  # it was only asleep


def test_two_benches_record_into_one_store(any_address, edge_blocks, same_items):
    with open_store(any_address) as one, open_store(any_address) as other:
        recorders = [
            Recorder(store.begin_recording(name, started_host_s=0.0), Notes, period_s=0.001)
            for name, store in (("one", one), ("other", other))
        ]
        said = [edge_blocks(100), edge_blocks(100, seed=2)]
        for recorder in recorders:
            recorder.start()
        for pair in zip(*said, strict=True):
            for recorder, block in zip(recorders, pair, strict=True):
                recorder.put("counter:a", block)
        for recorder, blocks in zip(recorders, said, strict=True):
            sha256 = recorder.close()
            same_items([item for _, item in one.items(recorder.number)], blocks)
            assert one.recording_sha256(recorder.number) == sha256


def test_a_lost_connection_is_made_again_and_loses_nothing(new_database, edge_blocks, same_items):
    import psycopg

    blocks = edge_blocks(60)
    with open_store(new_database) as store:
        recorder = Recorder(store.begin_recording("x", started_host_s=0.0), Notes, period_s=0.002)
        recorder.start()
        for index, block in enumerate(blocks):
            if index % 20 == 10:
                with psycopg.connect(new_database, autocommit=True) as other:
                    other.execute(
                        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                        "WHERE datname = current_database() AND pid <> pg_backend_pid()"
                    )
            recorder.put("counter:a", block)
        recorder.close()
        same_items([item for _, item in store.items(1)], blocks)
        assert store.recording_sha256(1) == store.recording(1).sha256


def write_unheard(writer, items):
    """Lets the commit through and makes the writer believe that it was not."""
    kept = {name: getattr(writer, name) for name in ("_sequence", "_digest", "_streams")}
    writer.write(items, Notes())
    vars(writer).update(kept, _doubtful=True)


def test_a_commit_whose_end_was_not_heard_is_not_made_twice(any_address, edge_blocks, same_items):
    blocks = edge_blocks(6)
    with open_store(any_address) as store:
        writer = store.begin_recording("x", started_host_s=0.0)
        for heard, some in ((False, blocks[:2]), (True, blocks[2:4]), (False, blocks[4:])):
            items = [("counter:a", block) for block in some]
            if not heard:
                write_unheard(writer, items)
            writer.write(items, Notes())
        sha256 = writer.end(Notes())
        same_items([item for _, item in store.items(1)], blocks)
        assert store.recording_sha256(1) == sha256


def test_an_ended_recording_takes_no_more(store, edge_blocks):
    writer = store.begin_recording("x", started_host_s=100.0)
    writer.end(Notes())
    with pytest.raises(StoreError, match="takes no more"):
        writer.write([("counter:a", b) for b in edge_blocks(1)], Notes())
    assert list(store.items(writer.number)) == []


def test_results_are_kept_with_all_that_made_them(any_address, edge_blocks):
    now = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
    with open_store(any_address, now=lambda: now) as store:
        writer = store.begin_recording("x", started_host_s=100.0)
        writer.write([("counter:a", b) for b in edge_blocks(3)], Notes())
        sha256 = writer.end(Notes())
        answer, options = '{"verdict": "pass", "lag_s": null}', '{"belt": "left"}'
        number = store.add_result("pass", answer, options, recording=writer.number, machine=MACHINE)
        other = store.add_result("gap", "{}", "{}", table="pickup,…\n", table_name="shop.csv")
        found = store.result(number)
        assert (found.kind, found.answer_json, found.options_json) == ("pass", answer, options)
        assert (found.recording, found.recording_sha256) == (writer.number, sha256)
        assert found.machine_text == MACHINE.text
        assert found.created_utc == "2026-05-04T08:00:00.000+00:00"
        table = store.result(other)
        assert (table.recording, table.table, table.table_name) == (None, "pickup,…\n", "shop.csv")
        assert [entry.number for entry in store.results()] == [other, number]
        assert [entry.number for entry in store.results(writer.number)] == [number]


def test_a_number_that_is_not_there_is_wrong_input(any_address):
    with open_store(any_address) as store:
        for ask in (store.result, store.recording, store.load_recording):
            for number in (7, 10**30):
                with pytest.raises(WrongInput, match=rf"There is no re.* {number} in the store"):
                    ask(number)
        with pytest.raises(WrongInput, match="no recording 7"):
            store.add_result("pass", "{}", "{}", recording=7)


@pytest.mark.parametrize(
    "change",
    [
        sa.update(schema.result).values(answer="{}"),
        sa.delete(schema.result),
        sa.update(schema.block).values(data=b""),
    ],
)
def test_the_database_itself_refuses_to_change_what_is_kept(any_address, edge_blocks, change):
    with open_store(any_address) as store:
        writer = store.begin_recording("x", started_host_s=100.0)
        writer.write([("counter:a", b) for b in edge_blocks(1)], Notes())
        number = store.add_result("speed", '{"x": 1}', "{}", recording=writer.number)
        engine = make_engine(database_url(any_address))
        with (
            pytest.raises(sa.exc.DatabaseError, match="written once"),
            engine.begin() as connection,
        ):
            connection.execute(change)
        engine.dispose()
        assert store.result(number).answer_json == '{"x": 1}'


def test_an_altered_result_or_block_is_found(tmp_path, edge_blocks):
    path = tmp_path / "bench.db"
    with open_store(str(path)) as store:
        writer = store.begin_recording("x", started_host_s=100.0)
        for block in edge_blocks(3):
            writer.write([("counter:a", block)], Notes())
        writer.end(Notes())
        number = store.add_result("speed", '{"x": 1}', "{}", recording=writer.number)
    with sqlite3.connect(path) as raw:
        raw.executescript("DROP TRIGGER result_no_update; DROP TRIGGER block_no_update")
        raw.execute("UPDATE result SET answer = '{\"x\": 2}'")
        raw.execute("UPDATE block SET data = substr(data, 1, 40) WHERE sequence = 1")
    raw.close()
    with open_store(str(path)) as store:
        with pytest.raises(StoreError, match=rf"Result {number} .* was altered"):
            store.result(number)
        with pytest.raises(StoreError, match=r"Block 1 of recording 1 .* checksum"):
            store.load_recording(writer.number)
        told = []
        rest = [item for _, item in store.items(writer.number, told.append)]
        assert [block.sequence for block in rest] == [0, 2]
        assert "Block 1" in str(told[0])


def test_a_missing_block_changes_the_hash(tmp_path, edge_blocks):
    path = tmp_path / "bench.db"
    with open_store(str(path)) as store:
        writer = store.begin_recording("x", started_host_s=100.0)
        for block in edge_blocks(3):
            writer.write([("counter:a", block)], Notes())
        writer.end(Notes())
    with sqlite3.connect(path) as raw:
        raw.execute("DELETE FROM block WHERE sequence = 2")
    raw.close()
    with open_store(str(path)) as store, pytest.raises(StoreError, match="altered after it ended"):
        store.load_recording(writer.number)


def _arriving(block, host_s):
    return replace(block, host_s=host_s)

"""What keeping a recording costs: our blocks against a row an edge and against plain arrays."""

import io
import sqlite3
import time
from contextlib import closing

import numpy as np
from timed import seconds

from drivers.contract import EdgeBlock, FrameBlock, Notes
from workbench.records.codec import encode, items_of, key_of, unpack
from workbench.records.jsonable import from_text, to_text
from workbench.records.store import open_store

RATE_HZ = 2000
MINUTE_S = 60.0
COMMIT_S = 0.5
COUNTERS = 4


def wall(work):
    begin_s = time.perf_counter()
    result = work()
    return time.perf_counter() - begin_s, result


def first(pair):
    return pair[0]


def counter(number, minutes=1):
    """Minutes of one counter in blocks of 20 edges, as the board sends them: intervals
    scatter by 0.3 % of a tooth at a clock of 1 MHz."""
    rng = np.random.default_rng(number)
    ticks = np.cumsum(np.rint(rng.normal(1e6 / RATE_HZ, 1.5, int(RATE_HZ * MINUTE_S * minutes))))
    return [
        EdgeBlock("left", i, part, 1e-6, float(part[-1]) * 1e-6 + rng.exponential(1e-3), 20 * i)
        for i, part in enumerate(ticks.astype(np.int64).reshape(-1, 20))
    ]


def bus():
    """A minute of a full 250 kbit/s bus in blocks of what came in 10 ms."""
    rng = np.random.default_rng(5)
    ids = np.array([0x8CFE48F0, 0x8CFE49F0, 0x8CF004F0, 0x89F80219], np.uint32)
    return [
        FrameBlock(
            "can0",
            ids[rng.integers(0, 4, 19)],
            np.full(19, 8, np.uint8),
            rng.integers(0, 256, 19 * 8).astype(np.uint8).tobytes(),
            np.full(19, i * 0.01),
            np.full(19, i * 0.01),
        )
        for i in range(int(MINUTE_S * 100))
    ]


def by_commits(blocks, a_second):
    count = int(a_second * COMMIT_S)
    return [blocks[start : start + count] for start in range(0, len(blocks), count)]


def test_a_minute_of_four_counters_and_a_full_bus(tmp_path, figures):
    counters = [by_commits(counter(number), RATE_HZ / 20) for number in range(COUNTERS)]
    frames = by_commits(bus(), 100)

    with open_store(str(tmp_path / "ours.db")) as store:
        writer = store.begin_recording("bench", started_host_s=0.0)

        def keep():
            for commit, some in enumerate(frames):
                items = [("can:c", block) for block in some]
                for number, commits in enumerate(counters):
                    items += [(f"counter:{number}", block) for block in commits[commit]]
                writer.write(items, Notes())

        spent_s, _ = seconds(keep)

    def rows(raw):
        for commit, some in enumerate(frames):
            raw.execute("BEGIN")
            for number, commits in enumerate(counters):
                for block in commits[commit]:
                    edges = [(number, tick, block.host_s) for tick in block.ticks.tolist()]
                    raw.executemany("INSERT INTO edge VALUES (?, ?, ?)", edges)
            for block in some:
                data = [block.data[at : at + 8] for at in range(0, len(block.data), 8)]
                times = block.host_s.tolist()
                lines = zip(block.can_id.tolist(), data, times, strict=True)
                raw.executemany("INSERT INTO frame VALUES (?, ?, ?)", lines)
            raw.execute("COMMIT")

    with closing(sqlite3.connect(tmp_path / "rows.db", isolation_level=None)) as raw:
        raw.execute("PRAGMA journal_mode = WAL")
        raw.execute("PRAGMA synchronous = FULL")
        raw.execute("CREATE TABLE edge (channel, tick INTEGER, host_s REAL)")
        raw.execute("CREATE TABLE frame (can_id INTEGER, data, host_s REAL)")
        rows_s, _ = seconds(lambda: rows(raw))
    rows_mb = (tmp_path / "rows.db").stat().st_size / 1e6
    ours_mb = writer.bytes_written / 1e6
    share = spent_s / MINUTE_S
    print(
        f"\na minute of {COUNTERS} counters at {RATE_HZ} Hz and a full bus: {spent_s:.2f} s "
        f"processor time, {100 * share:.1f} % of a core, {ours_mb:.1f} MB; a row an edge and a "
        f"frame: {rows_s:.2f} s, {rows_mb:.1f} MB"
    )
    figures.at_most("a minute recorded", spent_s / rows_s, 1, "×", "a row an edge")
    figures.at_most("its size", ours_mb / rows_mb, 1, "×", "a row an edge")


def test_blocks_against_compressed_arrays(figures):
    blocks = counter(1)
    commits = by_commits(blocks, RATE_HZ / 20)
    key = key_of("counter:a", blocks[0])
    edges = sum(block.ticks.size for block in blocks)
    coded_s, coded = seconds(lambda: [encode(some) for some in commits])
    back_s, _ = seconds(lambda: [items_of(key, *found) for found in unpack(coded)])

    def archives():
        out = []
        for some in commits:
            file = io.BytesIO()
            np.savez_compressed(
                file,
                ticks=np.concatenate([b.ticks for b in some]),
                host_s=np.array([b.host_s for b in some]),
                sequence=np.array([b.sequence for b in some]),
                count=np.array([b.count for b in some]),
            )
            out.append(file.getvalue())
        return out

    plain_s, plain = seconds(archives)
    ours, theirs = sum(map(len, coded)) / edges, sum(map(len, plain)) / edges
    print(
        f"\n{edges} edges in blocks of half a second: {ours:.2f} bytes each, {coded_s:.3f} s to "
        f"code, {back_s:.3f} s back; numpy's compressed archives {theirs:.2f} bytes, "
        f"{plain_s:.3f} s"
    )
    figures.at_most("size of blocks", ours / theirs, 0.7, "×", "numpy's compressed archives")


def test_a_look_through_the_whole_store(tmp_path, figures):
    """Of all commands that read it once, none does less: every item is read, and every answer."""
    with open_store(str(tmp_path / "ours.db")) as store:
        for number in range(3):
            writer = store.begin_recording("bench", started_host_s=0.0)
            for some in by_commits([*bus(), *counter(number)], 100):
                writer.write([("a:b", block) for block in some], Notes())
            writer.end(Notes())
        answer = to_text({"verdict": "pass", "series": [0.123456] * 2000})
        for _ in range(1000):
            store.add_result("speed", answer, "{}", table="", table_name="t")

        def read():
            for one in store.recordings():
                for _ in store.items(one.number):
                    pass
            return [from_text(one.answer_json) for one in store.results()]

        read_s, _ = seconds(read)
        look_s, found = seconds(store.check)
    assert not found.problems
    print(f"\na look through a store: {look_s:.2f} s, reading it once {read_s:.2f} s")
    figures.at_most("a look through a store", look_s / read_s, 2, "×", "reading it once")


def test_a_sealed_recording_against_plain_arrays(tmp_path, figures):
    """Eight minutes of four counters in blocks of 20 edges, into the times of every edge; numpy
    reads the same times from files of its own, uncompressed."""
    counters = [by_commits(counter(number, 8), RATE_HZ / 20) for number in range(COUNTERS)]
    with open_store(str(tmp_path / "ours.db")) as store:
        writer = store.begin_recording("bench", started_host_s=0.0)
        for commit in zip(*counters, strict=True):
            items = [
                (f"counter:{number}", block)
                for number, blocks in enumerate(commit)
                for block in blocks
            ]
            writer.write(items, Notes())
        writer.end(Notes())
        journal_s, before = wall(lambda: store.load_recording(1))
        pack_s, _ = wall(lambda: store.pack(1))
        wall(lambda: store.load_recording(1))
        ours_s, after = min((wall(lambda: store.load_recording(1)) for _ in range(5)), key=first)
    files = []
    for name, track in after.edges.items():
        assert np.array_equal(track.time_s, before.edges[name].time_s)
        files.append(tmp_path / f"{name}.npy")
        np.save(files[-1], track.time_s)
    numpy_s, _ = min((wall(lambda: [np.load(file) for file in files]) for _ in range(5)), key=first)
    edges = sum(track.time_s.size for track in after.edges.values())
    print(
        f"\n{edges / 1e6:.1f} million edges: packed in {pack_s:.1f} s, read in {ours_s:.3f} s; as "
        f"a journal {journal_s:.2f} s; numpy's own files {numpy_s:.3f} s: "
        f"{ours_s / numpy_s:.1f} times as long"
    )
    figures.at_least("columns read", journal_s / ours_s, 10, "×", "the journal")
    figures.at_most("columns into times", ours_s / numpy_s, 5, "×", "numpy's own files")

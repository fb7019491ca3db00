"""The ledger: every forgery of what is kept is told, every deed of the program is right."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drivers.contract import Notes
from workbench.base.errors import StoreError
from workbench.base.machine import parse_machine
from workbench.jobs.keep import add
from workbench.jobs.speed.answer import SpeedOptions
from workbench.jobs.speed.compute import compute
from workbench.jobs.verify import verify
from workbench.records.ledger import EntryKind, Head
from workbench.records.store import open_store

NOW = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
MACHINE = parse_machine(
    'name = "Test bench"\n[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.2\n'
)


def fill(store, edge_blocks):
    """Two recordings with a result each, named, hidden and brought back: ten entries and the
    first."""
    for number, verdict in ((1, "pass"), (2, "fail")):
        writer = store.begin_recording("field", started_host_s=100.0, machine=MACHINE)
        writer.write([("counter:a", block) for block in edge_blocks(3, seed=number)], Notes())
        writer.end(Notes(), "the time is over")
        answer = json.dumps({"verdict": verdict})
        store.add_result("pass", answer, "{}", recording=number, machine=MACHINE)
    store.describe(1, "North field", "wet")
    store.hide(2)
    store.hide_result(2)
    store.hide(2, hidden=False)


@pytest.fixture
def address(any_address, edge_blocks):
    """Where a filled store lies that nobody holds."""
    with open_store(any_address, now=lambda: NOW) as store:
        fill(store, edge_blocks)
    return any_address


def by_hand(address, *commands):
    """What somebody does to the database who knows how, and takes its own safeguards away."""
    if "://" in address:
        import psycopg

        with psycopg.connect(address) as raw:
            raw.execute("SET session_replication_role = replica")
            for command in commands:
                raw.execute(command)
        return
    with closing(sqlite3.connect(address)) as raw:
        kept = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in kept:
            raw.execute(f"DROP TRIGGER {name}")
        for command in (*commands, *(sql for _, sql in kept)):
            raw.execute(command)
        raw.commit()


def looked_at(address):
    with open_store(address, now=lambda: NOW) as store:
        return store.check()


def test_all_that_is_done_is_entered_and_right(address):
    found = looked_at(address)
    assert (found.entries, found.recordings, found.results) == (11, 2, 2)
    assert found.problems == found.notes == ()
    with open_store(address) as store:
        assert store.head() == found.head
        assert store.holds(found.head)
        assert not store.holds(Head(found.head.number, "0" * 64))
        assert not store.holds(Head(99, found.head.sha256))


@pytest.fixture
def beside(tmp_path, edge_blocks):
    """A filled store in a file, and where its head lies."""
    path = tmp_path / "bench.db"
    with open_store(str(path), now=lambda: NOW) as store:
        fill(store, edge_blocks)
        assert Path(f"{path}.head").read_text("ascii") == f"{store.head()}\n"
    return path, Path(f"{path}.head")


RECORDING, CARD = "UPDATE recording SET", "UPDATE card SET"
FORGED = {
    "a recording taken away": (
        [
            "DELETE FROM card WHERE recording = 2",
            "DELETE FROM result WHERE recording = 2",
            "DELETE FROM block WHERE recording = 2",
            "DELETE FROM stream WHERE recording = 2",
            "DELETE FROM recording WHERE number = 2",
        ],
        "Recording 2 is gone: entry 11",
    ),
    "a result with its card taken away": (
        ["DELETE FROM card WHERE result = 2", "DELETE FROM result WHERE number = 2"],
        "Result 2 is gone: entry 10",
    ),
    "a card taken away": (["DELETE FROM card WHERE result = 1"], "Result 1 has no card"),
    "a result doubled": (
        [
            "INSERT INTO result SELECT 3, kind, answer, options, recording, recording_sha256, "
            "table_text, table_name, machine_text, program_version, created_utc, sha256 "
            "FROM result WHERE number = 1",
            "INSERT INTO card SELECT 3, kind, recording, table_name, created_utc, head, "
            "machine_name, title, note, deleted_utc, as_left, said FROM card WHERE result = 1",
        ],
        "Result 3 was put into the store",
    ),
    "results exchanged": (
        [
            f"UPDATE {table} SET {key} = {to} WHERE {key} = {number}"
            for number, to in ((1, 9), (2, 1), (9, 2))
            for table, key in (("result", "number"), ("card", "result"))
        ],
        "Result 1 is not as entry 4",
    ),
    "a seal taken away": ([f"{RECORDING} sha256 = NULL WHERE number = 1"], "Recording 1 is not as"),
    "the end": ([f"{RECORDING} ended_utc = 'x' WHERE number = 1"], "Recording 1 is not as entry 8"),
    "its reason": ([f"{RECORDING} end_reason = '' WHERE number = 1"], "Recording 1 is not as"),
    "the machine": ([f"{RECORDING} machine_name = '' WHERE number = 1"], "Recording 1 is not as"),
    "its file": ([f"{RECORDING} machine_text = '' WHERE number = 1"], "Recording 1 is not as"),
    "the program": ([f"{RECORDING} program_version = '9' WHERE number = 1"], "Recording 1 is not"),
    "a title": ([f"{RECORDING} title = 'South' WHERE number = 1"], "Recording 1 is not as entry 8"),
    "a note": ([f"{RECORDING} note = '' WHERE number = 1"], "Recording 1 is not as entry 8"),
    "a recording hidden": (
        [f"{RECORDING} deleted_utc = '2026' WHERE number = 1"],
        "Recording 1 is not as entry 8",
    ),
    "a result brought back": (
        [f"{CARD} deleted_utc = NULL WHERE result = 2"],
        "Result 2 is not as entry 10",
    ),
    "a result's title": ([f"{CARD} title = 'x' WHERE result = 1"], "Result 1 is not as entry 4"),
    "the verdict on a card": (
        [f"""{CARD} head = '{{"verdict": "pass"}}' WHERE result = 2"""],
        "card of result 2, which the list and the season show, says verdict 'pass'; the result "
        "gives 'fail'",
    ),
    "the machine on a card": ([f"{CARD} machine_name = 'x' WHERE result = 1"], "says machine_name"),
    "a card torn": ([f"{CARD} head = 'torn' WHERE result = 1"], "card of result 1 cannot be read"),
    "the last entries cut away": (
        ["DELETE FROM ledger WHERE number > 9"],
        "Result 2 is not as entry 7",
    ),
    "an entry taken out": (["DELETE FROM ledger WHERE number = 5"], "Entries 5 to 5 .* missing"),
    "an entry altered": (
        ["UPDATE ledger SET when_utc = '2020' WHERE number = 5"],
        "Entry 5 .* was altered",
    ),
    "an entry written anew": (
        [
            "UPDATE ledger SET previous = (SELECT sha256 FROM ledger WHERE number = 3) "
            "WHERE number = 5"
        ],
        "Entry 5 .* does not follow",
    ),
    "the whole ledger taken away": (["DELETE FROM ledger"], "The ledger is empty"),
}


@pytest.mark.parametrize("deed", FORGED)
def test_what_another_hand_did_is_told(beside, deed):
    commands, told = FORGED[deed]
    by_hand(str(beside[0]), *commands)
    assert any(re.search(told, str(one)) for one in looked_at(str(beside[0])).problems)


def test_what_another_hand_did_is_told_in_postgresql(new_database, edge_blocks):
    with open_store(new_database, now=lambda: NOW) as store:
        fill(store, edge_blocks)
    for deed in ("a note", "the verdict on a card", "an entry altered", "a recording taken away"):
        commands, told = FORGED[deed]
        by_hand(new_database, *commands)
        assert any(re.search(told, str(one)) for one in looked_at(new_database).problems), deed


@pytest.mark.parametrize(
    ("command", "told"),
    [
        (f"{RECORDING} end_reason = '' WHERE number = 1", "Recording 1 was changed .* entry 12"),
        (f"{CARD} head = '{{}}' WHERE result = 1", "Result 1 was changed .* before entry 13"),
        (FORGED["a result doubled"][0], "Result 3 was put into the store"),
    ],
)
def test_what_is_done_later_hides_nothing(beside, command, told):
    path = str(beside[0])
    by_hand(path, *([command] if isinstance(command, str) else command))
    with open_store(path) as store:
        store.describe(1, "named", "by the program")
        for number in (1, 3) if told.startswith("Result 3") else (1,):
            store.describe_result(number, "named", "by the program")
    assert any(re.search(told, str(one)) for one in looked_at(path).problems)


def test_what_is_hidden_is_looked_at_too(address):
    with open_store(address) as store:
        store.hide(1)
        assert not store.check().problems
    by_hand(address, "DELETE FROM block WHERE recording = 1 AND sequence = 0")
    (said,) = looked_at(address).problems
    assert "Recording 1 was altered after it ended" in str(said)


def test_verify_of_one_result_sees_what_the_ledger_left(store):
    for note in ("a", "b"):
        answer = json.dumps({"verdict": note})
        store.add_result("gap", answer, "{}", table=note, table_name=note)
    by_hand(store.address, "UPDATE card SET note = 'x' WHERE result = 1")
    for number, same in ((1, False), (2, True)):
        left, now = store.entered(EntryKind.RESULT, number)
        assert (left == now) is same
    assert store.entered(EntryKind.RESULT, 3) == ("", "")


def cut_the_tail(path, last):
    """The last deeds undone together with their entries, so that the chain is whole."""
    by_hand(
        str(path),
        f"DELETE FROM ledger WHERE number > {last}",
        "UPDATE card SET deleted_utc = NULL",
        "UPDATE recording SET deleted_utc = NULL",
    )


def test_a_cut_tail_is_told_by_the_head_beside_the_store(beside):
    path, head = beside
    cut_the_tail(path, 8)
    (said,) = looked_at(str(path)).problems
    assert f"{head} holds entry 11 of a ledger that goes on" in str(said)
    with open_store(str(path)) as store:  # what is done later does not hide it
        for _ in range(5):
            store.describe(1, "again", "")
    assert "entry 11" in str(looked_at(str(path)).problems[0])
    head.unlink()
    assert not looked_at(str(path)).problems


def test_a_head_that_is_older_or_missing_is_told_mildly(beside):
    path, head = beside
    older = head.read_text("ascii")
    with open_store(str(path)) as store:
        store.describe(1, "later", "")
    for text, told in ((older, "holds entry 11 of 12"), ("torn", "missing or cannot be read")):
        head.write_text(text, "ascii")
        found = looked_at(str(path))
        assert not found.problems
        assert told in str(found.notes[0])
    head.unlink()
    found = looked_at(str(path))
    assert not found.problems
    assert "missing" in str(found.notes[0])
    with open_store(str(path)) as store:
        store.describe(1, "later still", "")
        assert head.read_text("ascii") == f"{store.head()}\n"
    assert not looked_at(str(path)).notes


def test_an_older_copy_in_the_stores_place_is_told(beside, tmp_path):
    path, _ = beside
    older = shutil.copy(path, tmp_path / "copy.db")
    with open_store(str(path)) as store:
        store.hide_result(1)
    shutil.copy(older, path)
    assert "an older copy of the store" in str(looked_at(str(path)).problems[0])


def test_a_head_that_cannot_be_written_hinders_nothing(beside):
    path, head = beside
    head.unlink()
    head.mkdir()
    with open_store(str(path)) as store:
        store.describe(1, "all the same", "")
        assert store.recording(1).title == "all the same"


BUSY = """
import sys
from workbench.records.database import StoreBusy
from workbench.records.store import open_store

def kept(deed, *words, **more):
    while True:
        try:
            return deed(*words, **more)
        except StoreBusy:  # the other one's turn took long
            pass

with open_store(sys.argv[1]) as store:
    for count in range(15):
        number = kept(store.add_result, "speed", "{}", "{}", table="", table_name="t")
        kept(store.describe_result, number, f"title {count}", "")
"""


def test_two_programs_at_once_write_one_chain(any_address):
    open_store(any_address).close()
    words = [sys.executable, "-c", BUSY, any_address]
    both = [subprocess.Popen(words, stderr=subprocess.PIPE) for _ in range(2)]
    for process in both:
        _, problem = process.communicate(timeout=120)
        assert process.returncode == 0, problem.decode()
    found = looked_at(any_address)
    assert (found.entries, found.results) == (61, 30)
    assert found.problems == found.notes == ()


def test_a_recording_that_was_broken_off_is_known_to_have_no_seal(store, edge_blocks):
    writer = store.begin_recording("x", started_host_s=100.0)
    writer.write([("counter:a", block) for block in edge_blocks(3)], Notes(kind="counter"))
    found = store.check()
    assert not found.problems
    assert "Recording 1 has no seal" in str(found.notes[0])


def test_what_was_broken_off_is_sealed_as_it_stands_after_a_day(any_address, edge_blocks):
    now = [NOW]
    with open_store(any_address, now=lambda: now[0]) as store:
        first, second = (store.begin_recording(name, started_host_s=100.0) for name in "xy")
        for writer in (first, second):
            writer.write([("counter:a", block) for block in edge_blocks(3)], Notes())
        now[0] += timedelta(hours=23)
        second.write([("counter:a", block) for block in edge_blocks(3, first=3)], Notes())
        store.recover()
        assert len(store.check().notes) == 2  # a computer may have slept
        now[0] += timedelta(hours=2)
        for _ in range(2):
            store.recover()
        found = store.check()
        assert (found.entries, found.problems, len(found.notes)) == (4, (), 1)
        assert store.recording(1).sha256 == store.recording_sha256(1)
        assert [store.recording(one).state for one in (1, 2)] == ["interrupted"] * 2
        with pytest.raises(StoreError, match="Recording 1 has ended and takes no more"):
            first.write([], Notes())
        second.end(Notes())
        assert not store.check().notes
    by_hand(any_address, "DELETE FROM block WHERE recording = 1")
    assert "Recording 1 was altered after it ended" in str(looked_at(any_address).problems[0])


def test_what_is_forged_is_not_sealed_anew(beside):
    path = str(beside[0])
    by_hand(path, f"{RECORDING} sha256 = NULL, ended_utc = NULL WHERE number = 1")
    with open_store(path, now=lambda: NOW + timedelta(days=9)) as store:
        store.recover()
        assert store.recording(1).sha256 == ""
    assert "Recording 1 is not as entry 8" in str(looked_at(path).problems[0])


@pytest.mark.parametrize(
    "command",
    [
        "UPDATE recording SET summary = x'00' WHERE number = 1",
        "UPDATE recording SET sha256 = 5 WHERE number = 1",
        "UPDATE result SET answer = x'00' WHERE number = 1",
        "UPDATE card SET head = x'ff' WHERE result = 1",
        "UPDATE card SET machine_name = 5 WHERE result = 1",
        "UPDATE ledger SET subject = 'x' WHERE number = 3",
        "UPDATE ledger SET sha256 = x'00' WHERE number = 3",
        "UPDATE block SET sha256 = 'x', data = 3 WHERE recording = 1 AND sequence = 0",
        "DELETE FROM stream WHERE recording = 1",
    ],
)
def test_a_value_of_another_type_is_told_and_breaks_nothing(beside, command):
    """SQLite keeps whatever is put into a column (sqlite.org/datatype3.html)."""
    path, _ = beside
    by_hand(str(path), command)
    assert looked_at(str(path)).problems


def test_a_hidden_recordings_result_can_be_verified(store, edge_blocks):
    writer = store.begin_recording("x", started_host_s=100.0)
    writer.write([("counter:a", block) for block in edge_blocks(40)], Notes(kind="counter"))
    writer.end(Notes(kind="counter"))
    options = SpeedOptions()
    answer = compute(store.load_recording(1), MACHINE, options)
    add(store, "speed", answer, options, recording=1, machine=MACHINE)
    store.hide(1)
    assert verify(store, 1).verified
    store.hide_result(1)
    assert verify(store, 1).verified

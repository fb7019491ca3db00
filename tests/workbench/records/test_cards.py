"""What may be changed of what is kept, and lists that one damaged row does not hide."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from datetime import UTC, datetime

import pytest

from drivers.contract import Notes
from workbench.base.errors import StoreError, WrongInput
from workbench.base.machine import parse_machine
from workbench.records.store import open_store

NOW = datetime(2026, 5, 4, 8, 0, tzinfo=UTC)
MACHINE = parse_machine(
    'name = "Test bench"\n[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.2\n'
)
HEAD = {"verdict": "fail", "ratio": 0.9, "simulated": True, "nothing": None}
ANSWER = json.dumps({**HEAD, "long": "x" * 300, "series": {"time_s": [0.0] * 500}})


@pytest.fixture
def store(any_address):
    with open_store(any_address, now=lambda: NOW) as opened:
        writer = opened.begin_recording("field", started_host_s=0.0, machine=MACHINE)
        writer.end(Notes(), "over")
        opened.add_result("pass", ANSWER, "{}", recording=1, machine=MACHINE)
        yield opened


def test_a_card_holds_the_answers_own_numbers_and_short_words(store):
    (card,) = store.cards()
    assert card.head == HEAD
    assert (card.number, card.kind, card.recording) == (1, "pass", 1)
    assert (card.machine_name, card.created_utc) == (
        "Test bench",
        NOW.isoformat(timespec="milliseconds"),
    )


def test_a_hidden_result_is_nowhere_until_it_is_brought_back(store):
    store.hide_result(1)
    assert store.results() == []
    assert store.cards()[0].deleted_utc
    with pytest.raises(WrongInput, match="There is no result 1"):
        store.result(1)
    assert not store.check().problems
    store.hide_result(1, hidden=False)
    assert [one.number for one in store.results(1)] == [1]
    for change in (store.hide_result, lambda number: store.describe_result(number, "", "")):
        with pytest.raises(WrongInput, match="There is no result 7"):
            change(7)


def test_a_card_holds_the_verdict_as_left(store):
    answer = {"verdict": "fail", "as_left": {"verdict": "pass", "runs": []}}
    store.add_result("gap", json.dumps(answer), "{}", table="t", table_name="t")
    store.add_result("gap", '{"verdict": "pass"}', "{}", table="t", table_name="t")
    assert [card.as_left for card in store.cards()] == ["", "pass", ""]


def test_what_is_said_of_a_result_is_in_the_ledger_and_may_be_amended(store):
    number = store.add_result("gap", "{}", "{}", table="t", table_name="t", said='{"by": "A"}')
    assert (store.result(number).said, store.result(1).said) == ('{"by": "A"}', "")
    before = store.check().entries
    for said in ('{"by": "B"}', ""):
        store.say_of(number, said)
    store.say_of(1, '{"by": "C"}')
    assert (store.result(number).said, store.result(1).said) == ("{}", '{"by": "C"}')
    found = store.check()
    assert (found.entries, found.problems) == (before + 3, ())
    with pytest.raises(WrongInput, match="There is no result 7"):
        store.say_of(7, "{}")


def test_what_another_hand_makes_of_it_is_found(tmp_path):
    path = tmp_path / "bench.db"
    with open_store(str(path), now=lambda: NOW) as store:
        for said in ('{"by": "A"}', ""):
            store.add_result("gap", "{}", "{}", table="t", table_name="t", said=said)
    for number, told in ((1, "is not as entry 3"), (2, "put into the store by another hand")):
        with closing(sqlite3.connect(path)) as raw:
            raw.execute("UPDATE card SET said = '{}' WHERE result = ?", (number,))
            raw.commit()
        with open_store(str(path), now=lambda: NOW) as store:
            (problem,) = store.check().problems[number - 1 :]
            assert f"by whom result {number} was made" in str(problem)
            assert told in str(problem)


def test_a_title_and_a_note_leave_every_seal_whole(store):
    before = store.recording(1).sha256, store.result(1)
    store.describe(1, "After the rain", "wet")
    store.describe_result(1, "Second look", "")
    assert (store.recording(1).title, store.recording(1).note) == ("After the rain", "wet")
    assert store.recording(1).name == "field"
    assert store.cards()[0].title == "Second look"
    assert (store.recording(1).sha256, store.result(1)) == before
    assert not store.check().problems
    with pytest.raises(WrongInput, match="There is no recording 9"):
        store.describe(9, "x", "")


def test_what_is_hidden_is_listed_only_when_asked_for(store):
    store.hide(1)
    assert store.recordings() == []
    (one,) = store.recordings(deleted=True)
    assert one.deleted_utc


@pytest.mark.parametrize("summary", ["not JSON", "[1]", '{"no": "such thing"}'])
def test_one_damaged_row_hides_no_other(tmp_path, summary):
    path = tmp_path / "bench.db"
    with open_store(str(path), now=lambda: NOW) as store:
        for name in ("first", "second"):
            store.begin_recording(name, started_host_s=0.0).end(Notes(), "over")
        store.add_result("pass", ANSWER, "{}", recording=1)
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("UPDATE recording SET summary = ? WHERE number = 1", (summary,))
        raw.execute("UPDATE card SET head = 'torn'")
        raw.commit()
    said = []
    with open_store(str(path), now=lambda: NOW) as store:
        assert [one.state for one in store.recordings()] == ["ended", "damaged"]
        assert store.cards()[0].head == {}
        assert store.load_recording(1, said.append).name == "first"
        with pytest.raises(StoreError):
            store.load_recording(1)
    assert "damaged" in str(said[0])


def test_a_long_check_says_how_far_it_is_and_ends_when_told(store):
    seen = []
    assert not store.check(lambda share, words: seen.append((share, str(words)))).problems
    shares = [share for share, _ in seen]
    assert shares == sorted(shares)
    assert [words for _, words in seen if words.startswith("Checking re")] == [
        "Checking recording 1 …",
        "Checking result 1 …",
    ]

    def enough(_share, _words):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        store.check(enough)

"""A look through the whole store: the ledger, every seal, every block and every card."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from workbench.base.errors import BenchError, Message, StoreError
from workbench.base.steps import Told
from workbench.records import ledger, schema
from workbench.records.cards import card_row
from workbench.records.database import shown, transaction
from workbench.records.deeds import head_path, read_head
from workbench.records.entries import check_seal
from workbench.records.jsonable import from_text
from workbench.records.ledger import Entry, EntryKind, Head
from workbench.records.reader import last_sequence, recording_row, recording_sha256

_GONE = {
    EntryKind.RECORDING: Message(
        "Recording {number} is gone: entry {entry} of the ledger ({when_utc}) speaks of it, the "
        "store no longer holds it."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} are gone: entry {entry} of the ledger ({when_utc}) "
        "speaks of them, the store no longer holds them."
    ),
    EntryKind.RESULT: Message(
        "Result {number} is gone: entry {entry} of the ledger ({when_utc}) speaks of it, the store "
        "no longer holds it."
    ),
    EntryKind.SAID: Message(
        "For whom and by whom result {number} was made is gone: entry {entry} of the ledger "
        "({when_utc}) speaks of it, the store no longer holds it."
    ),
}
_CHANGED = {
    EntryKind.RECORDING: Message(
        "Recording {number} is not as entry {entry} of the ledger ({when_utc}) left it: its name, "
        "seal, end, machine, version, title or note, or whether it is hidden, was changed by "
        "another hand."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} are not as entry {entry} of the ledger ({when_utc}) "
        "left them: they were changed by another hand."
    ),
    EntryKind.RESULT: Message(
        "Result {number} is not as entry {entry} of the ledger ({when_utc}) left it: it was "
        "exchanged, or its title, its note, what lists show of it or whether it is hidden was "
        "changed by another hand."
    ),
    EntryKind.SAID: Message(
        "For whom and by whom result {number} was made is not as entry {entry} of the ledger "
        "({when_utc}) left it: it was changed by another hand."
    ),
}
_CHANGED_BEFORE = {
    EntryKind.RECORDING: Message(
        "Recording {number} was changed by another hand before entry {entry} of the ledger "
        "({when_utc}): that one did not find what the entry before had left."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} were changed by another hand before entry {entry} of "
        "the ledger ({when_utc}): that one did not find what the entry before had left."
    ),
    EntryKind.RESULT: Message(
        "Result {number} was changed by another hand before entry {entry} of the ledger "
        "({when_utc}): that one did not find what the entry before had left."
    ),
    EntryKind.SAID: Message(
        "For whom and by whom result {number} was made was changed by another hand before entry "
        "{entry} of the ledger ({when_utc}): that one did not find what the entry before had left."
    ),
}
_UNKNOWN = {
    EntryKind.RECORDING: Message(
        "Recording {number} was put into the store by another hand: no entry of the ledger speaks "
        "of it."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} were put into the store by another hand: no entry of "
        "the ledger speaks of them."
    ),
    EntryKind.RESULT: Message(
        "Result {number} was put into the store by another hand: no entry of the ledger speaks of "
        "it."
    ),
    EntryKind.SAID: Message(
        "For whom and by whom result {number} was made was put into the store by another hand: no "
        "entry of the ledger speaks of it."
    ),
}


def chain_problems(entries: Sequence[Entry]) -> Iterator[StoreError]:
    """What is missing in the chain, altered, or does not follow on what stands before it."""
    last = Head(0, "")
    if not entries:
        yield StoreError("The ledger is empty: every entry was taken away.")
    for entry in entries:
        if entry.number != last.number + 1:
            yield StoreError(
                "Entries {first} to {end} of the ledger are missing.",
                first=last.number + 1,
                end=entry.number - 1,
            )
        elif entry.previous != last.sha256:
            yield StoreError(
                "Entry {entry} of the ledger ({when_utc}) does not follow on the one before: one "
                "of the two was exchanged or written anew.",
                entry=entry.number,
                when_utc=entry.when_utc,
            )
        if entry.right != entry.sha256:
            yield StoreError(
                "Entry {entry} of the ledger ({when_utc}) was altered: its hash is not that of "
                "what it says.",
                entry=entry.number,
                when_utc=entry.when_utc,
            )
        last = Head(entry.number, entry.sha256)


def content_problems(
    entries: Sequence[Entry], kind: EntryKind, now: Mapping[int, str]
) -> Iterator[StoreError]:
    """What is stored of a kind and what the ledger says of it: `now` as of `contents`."""
    left: dict[int, Entry] = {}
    for entry in entries:
        if entry.kind != kind:
            continue
        before = left.get(entry.subject)
        if entry.found != (before.content if before else ""):
            yield StoreError(
                (_CHANGED_BEFORE if before else _UNKNOWN)[kind].template,
                number=entry.subject,
                entry=entry.number,
                when_utc=entry.when_utc,
            )
        left[entry.subject] = entry
    for number, entry in sorted(left.items()):
        if now.get(number) != entry.content:
            yield StoreError(
                (_CHANGED if number in now else _GONE)[kind].template,
                number=number,
                entry=entry.number,
                when_utc=entry.when_utc,
            )
    for number in sorted(now.keys() - left.keys()):
        yield StoreError(_UNKNOWN[kind].template, number=number)


def head_finding(path: Path, entries: Sequence[Entry]) -> Message | None:
    """What the head beside the store says: an error where the chain does not hold it, a note
    where it says too little, None where it is the chain's own."""
    told = read_head(path)
    if told is None:
        return Message(
            "{file} is missing or cannot be read: whether the end of the ledger was cut away only "
            "papers can tell. It is written anew with the next thing done.",
            file=path,
        )
    known = {entry.number: entry.sha256 for entry in entries}
    if known.get(told.number) != told.sha256:
        return StoreError(
            "{file} holds entry {entry} of a ledger that goes on or reads otherwise: the end of "
            "this one was cut away, it was written anew, or an older copy of the store was put "
            "in its place. If you put it there yourself, delete that file.",
            file=path,
            entry=told.number,
        )
    if told.number < len(entries):
        return Message(
            "{file} holds entry {entry} of {count}: the program ended before it could write the "
            "newest there. It is written anew with the next thing done.",
            file=path,
            entry=told.number,
            count=len(entries),
        )
    return None


_CARD = [column.label(f"card_{column.name}") for column in schema.card.c]
_RESULT_AND_CARD = (
    sa.select(schema.result, *_CARD)
    .outerjoin_from(schema.result, schema.card, schema.card.c.result == schema.result.c.number)
    .where(schema.result.c.number == sa.bindparam("number"))
)


@dataclass(frozen=True, slots=True)
class Checked:
    """What was looked at, and what was found.

    `head` is the ledger's newest entry, None where it cannot be read. `problems` holds an
    error for each thing that is not as it was left, `notes` what should be known besides.
    """

    entries: int
    recordings: int
    results: int
    head: Head | None
    problems: tuple[BenchError, ...]
    notes: tuple[Message, ...]


def look_through(
    engine: Engine, url: URL, progress: Told | None = None, *, beside: bool = True
) -> Checked:
    """Everything in a store, what is out of sight too: its pages, then what is in them.

    `beside` it lies the ledger's head, but of a copy it does not. `progress` may raise to end the
    work.
    """
    look = _Look(engine, url, progress or (lambda share, step: None))
    look.at_the_pages()
    newest = look.at_the_ledger(head_path(url) if beside else None)
    look.size_up()
    recordings = look.at_each(schema.recording, look.at_a_recording)
    results = look.at_each(schema.result, look.at_a_result)
    return Checked(
        newest.number if newest else 0,
        recordings,
        results,
        newest,
        tuple(look.problems),
        tuple(look.notes),
    )


class _Look:
    """One look through a store, and what it has found so far."""

    def __init__(self, engine: Engine, url: URL, progress: Told) -> None:
        self._engine, self._url, self._progress = engine, url, progress
        self.problems: list[BenchError] = []
        self.notes: list[Message] = []
        self._seen, self._all = 0, 1

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        """A connection; what fails by it is found, and the look goes on."""
        try:
            with transaction(self._engine, self._url) as connection:
                yield connection
        except BenchError as error:
            self.problems.append(error)
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            # A value of another type than its column's: SQLite keeps whatever a hand puts there.
            found = StoreError("A row of the store is damaged: {why}.", why=str(error))
            self.problems.append(found)

    def _step(self, step: Message) -> None:
        self._progress(min(self._seen / self._all, 1.0), step)

    def at_the_pages(self) -> None:
        """SQLite's own check; PostgreSQL checks its pages as it reads them."""
        if self._url.drivername != "sqlite":
            return
        self._step(Message("Checking the pages of the database …"))
        with self._reading() as connection:
            found = connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars().all()
            loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            store = shown(self._url)
            self.problems += [
                StoreError("{store}: {found}.", store=store, found=line)
                for line in found
                if line != "ok"
            ]
            self.problems += [
                StoreError("{store}: a row of '{table}' refers to nothing.", store=store, table=to)
                for to, *_ in loose
            ]

    def at_the_ledger(self, beside: Path | None) -> Head | None:
        """The chain, what it says of everything stored, and the head in a file `beside` the
        store."""
        self._step(Message("Walking the ledger …"))
        newest = None
        with self._reading() as connection:
            entries = ledger.entries(connection)
            self.problems += chain_problems(entries)
            newest = ledger.head(connection)
            said = head_finding(beside, entries) if beside else None
            if isinstance(said, BenchError):
                self.problems.append(said)
            elif said is not None:
                self.notes.append(said)
            for kind in _CHANGED:
                now = ledger.contents(connection, kind)
                self.problems += content_problems(entries, kind, now)
        return newest

    def size_up(self) -> None:
        """How much there is to look at: blocks and results."""
        result, blocks = schema.result, 0
        with self._reading() as connection:
            for block in (schema.block, schema.piece):
                last = sa.select((sa.func.max(block.c.sequence) + 1).label("count")).group_by(
                    block.c.recording
                )
                blocks += connection.scalar(sa.select(sa.func.sum(last.subquery().c.count))) or 0
            results = connection.scalar(sa.select(sa.func.count()).select_from(result)) or 0
            self._all = max(int(blocks) + results, 1)

    def at_each(self, table: sa.Table, look: Callable[[Connection, int], object]) -> int:
        """Each recording or result in turn; returns how many."""
        numbers: list[int] = []
        with self._reading() as connection:
            query = sa.select(table.c.number).order_by(table.c.number)
            numbers += connection.execute(query).scalars()
        for number in numbers:
            with self._reading() as connection:
                look(connection, number)
        return len(numbers)

    def at_a_recording(self, connection: Connection, number: int) -> None:
        """Its blocks against their checksums, and the whole against its seal."""
        before = self._seen
        count = last_sequence(connection, number) + 1
        row = recording_row(connection, number, hidden=True)
        self._step(Message("Checking recording {number} …", number=number))
        try:
            recording_sha256(
                connection,
                row,
                lambda share, _: self._progress((before + share * count) / self._all, ""),
            )
        finally:
            self._seen += count
        if row["sha256"] is None:
            self.notes.append(
                Message(
                    "Recording {number} has no seal: it is under way, or was broken off.",
                    number=number,
                )
            )

    def at_a_result(self, connection: Connection, number: int) -> None:
        """What it says against its seal, and its card against what it says."""
        self._step(Message("Checking result {number} …", number=number))
        self._seen += 1
        row = connection.execute(_RESULT_AND_CARD, {"number": number}).one()._asdict()
        check_seal(row, shown(self._url))
        self.problems += _card_problems(row)


def _card_problems(row: Mapping[str, Any]) -> Iterator[StoreError]:
    """What the card beside a result says otherwise than the result gives, from which it is made
    anew."""
    number = row["number"]
    if row["card_result"] is None:
        yield StoreError("Result {number} has no card: no list shows it.", number=number)
        return
    machine = tomllib.loads(row["machine_text"]).get("name", "").strip()
    right = card_row(number, row, machine)
    said = {name: row[f"card_{name}"] for name in right}
    try:
        heads = from_text(said.pop("head")), from_text(right.pop("head"))
    except StoreError:
        yield StoreError("The card of result {number} cannot be read.", number=number)
        return
    for on_card, given in ((said, right), heads):
        for name in dict.fromkeys([*given, *on_card]):
            if on_card.get(name) != given.get(name):
                yield StoreError(
                    "The card of result {number}, which the list and the season show, says {field} "
                    "'{card}'; the result gives '{right}'.",
                    number=number,
                    field=name,
                    card=str(on_card.get(name)),
                    right=str(given.get(name)),
                )

"""A look through the whole store: the ledger, every seal, every block and every card."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from workbench.base.errors import BenchError, Message, StoreError
from workbench.records import ledger, schema
from workbench.records.cards import card_row, head_of
from workbench.records.database import shown, transaction
from workbench.records.deeds import head_path
from workbench.records.entries import check_seal
from workbench.records.jsonable import from_text
from workbench.records.ledger import EntryKind, Head
from workbench.records.ledger_check import chain_problems, content_problems, head_finding
from workbench.records.reader import Told, last_sequence, recording_row, recording_sha256

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


def look_through(engine: Engine, url: URL, progress: Told | None = None) -> Checked:
    """Everything in a store, what is out of sight too: its pages, then what is in them.

    `progress` may raise to end the work.
    """
    look = _Look(engine, url, progress or (lambda share, step: None))
    look.at_the_pages()
    newest = look.at_the_ledger()
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

    def at_the_ledger(self) -> Head | None:
        """The chain, what it says of everything stored, and the head beside the store."""
        self._step(Message("Walking the ledger …"))
        newest = None
        with self._reading() as connection:
            entries = ledger.entries(connection)
            self.problems += chain_problems(entries)
            newest = ledger.head(connection)
            beside = head_path(self._url)
            said = head_finding(beside, entries) if beside else None
            if isinstance(said, BenchError):
                self.problems.append(said)
            elif said is not None:
                self.notes.append(said)
            for kind in (EntryKind.RECORDING, EntryKind.COLUMNS, EntryKind.RESULT):
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
    right = card_row(number, row, head_of(row["answer"]), machine)
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

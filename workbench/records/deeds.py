"""A deed: the change, its entry in the ledger, and then the ledger's head beside the store.

A tail cut off the ledger leaves a chain that is whole. Only what lies outside of the database
can tell: `NAME.head` beside a SQLite file holds the newest entry's number and hash. It is
written after the commit, so a crash in between leaves an older head, which the chain holds.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import exists, is_file, read_text, write_file
from workbench.records import ledger, schema
from workbench.records.database import transaction
from workbench.records.ledger import Deed, EntryKind, Head
from workbench.records.reader import NO_SUCH_NUMBER

Now = Callable[[], datetime]
"""The time of day in UTC; handed in so that tests own it."""

_HEAD = re.compile(r"(\d{1,9}):([0-9a-f]{64})\n")


def stamp(moment: datetime) -> str:
    """A moment as ISO 8601 text in UTC, to the millisecond."""
    return moment.isoformat(timespec="milliseconds")


@dataclass(frozen=True, slots=True)
class Book:
    """The transaction of a deed: what is changed by its connection is entered in it."""

    connection: Connection
    now: Now

    def enter_new(self, deed: Deed, kind: EntryKind, number: int) -> None:
        """The entry of a recording or result that has just been made."""
        ledger.enter(self.connection, deed, kind, number, stamp(self.now()))

    def change(self, deed: Deed, kind: EntryKind, number: int, values: Mapping[str, Any]) -> bool:
        """Change what lists show of a recording or result, and enter it; False where there is
        none of that number."""
        table, key = schema.card, schema.card.c.result
        if kind is EntryKind.RECORDING:
            table, key = schema.recording, schema.recording.c.number
        found = ledger.content_of(self.connection, kind, number)
        change = sa.update(table).where(key == number).values(values)
        if number >= NO_SUCH_NUMBER or not self.connection.execute(change).rowcount:
            return False
        ledger.enter(self.connection, deed, kind, number, stamp(self.now()), found)
        return True


@contextmanager
def deeds(engine: Engine, url: URL, now: Now) -> Iterator[Book]:
    """A transaction to do and enter in; all of it is there afterwards, or nothing."""
    with transaction(engine, url, writing=True) as connection:
        ledger.lock(connection)
        yield Book(connection, now)
    publish_head(engine, url)


def head_path(url: URL) -> Path | None:
    """Where a store's head lies; None for PostgreSQL, whose heads are on papers alone."""
    if url.drivername != "sqlite":
        return None
    return Path(os.path.realpath(str(url.database)) + ".head")


def read_head(path: Path) -> Head | None:
    """The head in a file; None where there is none that can be read."""
    try:
        found = _HEAD.fullmatch(read_text(path, 100, Message("a ledger's head")))
    except WrongInput:
        return None
    return Head(int(found[1]), found[2]) if found else None


def publish_head(engine: Engine, url: URL) -> None:
    """Write the head beside a SQLite store, where the disk lets.

    Programs do so one after the other, under the store's own lock. A head that the chain does
    not hold stays: it testifies that something was cut away.
    """
    path = head_path(url)
    if path is None or (exists(path) and not is_file(path)):
        return
    with suppress(StoreError), transaction(engine, url, writing=True) as connection:
        told = read_head(path)
        if told is None or ledger.holds(connection, told):
            write_file(path, f"{ledger.head(connection)}\n")

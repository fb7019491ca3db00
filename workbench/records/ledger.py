"""The ledger: all that is done to recordings and results, one append-only chain of hashes.

An entry a deed, written in the deed's own transaction. It holds the hash of what the deed
found and of what it left behind (a recording's row with its seal, a result's seal with its
card) and that of the entry before, so nothing can be changed, taken away or put in between
without every hash from there on being another. What another hand changed between two deeds
stays in the chain too, as the second found something else than the first left. What an entry
covers can never change: entries are made for good.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from enum import StrEnum, auto
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from workbench.base.version import program_version
from workbench.records import schema
from workbench.records.jsonable import to_text
from workbench.records.reader import NO_SUCH_NUMBER

_LOCK = 0x45504C45
"""PostgreSQL advisory lock: one entry after the other, whatever program makes it."""


class Deed(StrEnum):
    """What is done; the values are stored."""

    MADE = auto()
    TAKEN_OVER = auto()
    MIGRATED = auto()
    BEGUN = auto()
    SEALED = auto()
    PACKED = auto()
    RECOVERED = auto()
    KEPT = auto()
    NAMED = auto()
    HIDDEN = auto()
    BROUGHT_BACK = auto()
    RESTORED = auto()


class EntryKind(StrEnum):
    """What an entry speaks of; the values are stored. A format's number is its own."""

    FORMAT = auto()
    RECORDING = auto()
    COLUMNS = auto()
    """What a sealed recording is packed into; the number is the recording's."""
    RESULT = auto()
    SAID = auto()
    """For whom and by whom a result was made; the number is the result's."""


@dataclass(frozen=True, slots=True)
class Head:
    """An entry by its number and its hash: all that a paper need hold to testify."""

    number: int
    sha256: str

    def __str__(self) -> str:
        return f"{self.number}:{self.sha256}"


@dataclass(frozen=True, slots=True)
class Entry:
    """One deed. `subject` is the number of what it speaks of; `found` and `content` are the
    hashes of that as the deed found it and left it, '' for nothing and for a format."""

    number: int
    previous: str
    deed: str
    kind: str
    subject: int
    found: str
    content: str
    when_utc: str
    program_version: str
    sha256: str

    @property
    def right(self) -> str:
        """The hash it must have by what it says."""
        said = (self.number, self.previous, self.deed, self.kind, self.subject)
        text = to_text([*said, self.found, self.content, self.when_utc, self.program_version])
        return hashlib.sha256(text.encode()).hexdigest()


_RECORDING = (
    *("name", "simulated", "program_version", "started_utc", "started_host_s", "machine_name"),
    *("machine_text", "ended_utc", "end_reason", "summary", "sha256", "title", "note"),
    "deleted_utc",
)
_CARD = (
    *("kind", "recording", "table_name", "created_utc", "head", "machine_name", "title", "note"),
    "deleted_utc",
)


def lock(connection: Connection) -> None:
    """Hold back every other writer of entries until the transaction ends; SQLite does so by
    itself."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))


def enter(
    connection: Connection,
    deed: Deed,
    kind: EntryKind,
    subject: int,
    when_utc: str,
    found: str = "",
) -> None:
    """One more entry, for what has just been done in the same transaction."""
    before = head(connection)
    content = content_of(connection, kind, subject)
    said = (before.number + 1, before.sha256, str(deed), str(kind), subject, found, content)
    entry = Entry(*said, when_utc, program_version(), "")
    row = {column.name: getattr(entry, column.name) for column in schema.ledger.c}
    connection.execute(sa.insert(schema.ledger).values(row | {"sha256": entry.right}))


def head(connection: Connection) -> Head:
    """The newest entry; number 0 of an empty ledger."""
    table = schema.ledger
    query = sa.select(table.c.number, table.c.sha256).order_by(table.c.number.desc()).limit(1)
    found = connection.execute(query).one_or_none()
    return Head(*found) if found else Head(0, "")


def holds(connection: Connection, told: Head) -> bool:
    """Whether an entry of that number has that hash, or one that begins so."""
    table = schema.ledger
    found = connection.scalar(sa.select(table.c.sha256).where(table.c.number == told.number))
    return found is not None and str(found).startswith(told.sha256)


def entries(connection: Connection) -> list[Entry]:
    """All, the oldest first."""
    rows = connection.execute(sa.select(schema.ledger).order_by(schema.ledger.c.number))
    return [Entry(**row._asdict()) for row in rows]


def last_content(connection: Connection, kind: EntryKind, subject: int) -> str:
    """What the newest entry on something says of it; '' where there is none."""
    table = schema.ledger
    query = (
        sa.select(table.c.content)
        .where(table.c.kind == kind, table.c.subject == subject)
        .order_by(table.c.number.desc())
        .limit(1)
    )
    return connection.scalar(query) or ""


def content_of(connection: Connection, kind: EntryKind, number: int) -> str:
    """The hash of one recording or result as it stands; '' where there is none."""
    if kind is EntryKind.FORMAT or number >= NO_SUCH_NUMBER:
        return ""
    return contents(connection, kind, number).get(number, "")


def contents(connection: Connection, kind: EntryKind, number: int | None = None) -> dict[int, str]:
    """The hash of each recording, its columns, result, or what was said of it, as it stands, by
    its number; of one, or of all.

    A recording's blocks are covered by its seal, its pieces by that of its columns. Until it
    has a seal, its summary grows with it.
    """
    recording, result, card = schema.recording.c, schema.result.c, schema.card.c
    key: sa.ColumnElement[int]
    if kind is EntryKind.RECORDING:
        key = recording.number
        query = sa.select(key, *(recording[name] for name in _RECORDING))
    elif kind is EntryKind.COLUMNS:
        key = schema.packed.c.recording.label("number")
        query = sa.select(key, schema.packed.c.sha256)
    elif kind is EntryKind.SAID:
        key = card.result.label("number")
        query = sa.select(key, card.said).where(card.said != "")
    else:
        key = result.number
        beside = (card[name].label(f"card_{name}") for name in _CARD)
        joined = sa.outerjoin(schema.result, schema.card, card.result == key)
        query = sa.select(key, result.sha256, *beside).select_from(joined)
    if number is not None:
        query = query.where(key == number)
    return {row.number: _content(row._asdict()) for row in connection.execute(query)}


def _content(row: dict[str, Any]) -> str:
    if row.get("sha256", "") is None:
        row["summary"] = None
    return hashlib.sha256(to_text(list(row.values())[1:]).encode()).hexdigest()

"""Writes one recording, block after block; every call is one transaction."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from drivers.contract import Notes
from workbench.base.errors import StoreError
from workbench.records import schema
from workbench.records.chain import chain_block, chain_end, chain_start
from workbench.records.codec import Stored, StreamKey, encode, key_of
from workbench.records.database import StoreBusy, transaction
from workbench.records.deeds import Book, Now, deeds, stamp
from workbench.records.jsonable import to_text
from workbench.records.ledger import Deed, EntryKind
from workbench.records.reader import last_sequence, stream_keys

Coded = tuple[StreamKey, int, bytes]
"""A block before it is stored: its stream, how many items it holds, its bytes."""


def summary_text(notes: Notes) -> str:
    """What the inputs said of themselves, as it is stored."""
    return to_text(
        {
            "kind": notes.kind,
            "messages": notes.messages,
            "rejects": notes.rejects,
            "warnings": [_note_as_data(note) for note in notes.warnings],
            "timed": notes.timed,
            "sha256": notes.sha256,
            "origin_s": notes.origin_s,
        }
    )


def _note_as_data(note: str) -> object:
    """A driver's sentence: its template and values where it has them, so that it can be worded
    in another language; else its text."""
    values = getattr(note, "values", None)
    if not values:
        return str(note)
    plain = {k: v if isinstance(v, int | float) else str(v) for k, v in values.items()}
    return {"template": note.template, "values": plain}  # type: ignore[attr-defined]


class Writer:
    """One recording being written. Used by one thread; made by `Store.begin_recording`.

    With a `book` all of it is part of that deed: there whole afterwards, or not at all.
    """

    def __init__(
        self, engine: Engine, url: URL, now: Now, row: Mapping[str, Any], book: Book | None = None
    ) -> None:
        self._engine, self._url, self._now, self._book = engine, url, now, book
        self._streams: dict[StreamKey, int] = {}
        self._sequence = 0
        self._doubtful = False
        self._digest = chain_start(row)
        self.bytes_written = 0
        with self._deed() as book:
            insert = sa.insert(schema.recording).values(row).returning(schema.recording.c.number)
            self.number: int = book.connection.execute(insert).scalar_one()
            book.enter_new(Deed.BEGUN, EntryKind.RECORDING, self.number)

    def _deed(self) -> AbstractContextManager[Book]:
        return nullcontext(self._book) if self._book else deeds(self._engine, self._url, self._now)

    def _transaction(self) -> AbstractContextManager[Connection]:
        if self._book:
            return nullcontext(self._book.connection)
        return transaction(self._engine, self._url, writing=True)

    def write(self, items: Iterable[tuple[str, Stored]], notes: Notes) -> None:
        """Store pairs of (input address, item) in one transaction, a block a stream.

        Raises StoreError (StoreBusy where trying again may help); nothing of `items` is
        stored then, everything before is.
        """
        groups: dict[StreamKey, list[Stored]] = {}
        for address, item in items:
            groups.setdefault(key_of(address, item), []).append(item)
        coded = [(key, len(group), encode(group)) for key, group in groups.items()]
        hashes = [hashlib.sha256(data).digest() for _, _, data in coded]
        try:
            with self._transaction() as connection:
                # First the recording's row: where a commit was not heard to its end, this waits
                # for it, and what is read after holds it.
                self._update(
                    connection, heartbeat_utc=stamp(self._now()), summary=summary_text(notes)
                )
                streams = self._known_streams(connection)
                if coded and not self._came_through(connection, len(coded)):
                    self._insert(connection, streams, coded, hashes)
        except StoreBusy:
            # The connection may have gone with the commit: done or not is seen next time.
            self._doubtful = True
            raise
        self._doubtful, self._streams = False, streams
        self._sequence += len(coded)
        for (key, count, data), sha256 in zip(coded, hashes, strict=True):
            self._digest = chain_block(self._digest, key, count, sha256)
            self.bytes_written += len(data)

    def _insert(
        self,
        connection: Connection,
        streams: dict[StreamKey, int],
        coded: Sequence[Coded],
        hashes: Sequence[bytes],
    ) -> None:
        rows = []
        for sequence, ((key, count, data), sha256) in enumerate(
            zip(coded, hashes, strict=True), self._sequence
        ):
            if key not in streams:
                streams[key] = self._new_stream(connection, key)
            row = {"recording": self.number, "sequence": sequence, "stream": streams[key]}
            rows.append({**row, "items": count, "sha256": sha256, "data": data})
        connection.execute(sa.insert(schema.block), rows)

    def _came_through(self, connection: Connection, blocks: int) -> bool:
        """Whether the commit before, whose end was not heard, stored just these blocks."""
        if not self._doubtful:
            return False
        return last_sequence(connection, self.number) == self._sequence + blocks - 1

    def _known_streams(self, connection: Connection) -> dict[StreamKey, int]:
        if not self._doubtful:
            return dict(self._streams)
        return {key: number for number, key in stream_keys(connection, self.number).items()}

    def end(self, notes: Notes, reason: str = "") -> str:
        """Seal the recording, with why it ended; returns its hash.

        Raises StoreError; after StoreBusy the same call may be made again.
        """
        summary = summary_text(notes)
        sha256 = chain_end(self._digest, summary)
        ended = stamp(self._now())
        values = {"ended_utc": ended, "end_reason": reason, "summary": summary, "sha256": sha256}
        try:
            with self._deed() as book:
                if not (self._doubtful and self._has_seal(book.connection, sha256)):
                    self._update(book.connection, summary=summary)  # which refuses a sealed one
                    book.change(Deed.SEALED, EntryKind.RECORDING, self.number, values)
        except StoreBusy:
            self._doubtful = True
            raise
        return sha256

    def _has_seal(self, connection: Connection, sha256: str) -> bool:
        """Whether the commit before, whose end was not heard, sealed the recording."""
        table = schema.recording
        mine = table.c.number == self.number
        return connection.scalar(sa.select(table.c.sha256).where(mine)) == sha256

    def _update(self, connection: Connection, **values: str) -> None:
        table = schema.recording
        mine = (table.c.number == self.number) & table.c.sha256.is_(None)
        if connection.execute(sa.update(table).where(mine).values(values)).rowcount != 1:
            raise StoreError("Recording {number} has ended and takes no more.", number=self.number)

    def _new_stream(self, connection: Connection, key: StreamKey) -> int:
        values = {
            "recording": self.number,
            "kind": key.kind,
            "input": key.input,
            "name": key.name,
            "quantity": key.quantity,
        }
        insert = sa.insert(schema.stream).values(values).returning(schema.stream.c.id)
        number: int = connection.execute(insert).scalar_one()
        return number

"""A sealed recording is packed: its journal of small blocks becomes the columns of its streams.

Nothing is thrown away: the journal goes, in one transaction with the entry in the ledger, once
every piece has been read back equal to it and it has proved to be what was sealed. A crash
before leaves the journal, which is packed at the next start.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from workbench.base.errors import StoreError
from workbench.base.steps import Told
from workbench.records import columns, ledger, schema
from workbench.records.chain import chain_block, chain_start
from workbench.records.clocks import clocks_of, clocks_to_text
from workbench.records.codec import StreamKey
from workbench.records.columns import PIECE_BYTES, Columns, Gathered
from workbench.records.database import transaction
from workbench.records.deeds import Now, deeds
from workbench.records.ledger import Deed, EntryKind
from workbench.records.reader import (
    StreamsRead,
    Together,
    packed_row,
    packed_sha256,
    read_blocks,
    recording_row,
    recording_sha256,
    stream_keys,
)

_CLOCKED = {
    "edges": ("sizes", "ticks", "tick_s", "host_s"),
    "speeds": ("sizes", "time_s", "host_s"),
    "values": ("sizes", "value", "time_s", "host_s"),
}
"""What tells of a clock."""


class _Packer:
    """Makes pieces of blocks as they come, and stores them: each in a transaction of its own, so
    that a recording under way never waits for long."""

    def __init__(self, engine: Engine, url: URL, row: Mapping[str, Any]) -> None:
        self._engine, self._url = engine, url
        self._number: int = row["number"]
        self._waiting = Gathered(PIECE_BYTES, self._make)
        self._sequence = 0
        self.digest = chain_start(row)
        self.discard()  # what a packing that was broken off has left
        with transaction(engine, url) as connection:
            self._streams = {key: at for at, key in stream_keys(connection, self._number).items()}

    def discard(self) -> None:
        """Take away pieces that nothing stands on: of a recording that is packed, none."""
        with transaction(self._engine, self._url, writing=True) as connection:
            ledger.lock(connection)  # another program may be about to make them count
            if packed_row(connection, self._number) is None:
                mine = schema.piece.c.recording == self._number
                connection.execute(sa.delete(schema.piece).where(mine))

    def take(self, found: Columns) -> None:
        """Some more blocks of a stream."""
        size_bytes = sum(array.nbytes for array in found.arrays.values())
        self._waiting.add(found.key, found, size_bytes)

    def end(self) -> None:
        """Make pieces of all that is left."""
        self._waiting.end()

    def _make(self, key: StreamKey, parts: list[Columns]) -> None:
        whole = columns.joined(parts)
        data, items = columns.pack(whole), whole.blocks.size
        if not columns.same(whole, columns.unpack(key, data)):
            raise StoreError("A piece of {name} was not packed as it is.", name=key.name)
        sha256 = hashlib.sha256(data).digest()
        place = {"recording": self._number, "sequence": self._sequence}
        held = {"stream": self._streams[key], "items": items, "sha256": sha256, "data": data}
        with transaction(self._engine, self._url, writing=True) as connection:
            connection.execute(sa.insert(schema.piece).values(place | held))
        self.digest = chain_block(self.digest, key, items, sha256)
        self._sequence += 1


def unpacked(connection: Connection) -> list[int]:
    """The sealed recordings that are still a journal, the newest first."""
    recording, packed = schema.recording, schema.packed
    query = (
        sa.select(recording.c.number)
        .outerjoin(packed, packed.c.recording == recording.c.number)
        .where(recording.c.sha256.is_not(None), packed.c.recording.is_(None))
        .order_by(recording.c.number.desc())
    )
    return list(connection.execute(query).scalars())


def pack_recording(
    engine: Engine, url: URL, now: Now, number: int, progress: Told | None = None
) -> None:
    """Pack a sealed recording; nothing is done with one that is packed, or not sealed.

    Raises StoreError where it is damaged or the store fails; the journal is then as it was.
    `progress` may raise to end the work.
    """
    with transaction(engine, url) as connection:
        row = recording_row(connection, number, hidden=True)
        if row["sha256"] is None or packed_row(connection, number) is not None:
            return
    packer = _Packer(engine, url, row)
    try:
        with transaction(engine, url) as connection:
            journal = Together(packer.take)
            recording_sha256(connection, row, progress, journal.add)
        journal.end()
        packer.end()
        _seal(engine, url, now, row, packer.digest)
    except BaseException:
        with suppress(StoreError):
            packer.discard()
        raise


def _seal(engine: Engine, url: URL, now: Now, row: Mapping[str, Any], digest: bytes) -> None:
    """Make the pieces count, once all have been read back, and let the journal go."""
    number = row["number"]
    with deeds(engine, url, now) as book:
        connection = book.connection
        if packed_row(connection, number) is not None:
            return
        clocks = clocks_to_text(clocks_of(_clocked(connection, number)))
        sha256 = packed_sha256(digest, row, clocks)
        seal = {"recording": number, "clocks": clocks, "sha256": sha256}
        connection.execute(sa.insert(schema.packed).values(seal))
        recording_sha256(connection, row)  # which reads every piece back
        connection.execute(sa.delete(schema.block).where(schema.block.c.recording == number))
        book.enter_new(Deed.PACKED, EntryKind.COLUMNS, number)


def _clocked(connection: Connection, number: int) -> Iterator[Columns]:
    """What the streams tell of clocks, one after the other; of a file nothing: it carries its own
    line of time."""
    streams = StreamsRead()
    for piece in read_blocks(connection, number, packed=True):
        streams.take(piece)
    for one in streams.all():
        if one.key.kind in _CLOCKED and not one.key.input.startswith("file:"):
            yield one.columns(_CLOCKED[one.key.kind])

"""Reads a recording's blocks back, each checked against its checksum.

A block of the journal, as it was written, and a piece of the columns that a sealed recording is
packed into are read the same way.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.steps import Told
from workbench.calibration.pulses.time_base import ClockRuns
from workbench.records import codec, columns, schema
from workbench.records.chain import chain_block, chain_end, chain_start
from workbench.records.clocks import Sender, clocks_from_text
from workbench.records.codec import CodecError, Stored, StreamKey
from workbench.records.columns import Columns, Gathered, StoredStream, StreamPart

NO_SUCH_NUMBER = 2**31
"""From here on a number is none of ours, and a database may choke on it."""
_TELL_BLOCKS = 50
_TOGETHER_BYTES = 1 << 14
"""Of a stream's blocks, packed, that are decoded at once: some seconds of a wheel."""
_WANTED = ("edges", "speeds", "values", "lost")
"""The kinds of stream that a `Recording` is made of."""

OnDamage = Callable[[StoreError], object]
"""Told of a block that cannot be read, where what is left is of use."""


@dataclass(frozen=True, slots=True)
class StoredBlock:
    """One block as it lies in the store: of the journal, or a `packed` piece of columns."""

    recording: int
    sequence: int
    key: StreamKey
    count: int
    sha256: bytes
    data: bytes
    packed: bool = False

    def check(self) -> None:
        """Raises StoreError where the bytes are not those that were written."""
        if hashlib.sha256(self.data).digest() != self.sha256:
            raise self._damaged(Message("its checksum does not match"))

    def columns(self, names: Collection[str] | None = None) -> Columns:
        """What it holds as arrays, all of them or some by name; the bytes are not checked.

        Raises StoreError where they are no block.
        """
        try:
            found = columns.unpack(self.key, self.data, names) if self.packed else decoded([self])
        except CodecError as error:
            raise self._damaged(error) from None
        if found.blocks.size != self.count:
            raise self._wrong_count(found.blocks.size)
        return found

    def items(self) -> list[tuple[int, Stored]]:
        """(block of the journal, item), bit for bit as they were written. Raises StoreError."""
        self.check()
        found = self.columns()
        try:
            items = codec.items_of(self.key, found.head, found.arrays)
        except CodecError as error:
            raise self._damaged(error) from None
        if len(items) != self.count:
            raise self._wrong_count(len(items))
        return list(zip(found.blocks.tolist(), items, strict=True))

    def _wrong_count(self, count: int) -> StoreError:
        return self._damaged(
            Message("it holds {count} items, expected {expected}", count=count, expected=self.count)
        )

    def _damaged(self, what: Message) -> StoreError:
        stream = " ".join(part for part in (self.key.kind, self.key.name) if part)
        return StoreError(
            "Block {sequence} of recording {recording} ({stream} of "
            "{input}) is damaged: {what}. Go back to a backup of the store, or save "
            "the rest with `evenpace export`.",
            sequence=self.sequence,
            recording=self.recording,
            stream=stream,
            input=self.key.input,
            what=what,
        )


def recording_row(connection: Connection, number: int, *, hidden: bool = False) -> dict[str, Any]:
    """The row of a recording, of one out of sight only where `hidden`.

    Raises WrongInput where there is none of that number.
    """
    query = sa.select(schema.recording).where(schema.recording.c.number == number)
    row = connection.execute(query).one_or_none() if number < NO_SUCH_NUMBER else None
    if row is None or (row.deleted_utc is not None and not hidden):
        raise WrongInput("There is no recording {number} in the store.", number=number)
    return row._asdict()


def stream_keys(connection: Connection, number: int) -> dict[int, StreamKey]:
    """The streams of a recording by their ids, but for those whose row is damaged."""
    table = schema.stream
    rows = connection.execute(sa.select(table).where(table.c.recording == number))
    keys = {row.id: (row.kind, row.input, row.name, row.quantity) for row in rows}
    return {
        number: StreamKey(*key)
        for number, key in keys.items()
        if all(isinstance(word, str) for word in key)
    }


def read_blocks(
    connection: Connection,
    number: int,
    sequences: range | None = None,
    *,
    packed: bool | None = None,
) -> Iterator[StoredBlock]:
    """Blocks of a recording in the order they were written, or the pieces of a packed one: all,
    or those of some sequences. `packed`: the pieces, also while they do not count yet."""
    if packed is None:
        packed = packed_row(connection, number) is not None
    block = schema.piece if packed else schema.block
    streams = stream_keys(connection, number)
    query = sa.select(block).where(block.c.recording == number).order_by(block.c.sequence)
    if sequences is not None:
        query = query.where(block.c.sequence.between(sequences.start, sequences.stop - 1))
    with connection.execute(query.execution_options(yield_per=_TELL_BLOCKS)) as rows:
        for row in rows:
            yield _stored_block(number, row, streams, packed)


def _stored_block(
    number: int, row: sa.Row[Any], streams: Mapping[int, StreamKey], packed: bool
) -> StoredBlock:
    try:
        hashed, key = (bytes(row.sha256), bytes(row.data)), streams[row.stream]
        return StoredBlock(number, row.sequence, key, row.items, *hashed, packed)
    except (KeyError, TypeError, ValueError):
        raise StoreError(
            "Block {sequence} of recording {recording} is damaged: its row is not one that was "
            "written. Go back to a backup of the store.",
            sequence=row.sequence,
            recording=number,
        ) from None


def packed_row(connection: Connection, number: int) -> sa.Row[Any] | None:
    """What is known of a recording that is packed into columns; None where it is a journal."""
    query = sa.select(schema.packed).where(schema.packed.c.recording == number)
    return connection.execute(query).one_or_none()


def last_sequence(connection: Connection, number: int) -> int:
    """The sequence of the newest block or the last piece, −1 where there is none."""
    packed = packed_row(connection, number) is not None
    block = schema.piece if packed else schema.block
    query = sa.select(sa.func.max(block.c.sequence)).where(block.c.recording == number)
    newest = connection.scalar(query)
    if newest is not None and not isinstance(newest, int):
        raise StoreError(
            "Recording {recording} is damaged: a row of its blocks is not one that was written. Go "
            "back to a backup of the store.",
            recording=number,
        )
    return -1 if newest is None else newest


def recording_sha256(
    connection: Connection,
    row: Mapping[str, Any],
    progress: Told | None = None,
    take: Callable[[StoredBlock], object] = lambda block: None,
) -> str:
    """The hash of a recording, of which `row` is the row, anew from its blocks.

    Each is checked, and then goes to `take`. Raises StoreError where one, or the whole, is not
    as it was sealed. One that is packed is known by the hash that its journal had, and its
    pieces have one of their own.
    """
    number: int = row["number"]
    packed = packed_row(connection, number)
    count = last_sequence(connection, number) + 1
    digest = chain_start(row)
    for block in read_blocks(connection, number):
        if progress is not None and block.sequence % _TELL_BLOCKS == 0:
            progress(block.sequence / count, "")
        block.check()
        digest = chain_block(digest, block.key, block.count, block.sha256)
        take(block)
    if packed is None:
        sha256, sealed = chain_end(digest, row["summary"]), row["sha256"]
    else:
        sha256, sealed = packed_sha256(digest, row, packed.clocks), packed.sha256
    if sealed not in (None, sha256):
        raise StoreError(
            "Recording {number} was altered after it ended: its hash is {sha256}…, "
            "sealed was {sealed}…. Go back to a backup of the store.",
            number=number,
            sha256=sha256[:12],
            sealed=sealed[:12],
        )
    return sha256 if packed is None else row["sha256"]


def packed_sha256(digest: bytes, row: Mapping[str, Any], clocks: str) -> str:
    """The hash of a packed recording: the chain over its pieces, with the seal of the journal
    that they were made of."""
    return chain_end(digest, f"{row['summary']}{row['sha256']}{clocks}")


def decoded(blocks: Sequence[StoredBlock]) -> Columns:
    """The columns of blocks of the journal, at least one, all of one stream and in a row.

    Raises CodecError where one is none.
    """
    parts = [
        Columns(block.key, *found, np.full(block.count, block.sequence))
        for block, found in zip(blocks, codec.unpack([one.data for one in blocks]), strict=True)
    ]
    return columns.joined(parts)


class Together:
    """Decodes the blocks of a journal some at a time, which is ten times as fast as one by one;
    `take` gets the columns, stream by stream in the order of the blocks."""

    def __init__(
        self, take: Callable[[Columns], object], on_damage: OnDamage | None = None
    ) -> None:
        self._take, self._on_damage = take, on_damage
        self._waiting = Gathered(_TOGETHER_BYTES, self._decode)

    def add(self, block: StoredBlock) -> None:
        """One more block, whose bytes are checked. One that is none all the same is told to
        `on_damage`, or raises StoreError."""
        self._waiting.add(block.key, block, len(block.data))

    def end(self) -> None:
        """Decode what is left."""
        self._waiting.end()

    def _decode(self, _key: StreamKey, blocks: list[StoredBlock]) -> None:
        try:
            self._take(decoded(blocks))
        except CodecError:
            for block in blocks:
                self._decode_alone(block)

    def _decode_alone(self, block: StoredBlock) -> None:
        try:
            self._take(block.columns())
        except StoreError as error:
            if self._on_damage is None:
                raise
            self._on_damage(error)


class StreamsRead:
    """The streams of a recording as its blocks are taken, but for raw frames and files."""

    def __init__(self, on_damage: OnDamage | None = None) -> None:
        self._parts: dict[StreamKey, list[StreamPart]] = {}
        self._journal = Together(self._add, on_damage)

    def take(self, block: StoredBlock) -> None:
        """One more block: see `Together.add`."""
        if block.key.kind not in _WANTED:
            return
        if block.packed:  # a piece takes ten times as much room when it is unpacked
            self._add(block)
        else:
            self._journal.add(block)

    def _add(self, part: StreamPart) -> None:
        self._parts.setdefault(part.key, []).append(part)

    def all(self) -> list[StoredStream]:
        """All that were taken."""
        self._journal.end()
        return list(map(StoredStream, self._parts.values()))


def read_streams(
    connection: Connection, row: Mapping[str, Any], progress: Told | None = None
) -> tuple[list[StoredStream], dict[Sender, ClockRuns] | None, str]:
    """The streams of a recording, of which `row` is the row; its clocks, None where they have
    not been fitted yet; and its hash.

    Raises StoreError where one block, or the whole, is not as it was sealed.
    """
    streams = StreamsRead()
    sha256 = recording_sha256(connection, row, progress, streams.take)
    clocks = stored_clocks(connection, row["number"])
    return streams.all(), clocks, sha256


def stored_clocks(connection: Connection, number: int) -> dict[Sender, ClockRuns] | None:
    """The clocks of a packed recording; None of a journal. Raises StoreError."""
    packed = packed_row(connection, number)
    return None if packed is None else clocks_from_text(packed.clocks)


def items_of_block(block: StoredBlock, on_damage: OnDamage | None) -> list[tuple[int, Stored]]:
    """`block.items()`; with `on_damage` none of a damaged one, and it is told to it."""
    try:
        return block.items()
    except StoreError as error:
        if on_damage is None:
            raise
        on_damage(error)
        return []


def stream_places(connection: Connection, number: int) -> list[tuple[StreamKey, list[int]]]:
    """Each stream of a recording that is packed, or is being so, and its pieces by sequence."""
    piece, keys = schema.piece, stream_keys(connection, number)
    query = sa.select(piece.c.stream, piece.c.sequence).where(piece.c.recording == number)
    places: dict[StreamKey, list[int]] = {}
    for stream, sequence in connection.execute(query.order_by(piece.c.sequence)):
        if stream in keys:
            places.setdefault(keys[stream], []).append(sequence)
    return list(places.items())

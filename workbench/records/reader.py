"""Reads a recording's blocks back, each checked against its checksum."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.records import schema
from workbench.records.chain import chain_block, chain_end, chain_start
from workbench.records.codec import CodecError, Stored, StreamKey, decode

NO_SUCH_NUMBER = 2**31
"""From here on a number is none of ours, and a database may choke on it."""
_TELL_BLOCKS = 50

Told = Callable[[float, Message | str], object]
"""Told how far long work is, 0 to 1, and in what step, '' for the same as before; may raise to
end the work."""
OnDamage = Callable[[StoreError], object]
"""Told of a block that cannot be read, where what is left is of use."""


@dataclass(frozen=True, slots=True)
class StoredBlock:
    """One block as it lies in the store."""

    recording: int
    sequence: int
    key: StreamKey
    count: int
    sha256: bytes
    data: bytes

    def check(self) -> None:
        """Raises StoreError where the bytes are not those that were written."""
        if hashlib.sha256(self.data).digest() != self.sha256:
            raise self._damaged(Message("its checksum does not match"))

    def items(self) -> list[Stored]:
        """The items, bit for bit as they were written. Raises StoreError."""
        self.check()
        try:
            items = decode(self.key, self.data)
        except CodecError as error:
            raise self._damaged(error) from None
        if len(items) != self.count:
            raise self._damaged(
                Message(
                    "it holds {count} items, expected {expected}",
                    count=len(items),
                    expected=self.count,
                )
            )
        return items

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
    """The streams of a recording by their ids."""
    table = schema.stream
    rows = connection.execute(sa.select(table).where(table.c.recording == number))
    return {row.id: StreamKey(row.kind, row.input, row.name, row.quantity) for row in rows}


def read_blocks(
    connection: Connection,
    number: int,
    sequences: range | None = None,
    kinds: tuple[str, ...] = (),
) -> Iterator[StoredBlock]:
    """Blocks of a recording in the order they were written: all, or those of some sequences
    or some kinds of stream."""
    block = schema.block
    streams = stream_keys(connection, number)
    query = sa.select(block).where(block.c.recording == number).order_by(block.c.sequence)
    if sequences is not None:
        query = query.where(block.c.sequence.between(sequences.start, sequences.stop - 1))
    if kinds:
        wanted = [number for number, key in streams.items() if key.kind in kinds]
        query = query.where(block.c.stream.in_(wanted))
    for row in connection.execute(query.execution_options(yield_per=_TELL_BLOCKS)):
        yield _stored_block(number, row, streams)


def _stored_block(number: int, row: sa.Row[Any], streams: Mapping[int, StreamKey]) -> StoredBlock:
    try:
        sha256, data = bytes(row.sha256), bytes(row.data)
        return StoredBlock(number, row.sequence, streams[row.stream], row.items, sha256, data)
    except (KeyError, TypeError, ValueError):
        raise StoreError(
            "Block {sequence} of recording {recording} is damaged: its row is not one that was "
            "written. Go back to a backup of the store.",
            sequence=row.sequence,
            recording=number,
        ) from None


def last_sequence(connection: Connection, number: int) -> int:
    """The sequence of the newest block, −1 where there is none."""
    block = schema.block
    query = sa.select(sa.func.max(block.c.sequence)).where(block.c.recording == number)
    newest = connection.scalar(query)
    return -1 if newest is None else int(newest)


def whole_recording(
    connection: Connection, number: int, progress: Told | None = None, *, hidden: bool = False
) -> tuple[dict[str, Any], list[StoredBlock], str]:
    """The row, all blocks and the hash of a recording.

    Raises StoreError where the blocks are not those that were sealed.
    """
    row = recording_row(connection, number, hidden=hidden)
    blocks: list[StoredBlock] = []
    sha256 = recording_sha256(connection, row, progress, blocks.append)
    return row, blocks, sha256


def recording_sha256(
    connection: Connection,
    row: Mapping[str, Any],
    progress: Told | None = None,
    take: Callable[[StoredBlock], object] = lambda block: None,
) -> str:
    """The hash of a recording, of which `row` is the row, anew from its blocks.

    Each is checked, and then goes to `take`. Raises StoreError where one, or the whole, is not
    as it was sealed.
    """
    number: int = row["number"]
    count = last_sequence(connection, number) + 1
    digest = chain_start(row)
    for block in read_blocks(connection, number):
        if progress is not None and block.sequence % _TELL_BLOCKS == 0:
            progress(block.sequence / count, "")
        block.check()
        digest = chain_block(digest, block.key, block.count, block.sha256)
        take(block)
    sha256 = chain_end(digest, row["summary"])
    if row["sha256"] not in (None, sha256):
        raise StoreError(
            "Recording {number} was altered after it ended: its hash is {sha256}…, "
            "sealed was {sealed}…. Go back to a backup of the store.",
            number=number,
            sha256=sha256[:12],
            sealed=row["sha256"][:12],
        )
    return sha256

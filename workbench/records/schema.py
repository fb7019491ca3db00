"""The tables of the store, as the newest migration leaves them.

A recording is a list of blocks, each holding some items of one stream (a channel, a
source, the raw frames of a bus, or the file it was imported from). Once it is sealed they
are packed: the pieces of its columns take their place (`packing.py`). Blocks, pieces and results
are written once: triggers in the database refuse to change either, or to delete a
result. What a person may change of a result lies beside it, on its card, together with
what a list shows of it. Both recordings and results are taken out of sight by
`deleted_utc`, never erased. The ledger holds an entry for everything done (`ledger.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeEngine

from workbench.base.errors import StoreError

metadata = MetaData()


class OfItsKind(TypeDecorator[Any]):
    """A column of which nothing is read but what belongs there: a cell of SQLite takes
    whatever another program puts into it (sqlite.org/flextypegood.html)."""

    impl, cache_ok = Text, True

    def __init__(self, kind: TypeEngine[Any]) -> None:
        super().__init__()
        self.kind = kind
        self.impl = kind  # type: ignore[assignment]

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any]:
        """A cell's value; raises StoreError where it is of another kind than its column."""
        kind = self.kind.python_type
        kinds = {bool: (bool, int), float: (float, int)}.get(kind, (kind,))
        to_python = self.kind.dialect_impl(dialect).result_processor(dialect, coltype)

        def value(cell: Any) -> Any:
            if cell is not None and not isinstance(cell, kinds):
                raise StoreError(
                    "The store is damaged: a cell holds what is no {kind}. Copy the store before "
                    "anything else; `evenpace verify` tells what else is damaged.",
                    kind=kind.__name__,
                )
            return cell if to_python is None or cell is None else to_python(cell)

        return value


def _blocks(name: str) -> Table:
    """Of the journal, or the pieces of columns: both are read the same way."""
    return Table(
        name,
        metadata,
        Column("recording", Integer, ForeignKey("recording.number"), primary_key=True),
        Column("sequence", Integer, primary_key=True),
        Column("stream", Integer, ForeignKey("stream.id"), nullable=False),
        Column("items", Integer, nullable=False),
        Column("sha256", LargeBinary, nullable=False),
        Column("data", LargeBinary, nullable=False),
    )


recording = Table(
    "recording",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("name", Text, nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("program_version", String(40), nullable=False),
    Column("started_utc", String(40), nullable=False),
    # The monotonic time that is 0 s on the recording's time line.
    Column("started_host_s", Float),
    Column("machine_name", Text, nullable=False),
    Column("machine_text", Text, nullable=False),
    # How often the writer has come back tells a recording in progress from a broken one.
    Column("heartbeat_utc", String(40), nullable=False),
    Column("ended_utc", String(40)),
    Column("end_reason", Text, nullable=False),
    Column("summary", Text, nullable=False),
    Column("sha256", String(64)),
    Column("deleted_utc", String(40)),
    # What the person calls it, and says of it; `name` is part of the hash and stays.
    Column("title", Text, nullable=False, server_default=""),
    Column("note", Text, nullable=False, server_default=""),
    sqlite_autoincrement=True,
)

stream = Table(
    "stream",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("recording", Integer, ForeignKey("recording.number"), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("input", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("quantity", Text, nullable=False),
    UniqueConstraint("recording", "kind", "input", "name", "quantity", name="stream_once"),
)

block = _blocks("block")

packed = Table(
    "packed",
    metadata,
    Column(
        "recording",
        Integer,
        ForeignKey("recording.number"),
        primary_key=True,
        autoincrement=False,
    ),
    # How the clock of each input ran against the host's, as it was fitted when packed.
    Column("clocks", Text, nullable=False),
    Column("sha256", String(64), nullable=False),
)

piece = _blocks("piece")

result = Table(
    "result",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("kind", String(20), nullable=False),
    Column("answer", Text, nullable=False),
    Column("options", Text, nullable=False),
    Column("recording", Integer, ForeignKey("recording.number")),
    Column("recording_sha256", String(64), nullable=False),
    Column("table_text", Text),
    Column("table_name", Text, nullable=False),
    Column("machine_text", Text, nullable=False),
    Column("program_version", String(40), nullable=False),
    Column("created_utc", String(40), nullable=False),
    Column("sha256", String(64), nullable=False),
    sqlite_autoincrement=True,
)

card = Table(
    "card",
    metadata,
    Column("result", Integer, ForeignKey("result.number"), primary_key=True, autoincrement=False),
    # Copies, so that a list need not read past the long texts of the result's own row.
    Column("kind", String(20), nullable=False),
    Column("recording", Integer),
    Column("table_name", Text, nullable=False),
    Column("created_utc", String(40), nullable=False),
    # The answer's own numbers and words without its lists: enough for a line and a season.
    Column("head", Text, nullable=False),
    Column("machine_name", Text, nullable=False),
    Column("title", Text, nullable=False, server_default=""),
    Column("note", Text, nullable=False, server_default=""),
    Column("deleted_utc", String(40)),
    # The verdict after what was found was put right, '' where nothing was.
    Column("as_left", String(20), nullable=False, server_default=""),
    # For whom and by whom, under which conditions: text of which the store knows nothing.
    Column("said", Text, nullable=False, server_default=""),
)

ledger = Table(
    "ledger",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("previous", String(64), nullable=False),
    Column("deed", String(20), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("subject", Integer, nullable=False),
    Column("found", String(64), nullable=False),
    Column("content", String(64), nullable=False),
    Column("when_utc", String(40), nullable=False),
    Column("program_version", String(40), nullable=False),
    Column("sha256", String(64), nullable=False),
)

for _table in metadata.tables.values():
    for _column in _table.columns:
        _column.type = OfItsKind(_column.type)

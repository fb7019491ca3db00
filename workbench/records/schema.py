"""The tables of the store, as the newest migration leaves them.

A recording is a list of blocks, each holding some items of one stream (a channel, a
source, the raw frames of a bus, or the file it was imported from). Blocks and results
are written once: triggers in the database refuse to change either, or to delete a
result. A recording is taken out of sight by `deleted_utc`, never erased.
"""

from __future__ import annotations

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
    UniqueConstraint,
)

metadata = MetaData()

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

block = Table(
    "block",
    metadata,
    Column("recording", Integer, ForeignKey("recording.number"), primary_key=True),
    Column("sequence", Integer, primary_key=True),
    Column("stream", Integer, ForeignKey("stream.id"), nullable=False),
    Column("items", Integer, nullable=False),
    Column("sha256", LargeBinary, nullable=False),
    Column("data", LargeBinary, nullable=False),
)

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

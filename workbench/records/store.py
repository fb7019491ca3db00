"""The store of recordings and results: `open_store()`, then numbers in and out."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from drivers.contract import Recording
from workbench.calibration.timebase import TimeBase
from workbench.errors import StoreError, WrongInput
from workbench.machine import Machine
from workbench.records import schema
from workbench.records.codec import Stored
from workbench.records.database import database_url, make_engine, sentences, shown, store_address
from workbench.records.jsonable import to_text
from workbench.records.migrate import bring_up
from workbench.records.reader import (
    last_sequence,
    notes_of,
    read_blocks,
    recording_row,
    whole_recording,
)
from workbench.records.rebuild import clocks, rebuild
from workbench.records.writer import Now, Writer, stamp

_STALE_S = 10.0
"""A writer comes by every half second; one unseen for this long has died."""


def utc_now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class StoredRecording:
    """What the store knows of one recording without reading its blocks.

    `state` is 'ended', 'recording' or 'interrupted' (its writer died; everything up to its
    last second is there). `sha256` is '' until it has ended. `machine_text` is the machine
    file as it was when recorded, '' where none was given.
    """

    number: int
    name: str
    kind: str
    state: str
    end_reason: str
    simulated: bool
    started_utc: str
    last_utc: str
    program_version: str
    machine_name: str
    machine_text: str
    source_sha256: str
    sha256: str


@dataclass(frozen=True, slots=True)
class StoredResult:
    """One answer with all that is needed to compute it again.

    `answer` and `options` in JSON's own types. `recording` or `table` is what it was
    computed from; `recording_sha256` is the recording's hash at that moment.
    """

    number: int
    kind: str
    answer: dict[str, Any]
    options: dict[str, Any]
    recording: int | None
    recording_sha256: str
    table: str | None
    table_name: str
    machine_text: str
    program_version: str
    created_utc: str


def open_store(address: str | None = None, *, now: Now = utc_now) -> Store:
    """Open, and where needed make or migrate, the store at `address`.

    None means $EVENPACE_STORE, or else a file in the user's data folder. Raises StoreError.
    """
    url = database_url(store_address(address))
    with sentences(url):
        engine = make_engine(url)
        try:
            bring_up(engine, url, now())
        except BaseException:
            engine.dispose()
            raise
    return Store(engine, url, now)


class Store:
    """Recordings and results in one database. Every method raises StoreError."""

    def __init__(self, engine: Engine, url: URL, now: Now) -> None:
        self._engine, self._url, self._now = engine, url, now

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database; harmless when already closed."""
        self._engine.dispose()

    @property
    def address(self) -> str:
        """Where the store lies, without a password."""
        return shown(self._url)

    def begin_recording(
        self,
        name: str,
        *,
        started_host_s: float,
        simulated: bool = False,
        machine: Machine | None = None,
    ) -> Writer:
        """A new recording; `started_host_s` (monotonic) is 0 s on its time line."""
        started = stamp(self._now())
        row = {
            "name": name,
            "simulated": simulated,
            "program_version": program_version(),
            "started_utc": started,
            "started_host_s": started_host_s,
            "machine_name": machine.name if machine else "",
            "machine_text": machine.text if machine else "",
            "heartbeat_utc": started,
            "end_reason": "",
            "summary": "{}",
        }
        return Writer(self._engine, self._url, self._now, row)

    def recordings(self) -> list[StoredRecording]:
        """All recordings that were not taken out of sight, the newest first."""
        table = schema.recording
        query = (
            sa.select(table).where(table.c.deleted_utc.is_(None)).order_by(table.c.number.desc())
        )
        with self._reading() as connection:
            return [self._stored(row._asdict()) for row in connection.execute(query)]

    def recording(self, number: int) -> StoredRecording:
        """One recording's entry. Raises WrongInput where there is none of that number."""
        with self._reading() as connection:
            return self._stored(recording_row(connection, number))

    def load_recording(self, number: int) -> Recording:
        """A recording as one time line, every block checked against its checksum."""
        with self._reading() as connection:
            row, blocks, sha256 = whole_recording(connection, number)
        notes = notes_of(row["summary"])
        notes.sha256 = notes.sha256 or sha256
        pairs = [
            (block.key.input, item)
            for block in blocks
            for item in block.items()
            if not isinstance(item, bytes)
        ]
        return rebuild(pairs, notes, row["started_host_s"], row["name"], row["simulated"])

    def clocks(self, number: int) -> dict[str, list[TimeBase]]:
        """How each pulse counter's clock ran against the host's, one a run of its clock."""
        pairs = [(a, item) for a, item in self.items(number) if not isinstance(item, bytes)]
        return clocks(pairs)

    def recording_sha256(self, number: int) -> str:
        """A recording's hash, computed anew from its blocks."""
        with self._reading() as connection:
            return whole_recording(connection, number)[2]

    def items(
        self, number: int, on_damage: Callable[[str], None] | None = None
    ) -> Iterator[tuple[str, Stored]]:
        """(input address, item) bit for bit as they came from the wire, in the order stored.

        An imported file's own bytes come as `bytes`. With `on_damage` a block that cannot be
        read is left out and told to it; without, it is a StoreError.
        """
        with self._reading() as connection:
            recording_row(connection, number)
            count = last_sequence(connection, number) + 1
        for sequence in range(count):
            try:
                with self._reading() as connection:
                    blocks = list(read_blocks(connection, number, sequence))
                pairs = [(block.key.input, item) for block in blocks for item in block.items()]
            except StoreError as error:
                if on_damage is None:
                    raise
                on_damage(str(error))
            else:
                yield from pairs

    def add_result(
        self,
        kind: str,
        answer: Mapping[str, Any],
        *,
        options: Mapping[str, Any],
        recording: int | None = None,
        table: str | None = None,
        table_name: str = "",
        machine: Machine | None = None,
    ) -> int:
        """Keep an answer for good; returns its number.

        `recording` is a stored recording's number, `table` the text of a table it was
        computed from.
        """
        row: dict[str, Any] = {
            "kind": kind,
            "answer": to_text(answer),
            "options": to_text(options),
            "recording": recording,
            "recording_sha256": self.recording_sha256(recording) if recording else "",
            "table_text": table,
            "table_name": table_name,
            "machine_text": machine.text if machine else "",
            "program_version": program_version(),
            "created_utc": stamp(self._now()),
        }
        row["sha256"] = _result_sha256(row)
        with self._writing() as connection:
            insert = sa.insert(schema.result).values(row).returning(schema.result.c.number)
            number: int = connection.execute(insert).scalar_one()
        return number

    def result(self, number: int) -> StoredResult:
        """One result. Raises WrongInput where there is none, StoreError where it was altered."""
        table = schema.result
        with self._reading() as connection:
            query = sa.select(table).where(table.c.number == number)
            found = connection.execute(query).one_or_none()
        if found is None:
            raise WrongInput(f"There is no result {number} in the store {self.address}.")
        row = found._asdict()
        if _result_sha256(row) != row["sha256"]:
            raise StoreError(
                f"Result {number} in the store {self.address} was altered after it was made: "
                "its checksum does not match."
            )
        return _result(row)

    def results(self, recording: int | None = None) -> list[StoredResult]:
        """All results, or those of one recording, the newest first."""
        table = schema.result
        query = sa.select(table).order_by(table.c.number.desc())
        if recording is not None:
            query = query.where(table.c.recording == recording)
        with self._reading() as connection:
            return [_result(row._asdict()) for row in connection.execute(query)]

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with sentences(self._url), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        with (
            sentences(self._url),
            self._engine.connect().execution_options(writing=True) as connection,
            connection.begin(),
        ):
            yield connection

    def _stored(self, row: Mapping[str, Any]) -> StoredRecording:
        notes = notes_of(row["summary"])
        last_utc = row["ended_utc"] or row["heartbeat_utc"]
        age_s = (self._now() - datetime.fromisoformat(last_utc)).total_seconds()
        alive = "recording" if abs(age_s) < _STALE_S else "interrupted"
        return StoredRecording(
            number=row["number"],
            name=row["name"],
            kind=notes.kind,
            state="ended" if row["sha256"] else alive,
            end_reason=row["end_reason"],
            simulated=row["simulated"],
            started_utc=row["started_utc"],
            last_utc=last_utc,
            program_version=row["program_version"],
            machine_name=row["machine_name"],
            machine_text=row["machine_text"],
            source_sha256=notes.sha256,
            sha256=row["sha256"] or "",
        )


def program_version() -> str:
    """The installed program's version, '0' where it runs from a bare checkout."""
    try:
        return version("evenpace")
    except PackageNotFoundError:
        return "0"


def _result(row: Mapping[str, Any]) -> StoredResult:
    return StoredResult(
        number=row["number"],
        kind=row["kind"],
        answer=json.loads(row["answer"]),
        options=json.loads(row["options"]),
        recording=row["recording"],
        recording_sha256=row["recording_sha256"],
        table=row["table_text"],
        table_name=row["table_name"],
        machine_text=row["machine_text"],
        program_version=row["program_version"],
        created_utc=row["created_utc"],
    )


_HASHED = (
    "kind",
    "answer",
    "options",
    "recording",
    "recording_sha256",
    "table_text",
    "table_name",
    "machine_text",
    "program_version",
    "created_utc",
)


def _result_sha256(row: Mapping[str, Any]) -> str:
    text = to_text([row[name] for name in _HASHED])
    return hashlib.sha256(text.encode()).hexdigest()

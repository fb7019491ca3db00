"""The store of recordings and results: `open_store()`, then numbers in and out."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from typing import Any, Self

import sqlalchemy as sa
from sqlalchemy.engine import URL, Engine

from drivers.contract import Notes, Recording
from workbench.base.errors import StoreError, WrongInput
from workbench.base.machine import Machine
from workbench.base.steps import Told
from workbench.base.version import program_version
from workbench.calibration.pulses.time_base import ClockRuns
from workbench.records import ledger, schema
from workbench.records.cards import Card, card_row, read_cards
from workbench.records.checking import Checked, look_through
from workbench.records.clocks import Sender, clocks_of
from workbench.records.codec import Stored
from workbench.records.columns import StoredStream
from workbench.records.database import (
    borrow_engine,
    database_url,
    give_back,
    sentences,
    shown,
    store_address,
    transaction,
)
from workbench.records.deeds import Book, Now, deeds, stamp
from workbench.records.entries import (
    StoredRecording,
    StoredResult,
    check_seal,
    notes_of,
    recording_entry,
    result_entry,
    result_sha256,
)
from workbench.records.ledger import Deed, EntryKind, Head
from workbench.records.migrate import NEWEST, bring_up
from workbench.records.packing import pack_recording, unpacked
from workbench.records.reader import (
    NO_SUCH_NUMBER,
    OnDamage,
    StoredBlock,
    StreamsRead,
    items_of_block,
    last_sequence,
    packed_row,
    read_blocks,
    read_streams,
    recording_row,
    recording_sha256,
    stored_clocks,
    stream_places,
)
from workbench.records.rebuild import recording_of
from workbench.records.recover import recover
from workbench.records.writer import Writer

_READ_BLOCKS = 200
_KEPT = sa.select(schema.result, schema.card.c.said).outerjoin_from(
    schema.result, schema.card, schema.card.c.result == schema.result.c.number
)
_IN_SIGHT = _KEPT.where(schema.card.c.deleted_utc.is_(None))


def utc_now() -> datetime:
    return datetime.now(UTC)


def open_store(address: str | None = None, *, make: bool = True, now: Now = utc_now) -> Store:
    """Open, and where needed migrate, the store at `address`; where there is none, `make` it.

    None means $EVENPACE_STORE, or else a file in the user's data folder. Raises NoStore,
    StoreError.
    """
    url = database_url(store_address(address))
    with sentences(url):
        engine, is_new = borrow_engine(url, lambda fresh: bring_up(fresh, url, now(), make=make))
    return Store(engine, url, now, is_new=is_new)


class Store:
    """Recordings and results in one database. Every method raises StoreError."""

    def __init__(self, engine: Engine, url: URL, now: Now, *, is_new: bool = False) -> None:
        self._engine, self._url, self._now = engine, url, now
        self.is_new = is_new
        """Whether it was made just now, by its opening."""
        self._closed = False

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database; harmless when already closed."""
        if not self._closed:
            self._closed = True
            give_back(self._engine)

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
        book: Book | None = None,
    ) -> Writer:
        """A new recording; `started_host_s` (monotonic) is 0 s on its time line. With the `book`
        of a `deed` it is there whole after that, or not at all."""
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
        return Writer(self._engine, self._url, self._now, row, book)

    def deed(self) -> AbstractContextManager[Book]:
        """One transaction for what belongs together."""
        return deeds(self._engine, self._url, self._now)

    def recordings(self, *, deleted: bool = False) -> list[StoredRecording]:
        """All recordings, the newest first; those out of sight only where `deleted`."""
        table = schema.recording
        query = sa.select(table).order_by(table.c.number.desc())
        if not deleted:
            query = query.where(table.c.deleted_utc.is_(None))
        with transaction(self._engine, self._url) as connection:
            return [
                recording_entry(row._asdict(), self._now()) for row in connection.execute(query)
            ]

    def recording(self, number: int) -> StoredRecording:
        """One recording's entry. Raises WrongInput where there is none of that number."""
        with transaction(self._engine, self._url) as connection:
            return recording_entry(recording_row(connection, number), self._now())

    def hide(self, number: int, *, hidden: bool = True) -> None:
        """Take a recording out of sight, or bring it back; nothing of it is erased.

        Raises WrongInput where there is none of that number, or one that still runs.
        """
        if hidden and self.recording(number).state == "recording":
            raise WrongInput("Recording {number} still runs; stop it first.", number=number)
        self._hide(EntryKind.RECORDING, number, hidden)

    def hide_result(self, number: int, *, hidden: bool = True) -> None:
        """Take a result out of sight, or bring it back; it stays in the store as it was made.

        Raises WrongInput where there is none of that number.
        """
        self._hide(EntryKind.RESULT, number, hidden)

    def _hide(self, kind: EntryKind, number: int, hidden: bool) -> None:
        deed = Deed.HIDDEN if hidden else Deed.BROUGHT_BACK
        self._change(kind, number, deed, {"deleted_utc": stamp(self._now()) if hidden else None})

    def describe(self, number: int, title: str, note: str) -> None:
        """Give a recording a title and a note of the person's; '' takes them away again.

        The name it was recorded under stays. Raises WrongInput where there is none.
        """
        self._change(EntryKind.RECORDING, number, Deed.NAMED, {"title": title, "note": note})

    def describe_result(self, number: int, title: str, note: str) -> None:
        """`describe`, of a result."""
        self._change(EntryKind.RESULT, number, Deed.NAMED, {"title": title, "note": note})

    def say_of(self, number: int, said: str) -> None:
        """Say otherwise for whom and by whom a result was made. Raises WrongInput where there is
        none of that number."""
        self._change(EntryKind.SAID, number, Deed.NAMED, {"said": said or "{}"})

    def _change(
        self, kind: EntryKind, number: int, deed: Deed, values: Mapping[str, str | None]
    ) -> None:
        with deeds(self._engine, self._url, self._now) as book:
            if not book.change(deed, kind, number, values):
                raise WrongInput(
                    "There is no {kind} {number} in the store {address}.",
                    kind=str(EntryKind.RESULT if kind is EntryKind.SAID else kind),
                    number=number,
                    address=self.address,
                )

    def recover(self) -> None:
        """Seal what was broken off and not heard of for a day, as it stands."""
        recover(self._engine, self._url, self._now)

    def unpacked(self) -> list[int]:
        """The sealed recordings that `pack` has not been at, the newest first."""
        with transaction(self._engine, self._url) as connection:
            return unpacked(connection)

    def pack(self, number: int, progress: Told | None = None) -> None:
        """Pack a sealed recording into columns, which are read a hundred times as fast.

        Nothing is done with one that is packed, or still runs. `progress` may raise to end it.
        """
        pack_recording(self._engine, self._url, self._now, number, progress)

    def load_recording(
        self,
        number: int,
        on_damage: OnDamage | None = None,
        progress: Told | None = None,
        *,
        hidden: bool = False,
        newest: int | None = None,
    ) -> Recording:
        """A recording as one time line, every block checked against its checksum.

        With `on_damage` a damaged recording is not refused: blocks that cannot be read are
        left out and told to it, and of `newest` blocks all before them. One out of sight is there
        only where `hidden`.
        """
        with transaction(self._engine, self._url) as connection:
            row = recording_row(connection, number, hidden=hidden)
            if on_damage is None:
                streams, clocks, sha256 = read_streams(connection, row, progress)
        if on_damage is not None:
            sha256 = ""
            streams, clocks = self._sound_streams(number, on_damage, progress, newest)
        notes = self._notes(row, on_damage)
        notes.sha256 = notes.sha256 or sha256
        told = (notes, row["started_host_s"], row["name"], row["simulated"])
        return recording_of(streams, *told, clocks)

    def _sound_streams(
        self, number: int, on_damage: OnDamage, progress: Told | None, newest: int | None
    ) -> tuple[list[StoredStream], dict[Sender, ClockRuns] | None]:
        """The streams of what is not damaged, and the clocks where they are stored."""
        streams, clocks = StreamsRead(on_damage), None
        for some in self._sequences(number, progress, newest):
            for block in self._blocks(number, some, on_damage):
                try:
                    block.check()
                    streams.take(block)
                except StoreError as error:
                    on_damage(error)
        try:
            with transaction(self._engine, self._url) as connection:
                clocks = stored_clocks(connection, number)
        except StoreError as error:
            on_damage(error)
        return streams.all(), clocks

    def _sequences(
        self, number: int, progress: Told | None, newest: int | None = None
    ) -> Iterator[range]:
        """All blocks of a recording, or the newest, some at a time."""
        with transaction(self._engine, self._url) as connection:
            count = last_sequence(connection, number) + 1
        for start in range(max(0, count - newest) if newest else 0, count, _READ_BLOCKS):
            if progress is not None:
                progress(start / count, "")
            yield range(start, min(start + _READ_BLOCKS, count))

    def _blocks(
        self, number: int, sequences: range, on_damage: OnDamage | None
    ) -> list[StoredBlock]:
        """Some blocks; with `on_damage` one that cannot be read is left out and told to it."""
        try:
            with transaction(self._engine, self._url) as connection:
                return list(read_blocks(connection, number, sequences))
        except StoreError as error:
            if on_damage is None:
                raise
            if len(sequences) == 1:
                on_damage(error)
                return []
        one_by_one = [range(at, at + 1) for at in sequences]
        return [block for one in one_by_one for block in self._blocks(number, one, on_damage)]

    def _notes(self, row: Mapping[str, Any], on_damage: OnDamage | None) -> Notes:
        try:
            return notes_of(row["summary"])
        except StoreError as error:
            if on_damage is None:
                raise
            on_damage(error)
            return Notes()

    def clocks(self, number: int, progress: Told | None = None) -> dict[str, ClockRuns]:
        """How the clock of each input with pulses ran against the host's."""
        with transaction(self._engine, self._url) as connection:
            row = recording_row(connection, number)
            streams, clocks, _ = read_streams(connection, row, progress)
        known = clocks_of(one.columns() for one in streams) if clocks is None else clocks
        return {address: clock for (address, whose), clock in known.items() if not whose}

    def recording_sha256(
        self, number: int, progress: Told | None = None, *, hidden: bool = False
    ) -> str:
        """A recording's hash, computed anew from its blocks; of one out of sight only where
        `hidden`. Raises StoreError where one of them, or the whole, is not as it was sealed."""
        with transaction(self._engine, self._url) as connection:
            row = recording_row(connection, number, hidden=hidden)
            return recording_sha256(connection, row, progress)

    def items(
        self,
        number: int,
        on_damage: OnDamage | None = None,
        progress: Told | None = None,
    ) -> Iterator[tuple[str, Stored]]:
        """(input address, item) bit for bit as they came from the wire, in the order stored.

        An imported file's own bytes come as `bytes`. With `on_damage` a block that cannot be
        read is left out and told to it; without, it is a StoreError.
        """
        with transaction(self._engine, self._url) as connection:
            recording_row(connection, number)
        if self.is_packed(number):
            yield from self._packed_items(number, 0, on_damage, progress)
            return
        for some in self._sequences(number, progress):
            blocks = self._blocks(number, some, on_damage)
            if blocks and not blocks[0].packed:
                for block in blocks:
                    for _, item in items_of_block(block, on_damage):
                        yield block.key.input, item
            elif self.is_packed(number):  # it was so meanwhile: the journal is gone
                yield from self._packed_items(number, some.start, on_damage, progress)
                return

    def is_packed(self, number: int) -> bool:
        """Whether a recording is columns, and no journal any more."""
        with transaction(self._engine, self._url) as connection:
            return packed_row(connection, number) is not None

    def _packed_items(
        self, number: int, start: int, on_damage: OnDamage | None, progress: Told | None
    ) -> Iterator[tuple[str, Stored]]:
        """The items of a packed recording in the order of its journal, from a block on."""
        with transaction(self._engine, self._url) as connection:
            streams = [places for _, places in stream_places(connection, number)]
        done, count = itertools.count(1), sum(map(len, streams))

        def one_stream(places: Sequence[int]) -> Iterator[tuple[int, str, Stored]]:
            for sequence in places:
                for block in self._blocks(number, range(sequence, sequence + 1), on_damage):
                    for at, item in items_of_block(block, on_damage):
                        yield at, block.key.input, item
                if progress is not None:
                    progress(next(done) / count, "")

        merged = heapq.merge(*map(one_stream, streams), key=lambda one: one[0])
        yield from ((address, item) for at, address, item in merged if at >= start)

    def add_result(
        self,
        kind: str,
        answer_json: str,
        options_json: str,
        *,
        recording: int | None = None,
        table: str | None = None,
        table_name: str = "",
        machine: Machine | None = None,
        said: str = "",
    ) -> int:
        """Keep an answer for good; returns its number.

        Answer and options come back as they were given; lists show the answer's own numbers and
        short words. `recording` is a stored recording's number, `table` the text of a table it was
        computed from, `said` for whom and by whom it was made.
        """
        row: dict[str, Any] = {
            "kind": kind,
            "answer": answer_json,
            "options": options_json,
            "recording": recording,
            "recording_sha256": self._sealed_sha256(recording) if recording else "",
            "table_text": table,
            "table_name": table_name,
            "machine_text": machine.text if machine else "",
            "program_version": program_version(),
            "created_utc": stamp(self._now()),
        }
        row["sha256"] = result_sha256(row)
        with deeds(self._engine, self._url, self._now) as book:
            insert = sa.insert(schema.result).values(row).returning(schema.result.c.number)
            number: int = book.connection.execute(insert).scalar_one()
            card = card_row(number, row, machine.name if machine else "")
            book.connection.execute(sa.insert(schema.card).values(card | {"said": said}))
            book.enter_new(Deed.KEPT, EntryKind.RESULT, number)
            if said:
                book.enter_new(Deed.KEPT, EntryKind.SAID, number)
        return number

    def _sealed_sha256(self, number: int) -> str:
        return self.recording(number).sha256 or self.recording_sha256(number)

    def result(self, number: int, *, hidden: bool = False) -> StoredResult:
        """One result; one out of sight only where `hidden`.

        Raises WrongInput where there is none, StoreError where it was altered.
        """
        with transaction(self._engine, self._url) as connection:
            query = (_KEPT if hidden else _IN_SIGHT).where(schema.result.c.number == number)
            found = connection.execute(query).one_or_none() if number < NO_SUCH_NUMBER else None
        if found is None:
            raise WrongInput(
                "There is no result {number} in the store {address}.",
                number=number,
                address=self.address,
            )
        row = found._asdict()
        check_seal(row, self.address)
        return result_entry(row)

    def results(self, recording: int | None = None) -> list[StoredResult]:
        """All results in sight, or those of one recording, the newest first."""
        table = schema.result
        query = _IN_SIGHT.order_by(table.c.number.desc())
        if recording is not None:
            query = query.where(table.c.recording == recording)
        with transaction(self._engine, self._url) as connection:
            return [result_entry(row._asdict()) for row in connection.execute(query)]

    def cards(self) -> list[Card]:
        """The card of every result, those out of sight too, the newest first."""
        with transaction(self._engine, self._url) as connection:
            return read_cards(connection)

    def check(self, progress: Told | None = None, *, beside: bool = True) -> Checked:
        """Look through the whole store: the ledger, every seal, block and card, and where it is
        no copy the ledger's head `beside` it."""
        return look_through(self._engine, self._url, progress, beside=beside)

    def head(self) -> Head:
        """The ledger's newest entry, by which a paper testifies."""
        with transaction(self._engine, self._url) as connection:
            return ledger.head(connection)

    def enter_restored(self) -> None:
        """That this store is a copy, put in the place of the one that it is of."""
        with self.deed() as book:
            book.enter_new(Deed.RESTORED, EntryKind.FORMAT, int(NEWEST))

    def holds(self, head: Head) -> bool:
        """Whether the ledger still has an entry that a paper testifies to."""
        with transaction(self._engine, self._url) as connection:
            return ledger.holds(connection, head)

    def entered(self, kind: EntryKind, number: int) -> tuple[str, str]:
        """The hash of a recording or result as the ledger left it, and as it is now."""
        with transaction(self._engine, self._url) as connection:
            before = ledger.last_content(connection, kind, number)
            return before, ledger.content_of(connection, kind, number)

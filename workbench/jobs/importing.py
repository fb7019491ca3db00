"""A recorded file into the store, whole or not at all, its own bytes included."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum, auto
from pathlib import Path

from drivers.contract import FileRefused, Item, Note
from drivers.files.reading import open_file
from workbench.base.ends import EndSays
from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.base.statements import Statement, as_written, statement
from workbench.records.store import Store

_PIECE_BYTES = 1 << 22


class ImportSays(StrEnum):
    """What is noteworthy of a file brought in."""

    STORED_ALREADY = auto()


@dataclass(frozen=True, slots=True)
class Imported:
    """The number the recording has in the store, and what the file holds."""

    recording: int
    name: str
    kind: str
    file_sha256: str
    sha256: str
    messages: dict[str, int]
    rejects: dict[str, int]
    warnings: tuple[Statement, ...]


def import_once(
    store: Store, path: Path, machine: Machine | None, progress: Callable[[float], object]
) -> int:
    """The number in the store of a file's recording with this machine, imported where there is
    none yet. `progress` is told the share that was read. Raises FileRefused, StoreError."""
    with suppress(OSError), path.open("rb") as file:  # whoever reads it says why not
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        for one in store.recordings():
            if one.source_sha256 == sha256 and one.machine() == machine:
                return one.number
    return import_file(store, path, machine, progress).recording


def import_file(
    store: Store,
    file: Path | str,
    machine: Machine | None,
    progress: Callable[[float], object] | None = None,
) -> Imported:
    """One file into the store, by its path or its address; `progress` is told the share that has
    been read.

    Raises FileRefused, AddressError, StoreError.
    """
    items: list[Item] = []
    driver = open_file(file, progress)
    path = driver.path
    with driver:
        while not driver.ended:
            items += driver.read(1.0)
    notes = driver.notes
    address = f"file:{path.name}"
    twins = [one.number for one in store.recordings() if one.source_sha256 == notes.sha256]
    began_s = notes.origin_s or 0.0
    with store.deed() as book:
        writer = store.begin_recording(
            path.name, started_host_s=began_s, machine=machine, book=book
        )
        for piece in _pieces(path, notes.sha256):
            writer.write([(address, piece)], notes)
        writer.write([(address, item) for item in items], notes)
        sha256 = writer.end(notes, EndSays.ALL_READ)
    with suppress(StoreError):  # it stays the journal that it is
        store.pack(writer.number)
    twin = [statement(ImportSays.STORED_ALREADY, recording=number) for number in twins[:1]]
    return Imported(
        recording=writer.number,
        name=path.name,
        kind=notes.kind,
        file_sha256=notes.sha256,
        sha256=sha256,
        messages=notes.messages,
        rejects=notes.rejects,
        warnings=(*map(as_written, notes.warnings), *twin),
    )


def _pieces(path: Path, sha256: str) -> Iterator[bytes]:
    """The file's own bytes. Raises FileRefused, after the last, where they are not those just
    read."""
    read = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE_BYTES):
                read.update(piece)
                yield piece
    except OSError as error:
        found = Note("it cannot be read ({why})", why=error.strerror)
        raise FileRefused(path, found, Note("a readable file")) from None
    if read.hexdigest() != sha256:
        found = Note("it changed while it was read")
        raise FileRefused(path, found, Note("a file that nothing writes to"))

"""A store in one file of its own, to be carried away, and back in its place.

A copy is made by SQLite's own backup, so that a recording may go on meanwhile, and is read back
whole: ledger, seals and checksums. It lies in one file without a write-ahead log, which no
memory stick need know how to share. A store on PostgreSQL is its server's to back up.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy.engine import URL

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import exists, free_name, is_file, replacing
from workbench.base.steps import Told
from workbench.records.brought_up import brought_up
from workbench.records.checking import Checked
from workbench.records.database import (
    StoreBusy,
    database_url,
    demand_ours,
    sentences,
    shown,
    sqlite_is_ours,
    store_address,
)
from workbench.records.deeds import Now, head_path
from workbench.records.store import open_store, utc_now

_PAGES_A_STEP = 2000
"""8 MB of pages of 4 kB: a second's work for a slow stick."""
_COPYING = 0.5
"""The share of the work that is the copying; the rest is reading it back."""


@dataclass(frozen=True, slots=True)
class BackedUp:
    """A copy, the store it is of, and what reading the copy back found."""

    store: str
    path: Path
    size_bytes: int
    found: Checked


@dataclass(frozen=True, slots=True)
class Restored:
    """A store that holds what the copy held, and where that which stood there lies now, None
    where nothing did."""

    store: str
    set_aside: Path | None
    found: Checked


def back_up(
    address: str | None, target: Path, progress: Told | None = None, now: Now = utc_now
) -> BackedUp:
    """Copy a store to a new file, or into a folder under a name made of the day; checked.

    What is not whole in the copy is not whole in the store either, and is told in `found`: a
    damaged store is worth a copy too. Raises WrongInput where a file stands there already,
    StoreError; nothing half copied is left where the disk lets.
    """
    with open_store(address, make=False) as store:
        url = database_url(store_address(address))
        source = _file_of(url)
        path = _new_file(target, f"{source.stem}-{now():%Y-%m-%d}{source.suffix or '.db'}")
        with replacing(path) as fresh:
            with sentences(URL.create("sqlite", database=str(path))):
                _copy(source, fresh, "DELETE", progress)
            found = _read_back(fresh, progress, now)
        return BackedUp(store.address, path, path.stat().st_size, found)


def restore(
    backup: Path, address: str | None, progress: Told | None = None, now: Now = utc_now
) -> Restored:
    """Put a copy in a store's place; what stood there is set aside under another name.

    A copy of an earlier format is brought up to today's. Raises WrongInput where the file is no
    store, StoreError where it is damaged or where the store is in use; then nothing has changed.
    """
    url = database_url(store_address(address))
    place = _file_of(url)
    _check_copy(backup, place)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        work = TemporaryDirectory(dir=place.parent, prefix=".restoring-")
    except OSError as error:
        raise StoreError(
            "The store {url} cannot be restored: {why}.", url=shown(url), why=error.strerror
        ) from None
    with work as folder:
        fresh = Path(folder) / place.name
        with sentences(URL.create("sqlite", database=str(backup))):
            _copy(backup, fresh, "WAL", progress)
        told_before = len(brought_up)
        found = _read_back(fresh, progress, now)
        while len(brought_up) > told_before:
            brought_up.pop()  # the copy itself is the store as it was before
        if found.problems:
            raise StoreError(
                "{path} is damaged, nothing was restored: {problem}",
                path=backup,
                problem=found.problems[0],
            )
        with open_store(str(fresh), make=False, now=now) as store:
            store.enter_restored()
        with sentences(url):
            aside = _set_aside(place, url, now) if exists(place) else None
        _put(fresh, place, aside)
    return Restored(shown(url), aside, found)


def _file_of(url: URL) -> Path:
    if url.drivername != "sqlite":
        raise WrongInput(
            "The store {url} lies on a PostgreSQL server; have it backed up and restored there, "
            "with pg_dump and pg_restore.",
            url=shown(url),
        )
    return Path(str(url.database))


def _new_file(target: Path, name: str) -> Path:
    """Where a copy goes. Raises WrongInput where there is a file already."""
    if target.is_dir():
        return free_name(target / name)
    if exists(target):
        raise WrongInput(
            "{path} is there already and is not overwritten; name a new file or a folder.",
            path=target,
        )
    return target


def _check_copy(backup: Path, place: Path) -> None:
    if not is_file(backup):
        raise WrongInput(
            "{path}: there is no such file; expected one that `evenpace backup` made.", path=backup
        )
    if exists(place) and backup.samefile(place):
        raise WrongInput("{path} is the store itself; name a copy of it.", path=backup)
    with sentences(URL.create("sqlite", database=str(backup))):
        ours = sqlite_is_ours(backup)
    if not ours:
        raise WrongInput(
            "{path} is no store of recordings; expected a file that `evenpace backup` made.",
            path=backup,
        )


def _copy(source: Path, target: Path, journal: str, progress: Told | None) -> None:
    """All pages as they stand at one moment, of a store that may go on being written."""

    def told(_status: int, left: int, pages: int) -> None:
        if progress is not None:
            progress(_COPYING * (1 - left / max(pages, 1)), "")

    with (
        closing(sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)) as pages,
        closing(sqlite3.connect(target)) as copy,
    ):
        # Held for reading: a recorder's next block does not make the copying begin anew.
        pages.execute("BEGIN")
        pages.execute("SELECT count(*) FROM sqlite_master").fetchone()
        pages.backup(copy, pages=_PAGES_A_STEP, progress=told)
        copy.execute(f"PRAGMA journal_mode = {journal}")


def _read_back(copy: Path, progress: Told | None, now: Now) -> Checked:
    """Look through the whole copy; its format is brought up to today's."""

    def told(share: float, step: Message | str) -> None:
        if progress is not None:
            progress(_COPYING + (1 - _COPYING) * share, step)

    with open_store(str(copy), make=False, now=now) as store:
        return store.check(told, beside=False)


def _set_aside(place: Path, url: URL, now: Now) -> Path:
    """Give the store another name, its head with it. Raises StoreBusy where another has it."""
    _demand_alone(place, url)
    aside = free_name(place.with_name(f"{place.stem}-{now():%Y-%m-%d}-set-aside{place.suffix}"))
    place.rename(aside)
    with suppress(FileNotFoundError):
        _head_of(place).rename(_head_of(aside))
    return aside


def _head_of(path: Path) -> Path:
    head = head_path(URL.create("sqlite", database=str(path)))
    assert head is not None
    return head


def _demand_alone(place: Path, url: URL) -> None:
    """Nobody else has the store open: only then does SQLite let its journal be changed
    (sqlite.org/wal.html, 'Persistence of WAL mode'). Raises StoreBusy, StoreError."""
    demand_ours(place, url)
    with closing(sqlite3.connect(place, timeout=0)) as connection:
        try:
            connection.execute("PRAGMA journal_mode = DELETE")
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError:
            raise StoreBusy(
                "The store {url} is in use; close the bench and whatever records, then restore "
                "again.",
                url=shown(url),
            ) from None


def _put(fresh: Path, place: Path, aside: Path | None) -> None:
    """The copy takes the place; where it cannot, what stood there comes back."""
    try:
        fresh.replace(place)
        _head_of(fresh).replace(_head_of(place))
    except OSError as error:
        if aside is not None and not exists(place):
            aside.rename(place)
            with suppress(OSError):
                _head_of(aside).rename(_head_of(place))
        raise StoreError(
            "{path} cannot be written: {why}.", path=place, why=error.strerror
        ) from None

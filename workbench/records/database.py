"""Where the store lies, and how its database is opened and fails.

An address is a file ('/home/anna/bench.db', 'sqlite:///bench.db') or a PostgreSQL
database ('postgresql://user@host/bench'). Every error of the database becomes a
`StoreError` whose text says what happened, where, and what would help.
"""

from __future__ import annotations

import os
import re
import sqlite3
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError
from sqlalchemy.pool import QueuePool

from workbench.base.errors import Message, StoreError, WrongInput

FILE_NAME = "evenpace.db"
VARIABLE = "EVENPACE_STORE"
APPLICATION_ID = 0x45504143
"""'EPAC' in the header of a SQLite file says whose it is (sqlite.org, PRAGMA application_id)."""

_BUSY_MS = 2000


class NoStore(WrongInput):
    """There is none at the address, mistyped perhaps, and none is to be made."""

    def __init__(self, address: str) -> None:
        super().__init__(
            "There is no store at {address}; is that right? `evenpace record` and `evenpace "
            "import` make one.",
            address=address,
        )

    def __reduce__(self) -> Any:
        return type(self), (self.values["address"],)


class StoreBusy(StoreError):
    """Another program holds the store; the same call may succeed a little later."""


class StoreGone(StoreError):
    """A store's file was deleted or replaced by another while this program used it."""


def store_address(address: str | None) -> str:
    """`address`, or $EVENPACE_STORE, or a file in the user's data folder."""
    if address or (address := os.environ.get(VARIABLE)):
        return address
    import platformdirs

    return str(Path(platformdirs.user_data_dir("evenpace", appauthor=False)) / FILE_NAME)


def database_url(address: str) -> URL:
    """The SQLAlchemy URL of an address. Raises StoreError where it names no database."""
    if re.match(r"postgres(ql)?(\+\w+)?:/?(?!/)", address):
        raise _not_understood()
    if "://" not in address:
        try:
            return URL.create("sqlite", database=str(Path(address).expanduser()))
        except RuntimeError:
            raise StoreError(
                "The store '{address}' lies in a home that this computer does not know; write "
                "its whole path.",
                address=address,
            ) from None
    try:
        url = make_url(address)
    except (ArgumentError, ValueError):
        raise _not_understood() from None
    kind = url.get_backend_name()
    if kind in ("postgresql", "postgres"):
        if "@" in f"{url.host or ''}{url.database or ''}":
            raise StoreError(
                "The address of the store is not understood: write '@' in a password as %40, and "
                "'/' as %2F."
            )
        return url.set(drivername="postgresql+psycopg")
    if kind == "sqlite" and url.database and url.database != ":memory:":
        return url.set(drivername="sqlite")
    raise StoreError(
        "The store cannot be kept at {url}; expected a file's path or "
        "postgresql://USER@HOST/DATABASE.",
        url=shown(url),
    )


def shown(url: URL) -> str:
    """An address fit to be printed: a file's path, or the URL without its password."""
    if url.drivername == "sqlite":
        return str(url.database)
    secret = {key: "***" for key in url.query if "pass" in key.lower()}
    plain = url.update_query_dict(secret).set(drivername=url.get_backend_name())
    return plain.render_as_string(hide_password=True)


def _not_understood() -> StoreError:
    return StoreError(
        "The address of the store is not understood; expected a file's path or "
        "postgresql://USER@HOST/DATABASE."
    )


@dataclass(slots=True)
class _Shared:
    """A store's one engine in this process, and how many hold it."""

    engine: Engine
    holders: int = 0


_shared: dict[str, _Shared] = {}
_sharing = threading.Lock()


def borrow_engine(url: URL, bring_up: Callable[[Engine], bool]) -> tuple[Engine, bool]:
    """The one engine of this process for a store, and whether the store is new; `give_back` when
    done.

    `bring_up` makes the store or brings its format up, for the first holder only; True where it
    was made. Raises NoStore, StoreError.
    """
    with _sharing:
        name = _file_of(url)
        shared, is_new = _shared.get(name), False
        if shared is None:
            shared = _Shared(make_engine(url))
            try:
                is_new = bring_up(shared.engine)
            except BaseException:
                shared.engine.dispose()
                raise
            _shared[name] = shared
        shared.holders += 1
        return shared.engine, is_new


def give_back(engine: Engine) -> None:
    """One holder less; the last closes the database."""
    with _sharing:
        for name, shared in _shared.items():
            if shared.engine is engine:
                shared.holders -= 1
                if not shared.holders:
                    del _shared[name]
                    engine.dispose()
                return


def _file_of(url: URL) -> str:
    """What tells one database from another: of a file, the one that all its names lead to."""
    if url.drivername != "sqlite":
        return url.render_as_string(hide_password=False)
    path = Path(str(url.database))
    for name in _shared:
        if (
            Path(name).is_absolute()
            and path.exists()
            and Path(name).exists()
            and path.samefile(name)
        ):
            return name
    return os.path.realpath(path)


def make_engine(url: URL) -> Engine:
    """An engine that is safe to use from several threads. Nothing is opened yet."""
    if url.drivername != "sqlite":
        return _server_engine(url)
    path = Path(str(url.database))
    options = "" if _may_write(path) else _read_only_options(path)

    def connect() -> sqlite3.Connection:
        uri = path.absolute().as_uri() + options
        # isolation_level None: SQLAlchemy's BEGIN below is the only one.
        connection = sqlite3.connect(
            uri, uri=True, isolation_level=None, check_same_thread=False, timeout=_BUSY_MS / 1000
        )
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")
        return connection

    engine = sa.create_engine("sqlite://", creator=connect, poolclass=QueuePool)
    first: list[tuple[int, int]] = []

    def begin(connection: Connection) -> None:
        # A writer takes the lock at once: a read that turns into a write cannot wait for it.
        writing = connection.get_execution_options().get("writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
        # SQLite goes on writing to a file that was deleted, where nobody will find it.
        now = _identity(path)
        first.extend(now if not first else ())
        if now != first:
            raise StoreGone(
                "The store {url} was deleted, or another file was put in its place, while it was "
                "in use.",
                url=shown(url),
            )

    sa.event.listen(engine, "begin", begin)
    return engine


def _server_engine(url: URL) -> Engine:
    try:
        from workbench.records.server import make_server_engine
    except ImportError:  # psycopg, or the library of PostgreSQL's that it is a wrapper of
        raise StoreError(
            "The store {url} needs a driver for PostgreSQL; install it with: {command}",
            url=shown(url),
            command=f'"{sys.executable}" -m pip install "psycopg[binary]>=3.2,<4"',
        ) from None
    return make_server_engine(url)


def _identity(path: Path) -> list[tuple[int, int]]:
    """What tells a file from another of its name; nothing where there is none."""
    try:
        found = path.stat()
    except OSError:
        return []
    return [(found.st_dev, found.st_ino)]


def _may_write(path: Path) -> bool:
    return not path.exists() or (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK))


def _read_only_options(path: Path) -> str:
    # Without the right to make the -shm file beside it, a WAL database opens only as
    # 'immutable', which is true of it as long as no writer has its -wal file there.
    wal = path.with_name(path.name + "-wal")
    return "?mode=ro" if wal.exists() else "?mode=ro&immutable=1"


@contextmanager
def sentences(url: URL) -> Iterator[None]:
    """Turns every error of the database inside into a StoreError."""
    try:
        yield
    except DBAPIError as error:
        raise _explained(error.orig or error, url) from error
    except (sqlite3.Error, SQLAlchemyError, OSError) as error:
        raise _explained(error, url) from error


@contextmanager
def transaction(engine: Engine, url: URL, *, writing: bool = False) -> Iterator[Connection]:
    """A connection in a transaction; committed at its end, rolled back by any exception."""
    with (
        sentences(url),
        engine.connect().execution_options(writing=writing) as connection,
        connection.begin(),
    ):
        yield connection


_FULL = Message("the disk is full; make room and try again. What was stored before is intact")
_BUSY = Message("another program holds it; close that program or wait, and try again")
_SQLITE: dict[str, Message] = {
    "SQLITE_FULL": _FULL,
    "SQLITE_IOERR_SHMSIZE": _FULL,  # no room for the index beside the file
    "SQLITE_READONLY": Message(
        "it may only be read, not written; give your user the right to write the file and its "
        "folder, or name another store"
    ),
    "SQLITE_CORRUPT": Message(
        "a page of the database is damaged; copy the file before anything else, then see with "
        "`evenpace verify` what is damaged and save the rest with `evenpace export`"
    ),
    "SQLITE_NOTADB": Message("the file is not a database of recordings; it was left as it is"),
    "SQLITE_CANTOPEN": Message(
        "the file cannot be opened or made; check that its folder exists and may be written"
    ),
    "SQLITE_IOERR": Message("the disk reports an error; copy the file to another disk"),
    "SQLITE_PERM": Message("your user may not use the file"),
}
_PASSING = ("08", "57P", "53300", "57014", "25P03")
"""What PostgreSQL says as it stops, starts or has too many guests: connection exceptions,
operator intervention, too many connections, a program that froze amid a transaction (its
manual, appendix A)."""
_HELD = ("55P03", "40001", "40P01")
"""Lock not available, serialization failure, deadlock."""


def _explained(error: BaseException, url: URL) -> StoreError:
    busy, reason = False, _reason(error)
    if isinstance(error, sqlite3.Error):
        name = getattr(error, "sqlite_errorname", "") or ""
        busy = name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED"))
        found = (said for at, said in _SQLITE.items() if name.startswith(at))
        reason = _BUSY if busy else next(found, reason)
    elif hasattr(error, "sqlstate"):  # psycopg's; without one where the server was not reached
        state = error.sqlstate
        busy = state is None or state.startswith(_PASSING + _HELD)
        reason = _BUSY if state in _HELD else _FULL if state == "53100" else reason
    kind = StoreBusy if busy else StoreError
    return kind("The store {url} cannot be used: {reason}.", url=shown(url), reason=reason)


def _reason(error: BaseException) -> Message | str:
    if isinstance(known := getattr(error, "reason", None), Message):
        return known
    if isinstance(error, OSError):
        return str(error.strerror or error)
    first_line = (str(error).strip().splitlines() or [type(error).__name__])[0]
    return first_line.rstrip(".")


def demand_ours(path: Path, url: URL) -> None:
    """Raise StoreError where what is there is a folder, or a file that is neither empty nor
    ours."""
    if path.is_dir():
        raise StoreError("The store {url} is a folder; expected a database file.", url=shown(url))
    if path.stat().st_size and not sqlite_is_ours(path):
        raise StoreError(
            "The store {url} is not a database of recordings made by evenpace. It was "
            "left untouched; name another file.",
            url=shown(url),
        )


def sqlite_is_ours(path: Path) -> bool:
    """True if a file is a SQLite database that carries this program's signature.

    Asked of SQLite itself, without a lock and without a trace: closing a descriptor of one's
    own would drop the locks of every connection that this process has to the file
    (sqlite.org/howtocorrupt.html, 2.2), and with them a recording under way.
    """
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(uri, uri=True)) as connection:
            (found,) = connection.execute("PRAGMA application_id").fetchone()
    except sqlite3.OperationalError:
        raise
    except sqlite3.DatabaseError as error:
        return getattr(error, "sqlite_errorname", "") == "SQLITE_CORRUPT"
    return bool(found == APPLICATION_ID)

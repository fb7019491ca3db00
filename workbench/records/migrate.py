"""Brings a database to the format of this program, or refuses it and leaves it alone.

A newer database is refused untouched. An older one is backed up first: a SQLite file to
a file beside it, a PostgreSQL database to a schema in it, both named with the date and
the format they hold.
"""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine

from workbench.base.errors import Message, StoreError
from workbench.base.files import free_name
from workbench.records import ledger
from workbench.records.brought_up import brought_up
from workbench.records.database import APPLICATION_ID, NoStore, demand_ours, shown
from workbench.records.deeds import publish_head, stamp
from workbench.records.ledger import Deed, EntryKind

if TYPE_CHECKING:
    from alembic.script import ScriptDirectory

NEWEST = "0005"
"""The format this program writes; known without Alembic, which takes its time to import."""
_FIRST_WITH_A_LEDGER = "0003"
SCRIPTS = Path(__file__).with_name("migrations")
_VERSIONS = "alembic_version"
_LOCK = 0x45504143
"""PostgreSQL advisory lock: two benches that start at once migrate one after the other."""


def known_formats() -> set[str]:
    """Every format this program can open."""
    return {script.revision for script in _directory().walk_revisions()}


def bring_up(engine: Engine, url: URL, now: datetime, *, make: bool) -> bool:
    """Make where wanted, migrate or accept the database; whether it was made.

    Raises NoStore, or StoreError where it must not be used.
    """
    if url.drivername == "sqlite":
        _check_file(Path(str(url.database)), url, make=make)
    with engine.connect() as connection:
        found = _format_of(connection, url)
    if found == NEWEST:
        return False
    if found is None and not make:
        raise NoStore(shown(url))
    if found is not None and found not in known_formats():
        raise StoreError(
            "The store {url} was written by a newer evenpace (format {found}, this "
            "program knows up to {newest}). It was left untouched; use the newer program.",
            url=shown(url),
            found=found,
            newest=NEWEST,
        )
    copy = ""
    if url.drivername == "sqlite":
        if found is None:
            _mark_new(engine)
        else:
            copy = str(back_up_file(Path(str(url.database)), found, now))
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        copy = _upgrade(connection, found, now) or copy
    publish_head(engine, url)
    if copy:
        brought_up.append(
            Message(
                "The store {url} was brought from format {found} to {newest}; as it was before, it "
                "is kept in {copy}.",
                url=shown(url),
                found=found,
                newest=NEWEST,
                copy=copy,
            )
        )
    return found is None


def _directory() -> ScriptDirectory:
    from alembic.script import ScriptDirectory

    return ScriptDirectory(str(SCRIPTS), version_locations=[str(SCRIPTS)])


def _check_file(path: Path, url: URL, *, make: bool) -> None:
    """Refuse a file that is not ours before SQLite opens it; make the folder of a new one."""
    if not path.exists():
        if not make:
            raise NoStore(shown(url))
        path.parent.mkdir(parents=True, exist_ok=True)
    else:
        demand_ours(path, url)


def _format_of(connection: Connection, url: URL) -> str | None:
    """The format a database holds; None where it is empty."""
    tables = set(sa.inspect(connection).get_table_names())
    if _VERSIONS in tables:
        revisions = connection.execute(sa.text(f"SELECT version_num FROM {_VERSIONS}")).scalars()
        if (revision := revisions.one_or_none()) is not None:
            return str(revision)
    if tables - {_VERSIONS}:
        raise StoreError(
            "The database {url} holds tables that are not evenpace's. It was left "
            "untouched; make an empty database for the store.",
            url=shown(url),
        )
    return None


def _upgrade(connection: Connection, found: str | None, now: datetime) -> str:
    """Bring the tables up; on PostgreSQL the schema that keeps those of before."""
    copy = ""
    if connection.dialect.name == "postgresql":
        from workbench.records.server import take_time

        take_time(connection)
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
        if found is not None:
            copy = _back_up_schema(connection, found, now)
    from alembic.migration import MigrationContext
    from alembic.operations import Operations

    directory = _directory()
    context = MigrationContext.configure(
        connection,
        opts={
            "fn": lambda revision, _: directory._upgrade_revs("heads", revision),  # noqa: SLF001
            "found": found,
            "when_utc": stamp(now),
        },
    )
    with Operations.context(context):
        context.run_migrations()
    if found is not None and found >= _FIRST_WITH_A_LEDGER:
        ledger.lock(connection)
        ledger.enter(connection, Deed.MIGRATED, EntryKind.FORMAT, int(NEWEST), stamp(now))
    return copy


def _mark_new(engine: Engine) -> None:
    """Sign the file before anything is in it, so that no crash leaves one that looks strange.

    Write-ahead logging lets the bench read while it records; both settings stay in the file.
    """
    with engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert isinstance(raw, sqlite3.Connection)
        connection.rollback()
        raw.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        raw.execute("PRAGMA journal_mode = WAL")


def back_up_file(path: Path, revision: str, now: datetime) -> Path:
    """Copy a SQLite database to a new file beside it, by SQLite's own backup."""
    target = free_name(path.with_name(f"{path.stem}-{now:%Y-%m-%d}-format-{revision}{path.suffix}"))
    try:
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(target)) as copy:
            source.backup(copy)
    except sqlite3.Error:
        target.unlink(missing_ok=True)  # half a backup would look like a whole one
        raise
    return target


def _back_up_schema(connection: Connection, revision: str, now: datetime) -> str:
    taken = set(sa.inspect(connection).get_schema_names())
    stem = re.sub(r"\W", "_", f"evenpace_{now:%Y_%m_%d}_format_{revision}")
    name, count = stem, 1
    while name in taken:
        count += 1
        name = f"{stem}_{count}"
    connection.execute(sa.schema.CreateSchema(name))
    for table in sa.inspect(connection).get_table_names():
        connection.execute(sa.text(f'CREATE TABLE "{name}"."{table}" AS TABLE "{table}"'))
    return name

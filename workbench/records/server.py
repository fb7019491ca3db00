"""A PostgreSQL server as the store's database: every wait for it has an end.

A server that restarts, freezes or is out of reach costs an operation a few seconds and is
told as busy, so that a recorder tries again. libpq itself waits for an answer for ever.
"""

from __future__ import annotations

import time
from typing import Any, cast

import psycopg
import sqlalchemy as sa
from psycopg.abc import RV, PQGen
from sqlalchemy.engine import URL, Connection, Engine

from workbench.base.errors import Message

SILENCE_S = 4.0
"""A server that says nothing for so long in the midst of an operation has failed it."""
LONG_S = 600
_CONNECT_S = 4
_LOCK = "2s"
_FORGOTTEN = "60s"
"""After so long the server takes its locks back from a program that froze amid a transaction."""


class ServerSilent(psycopg.OperationalError):
    """The server did not answer in time."""

    reason = Message("the server does not answer")


class PatientConnection(psycopg.Connection[Any]):
    """A connection that closes itself where the server falls silent."""

    silence_s: float = SILENCE_S

    def wait(self, gen: PQGen[RV], *args: Any, **kwargs: Any) -> RV:
        """As psycopg's own, which hands its generator a 0 ten times a second while it waits."""
        return super().wait(self._unless_silent(gen), *args, **kwargs)

    def _unless_silent(self, gen: PQGen[RV]) -> PQGen[RV]:
        heard_s = time.monotonic()
        try:
            ready = yield next(gen)
            while True:
                if ready:
                    heard_s = time.monotonic()
                elif time.monotonic() - heard_s > self.silence_s:
                    self.pgconn.finish()  # closing it politely would wait again
                    raise ServerSilent
                ready = yield gen.send(ready)
        except StopIteration as end:
            return end.value  # type: ignore[no-any-return]


def make_server_engine(url: URL) -> Engine:
    """An engine whose connections are `PatientConnection`s. Nothing is opened yet.

    `?connect_timeout=` in the address is seconds to reach the server, 2 at least.
    """
    limits = {"connect_timeout": url.query.get("connect_timeout", _CONNECT_S)}
    engine = sa.create_engine(url, pool_pre_ping=True, pool_timeout=SILENCE_S, connect_args=limits)

    @sa.event.listens_for(engine, "do_connect")
    def connect(_dialect: Any, _record: Any, args: Any, kwargs: Any) -> PatientConnection:
        try:
            return PatientConnection.connect(*args, **kwargs)
        except psycopg.errors.ConnectionTimeout:
            raise ServerSilent from None

    @sa.event.listens_for(engine, "connect")
    def limit(connection: PatientConnection, _record: Any) -> None:
        connection.execute(
            f"SET lock_timeout = '{_LOCK}'; "
            f"SET idle_in_transaction_session_timeout = '{_FORGOTTEN}'"
        )
        connection.commit()

    return engine


def take_time(connection: Connection) -> None:
    """Give the server long to answer and to wait for locks, from here to this connection's end:
    for what goes through a whole store."""
    connection.detach()
    cast(PatientConnection, connection.connection.dbapi_connection).silence_s = LONG_S
    connection.execute(sa.text(f"SET lock_timeout = '{LONG_S}s'"))

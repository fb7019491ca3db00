"""Recordings whose writer died: sealed as they stand, so that nothing of them is lost unseen."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Engine

from workbench.base.errors import StoreError
from workbench.records import ledger, schema
from workbench.records.database import transaction
from workbench.records.deeds import Now, deeds
from workbench.records.ledger import Deed, EntryKind
from workbench.records.reader import recording_row, recording_sha256

_DEAD_AFTER = timedelta(days=1)
"""A computer may sleep, and two computers' clocks may be a zone apart; a writer that is sealed
out says so and ends. Chosen."""


def recover(engine: Engine, url: URL, now: Now) -> None:
    """Seal every recording that was broken off and not heard of for a day.

    One that is damaged stays without a seal. Raises StoreError.
    """
    table = schema.recording
    with transaction(engine, url) as connection:
        query = sa.select(table).where(table.c.sha256.is_(None), table.c.ended_utc.is_(None))
        found = [row._asdict() for row in connection.execute(query)]
    for row in found:
        if _died(row["heartbeat_utc"], now()):
            with suppress(StoreError):
                _seal(engine, url, now, row)


def _seal(engine: Engine, url: URL, now: Now, row: Mapping[str, Any]) -> None:
    number = row["number"]
    with transaction(engine, url) as connection:
        left = ledger.last_content(connection, EntryKind.RECORDING, number)
        if left != ledger.content_of(connection, EntryKind.RECORDING, number):
            return  # by another hand: it is told as it is found
        sha256 = recording_sha256(connection, row)
    with deeds(engine, url, now) as book:
        again = recording_row(book.connection, number, hidden=True)
        if again["sha256"] is None and again["heartbeat_utc"] == row["heartbeat_utc"]:
            book.change(Deed.RECOVERED, EntryKind.RECORDING, number, {"sha256": sha256})


def _died(heartbeat_utc: str, now: datetime) -> bool:
    try:
        return now - datetime.fromisoformat(heartbeat_utc) > _DEAD_AFTER
    except (TypeError, ValueError):
        return False

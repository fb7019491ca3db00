"""What a look through the whole store finds: a sentence for each thing that is not as written."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import sqlalchemy as sa
from sqlalchemy.engine import URL, Engine

from workbench.base.errors import BenchError, StoreError
from workbench.records.database import shown, transaction
from workbench.records.reader import Told


def damaged_pages(engine: Engine, url: URL) -> list[str]:
    """What SQLite's own check finds; PostgreSQL checks its pages as it reads them."""
    if url.drivername != "sqlite":
        return []
    try:
        with transaction(engine, url) as connection:
            found = connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars().all()
            loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    except StoreError as error:
        return [str(error)]
    return [
        *(f"{shown(url)}: {line}." for line in found if line != "ok"),
        *(f"{shown(url)}: a row of '{row[0]}' refers to nothing." for row in loose),
    ]


def failed_looks(
    engine: Engine,
    url: URL,
    numbers: sa.Select[tuple[int]],
    look: Callable[[int], object],
    kind: str,
    *,
    progress: Told | None,
) -> Iterator[str]:
    """The sentence of each look that fails; one where even the numbers cannot be read."""
    try:
        with transaction(engine, url) as connection:
            found = connection.execute(numbers).scalars().all()
    except StoreError as error:
        yield str(error)
        return
    for at, number in enumerate(found):
        if progress is not None:
            progress(at / len(found), f"Checking {kind} {number} …")
        try:
            look(number)
        except BenchError as error:
            yield str(error)

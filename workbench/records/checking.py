"""What a look through the whole store finds: an error for each thing that is not as written."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import sqlalchemy as sa
from sqlalchemy.engine import URL, Engine

from workbench.base.errors import BenchError, Message, StoreError
from workbench.records.database import shown, transaction
from workbench.records.reader import Told


def damaged_pages(engine: Engine, url: URL) -> list[BenchError]:
    """What SQLite's own check finds; PostgreSQL checks its pages as it reads them."""
    if url.drivername != "sqlite":
        return []
    try:
        with transaction(engine, url) as connection:
            found = connection.exec_driver_sql("PRAGMA integrity_check(20)").scalars().all()
            loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
    except StoreError as error:
        return [error]
    return [
        *(
            StoreError("{store}: {found}.", store=shown(url), found=line)
            for line in found
            if line != "ok"
        ),
        *(
            StoreError(
                "{store}: a row of '{table}' refers to nothing.", store=shown(url), table=row[0]
            )
            for row in loose
        ),
    ]


def failed_looks(
    engine: Engine,
    url: URL,
    numbers: sa.Select[tuple[int]],
    look: Callable[[int], object],
    step: Callable[[int], Message],
    *,
    progress: Told | None,
) -> Iterator[BenchError]:
    """The error of each look that fails; one where even the numbers cannot be read.

    `step` gives what is told of each.
    """
    try:
        with transaction(engine, url) as connection:
            found = connection.execute(numbers).scalars().all()
    except StoreError as error:
        yield error
        return
    for at, number in enumerate(found):
        if progress is not None:
            progress(at / len(found), step(number))
        try:
            look(number)
        except BenchError as error:
            yield error

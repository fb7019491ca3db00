"""The card of a result: what a list shows of it without reading the whole answer.

A pass answer holds tens of kilobytes of series. A list of thousands reads cards instead.
The card also takes what a person may change: a title, a note, for whom and by whom it was
made, and whether it is out of sight. The result itself is sealed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, TypeAlias

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from workbench.base.errors import StoreError
from workbench.records import schema
from workbench.records.jsonable import from_text, to_text

_LONGEST = 200
"""Longer texts are not for a list; chosen."""

CardValue: TypeAlias = str | int | float | bool | None


@dataclass(frozen=True, slots=True)
class Card:
    """One result as a list shows it. `head` holds the answer's own numbers and short words.

    `deleted_utc` is '' for one in sight, `as_left` the verdict after what was found was put
    right, `said` what was said of it, '' for nothing.
    """

    number: int
    kind: str
    head: dict[str, CardValue]
    recording: int | None
    table_name: str
    machine_name: str
    title: str
    note: str
    created_utc: str
    deleted_utc: str
    as_left: str
    said: str


def card_row(number: int, row: Mapping[str, Any], machine_name: str) -> dict[str, Any]:
    """The card's row for the result whose row this is, its answer's own numbers and short words
    as the head. Raises StoreError."""
    answer = from_text(row["answer"])
    head = {
        name: value
        for name, value in answer.items()
        if not isinstance(value, dict | list)
        and not (isinstance(value, str) and len(value) > _LONGEST)
    }
    left = answer.get("as_left")
    verdict = left.get("verdict") if isinstance(left, dict) else None
    copied = {name: row[name] for name in ("kind", "recording", "table_name", "created_utc")}
    return {
        "result": number,
        "head": to_text(head),
        "machine_name": machine_name,
        "as_left": verdict if isinstance(verdict, str) else "",
        **copied,
    }


def read_cards(connection: Connection) -> list[Card]:
    """Every card, those out of sight too, the newest first."""
    query = sa.select(schema.card).order_by(schema.card.c.result.desc())
    return [_card(row._asdict()) for row in connection.execute(query)]


def _card(row: Mapping[str, Any]) -> Card:
    try:
        head = from_text(row["head"])
    except StoreError:
        head = {}
    found = {"number": row["result"], "head": head, "deleted_utc": row["deleted_utc"] or ""}
    own = {one.name: row[one.name] for one in fields(Card) if one.name not in found}
    return Card(**found, **own)

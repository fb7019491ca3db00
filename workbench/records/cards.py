"""The card of a result: what a list shows of it without reading the whole answer.

A pass answer holds tens of kilobytes of series. A list of thousands reads cards instead.
The card also takes what a person may change: a title, a note, and whether it is out of
sight. The result itself is sealed.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
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

    `deleted_utc` is '' for one in sight.
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


def head_of(answer_json: str) -> str:
    """The answer's own numbers and short words as stored JSON. Raises StoreError."""
    return to_text(
        {
            name: value
            for name, value in from_text(answer_json).items()
            if not isinstance(value, dict | list)
            and not (isinstance(value, str) and len(value) > _LONGEST)
        }
    )


def card_row(number: int, row: Mapping[str, Any], head: str, machine_name: str) -> dict[str, Any]:
    """The card's row for the result whose row this is."""
    copied = {name: row[name] for name in ("kind", "recording", "table_name", "created_utc")}
    return {"result": number, "head": head, "machine_name": machine_name, **copied}


def read_cards(connection: Connection) -> list[Card]:
    """Every card, those out of sight too, the newest first."""
    query = sa.select(schema.card).order_by(schema.card.c.result.desc())
    return [_card(row._asdict()) for row in connection.execute(query)]


def verdicts_as_left(connection: Connection) -> dict[int, str]:
    """Of the calibrations that were proved with a new setting the verdict after it, by result.

    A card holds what was found; this stands in the answers, which are looked through.
    """
    result = schema.result
    mine = sa.and_(result.c.kind == "calibrate", ~result.c.answer.like('%"as_left": null%'))
    found = {}
    for number, answer in connection.execute(
        sa.select(result.c.number, result.c.answer).where(mine)
    ):
        with suppress(StoreError):  # a damaged one is told of elsewhere
            left = from_text(answer).get("as_left")
            if isinstance(left, dict) and isinstance(left.get("verdict"), str):
                found[number] = left["verdict"]
    return found


def _card(row: Mapping[str, Any]) -> Card:
    try:
        head = from_text(row["head"])
    except StoreError:
        head = {}
    found = {"number": row["result"], "head": head, "deleted_utc": row["deleted_utc"] or ""}
    own = {one.name: row[one.name] for one in fields(Card) if one.name not in found}
    return Card(**found, **own)

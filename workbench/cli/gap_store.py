"""What `evenpace gap` keeps in the store and finds there: tables, baseline, repeats."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from workbench.errors import StoreError
from workbench.machine import Machine


def store_table(
    address: str | None,
    answer: dict[str, Any],
    text: str,
    options: Mapping[str, Any],
    machine: Machine | None,
) -> dict[str, Any]:
    """Store a table's answer; the answer with its number, or with a warning why not."""
    from workbench.records.store import open_store

    try:
        with open_store(address) as store:
            number = store.add_result(
                "gap",
                answer,
                options=options,
                table=text,
                table_name=options["table_name"],
                machine=machine,
            )
    except StoreError as error:
        return answer | {"warnings": [*answer["warnings"], f"The answer was not stored: {error}"]}
    return {"result": number, **answer}


def baseline_of(address: str | None, pickup_kind: str, teeth: int | None) -> list[list[float]]:
    """The stored readings at known gaps of one kind of pickup before wheels of one kind.

    Each is [gap_m, u_gap_m, ln(V·s)], the oldest first. Raises StoreError.
    """
    return [
        [reading["gap_m"], reading["u_gap_m"], reading["log_volt_seconds"]]
        for answer in _answers(address)
        for reading in _readings(answer)
        if reading["pickup_kind"] == pickup_kind and teeth in (None, reading["teeth"])
    ]


def history_of(address: str | None, name: str, warnings: list[str]) -> list[float]:
    """The stored repeat measurements of `name`, the oldest first; a warning where none can be."""
    try:
        return [
            value
            for answer in _answers(address)
            if (control := answer.get("control")) and control["name"] == name
            for value in control["new_m"]
        ]
    except StoreError as error:
        warnings.append(f"Earlier repeat measurements could not be read: {error}")
        return []


def _readings(answer: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The baseline readings of one answer: its own, or one of each of its pickups."""
    pickups = answer.get("pickups", [answer])
    return [one["baseline_reading"] for one in pickups if one.get("baseline_reading")]


def _answers(address: str | None) -> list[dict[str, Any]]:
    from workbench.records.store import open_store

    with open_store(address) as store:
        return [result.answer for result in reversed(store.results()) if result.kind == "gap"]

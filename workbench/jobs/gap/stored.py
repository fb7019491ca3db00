"""What `evenpace gap` keeps in the store and finds there: tables, baseline, repeats."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from workbench.base.errors import WrongInput

if TYPE_CHECKING:
    from workbench.records.entries import StoredResult


def baseline_of(
    address: str | None, pickup_kind: str, teeth: int | None, *, simulated: bool
) -> list[list[float]]:
    """The stored readings at known gaps of one kind of pickup before wheels of one kind.

    Each is [gap_m, u_gap_m, ln(V·s)], the oldest first; of a recording that was judged
    again only the last reading counts. Raises StoreError.
    """
    points: dict[tuple[Any, ...], list[float]] = {}
    for result in _results(address):
        for one in result.answer.get("pickups", [result.answer]):
            reading = one.get("baseline_reading")
            if reading is None or bool(result.answer["simulated"]) != simulated:
                continue
            if reading["pickup_kind"] == pickup_kind and teeth in (None, reading["teeth"]):
                point = [reading["gap_m"], reading["u_gap_m"], reading["log_volt_seconds"]]
                points[result.recording, one["pickup"]] = point
    return list(points.values())


def history_of(address: str | None, name: str, text: str) -> list[float]:
    """The stored repeat measurements of `name`, the oldest first, those of `text` left out.

    A table that was judged twice counts once. Raises StoreError.
    """
    by_table: dict[str | None, list[float]] = {}
    for result in _results(address):
        control = result.answer.get("control")
        if control and control["name"] == name and result.table != text:
            by_table[result.table] = control["new_m"]
    return [value for values in by_table.values() for value in values]


def spacing_of(address: str | None, number: int) -> dict[str, list[float | None]]:
    """Lateness by tooth of each pickup of stored result `number`. Raises WrongInput, StoreError."""
    from workbench.records.store import open_store

    with open_store(address) as store:
        result = store.result(number)
    pickups = result.answer.get("pickups", [result.answer]) if result.kind == "gap" else []
    found = {one["pickup"]: one["spacing_rel"] for one in pickups if one.get("spacing_rel")}
    if not found:
        raise WrongInput(
            f"--before: result {number} is no answer of 'evenpace gap' from pulses, so there is no "
            "wheel to compare with."
        )
    return found


def _results(address: str | None) -> Iterator[StoredResult]:
    """All stored answers of `evenpace gap`, the oldest first."""
    from workbench.records.store import open_store

    with open_store(address) as store:
        yield from (result for result in reversed(store.results()) if result.kind == "gap")

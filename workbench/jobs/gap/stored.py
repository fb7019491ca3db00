"""What the gap check keeps in the store and finds there: tables, baseline, repeats, wheels."""

from __future__ import annotations

from collections.abc import Iterator

from workbench.base.errors import WrongInput
from workbench.calibration.gap.answer import WheelAnswer
from workbench.jobs.gap.answer import GapAnswer
from workbench.jobs.keep import answer_of
from workbench.records.entries import StoredResult


def baseline_of(
    address: str | None, pickup_kind: str, teeth: int | None, *, simulated: bool
) -> tuple[tuple[float, float, float], ...]:
    """The stored readings at known gaps of one kind of pickup before wheels of one kind.

    Each is (gap_m, u_gap_m, ln(V·s)), the oldest first; of a recording that was judged
    again only the last reading counts. Raises StoreError.
    """
    points: dict[tuple[int | None, str], tuple[float, float, float]] = {}
    for result, answer in _results(address):
        for one in answer.pickups:
            reading = one.baseline_reading if isinstance(one, WheelAnswer) else None
            if reading is None or answer.simulated != simulated:
                continue
            if reading.pickup_kind == pickup_kind and teeth in (None, reading.teeth):
                point = (reading.gap_m, reading.u_gap_m, reading.log_volt_seconds)
                points[result.recording, one.pickup] = point
    return tuple(points.values())


def history_of(address: str | None, name: str, text: str) -> tuple[float, ...]:
    """The stored repeat measurements of `name`, the oldest first, those of `text` left out.

    A table that was judged twice counts once. Raises StoreError.
    """
    by_table: dict[str | None, tuple[float, ...]] = {}
    for result, answer in _results(address):
        control = answer.control
        if control and control.name == name and result.table != text:
            by_table[result.table] = control.new_m
    return tuple(value for values in by_table.values() for value in values)


def spacing_of(address: str | None, number: int) -> dict[str, tuple[float, ...]]:
    """Lateness by tooth of each pickup of stored result `number`. Raises WrongInput, StoreError."""
    from workbench.records.store import open_store

    with open_store(address, make=False) as store:
        result = store.result(number)
    pickups = answer_of(result, GapAnswer).pickups if result.kind == "gap" else ()
    wheels = (one for one in pickups if isinstance(one, WheelAnswer))
    found = {one.pickup: one.spacing_rel for one in wheels if one.spacing_rel}
    if not found:
        raise WrongInput(
            "--before: result {number} is no answer of 'evenpace gap' from pulses, so there is no "
            "wheel to compare with.",
            number=number,
        )
    return found


def _results(address: str | None) -> Iterator[tuple[StoredResult, GapAnswer]]:
    """All stored results of the gap check with their answers, the oldest first."""
    from workbench.records.database import NoStore
    from workbench.records.store import open_store

    try:
        with open_store(address, make=False) as store:
            found = [result for result in reversed(store.results()) if result.kind == "gap"]
    except NoStore:  # the first of a shop
        found = []
    return ((result, answer_of(result, GapAnswer)) for result in found)

"""The clocks that stored items were stamped by, each against the host's."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace

import numpy as np

from drivers.contract import Floats
from drivers.timeline import BOARD_CLOCK, stamped
from workbench.base.errors import StoreError
from workbench.calibration.pulses.time_base import ClockRuns, TimeBase, fit_clock
from workbench.records.codec import Array
from workbench.records.columns import Columns
from workbench.records.jsonable import from_text, to_text

Sender = tuple[str, str]
"""(input address, speed source), '' for the clock that an input's pulses are counted by."""
Clocks = Mapping[Sender, ClockRuns]


def clocks_of(streams: Iterable[Columns]) -> dict[Sender, ClockRuns]:
    """The clock of every input with pulses, and of every source that stamps its values.

    The points of an input's clock are the last edge of each block and what the board tells by
    itself; a source that stamps its values has its own.
    """
    points: dict[Sender, list[tuple[Floats, Floats]]] = {}
    for one in streams:
        whose, told = _points(one)
        if told[0].size:
            points.setdefault((one.key.input, whose), []).append(told)
    return {sender: fit_clock(known) for sender, known in points.items()}


def _points(one: Columns) -> tuple[str, tuple[Floats, Floats]]:
    """Whose clock a stream tells of, its times (n,), and when they came."""
    a, nothing = one.arrays, np.empty(0)
    if one.key.kind == "edges":
        filled = a["sizes"] > 0
        last = np.cumsum(a["sizes"])[filled] - 1
        return "", (a["ticks"][last] * a["tick_s"][filled], a["host_s"][filled])
    if one.key.quantity == BOARD_CLOCK and one.key.kind == "values":
        return "", (a["value"], a["host_s"])
    if one.key.kind in ("speeds", "values"):
        own = _stamped(one)
        return one.key.name, (a["time_s"][own], a["host_s"][own])
    return "", (nothing, nothing)


def _stamped(one: Columns) -> Array:
    """(N,) Which values the sender has stamped by a clock of its own."""
    return stamped(*(one.arrays[name] for name in ("time_s", "host_s", "sizes")))


def on_host_line(one: Columns, clocks: Clocks) -> Columns:
    """A stream of values with its times moved from the sender's clock to the host's."""
    own = _stamped(one)
    if not own.any():
        return one
    host_s, sizes = one.arrays["host_s"], one.arrays["sizes"]
    full = sizes[sizes > 0]
    whose = "" if one.key.quantity == BOARD_CLOCK else one.key.name
    arrived_s = np.repeat(host_s[np.cumsum(full) - full], full)
    time_s = one.arrays["time_s"].copy()
    time_s[own] = clocks[one.key.input, whose].to_host(time_s[own], arrived_s[own])
    return replace(one, arrays=one.arrays | {"time_s": time_s})


def clocks_to_text(clocks: Clocks) -> str:
    """Clocks as they are stored."""
    plain = [
        {
            "input": address,
            "source": whose,
            "bases": [asdict(base) for base in clock.bases],
            "starts_s": clock.starts_s,
        }
        for (address, whose), clock in clocks.items()
    ]
    return to_text({"clocks": plain})


def clocks_from_text(text: str) -> dict[Sender, ClockRuns]:
    """The clocks again. Raises StoreError where it is no such text."""
    plain = from_text(text)
    try:
        return {
            (one["input"], one["source"]): ClockRuns(
                [TimeBase(**base) for base in one["bases"]], [float(at) for at in one["starts_s"]]
            )
            for one in plain["clocks"]
        }
    except (KeyError, TypeError, ValueError):
        raise StoreError("A row of the store is damaged: it says nothing of its clocks.") from None

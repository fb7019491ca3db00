"""The shop's summary sheet: one line a pickup, for a season's worth of machines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

SUMMARY_HEADER = (
    "machine",
    "side",
    "kind",
    "verdict",
    "gap_m",
    "U_gap_m",
    "runout_m",
    "U_runout_m",
    "closest_m",
    "closest_angle_deg",
    "widest_m",
    "widest_angle_deg",
    "teeth",
    "missed",
    "extra",
    "faults",
    "advice",
)
"""Columns of the summary as CSV; lengths in metres, an absent value empty."""


def summary_rows(answer: Mapping[str, Any]) -> list[list[str]]:
    """A row a pickup of an answer of `evenpace gap`, in its own order."""
    return [_row(one) for one in answer.get("pickups", [answer])]


def number(answer: Mapping[str, Any], name: str) -> float:
    """A number of an answer; NaN where it is absent or null."""
    value = answer.get(name)
    return math.nan if value is None else float(value)


def fault_names(answer: Mapping[str, Any]) -> str:
    """'bent tooth 7, run-out', '' where there is none."""
    return ", ".join(
        f"{fault['kind']} {fault['tooth']}" if fault["tooth"] else str(fault["kind"])
        for fault in answer.get("faults", [])
    )


def _row(one: Mapping[str, Any]) -> list[str]:
    names = [one["machine_name"], one["side"], one["pickup_kind"], str(one["verdict"])]
    numbers = [_number(one.get(name)) for name in SUMMARY_HEADER[4:15]]
    return [*(_harmless(name) for name in names), *numbers, fault_names(one), one["advice"]]


def _number(value: Any) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _harmless(text: str) -> str:
    """Text that a spreadsheet would take for a formula gets a leading apostrophe."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") else text

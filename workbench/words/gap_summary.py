"""The shop's summary sheet: one line a pickup, for a season's worth of machines."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
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


def summary_table(answer: Mapping[str, Any]) -> str:
    """The sheet as CSV: a row a pickup of an answer of `evenpace gap`, in its own order."""
    text = io.StringIO()
    rows = [_row(one) for one in answer.get("pickups", [answer])]
    csv.writer(text, lineterminator="\n").writerows([SUMMARY_HEADER, *rows])
    return text.getvalue()


_NOTHING: dict[str, Any] = {
    "machine_name": "",
    "side": "",
    "pickup_kind": "",
    "method": "",
    "gap_m": None,
    "runout_m": None,
    "teeth": None,
    "missed": None,
    "extra": None,
    "advice": "",
    "warnings": [],
}
"""What stands in the sheet of a pickup of which nothing is known yet."""


def list_answer(
    found: Sequence[tuple[str, str, Sequence[Mapping[str, Any]]]], kept: Mapping[str, Any]
) -> dict[str, Any]:
    """A shop's list as one answer: (name, where it stands, what was found at it) a pickup.

    What feeler, tooth run and drop-out run have found at one pickup becomes one line, its
    faults all named. `kept` is the answer of the readings, {} where there are none. The
    limits stand on top where they are the same for all, else with each pickup only.
    """
    pickups = [_one_line(name, word, answers) for name, word, answers in found]
    words = [str(one["verdict"]) for one in pickups]
    judged = [one for one in pickups if "gap_max_m" in one]
    same = judged and all(_limits(one) == _limits(judged[0]) for one in judged)
    limits = judged[0] if same else {}
    return {
        "pickups": pickups,
        "summary": {word: words.count(word) for word in dict.fromkeys(words)},
        "verdict": next((word for word in _WORST_FIRST if word in words), words[0]),
        "source": "list of pickups",
        "simulated": any(one["simulated"] for one in pickups),
        "warnings": [f"{one['pickup']}: {text}" for one in pickups for text in one["warnings"]],
        **{name: limits.get(name) for name in _LIMITS},
        **{name: kept[name] for name in ("result", "results") if name in kept},
    }


_LIMITS = ("limits_of", "gap_best_m", "gap_max_m", "blade_step_m")


def _limits(one: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(one.get(name) for name in _LIMITS)


def result_words(answer: Mapping[str, Any]) -> str:
    """'Result 4' or 'Results 4, 5 and 6', '' where it is not stored."""
    numbers = [str(number) for number in answer.get("results", ())]
    if len(numbers) > 1:
        return f"Results {', '.join(numbers[:-1])} and {numbers[-1]}"
    return f"Result {answer['result']}" if "result" in answer else ""


_WORST_FIRST = ("fail", "conditional fail", "not yet", "begun", "cannot tell", "conditional pass")


def _one_line(name: str, word: str, answers: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    line: dict[str, Any] = {**_NOTHING, "pickup": name, "verdict": word, "reason": word}
    line["machine_name"] = name.split(" / ")[0]
    faults: list[Any] = []
    warnings: list[Any] = []
    advice: list[str] = []
    for answer in reversed(answers):  # the feeler's, which stands first, tells the gap best
        known = {key: value for key, value in answer.items() if not _is_nothing(value)}
        line |= known | {"pickup": name, "verdict": word}
        faults = [*answer.get("faults", []), *faults]
        warnings = [*answer.get("warnings", []), *warnings]
        advice = [*([answer["advice"]] if answer["advice"] else []), *advice]
    simulated = any(bool(answer.get("simulated")) for answer in answers)
    return line | {
        "faults": faults,
        "warnings": warnings,
        "advice": " ".join(advice),
        "simulated": simulated,
    }


def _is_nothing(value: Any) -> bool:
    return value is None or (isinstance(value, float) and math.isnan(value))


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

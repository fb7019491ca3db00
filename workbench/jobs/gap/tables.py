"""`evenpace gap` on a gap table: the pickups in it, and the shop's own repeat measurements."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.calibration.gap.repeats import repeat_chart
from workbench.calibration.gap.table import GapReadings, parse_gap_table
from workbench.jobs.gap.answers import feeler_answer, several
from workbench.jobs.gap.values import limit_values

_MOST_TABLE_BYTES = 20_000_000


def table_text(word: str) -> str | None:
    """The text of a gap table, None where `word` is something else. Raises WrongInput."""
    path = Path(word.removeprefix("file:"))
    if word.startswith("sim:") or not path.is_file():
        return None
    with path.open("rb") as file:
        head = file.read(4096).lstrip(b"\xef\xbb\xbf \t\r\n").split(b"\n", 1)[0].lower()
    if not (b"pickup" in head or b"gap_m" in head):
        return None
    if path.stat().st_size > _MOST_TABLE_BYTES:
        raise WrongInput(f"{path}: a gap table of more than 20 MB; cut it into parts.")
    try:
        return path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise WrongInput(
            f"{path}: byte {error.start} is not UTF-8 text; save the table as UTF-8."
        ) from None


def compute_table(text: str, machine: Machine | None, options: Mapping[str, Any]) -> dict[str, Any]:
    """The answer for all pickups of a gap table's text. Raises WrongInput with the line."""
    limits = machine.pickup if machine else Pickup()
    step_m = options["blade_step_m"]
    pickups = parse_gap_table(text, options["table_name"] or "gap table")
    control, pickups = _take_control(pickups, options)
    pickups = _only(pickups, options["channel"])
    answers = [feeler_answer(one, limits, step_m) for one in pickups]
    warnings = (
        []
        if machine
        else [_DEFAULT_LIMITS.format(limits.gap_best_m * 1000, limits.gap_max_m * 1000)]
    )
    answer = answers[0] if len(answers) == 1 else several(answers)
    answer |= {
        "source": options["table_name"],
        "kind": "gap table",
        "simulated": bool(options.get("simulated")),
        **limit_values(machine, step_m),
        "warnings": [*warnings, *answer["warnings"]],
    }
    if control is not None:
        answer |= _control(control, options)
    return answer


_DEFAULT_LIMITS = (
    "The limits, {:.1f} mm best and {:.1f} mm at most, are common practice: no machine is known "
    "whose own would hold."
)


def _take_control(
    pickups: list[GapReadings], options: Mapping[str, Any]
) -> tuple[GapReadings | None, list[GapReadings]]:
    """The repeat measurements and the pickups; a table of repeats alone is judged as well."""
    name = options["control"]
    if name is None:
        return None, pickups
    found = [one for one in pickups if one.pickup == name]
    if not found:
        raise WrongInput(f"--control: the table has no pickup '{name}'; it has {_names(pickups)}.")
    others = [one for one in pickups if one.pickup != name]
    return found[0], others or found


def _only(pickups: list[GapReadings], name: str | None) -> list[GapReadings]:
    chosen = [one for one in pickups if name is None or one.pickup == name]
    if not chosen:
        raise WrongInput(f"--channel: the table has no pickup '{name}'; it has {_names(pickups)}.")
    return chosen


def _names(pickups: list[GapReadings]) -> str:
    names = [f"'{one.pickup}'" for one in pickups[:8]]
    return ", ".join(names) + (" and more" if len(pickups) > 8 else "")


def _control(readings: GapReadings, options: Mapping[str, Any]) -> dict[str, Any]:
    values = np.concatenate([np.array(options["control_history"], dtype=float), readings.gap_m])
    chart = repeat_chart(values, options["blade_step_m"], options["control_target_m"])
    answer = {
        "name": readings.pickup,
        "new_m": readings.gap_m,
        "gap_m": chart.gap_m,
        "target_m": chart.target_m,
        "sigma_m": chart.sigma_m,
        "in_control": chart.in_control,
        "sentence": chart.sentence,
        "ewma_m": None,
    }
    if chart.ewma is not None and chart.cusum is not None:
        answer |= {
            "ewma_m": chart.ewma.mean,
            "ewma_low_m": chart.ewma.low,
            "ewma_high_m": chart.ewma.high,
            "cusum_high_m": chart.cusum.high,
            "cusum_low_m": chart.cusum.low,
            "cusum_decision_m": chart.cusum.decision,
        }
    return {"control": answer}

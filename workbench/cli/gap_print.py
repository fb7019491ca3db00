"""`evenpace gap` for a person: a table on stdout, cautions beside the advice on stderr."""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from typing import Any

from workbench.base.cautions import Caution
from workbench.base.units import INCH_M
from workbench.cli.output import print_table, with_uncertainty
from workbench.words.gap_summary import fault_names
from workbench.words.words import Words

KEEP = "Leave the pickup"


def print_answer(answer: Mapping[str, Any]) -> None:
    """The answer of one pickup in full, of many with a line each."""
    _caution(answer)
    if "pickups" in answer:
        _print_many(answer)
    else:
        print_table(_title(answer), _rows(answer))
    if "control" in answer:
        print(answer["control"]["sentence"])
    for one in answer.get("pickups", [answer]):
        if "before" in one:
            before = one["before"]
            print(f"{one['pickup']}, against result {before['result']}: {before['sentence']}")
    if "counted_from" in answer:
        print(answer["counted_from"], file=sys.stderr)
    if answer["simulated"]:
        print("Simulated data.", file=sys.stderr)


def _title(answer: Mapping[str, Any]) -> str:
    return f"{answer['pickup']} ({answer['source']})"


def _print_many(answer: Mapping[str, Any]) -> None:
    header = ("pickup", "verdict", "mean gap", "run-out", "widest", "what to do")
    rows = []
    for one in answer["pickups"]:
        widest = _length(one.get("widest_m", math.nan))
        if widest != "–" and math.isfinite(one.get("widest_angle_deg", math.nan)):
            widest += f" at {one['widest_angle_deg']:.0f}°"
        what = one["advice"] or fault_names(one) or one["reason"]
        gap, runout = _length(one["gap_m"]), _length(one["runout_m"])
        rows.append((one["pickup"], str(one["verdict"]), gap, runout, widest, what))
    print_table(str(answer["source"]), rows, header)
    for one in answer["pickups"]:
        for fault in one.get("faults", []):
            print(f"{one['pickup']}: {fault['sentence']}")
    counts = ", ".join(f"{count} {verdict}" for verdict, count in answer["summary"].items())
    print(f"{len(answer['pickups'])} pickups: {counts}.")


def _rows(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    rows = [("Verdict", f"{answer['verdict']}: {answer['reason']}")]
    for label, name in (
        ("Mean gap", "gap"),
        ("Run-out", "runout"),
        ("Closest", "closest"),
        ("Widest", "widest"),
    ):
        value = answer.get(f"{name}_m", math.nan)
        if not math.isfinite(value):
            continue
        angle = answer.get(f"{name}_angle_deg", math.nan)
        where = f" at {angle:.0f}°" if math.isfinite(angle) else ""
        rows.append((label, _measured(answer, name) + where))
    rows.append(
        ("Allowed", f"best {_length(answer['gap_best_m'])}, most {_length(answer['gap_max_m'])}")
    )
    rows += _feeler_rows(answer) if answer["method"] == "feeler" else _pulse_rows(answer)
    if answer["advice"]:
        rows.append(("What to do", answer["advice"]))
    return rows


def _feeler_rows(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    readings, places = answer["readings"], len(answer["places"])
    scatter = answer["repeatability_m"]
    spread = f", scatter {scatter * 1000:.3f} mm" if math.isfinite(scatter) else ""
    return [("Readings", f"{readings} at {places} angles{spread}")]


def _pulse_rows(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    e_rel, U_rel = answer["eccentricity_rel"], answer["U_eccentricity_rel"]
    rows = [
        ("Teeth", f"{answer['teeth']}, over {answer['turns']:.1f} turns"),
        ("Pulses", f"{answer['missed']} missed, {answer['extra']} extra"),
    ]
    if math.isfinite(e_rel):
        text = with_uncertainty(100 * e_rel, 100 * U_rel, "% of the radius")
        rows.append(("Out of true", text))
    if math.isfinite(answer["duty_mean"]):
        rows.append(("Duty cycle", f"{100 * answer['duty_mean']:.1f} %"))
    rows += [("Fault", fault["sentence"]) for fault in answer["faults"]]
    law = answer.get("amplitude_law")
    if law:
        decay = with_uncertainty(law["decay_m"] * 1000, 2000 * law["u_decay_m"], "mm")
        rows.append(("Voltage falls to 37 % in", f"{decay}, from {law['readings']} readings"))
    drop = answer.get("drop_out")
    if drop and math.isfinite(drop["speed_mps"]):
        rows.append(
            ("Drop-out speed", with_uncertainty(drop["speed_mps"], drop["U_speed_mps"], "m/s"))
        )
    if drop and "gap_at_limit_m" in drop:
        limit_m, U_m = drop["gap_at_limit_m"], drop["U_gap_at_limit_m"]
        rows.append(("Gap that just does", with_uncertainty(limit_m * 1000, U_m * 1000, "mm")))
    return rows


def _measured(answer: Mapping[str, Any], name: str) -> str:
    value, U = answer[f"{name}_m"], answer[f"U_{name}_m"]
    text = with_uncertainty(value * 1000, U * 1000, "mm", answer["k"])
    return f"{text}, {value / INCH_M:.3f} in"


def _length(value_m: float) -> str:
    return f"{value_m * 1000:.2f} mm" if math.isfinite(value_m) else "–"


def _caution(answer: Mapping[str, Any]) -> None:
    """Before the next step, where that step asks a hand near the wheel."""
    everyone = answer.get("pickups", [answer])
    if any(one["advice"] and not one["advice"].startswith(KEEP) for one in everyone):
        print(f"Caution: {Words().say(Caution.AT_THE_WHEEL)}", file=sys.stderr)
    if any("Record" in line or "slow the belt" in line.lower() for line in answer["warnings"]):
        print(f"Caution: {Words().say(Caution.WITH_THE_BELT_RUNNING)}", file=sys.stderr)

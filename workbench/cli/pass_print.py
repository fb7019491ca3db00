"""A pass's answer as a person reads it."""

from __future__ import annotations

import math
import sys
from typing import Any

from workbench.cli.output import print_table, with_uncertainty


def print_pass(answer: dict[str, Any]) -> None:
    """The answer as tables on stdout."""
    rows = [("Verdict", f"{answer['verdict']}: {answer['reason']}")]
    if math.isfinite(answer["ratio"]):
        rows += _figures(answer)
    print_table(answer["source"], rows)
    if answer["causes"]:
        print_table("\nWhy, the most likely first", _causes(answer))
    advice = answer.get("advice", {}).get("sentences", [])
    if advice:
        print_table("\nWhat to do", [[sentence] for sentence in advice])
    if math.isfinite(answer.get("advice", {}).get("belt_change_rel", math.nan)):
        print(
            "Move the flow control only with the tractor standing and everyone clear; follow the "
            "machine's manual.",
            file=sys.stderr,
        )
    if answer["simulated"]:
        print("Simulated data.", file=sys.stderr)


def _figures(answer: dict[str, Any]) -> list[tuple[str, str]]:
    band = f"limits {answer['ratio_low']:g} to {answer['ratio_high']:g}"
    ratio = with_uncertainty(answer["ratio"], answer["U_ratio"], "", answer["k"])
    rows = [
        ("Ratio belt ÷ ground", f"{ratio}, {band}"),
        ("Belt", f"{answer['belt']}, mean {answer['belt_speed_mps']:.4g} m/s"),
        ("Ground", f"{answer['ground']}, mean {answer['ground_speed_mps']:.4g} m/s"),
        ("Why this ground", answer["ground_why"]),
        ("Time within the limits", f"{100 * answer['in_band_fraction']:.0f} %"),
        ("Ground source behind by", _or(answer, "lag_s", "s")),
        ("Drift of the ratio", _or(answer, "drift_per_hour", "an hour")),
        ("Separation at the end", _or(answer, "separation_m", "m (belt minus ground)")),
        ("Steady for", f"{answer['duration_s']:.1f} s"),
    ]
    if math.isfinite(answer["wheel_slip"]):
        slip, U = 100 * answer["wheel_slip"], 200 * answer["u_wheel_slip"]
        rows.append(("Wheel slip beyond its set-up", with_uncertainty(slip, U, "%")))
    if answer["stands_apart"]:
        rows.append(("Stands apart from the others", answer["stands_apart"]))
    rows += [
        ("The ratio changed", f"at {point['time_s']:.0f} s by {100 * point['change']:+.1f} %")
        for point in answer["change_points"]
    ]
    return rows + _course(answer)


def _course(answer: dict[str, Any]) -> list[tuple[str, str]]:
    course = answer.get("course")
    if not course:
        return []
    true = with_uncertainty(course["true_speed_mps"], 2 * course["u_true_speed_mps"], "m/s")
    rows = [("True speed by the taped course", true)]
    for name, one in course["true_over_shown"].items():
        rows.append((f"True ÷ {name}", with_uncertainty(one["factor"], 2 * one["u_factor"])))
    return rows


def _causes(answer: dict[str, Any]) -> list[list[str]]:
    rows = []
    if not answer["cause_clear"]:
        rows.append(["Not clear", "no cause stands out; the likeliest are"])
    said: set[str] = set()
    for cause in answer["causes"][:3]:
        rows.append([f"{100 * cause['probability']:.0f} %", f"{cause['title']}."])
        rows += [["", sentence] for sentence in cause["evidence"] if sentence not in said]
        said.update(cause["evidence"])
        rows.append(["", f"Next: {cause['check_next']}"])
    return rows


def _or(answer: dict[str, Any], key: str, unit: str) -> str:
    if not math.isfinite(answer[key]):
        return "could not be found"
    return with_uncertainty(answer[key], 2 * answer[f"u_{key}"], unit)

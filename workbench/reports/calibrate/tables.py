"""Tables of a calibration certificate: runs, change-overs, the uncertainty budget."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

from workbench.base.units import from_mps, percent
from workbench.reports.document import Table


def shown_text(shown: float, step: float) -> str:
    """A shown value with the digits of the display: '2.0', not '2'."""
    digits = len(f"{Decimal(repr(step)).normalize():f}".partition(".")[2])
    return f"{shown:.{digits}f}"


def rounded(value: float, U: float | None) -> str:
    """A value with as many digits as two digits of its uncertainty warrant, and that."""
    if not U:
        return f"{value:.6g}"
    digits = max(0, 1 - math.floor(math.log10(U)))
    return f"{value:z.{digits}f} ± {U:.{digits}f}"


MANY = 1000
"""Degrees of freedom from which there is nothing left to tell from infinitely many."""


def run_table(answer: Mapping[str, Any], unit: str, caption: str) -> Table:
    """A line a run; columns that no run fills are left out."""
    runs: Sequence[Mapping[str, Any]] = answer["runs"]
    header = ["Run", f"Shown, {answer['unit']}", f"True, {unit}", "Error", "U (k = 2)"]
    counts = [
        (name, title)
        for name, title in (
            ("laps", "Laps"),
            ("laps_time_s", "in, s"),
            ("pulses", "Pulses"),
            ("pulses_time_s", "in, s"),
            ("reference_mps", "Reference, m/s"),
        )
        if any(run[name] is not None for run in runs)
    ]
    rows = [
        [
            run["run"],
            shown_text(run["shown"], answer["step"]),
            f"{from_mps(run['true_mps'], unit):.3f}",
            percent(run["error"], signed=True),
            percent(2 * run["u_error"]),
            *(_cell(name, run[name]) for name, _ in counts),
        ]
        for run in runs
    ]
    left_out = [f"Run {run['run']} was left out: it {run['note']}." for run in runs if run["note"]]
    titles = [title for _, title in counts]
    return Table([*header, *titles], rows, caption, " ".join(left_out))


def _cell(name: str, value: float | None) -> str:
    if value is None:
        return ""
    return f"{value:.2f}" if name.endswith("_s") else f"{value:.6g}"


def change_over_table(answer: Mapping[str, Any], unit: str) -> Table:
    """A line a flip of the display."""
    found = answer["change_overs"]
    rows = [
        [
            f"{point['time_s']:.2f}",
            point["direction"],
            shown_text(point["shown"], answer["step"]),
            f"{point['threshold']:.4g}",
            f"{from_mps(point['true_mps'], unit):.4f}",
            percent(point["error"], signed=True),
        ]
        for point in found["points"]
    ]
    note = f"Lag of display and hand {found['lag_s']:.2f} s ± {2 * found['u_lag_s']:.2f} s"
    note += "; the belt's speeds are those without the lag."
    header = ["Time, s", "Way", f"Shows, {answer['unit']}", "Indication", f"True, {unit}", "Error"]
    return Table(header, rows, "As found, change-over points", note, "rlrrrr")


def budget_table(budget: Mapping[str, Any]) -> Table:
    """The budget, lines of one kind together: a run's watch is on a line with the others'."""
    groups: dict[str, list[Mapping[str, Any]]] = {}
    for line in budget["lines"]:
        groups.setdefault(line["group"] or line["quantity"], []).append(line)
    order = sorted(groups, key=lambda name: -budget["groups"][name])
    rows = [
        [
            _name(name, groups[name]),
            _span([line["estimate"] for line in groups[name]], groups[name][0]["unit"]),
            _span([line["u"] for line in groups[name]], groups[name][0]["unit"]),
            groups[name][0]["distribution"],
            _span([abs(line["sensitivity"]) for line in groups[name]], ""),
            percent(budget["groups"][name], 3),
            _dof([line["dof"] for line in groups[name]]),
        ]
        for name in order
    ]
    rows.append(["Combined (u)", "", "", "", "", percent(budget["u"], 3), _dof([budget["dof"]])])
    U = f"{percent(budget['U'], 2)}"
    rows.append([f"Expanded (U, k = {budget['k']:.3g})", "", "", budget["method"], "", U, ""])
    header = ["Quantity", "Estimate", "u", "Distribution", "Sensitivity", "Contribution", "ν"]
    note = (
        "Contributions are shares of the true speed. Lines of one kind are shown together, what "
        "they share counted as shared; the JSON has every line."
    )
    return Table(header, rows, "Budget of the error at the working speed", note, "lrrlrrr")


def _name(group: str, lines: Sequence[Mapping[str, Any]]) -> str:
    return str(lines[0]["quantity"]) if len(lines) == 1 else f"{group} ({len(lines)} values)"


def _span(values: Sequence[float], unit: str) -> str:
    """The values of one kind of line, from the least to the greatest; small lengths in mm."""
    if unit == "m" and max(values) < 0.1:
        values, unit = [1000 * value for value in values], "mm"
    low, high = _short(min(values)), _short(max(values))
    text = low if low == high else f"{low} … {high}"
    return f"{text} {unit}".strip()


_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def _short(value: float) -> str:
    text = f"{value:.3g}" if abs(value) < 100 else f"{value:.5g}"
    number, _, power = text.partition("e")
    return f"{number}·10{str(int(power)).translate(_RAISED)}" if power else text


def _dof(values: Sequence[float | None]) -> str:
    known = [value for value in values if value is not None and value < MANY]
    return f"{min(known):.0f}" if known else "∞"

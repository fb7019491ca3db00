"""Tables of a calibration certificate: runs, change-overs, the uncertainty budget."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from workbench.calibration.readout.change_overs import RampResult
from workbench.calibration.statistics.budget import Budget, Line, Part
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.reports.document import Table
from workbench.words.language import _
from workbench.words.words import Words


def shown_text(shown: float, step: float) -> str:
    """A shown value with the digits of the display: '2.0', not '2'."""
    digits = len(f"{Decimal(repr(step)).normalize():f}".partition(".")[2])
    return f"{shown:.{digits}f}"


SHORT_M = 0.1
"""A shorter length is given in the unit of gaps."""

MANY = 1000
"""Degrees of freedom from which there is nothing left to tell from infinitely many."""


def run_table(answer: CalibrateAnswer, words: Words, caption: str) -> Table:
    """A line a run; columns that no run fills are left out."""
    speed = words.quantity("speed")
    header = [
        _("Run"),
        _("Shown, {unit}").format(unit=answer.unit),
        _("True, {unit}").format(unit=speed.unit),
        _("Error"),
        "U (k = 2)",
    ]
    columns = [
        (title, cells)
        for title, cells in (
            (_("Laps"), [_cell(run.laps, ".6g") for run in answer.runs]),
            (_("in, s"), [_cell(run.laps_time_s, ".2f") for run in answer.runs]),
            (_("Pulses"), [_cell(run.pulses, ".6g") for run in answer.runs]),
            (_("in, s"), [_cell(run.pulses_time_s, ".2f") for run in answer.runs]),
            (
                _("Reference, {unit}").format(unit=speed.unit),
                [_cell(speed.per_si * run.reference_mps, ".4g") for run in answer.runs],
            ),
        )
        if any(cells)
    ]
    rows = [
        [
            run.run,
            shown_text(run.shown, answer.step),
            f"{speed.per_si * run.true_mps:.3f}",
            words.number("percent", run.error, signed=True),
            words.number("percent", 2 * run.u_error),
            *(cells[at] for _title, cells in columns),
        ]
        for at, run in enumerate(answer.runs)
    ]
    left_out = [
        _("Run {run} was left out: it {why}.").format(run=run.run, why=words.say(run.note))
        for run in answer.runs
        if run.note is not None
    ]
    return Table(
        [*header, *(title for title, _cells in columns)], rows, caption, " ".join(left_out)
    )


def _cell(value: float, form: str) -> str:
    return format(value, form) if math.isfinite(value) else ""


def change_over_table(answer: CalibrateAnswer, found: RampResult, words: Words) -> Table:
    """A line a flip of the display."""
    speed = words.quantity("speed")
    ways = {"up": _("up"), "down": _("down")}
    rows = [
        [
            f"{point.time_s:.2f}",
            ways[point.direction],
            shown_text(point.shown, answer.step),
            f"{point.threshold:.4g}",
            f"{speed.per_si * point.true_mps:.4f}",
            words.number("percent", point.error, signed=True),
        ]
        for point in found.points
    ]
    note = _("Lag of display and hand {lag}; the belt's speeds are those without the lag.")
    header = [
        _("Time, s"),
        _("Way"),
        _("Shows, {unit}").format(unit=answer.unit),
        _("Indication"),
        _("True, {unit}").format(unit=speed.unit),
        _("Error"),
    ]
    lag = words.number("time", found.lag_s, 2 * found.u_lag_s)
    caption = _("As found, change-over points")
    return Table(header, rows, caption, note.format(lag=lag), "rlrrrr")


def budget_table(budget: Budget, words: Words) -> Table:
    """The budget, lines of one kind together: a run's watch is on a line with the others'."""
    groups: dict[Part, list[Line]] = {}
    for line in budget.lines:
        groups.setdefault(line.group, []).append(line)
    percent = words.quantity("percent")
    shares = {name: f"{percent.per_si * u:.3f} %" for name, u in budget.groups.items()}
    rows = []
    for name, lines in sorted(groups.items(), key=lambda item: -budget.groups[item[0]]):
        scale = _scale(lines, words)
        cells = [
            _name(lines, words),
            _span([line.estimate for line in lines], scale),
            _span([line.u for line in lines], scale),
            words.say(lines[0].distribution),
            _span([abs(line.sensitivity) for line in lines], (1 / scale[0], "")),
            shares[name],
            _dof([line.dof for line in lines]),
        ]
        rows.append(cells)
    u = f"{percent.per_si * budget.u:.3f} %"
    rows.append([_("Combined (u)"), "", "", "", "", u, _dof([budget.dof])])
    expanded = _("Expanded (U, k = {k:.3g})").format(k=budget.k)
    U = words.number("percent", budget.U)
    rows.append([expanded, "", "", words.say(budget.method), "", U, ""])
    header = [
        _("Quantity"),
        _("Estimate"),
        "u",
        _("Distribution"),
        _("Sensitivity"),
        _("Contribution"),
        "ν",
    ]
    note = _(
        "Contributions are shares of the true speed. Lines of one kind are shown together, what "
        "they share counted as shared; the JSON has every line."
    )
    return Table(header, rows, _("Budget of the error at the working speed"), note, "lrrlrrr")


def _name(lines: Sequence[Line], words: Words) -> str:
    if len(lines) == 1:
        return words.say(lines[0].quantity)
    group = words.say(lines[0].group)
    return _("{group} ({count} values)").format(group=group, count=len(lines))


def _scale(lines: Sequence[Line], words: Words) -> tuple[float, str]:
    """How many of a person's unit are one of the lines' own, and that unit."""
    unit = lines[0].unit
    small = max(abs(line.estimate) for line in lines) < SHORT_M
    kinds = {"m/s": "speed", "m": "gap" if small else "length"}
    if unit not in kinds:
        return 1.0, unit
    quantity = words.quantity(kinds[unit])
    return quantity.per_si, quantity.unit


def _span(values: Sequence[float], scale: tuple[float, str]) -> str:
    """The values of one kind of line, from the least to the greatest."""
    factor, unit = scale
    low, high = _short(factor * min(values)), _short(factor * max(values))
    text = low if low == high else f"{low} … {high}"
    return f"{text} {unit}".strip()


_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def _short(value: float) -> str:
    text = f"{value:.3g}" if abs(value) < 100 else f"{value:.5g}"
    number, _e, power = text.partition("e")
    return f"{number}·10{str(int(power)).translate(_RAISED)}" if power else text


def _dof(values: Sequence[float]) -> str:
    known = [value for value in values if value < MANY]
    return f"{min(known):.0f}" if known else "∞"

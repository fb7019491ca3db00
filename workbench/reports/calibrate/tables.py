"""Tables of a calibration certificate: runs, change-overs, the uncertainty budget."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from workbench.base.numbers import with_uncertainty
from workbench.calibration.readout.change_overs import RampResult
from workbench.calibration.statistics.budget import Budget, Line, Part
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.calibrate.answer import CalibrateAnswer
from workbench.reports.document import Table
from workbench.words.language import N_, _
from workbench.words.words import Words

RULE = N_(
    "Decision rule: with U the expanded uncertainty (coverage {coverage:.2f} %), pass means that "
    "the error lies inside the limits by U or more; conditional pass inside by less; "
    "conditional fail outside by less than U; fail outside by U or more; cannot tell where U is "
    "wider than the limits (ILAC-G8:09/2019, guard band w = U). Probability of conformance after "
    "JCGM 106:2012."
)
ONLY_THIS = N_(
    "The results hold for this machine, this readout and this setting, on the day they were "
    "found. Wear, mud, a new belt or another pickup call for a new calibration. Reproduce this "
    "record in full only."
)


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


Rows = list[tuple[str, str]]


def error_rows(answer: CalibrateAnswer, words: Words, label: str) -> Rows:
    """The error at the working speed; `label` takes that `speed`."""
    at = words.number("speed", answer.speed_at_work_mps)
    error = words.number("percent", answer.error_at_work, answer.U_error_at_work, signed=True)
    return [
        (label.format(speed=at), f"{error} (k = {answer.k:.3g})"),
        (
            _("Probability that it conforms"),
            words.number("percent1", answer.conformance_probability),
        ),
    ]


def setting_text(setting: float, answer: CalibrateAnswer) -> str:
    """A number for the readout with its unit."""
    if not math.isfinite(setting):
        return _("not stated")
    return f"{setting:.6g} {answer.setting_unit}".strip()


def setting_rows(answer: CalibrateAnswer, words: Words) -> Rows:
    """The setting found, the one that would be right, the new one; none where none is known."""
    if not math.isfinite(answer.setting_now):
        return []
    right = with_uncertainty(answer.setting_exact, answer.U_setting_exact)
    right = f"{right} {answer.setting_unit}".strip()
    new = _("none proposed: see the notes")
    if answer.has_new_setting:
        new = _("{setting} (leaves {error}; then {verdict})").format(
            setting=setting_text(answer.setting_new, answer),
            error=words.number("percent", answer.residual_error, signed=True),
            verdict=words.say(answer.verdict_expected),
        )
    rows = [(_("Setting now"), setting_text(answer.setting_now, answer))]
    if answer.verdict is not Verdict.CANNOT_TELL:
        rows.append((_("would be right"), f"{right} (k = {answer.k:.3g})"))
    rows.append((_("New setting"), new))
    if answer.as_left is not None:
        left = answer.as_left
        error = words.number("percent", left.error_at_work, left.U_error_at_work, signed=True)
        rows.append((_("Error found afterwards"), error))
    return rows


def travel_rows(answer: CalibrateAnswer, words: Words) -> Rows:
    """Belt travel a pulse: what was used, and what laps and geometry say of it."""
    used = words.number("gap", answer.metres_per_pulse, answer.U_metres_per_pulse)
    geometry_m, u_m = answer.metres_per_pulse_geometry, answer.u_metres_per_pulse_geometry
    rows = [
        (_("Belt travel a pulse"), f"{used} (k = {answer.k:.3g})"),
        (_("by the drive line"), words.number("gap", geometry_m, 2 * u_m)),
    ]
    if math.isfinite(answer.metres_per_pulse_runs):
        runs_m, u_m = answer.metres_per_pulse_runs, answer.u_metres_per_pulse_runs
        apart, u_apart = answer.drive_line_difference, answer.u_drive_line_difference
        difference = words.number("percent", apart, 2 * u_apart, signed=True)
        rows.append((_("by the laps"), words.number("gap", runs_m, 2 * u_m)))
        rows.append((_("laps against drive line"), difference))
    return rows if math.isfinite(answer.metres_per_pulse) else []

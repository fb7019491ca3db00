"""The gap report: what was found at one pickup, or the summary sheet of many."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.units import INCH_M, METRIC, UnitSystem, from_mps, inch_fraction
from workbench.records.jsonable import plain
from workbench.reports.document import (
    Answer,
    Block,
    CautionBlock,
    Document,
    Facts,
    Figure,
    Footnote,
    Heading,
    Paragraph,
    Signature,
    Table,
)
from workbench.reports.gap.wheel_picture import (
    batch_picture,
    control_picture,
    gap_picture,
    teeth_picture,
)
from workbench.words.gap_lengths import gap_digits, gap_number, gap_text, in_units
from workbench.words.gap_summary import fault_names, number, result_words
from workbench.words.words import Words

MOST_IN_PICTURE = 40
"""Pickups above which the sheet has the table only."""
RULE = (
    "Pass: inside the limits by more than the expanded uncertainty U (about 95 % coverage); "
    "conditional: nearer to a limit than U; after ILAC-G8:09/2019."
)


def gap_document(
    answer: Mapping[str, Any], machine: Machine | None, units: UnitSystem = METRIC
) -> Document:
    """The report of an answer of `evenpace gap`, as it stands or as it was stored."""
    answer = plain(answer)
    many = "pickups" in answer
    title = "Pickup gaps" if many else "Pickup gap"
    subtitle = machine.name if machine else str(answer["source"])
    blocks = _many_blocks(answer, units) if many else _one_blocks(answer, units)
    blocks += _control_blocks(answer, units)
    blocks += _warning_blocks(answer["warnings"], units)
    blocks.append(Signature((("Measured by", ""), ("Date", ""))))
    blocks.append(Footnote(RULE))
    return Document(
        title=title,
        subtitle=subtitle,
        number=result_words(answer),
        blocks=blocks,
        simulated=bool(answer["simulated"]),
        paper="a4" if units is METRIC else "us-letter",
        data=answer,
    )


def _one_blocks(answer: Mapping[str, Any], units: UnitSystem) -> list[Block]:
    blocks: list[Block] = [Answer(_sentence(answer, units), str(answer["verdict"]))]
    if answer["method"] == "feeler":
        blocks.append(_gap_figure(answer, units))
    elif any(late is not None for late in answer.get("spacing_rel", [])):
        blocks.append(_teeth_figure(answer, units))
    blocks += [Paragraph(fault["sentence"]) for fault in answer.get("faults", [])]
    blocks += [Heading("Figures"), Facts(_facts(answer, units), columns=2)]
    if answer["method"] == "feeler":
        blocks += [Heading("Readings"), _places_table(answer["places"], units)]
    if "counted_from" in answer:
        blocks.append(Footnote(str(answer["counted_from"])))
    if answer["advice"]:
        blocks.append(Heading("What to do"))
        blocks += [CautionBlock(Words().say(Caution.AT_THE_WHEEL))] if _needs_work(answer) else []
        blocks.append(Paragraph(in_units(answer["advice"], units)))
    if answer.get("drop_out"):
        blocks.append(
            CautionBlock(
                Words().say(Caution.WITH_THE_BELT_RUNNING), "If the drop-out run is made again"
            )
        )
    return blocks


def _sentence(answer: Mapping[str, Any], units: UnitSystem) -> str:
    named = fault_names(answer)
    if answer.get("drop_out") and not named:
        return in_units(str(answer["drop_out"]["sentence"]), units)
    if math.isfinite(number(answer, "gap_m")) and not named:
        gap = f"{gap_text(answer['gap_m'], units)} (± {gap_text(answer['U_gap_m'], units)})"
        text = f"{answer['pickup']}: the gap is {gap} on average"
        if "widest_m" in answer and answer["verdict"] != "cannot tell":
            widest = f"{gap_text(answer['widest_m'], units)} at {answer['widest_angle_deg']:.0f}°"
            return f"{text}, {widest} at its widest."
        return f"{text}; {_first_lower(answer['reason'])}"
    return f"{answer['pickup']}: {named or answer['reason']}."


def _first_lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _gap_figure(answer: Mapping[str, Any], units: UnitSystem) -> Figure:
    caption = (
        "Left: the wheel from the pickup's side, angles clockwise from the mark in the turning "
        "direction. Right: the same unrolled, with its uncertainty. Green dashes: best gap; "
        "shaded: wider than allowed."
    )
    alt = (
        f"Gap round the wheel: mean {gap_text(answer['gap_m'], units)}, widest "
        f"{gap_text(answer['widest_m'], units)} at {answer['widest_angle_deg']:.0f} degrees, most "
        f"allowed {gap_text(answer['gap_max_m'], units)}."
    )
    return Figure(gap_picture(answer, units), caption, alt)


def _teeth_figure(answer: Mapping[str, Any], units: UnitSystem) -> Figure:
    height = {True: ", and the gap its voltage tells", False: ", and its voltage"}
    told = height[bool(answer.get("gap_by_tooth_m"))] if answer["voltage_rel"] else ""
    caption = (
        "Left: the teeth where the pulses put them, in grey outline where they should be. Right: "
        f"how late each comes (shaded: not worth naming){told}."
    )
    alt = f"{answer['teeth']} teeth; {fault_names(answer) or 'none stands out'}."
    return Figure(teeth_picture(answer, units), caption, alt)


def _facts(answer: Mapping[str, Any], units: UnitSystem) -> list[tuple[str, str]]:
    rows = [("Pickup", str(answer["pickup"])), ("Source", str(answer["source"]))]
    for label, name in (
        ("Mean gap", "gap"),
        ("Run-out (total)", "runout"),
        ("Closest", "closest"),
        ("Widest", "widest"),
    ):
        if math.isfinite(number(answer, f"{name}_m")):
            rows.append((label, _measured(answer, name, units)))
    rows.append(("Limits of", _limits_of(answer)))
    rows.append(("Best gap", _with_fraction(answer["gap_best_m"], units)))
    rows.append(("Most allowed", _with_fraction(answer["gap_max_m"], units)))
    rows.append(("Coverage factor k", f"{answer['k']:.2f}"))
    if answer["method"] == "feeler":
        return rows + _feeler_facts(answer, units)
    return rows + _pulse_facts(answer, units)


def _feeler_facts(answer: Mapping[str, Any], units: UnitSystem) -> list[tuple[str, str]]:
    scatter = number(answer, "repeatability_m")
    fine = f"{scatter / units.gap_m:.{gap_digits(units) + 1}f} {units.gap}"
    return [
        ("Readings", f"{answer['readings']} at {len(answer['places'])} angles"),
        ("Scatter of one reading", fine if math.isfinite(scatter) else "not repeated"),
        ("Blade step", gap_text(answer["blade_step_m"], units)),
    ]


def _pulse_facts(answer: Mapping[str, Any], units: UnitSystem) -> list[tuple[str, str]]:
    rows = [
        ("Teeth", f"{answer['teeth']}"),
        ("Turns", f"{answer['turns']:.1f}"),
        ("Missed pulses", f"{answer['missed']}"),
        ("Extra pulses", f"{answer['extra']}"),
    ]
    if math.isfinite(number(answer, "eccentricity_rel")):
        e, U = 100 * answer["eccentricity_rel"], 100 * answer["U_eccentricity_rel"]
        rows.append(("Out of true", f"{e:.2f} ± {U:.2f} % of the radius"))
    if math.isfinite(number(answer, "play_rel")):
        rows.append(("Play would show from", f"{100 * answer['play_least_rel']:.2f} % of radius"))
    if math.isfinite(number(answer, "duty_mean")):
        rows.append(("Duty cycle", f"{100 * answer['duty_mean']:.1f} %"))
    law = answer.get("amplitude_law")
    if law:
        decay, U = gap_number(law["decay_m"], units), gap_text(2 * law["u_decay_m"], units)
        rows.append(("Voltage falls to 37 % in", f"{decay} ± {U}"))
    drop = answer.get("drop_out")
    if drop and math.isfinite(number(drop, "speed_mps")):
        speed, U = (from_mps(drop[name], units.speed) for name in ("speed_mps", "U_speed_mps"))
        rows.append(("Drop-out speed", f"{speed:.2f} ± {U:.2f} {units.speed}"))
    if drop and "gap_at_limit_m" in drop:
        rows.append(("Gap that just does", _measured(drop, "gap_at_limit", units)))
    return rows


def _places_table(places: Sequence[Mapping[str, Any]], units: UnitSystem) -> Table:
    digits = gap_digits(units) + 1
    rows = [
        (
            f"{place['angle_deg']:.0f}°",
            f"{place['gap_m'] / units.gap_m:.{digits}f}",
            str(place["readings"]),
        )
        for place in places
    ]
    header = ("Angle from the mark", f"Mean gap, {units.gap}", "Readings")
    return Table(header, rows)


def _many_blocks(answer: Mapping[str, Any], units: UnitSystem) -> list[Block]:
    pickups = answer["pickups"]
    counts = ", ".join(f"{count} {verdict}" for verdict, count in answer["summary"].items())
    count = "1 pickup" if len(pickups) == 1 else f"{len(pickups)} pickups"
    blocks: list[Block] = [Answer(f"{count}: {counts}.", str(answer["verdict"]))]
    drawn = [one for one in pickups if math.isfinite(number(one, "widest_m"))]
    if 0 < len(drawn) <= MOST_IN_PICTURE:
        blocks += _batch_figures(drawn, answer, units)
    header = ("Pickup", "Verdict", *(f"{name}, {units.gap}" for name in _MEASURED.values()))
    rows = [_many_row(one, units) for one in pickups]
    blocks.append(Table(header, rows, caption="Each pickup", align="llrrr"))
    jobs = [one for one in pickups if _needs_work(one)]
    if jobs:
        blocks += [Heading("What to do"), CautionBlock(Words().say(Caution.AT_THE_WHEEL))]
        rows = [(str(one["pickup"]), _what(one, units)) for one in jobs]
        blocks.append(Table(("Pickup", "What"), rows, align="ll"))
    return blocks


def _batch_figures(
    drawn: Sequence[Mapping[str, Any]], answer: Mapping[str, Any], units: UnitSystem
) -> list[Block]:
    """A picture for each machine's limits, its pickups against them."""
    by_limits: dict[tuple[str, float, float], list[Mapping[str, Any]]] = {}
    for one in drawn:
        own = {**answer, **one}
        key = (_limits_of(own), own["gap_best_m"], own["gap_max_m"])
        by_limits.setdefault(key, []).append(one)
    return [
        Figure(
            batch_picture(pickups, best_m, most_m, units),
            f"Limits of {whose}: best {gap_text(best_m, units)} (green dashes), at most "
            f"{gap_text(most_m, units)} (shaded: wider).",
            f"Gaps of {len(pickups)} pickups against the limits.",
        )
        for (whose, best_m, most_m), pickups in by_limits.items()
    ]


def _limits_of(answer: Mapping[str, Any]) -> str:
    """Whose limits held: a machine's, or those of no machine."""
    return str(answer.get("limits_of") or "common practice")


def _many_row(one: Mapping[str, Any], units: UnitSystem) -> tuple[str, ...]:
    measured = [_pm(number(one, name), number(one, f"U_{name}"), units) for name in _MEASURED]
    simulated = ", simulated" if one.get("simulated") else ""
    return (str(one["pickup"]), f"{one['verdict']}{simulated}", *measured)


_MEASURED = {"gap_m": "Mean", "runout_m": "Run-out", "widest_m": "Widest"}


def _needs_work(one: Mapping[str, Any]) -> bool:
    return bool(one.get("faults")) or not one["advice"].startswith("Leave")


def _what(one: Mapping[str, Any], units: UnitSystem) -> str:
    said = [fault["sentence"] for fault in one.get("faults", [])]
    return in_units(" ".join(said) or one["advice"] or one["reason"], units)


def _control_blocks(answer: Mapping[str, Any], units: UnitSystem) -> list[Block]:
    control = answer.get("control")
    if not control:
        return []
    sentence = in_units(control["sentence"], units)
    blocks: list[Block] = [Heading("The shop's own repeat measurements")]
    if control["ewma_m"] is not None:
        caption = (
            "Grey: each measurement of the same gap; line: weighted mean (EWMA, weight 0.3); "
            "shaded: its limits."
        )
        blocks.append(Figure(control_picture(control, units), caption, sentence))
    return [*blocks, Paragraph(sentence)]


def _warning_blocks(warnings: Sequence[str], units: UnitSystem) -> list[Block]:
    if not warnings:
        return []
    return [Heading("Remarks"), *(Paragraph(in_units(line, units)) for line in warnings)]


def _measured(answer: Mapping[str, Any], name: str, units: UnitSystem) -> str:
    value, U = answer[f"{name}_m"], answer[f"U_{name}_m"]
    angle = number(answer, f"{name}_angle_deg")
    where = f" at {angle:.0f}°" if math.isfinite(angle) else ""
    return f"{_pm(value, U, units)} {units.gap} ({_other(value, units)}){where}"


def _other(gap_m: float, units: UnitSystem) -> str:
    """A gap in the other system's unit, for the feeler set at hand."""
    if units.gap == "in":
        return f"{gap_m * 1000:.2f} mm"
    return f"{gap_m / INCH_M:.3f} in"


def _with_fraction(gap_m: float, units: UnitSystem) -> str:
    return f"{gap_text(gap_m, units)} (about {inch_fraction(gap_m)} in)"


def _pm(value_m: float, U_m: float, units: UnitSystem) -> str:
    if not math.isfinite(value_m):
        return "–"
    value = gap_number(value_m, units)
    return f"{value} ± {gap_number(U_m, units)}" if math.isfinite(U_m) else value

"""The gap report: what was found at one pickup, or the summary sheet of many."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from workbench.calibration.gap.caution import AT_THE_WHEEL, WITH_THE_BELT_RUNNING
from workbench.machine import Machine
from workbench.records.jsonable import plain
from workbench.reports.document import (
    Answer,
    Block,
    Caution,
    Document,
    Facts,
    Figure,
    Footnote,
    Heading,
    Paragraph,
    Signature,
    Table,
)
from workbench.reports.gap_summary import fault_names, number
from workbench.reports.wheel_picture import (
    batch_picture,
    control_picture,
    gap_picture,
    teeth_picture,
)
from workbench.units import INCH_M, inch_fraction

MOST_IN_PICTURE = 40
"""Pickups above which the sheet has the table only."""
RULE = (
    "Pass: inside the limits by more than the expanded uncertainty U (about 95 % coverage); "
    "conditional: nearer to a limit than U; after ILAC-G8:09/2019."
)


def gap_document(answer: Mapping[str, Any], machine: Machine | None) -> Document:
    """The report of an answer of `evenpace gap`, as it stands or as it was stored."""
    answer = plain(answer)
    many = "pickups" in answer
    title = "Pickup gaps" if many else "Pickup gap"
    subtitle = machine.name if machine else str(answer["source"])
    blocks = _many_blocks(answer) if many else _one_blocks(answer)
    blocks += _control_blocks(answer)
    blocks += _warning_blocks(answer["warnings"])
    blocks.append(Signature((("Measured by", ""), ("Date", ""))))
    blocks.append(Footnote(RULE))
    return Document(
        title=title,
        subtitle=subtitle,
        number=f"Result {answer['result']}" if "result" in answer else "",
        blocks=blocks,
        simulated=bool(answer["simulated"]),
        data=answer,
    )


def _one_blocks(answer: Mapping[str, Any]) -> list[Block]:
    blocks: list[Block] = [Answer(_sentence(answer), str(answer["verdict"]))]
    if answer["method"] == "feeler":
        blocks.append(_gap_figure(answer))
    elif any(late is not None for late in answer.get("spacing_rel", [])):
        blocks.append(_teeth_figure(answer))
    blocks += [Paragraph(fault["sentence"]) for fault in answer.get("faults", [])]
    blocks += [Heading("Figures"), Facts(_facts(answer), columns=2)]
    if answer["method"] == "feeler":
        blocks += [Heading("Readings"), _places_table(answer["places"])]
    if "counted_from" in answer:
        blocks.append(Footnote(str(answer["counted_from"])))
    if answer["advice"]:
        blocks.append(Heading("What to do"))
        blocks += [Caution(AT_THE_WHEEL)] if _needs_work(answer) else []
        blocks.append(Paragraph(answer["advice"]))
    if answer.get("drop_out"):
        blocks.append(Caution(WITH_THE_BELT_RUNNING, "If the drop-out run is made again"))
    return blocks


def _sentence(answer: Mapping[str, Any]) -> str:
    named = fault_names(answer)
    if answer.get("drop_out") and not named:
        return str(answer["drop_out"]["sentence"])
    if math.isfinite(number(answer, "gap_m")) and not named:
        gap = f"{answer['gap_m'] * 1000:.2f} mm (± {answer['U_gap_m'] * 1000:.2f} mm)"
        text = f"{answer['pickup']}: the gap is {gap} on average"
        if "widest_m" in answer and answer["verdict"] != "cannot tell":
            widest = f"{answer['widest_m'] * 1000:.2f} mm at {answer['widest_angle_deg']:.0f}°"
            return f"{text}, {widest} at its widest."
        return f"{text}; {_first_lower(answer['reason'])}"
    return f"{answer['pickup']}: {named or answer['reason']}."


def _first_lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _gap_figure(answer: Mapping[str, Any]) -> Figure:
    caption = (
        "Left: the wheel from the pickup's side, angles clockwise from the mark in the turning "
        "direction. Right: the same unrolled, with its uncertainty. Green dashes: best gap; "
        "shaded: wider than allowed."
    )
    alt = (
        f"Gap round the wheel: mean {_mm(answer['gap_m'])}, widest {_mm(answer['widest_m'])} at "
        f"{answer['widest_angle_deg']:.0f} degrees, most allowed {_mm(answer['gap_max_m'])}."
    )
    return Figure(gap_picture(answer), caption, alt)


def _teeth_figure(answer: Mapping[str, Any]) -> Figure:
    height = {True: ", and the gap its voltage tells", False: ", and its voltage"}
    told = height[bool(answer.get("gap_by_tooth_m"))] if answer["voltage_rel"] else ""
    caption = (
        "Left: the teeth where the pulses put them, in grey outline where they should be. Right: "
        f"how late each comes (shaded: not worth naming){told}."
    )
    alt = f"{answer['teeth']} teeth; {fault_names(answer) or 'none stands out'}."
    return Figure(teeth_picture(answer), caption, alt)


def _facts(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    rows = [("Pickup", str(answer["pickup"])), ("Source", str(answer["source"]))]
    for label, name in (
        ("Mean gap", "gap"),
        ("Run-out (total)", "runout"),
        ("Closest", "closest"),
        ("Widest", "widest"),
    ):
        if math.isfinite(number(answer, f"{name}_m")):
            rows.append((label, _measured(answer, name)))
    rows.append(("Best gap", _with_fraction(answer["gap_best_m"])))
    rows.append(("Most allowed", _with_fraction(answer["gap_max_m"])))
    rows.append(("Coverage factor k", f"{answer['k']:.2f}"))
    rows += _feeler_facts(answer) if answer["method"] == "feeler" else _pulse_facts(answer)
    return rows


def _feeler_facts(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    scatter = number(answer, "repeatability_m")
    return [
        ("Readings", f"{answer['readings']} at {len(answer['places'])} angles"),
        ("Scatter of one reading", _mm(scatter, 3) if math.isfinite(scatter) else "not repeated"),
        ("Blade step", _mm(answer["blade_step_m"])),
    ]


def _pulse_facts(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
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
        text = f"{law['decay_m'] * 1000:.2f} ± {2000 * law['u_decay_m']:.2f} mm"
        rows.append(("Voltage falls to 37 % in", text))
    drop = answer.get("drop_out")
    if drop and math.isfinite(number(drop, "speed_mps")):
        rows.append(("Drop-out speed", f"{drop['speed_mps']:.3f} ± {drop['U_speed_mps']:.3f} m/s"))
    if drop and "gap_at_limit_m" in drop:
        rows.append(("Gap that just does", _measured(drop, "gap_at_limit")))
    return rows


def _places_table(places: Sequence[Mapping[str, Any]]) -> Table:
    rows = [
        (f"{place['angle_deg']:.0f}°", f"{place['gap_m'] * 1000:.3f}", str(place["readings"]))
        for place in places
    ]
    header = ("Angle from the mark", "Mean gap, mm", "Readings")
    return Table(header, rows)


def _many_blocks(answer: Mapping[str, Any]) -> list[Block]:
    pickups = answer["pickups"]
    counts = ", ".join(f"{count} {verdict}" for verdict, count in answer["summary"].items())
    blocks: list[Block] = [Answer(f"{len(pickups)} pickups: {counts}.", str(answer["verdict"]))]
    drawn = [one for one in pickups if math.isfinite(number(one, "widest_m"))]
    if 0 < len(drawn) <= MOST_IN_PICTURE:
        svg = batch_picture(drawn, answer["gap_best_m"], answer["gap_max_m"])
        caption = "Green dashes: best gap; shaded: wider than allowed."
        blocks.append(Figure(svg, caption, f"Gaps of {len(drawn)} pickups against the limits."))
    header = ("Pickup", "Verdict", "Mean, mm", "Run-out, mm", "Widest, mm")
    rows = [_many_row(one) for one in pickups]
    blocks.append(Table(header, rows, caption="Each pickup", align="llrrr"))
    jobs = [one for one in pickups if _needs_work(one)]
    if jobs:
        blocks += [Heading("What to do"), Caution(AT_THE_WHEEL)]
        blocks.append(
            Table(("Pickup", "What"), [(one["pickup"], _what(one)) for one in jobs], align="ll")
        )
    return blocks


def _many_row(one: Mapping[str, Any]) -> tuple[str, ...]:
    measured = [_pm(number(one, name), number(one, f"U_{name}")) for name in _MEASURED]
    return (str(one["pickup"]), str(one["verdict"]), *measured)


_MEASURED = ("gap_m", "runout_m", "widest_m")


def _needs_work(one: Mapping[str, Any]) -> bool:
    return bool(one.get("faults")) or not one["advice"].startswith("Leave")


def _what(one: Mapping[str, Any]) -> str:
    said = [fault["sentence"] for fault in one.get("faults", [])]
    return " ".join(said) or one["advice"] or one["reason"]


def _control_blocks(answer: Mapping[str, Any]) -> list[Block]:
    control = answer.get("control")
    if not control:
        return []
    blocks: list[Block] = [Heading("The shop's own repeat measurements")]
    if control["ewma_m"] is not None:
        caption = (
            "Grey: each measurement of the same gap; line: weighted mean (EWMA, weight 0.3); "
            "shaded: its limits."
        )
        blocks.append(Figure(control_picture(control), caption, control["sentence"]))
    return [*blocks, Paragraph(control["sentence"])]


def _warning_blocks(warnings: Sequence[str]) -> list[Block]:
    if not warnings:
        return []
    return [Heading("Remarks"), *(Paragraph(line) for line in warnings)]


def _measured(answer: Mapping[str, Any], name: str) -> str:
    value, U = answer[f"{name}_m"], answer[f"U_{name}_m"]
    angle = number(answer, f"{name}_angle_deg")
    where = f" at {angle:.0f}°" if math.isfinite(angle) else ""
    return f"{value * 1000:.2f} ± {U * 1000:.2f} mm ({value / INCH_M:.3f} in){where}"


def _with_fraction(gap_m: float) -> str:
    return f"{_mm(gap_m)} (about {inch_fraction(gap_m)} in)"


def _pm(value_m: float, U_m: float) -> str:
    if not math.isfinite(value_m):
        return "–"
    return f"{value_m * 1000:.2f} ± {U_m * 1000:.2f}" if math.isfinite(U_m) else _mm(value_m)


def _mm(value_m: float, digits: int = 2) -> str:
    return f"{value_m * 1000:.{digits}f} mm"

"""The calibration certificate of a readout, from a stored answer.

Its content follows ISO/IEC 17025:2017, 7.8.2 and 7.8.4 (from memory) as far as a shop can
state it: what was calibrated and how, under which conditions, results with uncertainty
and how they are traceable, as found and as left, the decision rule, who, when, and that
it speaks of this one item only. It claims no accreditation.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.units import METRIC, US, UnitSystem, from_mps, percent
from workbench.records.jsonable import plain
from workbench.reports.calibrate.error_picture import error_picture
from workbench.reports.calibrate.tables import (
    budget_table,
    change_over_table,
    rounded,
    run_table,
)
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
)
from workbench.words.words import Words

RULE = (
    "Decision rule: with U the expanded uncertainty (coverage {coverage:.2f} %), pass means that "
    "the error lies inside the limits by U or more; conditional pass inside by less; "
    "conditional fail outside by less than U; fail outside by U or more; cannot tell where U is "
    "wider than the limits (ILAC-G8:09/2019, guard band w = U). Probability of conformance after "
    "JCGM 106:2012."
)
ONLY_THIS = (
    "The results hold for this machine, this readout and this setting, on the day they were "
    "found. Wear, mud, a new belt or another pickup call for a new calibration. Reproduce this "
    "record in full only."
)


@dataclass(frozen=True, slots=True)
class Made:
    """Where and when an answer was made: what a certificate says of its own origin."""

    number: int | None
    created_utc: str
    program_version: str


def certificate(
    answer: Mapping[str, Any], machine: Machine | None, options: Mapping[str, Any], made: Made
) -> Document:
    """The document of an answer of `evenpace calibrate`, fresh or as it was stored.

    `options` holds what was typed for it (by, remarks, environment, references, units).
    """
    answer = plain(answer)
    units = units_of(answer, options)
    blocks = _headlines(answer)
    blocks += [Heading("What was calibrated"), Facts(_item(answer, machine, options, made), 2)]
    blocks += [Heading("Result"), *_picture(answer, units.speed)]
    blocks += _setting(answer)
    blocks.append(
        Signature((("Calibrated by", str(options.get("by") or "")), ("Date and signature", "")))
    )
    blocks += [Heading("Readings"), *_readings(answer, units.speed)]
    blocks += _drive_line(answer, units)
    blocks += [Heading("Uncertainty"), budget_table(answer["budget"]), *_rule(answer)]
    blocks += [Heading("References"), *_references(answer, options)]
    blocks += _notes(answer, options)
    blocks.append(Footnote(_origin(answer, made)))
    return Document(
        "Calibration of a conveyor speed readout",
        answer["machine"],
        f"Result {made.number}" if made.number else "Result not stored",
        blocks,
        simulated=bool(answer["simulated"]),
        paper="us-letter" if units is US else "a4",
        data=answer,
    )


def units_of(answer: Mapping[str, Any], options: Mapping[str, Any]) -> UnitSystem:
    """The units asked for; else those the readout itself shows."""
    chosen = options.get("units") or ("us" if answer["unit"] in ("mph", "ft/min") else "metric")
    return US if chosen == "us" else METRIC


def _headlines(answer: Mapping[str, Any]) -> list[Block]:
    """The answer; where there is an 'as left', that first: it is the state it leaves in."""
    if "as_left" not in answer:
        return [Answer(answer["sentence"], answer["verdict"])]
    left = answer["as_left"]
    return [
        Answer(f"As left: {left['sentence']}", left["verdict"]),
        Answer(f"As found: {answer['sentence']}", answer["verdict"]),
    ]


def _item(
    answer: Mapping[str, Any], machine: Machine | None, options: Mapping[str, Any], made: Made
) -> list[tuple[str, str]]:
    rows = [
        ("Machine", str(answer["machine"])),
        ("Readout", f"shows {answer['unit']}, step {answer['step']:g}"),
        ("Setting found", _with_unit(answer["setting_now"], answer)),
        ("Method", str(answer["method"])),
        ("Made from", str(answer["source"])),
        ("When", made.created_utc[:19].replace("T", " ") + " UTC"),
        ("By", str(options.get("by") or "not stated")),
        ("Conditions", str(options.get("environment") or "not stated")),
    ]
    if machine is not None:
        drive, belt = machine.drive, machine.belt
        if belt.lap_length_m == belt.lap_length_m:
            lap = f"{belt.lap_length_m:.4f} m, u = {1000 * belt.u_lap_length_m:.2g} mm"
            rows.insert(3, ("Lap of the belt", lap))
        wheel = f"{drive.target_teeth} teeth, {drive.kind} drive"
        rows.insert(4, ("Target wheel", wheel))
    return rows


def _with_unit(value: float | None, answer: Mapping[str, Any]) -> str:
    if value is None:
        return "not stated"
    return f"{value:.6g} {answer['setting_unit']}".strip()


def _picture(answer: Mapping[str, Any], unit: str) -> list[Block]:
    points = "Bars: expanded uncertainty of one run, k = 2."
    if "change_overs" in answer:
        points = "Triangles: change-over points, up and down, lag taken out."
    caption = (
        f"Error of the readout against belt speed. {points} Line and ribbon: the fit over the "
        "working speeds with its expanded uncertainty."
    )
    at = f"{from_mps(answer['speed_at_work_mps'], unit):.3g} {unit}"
    error = percent(answer["error_at_work"], signed=True)
    alt = f"Error at {at}: {error} ± {percent(answer['U_error_at_work'])}."
    return [Figure(error_picture(answer, unit), caption, alt), Facts(_figures(answer, at), 2)]


def _readings(answer: Mapping[str, Any], unit: str) -> list[Block]:
    blocks: list[Block] = [run_table(answer, unit, "As found")] if answer["runs"] else []
    if "change_overs" in answer:
        blocks.append(change_over_table(answer, unit))
    if "as_left" in answer:
        blocks.append(run_table(answer["as_left"], unit, "As left, with the new setting"))
    return blocks


def _figures(answer: Mapping[str, Any], at: str) -> list[tuple[str, str]]:
    """What was found at the working speed, as found and as left in turn."""
    rows = []
    for name, part in (("as found", answer), ("as left", answer.get("as_left"))):
        if part is None:
            continue
        spread = f"± {percent(part['U_error_at_work'])} (k = {part['k']:.3g})"
        rows.append(
            (f"Error at {at}, {name}", f"{percent(part['error_at_work'], signed=True)} {spread}")
        )
        conforms = part["conformance_probability"]
        rows.append(("Probability that it conforms", percent(conforms, 1)))
    return rows


def _setting(answer: Mapping[str, Any]) -> list[Block]:
    now, exact, new = answer["setting_now"], answer["setting_exact"], answer["setting_new"]
    if now is None:
        return []
    right = f"{rounded(exact, answer['U_setting_exact'])} {answer['setting_unit']}".strip()
    rows = [("Before", _with_unit(now, answer)), ("Exact", right)]
    if new is None:
        rows.append(("After", "none proposed: see the notes"))
    else:
        left = answer["as_left"]["error_at_work"] if "as_left" in answer else None
        rows.append(("After", _with_unit(new, answer)))
        rows.append(("Error left by its step", percent(answer["residual_error"], signed=True)))
        if left is not None:
            rows.append(("Error found afterwards", percent(left, signed=True)))
    blocks: list[Block] = [Heading("Setting of the readout")]
    if new is not None and "as_left" not in answer:
        blocks.append(
            CautionBlock(
                "After the new setting is entered, the belt has to run again to prove it. "
                + Words().say(Caution.WITH_THE_BELT_RUNNING)
            )
        )
    return [*blocks, Facts(rows, 2)]


def _drive_line(answer: Mapping[str, Any], units: UnitSystem) -> list[Block]:
    if answer["metres_per_pulse"] is None:
        return []
    geometry = answer["metres_per_pulse_geometry"]
    rows = [
        ("Used here", _travel(answer["metres_per_pulse"], answer["U_metres_per_pulse"], units)),
        (
            "By the drive line's geometry",
            _travel(geometry, 2 * answer["u_metres_per_pulse_geometry"], units),
        ),
    ]
    blocks: list[Block] = [Heading("Belt travel for a pulse")]
    if answer["metres_per_pulse_runs"] is not None:
        runs, u = answer["metres_per_pulse_runs"], answer["u_metres_per_pulse_runs"]
        rows.append(("By the laps", _travel(runs, 2 * u, units)))
        apart, u_apart = answer["drive_line_difference"], answer["u_drive_line_difference"]
        rows.append(
            ("Laps against geometry", f"{percent(apart, signed=True)} ± {percent(2 * u_apart)}")
        )
    return [*blocks, Facts(rows, 2)]


def _travel(value_m: float, U_m: float, units: UnitSystem) -> str:
    digits = 3 if units.gap == "mm" else 4
    return f"{value_m / units.gap_m:.{digits}f} {units.gap} ± {U_m / units.gap_m:.{digits}f}"


def _rule(answer: Mapping[str, Any]) -> list[Block]:
    budget = answer["budget"]
    blocks: list[Block] = [Paragraph(budget["note"])] if budget["note"] else []
    return [*blocks, Paragraph(RULE.format(coverage=100 * budget["coverage"]))]


def _references(answer: Mapping[str, Any], options: Mapping[str, Any]) -> list[Block]:
    stated = [str(text) for text in options.get("references") or []]
    sources = {
        str(line["group"]).capitalize(): str(line["source"])
        for line in answer["budget"]["lines"]
        if line["source"]
    }
    none = "The tape, watch or tachometer used were not named."
    rows = [("As stated by the shop" if i == 0 else "", text) for i, text in enumerate(stated)]
    rows = rows or [("As stated by the shop", none)]
    return [Facts([*rows, *sources.items()])]


def _notes(answer: Mapping[str, Any], options: Mapping[str, Any]) -> list[Block]:
    left = answer.get("as_left", {}).get("warnings", [])
    notes = [*answer["warnings"], *(f"As left: {note}" for note in left)]
    if answer["advice"]:
        notes.append(answer["advice"])
    blocks: list[Block] = []
    if notes:
        blocks += [Heading("Notes"), *(Paragraph(note) for note in notes)]
    if options.get("remarks"):
        blocks += [Heading("Remarks"), Paragraph(str(options["remarks"]))]
    return [*blocks, Paragraph(ONLY_THIS)]


def _origin(answer: Mapping[str, Any], made: Made) -> str:
    parts = [f"Made by evenpace {made.program_version}", f"from {answer['source']}"]
    if answer["source_sha256"]:
        parts.append(f"SHA-256 of the data {answer['source_sha256']}")
    return ", ".join(parts) + "."

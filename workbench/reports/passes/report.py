"""The pass report: did belt and ground keep pace, how far apart, when, why, and what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.units import FOOT_M, from_mps
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
from workbench.reports.passes.picture import drift_picture, track_picture
from workbench.words.words import Words

RULE = (
    "Ratio is always belt ÷ ground. Pass: inside the limits by more than the expanded uncertainty "
    "U (about 95 % coverage); conditional: nearer to a limit than U; after ILAC-G8:09/2019. "
    "Approach, headlands and stops are left out. Probabilities of causes hold among the causes "
    "named, each taken as equally likely beforehand."
)
MOST_CAUSES = 3


def pass_document(
    answer: Mapping[str, Any], machine: Machine | None, earlier: Sequence[str] = ()
) -> Document:
    """The report of an answer of `evenpace pass`, as it stands or as it was stored.

    `earlier` are sentences on earlier passes of the machine.
    """
    answer = plain(answer)
    unit = machine.readout.unit if machine else "m/s"
    blocks: list[Block] = [Answer(_sentence(answer), str(answer["verdict"]))]
    if answer["ratio"] is not None:
        blocks += _drift(answer, unit)
    blocks += _why(answer)
    blocks += _what_to_do(answer)
    if answer["ratio"] is not None:
        blocks += _details(answer, unit)
    if earlier:
        blocks += [Heading("Earlier passes of this machine"), *map(Paragraph, earlier)]
    blocks += [Paragraph(f"Note: {warning}") for warning in answer["warnings"]]
    blocks += [
        CautionBlock(Words().say(Caution.BEFORE_A_PASS), "Before the next pass"),
        Signature((("Driven by", ""), ("Date", ""))),
    ]
    blocks.append(Footnote(RULE))
    return Document(
        title="Test pass",
        subtitle=machine.name if machine else str(answer["source"]),
        number=f"Result {answer['result']}" if "result" in answer else "",
        blocks=blocks,
        simulated=bool(answer["simulated"]),
        data=answer,
    )


def _sentence(answer: Mapping[str, Any]) -> str:
    if answer["ratio"] is None:
        # The command's advice on its own options is of no use on paper.
        reason = answer["reason"].partition("; name it with")[0]
        return f"Belt and ground cannot be compared: {reason}."
    away = 100 * (answer["ratio"] - 1)
    way, U = ("faster" if away > 0 else "slower"), 100 * answer["U_ratio"]
    return (
        f"The belt ran {abs(away):.1f} % {way} than the ground (± {U:.1f} %): {answer['reason']}."
    )


def _drift(answer: Mapping[str, Any], unit: str) -> list[Block]:
    blocks: list[Block] = []
    if answer.get("series"):
        caption = (
            "Belt and ground speed with what lies between them; the ratio belt ÷ ground with its "
            "band (green) and its mean with U (blue); belt distance minus ground distance. Grey is "
            "left out; a dashed line marks a change."
        )
        blocks.append(
            Figure(drift_picture(answer, unit, length_of(unit)), caption, _alt(answer, unit))
        )
    return blocks


def _details(answer: Mapping[str, Any], unit: str) -> list[Block]:
    blocks: list[Block] = [Heading("Figures"), Facts(_facts(answer, unit), columns=2)]
    if len(answer.get("segments", [])) > 1:
        blocks += [Heading("In equal segments"), _segments(answer, unit)]
    if answer.get("track"):
        blocks += [Heading("Where"), _where(answer, unit)]
    if len(answer.get("ground_sources", [])) > 1:
        blocks += [Heading("Ground speed sources"), _sources(answer)]
    return blocks


def _alt(answer: Mapping[str, Any], unit: str) -> str:
    name, length_m = length_of(unit)
    return (
        f"Speeds over {answer['duration_s']:.0f} s; ratio belt ÷ ground {answer['ratio']:.3f}; "
        f"separation {answer['separation_m'] / length_m:+.1f} {name} at the end."
    )


def length_of(unit: str) -> tuple[str, float]:
    """The length that goes with a speed's unit: its name, and one of it in metres."""
    return ("ft", FOOT_M) if unit in ("mph", "ft/min") else ("m", 1.0)


def _facts(answer: Mapping[str, Any], unit: str) -> list[tuple[str, str]]:
    ratio = f"{answer['ratio']:.4f} ± {answer['U_ratio']:.4f} (k = {answer['k']:.2f})"
    rows = [
        ("Ratio belt ÷ ground", ratio),
        ("Limits of the ratio", f"{answer['ratio_low']:g} to {answer['ratio_high']:g}"),
        ("Belt", _speed(answer, "belt", unit)),
        ("Ground", _speed(answer, "ground", unit)),
        ("Time within the limits", f"{100 * answer['in_band_fraction']:.0f} %"),
        ("Steady for", f"{answer['duration_s']:.0f} s"),
        ("Separation at the end", _with_u(answer, "separation_m", *length_of(unit), digits=1)),
        ("Ground source behind by", _with_u(answer, "lag_s", "s", digits=2)),
        ("Drift of the ratio an hour", _with_u(answer, "drift_per_hour", "", digits=2)),
    ]
    if answer.get("wheel_slip") is not None:
        slip, U = 100 * answer["wheel_slip"], 200 * answer["u_wheel_slip"]
        rows.append(("Wheel slip beyond its set-up", f"{slip:.1f} ± {U:.1f} %"))
    shares = answer.get("mismatch_shares") or {}
    rows += [
        (
            f"Mismatch that is {name}" if name == "constant" else f"Mismatch going with {name}",
            f"{100 * share:.0f} %",
        )
        for name, share in shares.items()
    ]
    return rows


def _speed(answer: Mapping[str, Any], what: str, unit: str) -> str:
    return f"{from_mps(answer[f'{what}_speed_mps'], unit):.3f} {unit} ({answer[what]})"


def _with_u(
    answer: Mapping[str, Any], key: str, unit: str, unit_is: float = 1.0, *, digits: int
) -> str:
    value, u = answer[key], answer[f"u_{key}"]
    if value is None:
        return "could not be found"
    tail = f" {unit}" if unit else ""
    return f"{value / unit_is:+.{digits}f} ± {2 * (u or 0.0) / unit_is:.{digits}f}{tail}"


def _segments(answer: Mapping[str, Any], unit: str) -> Table:
    length, length_m = length_of(unit)
    rows = [
        (
            f"{one['from_s']:.0f} to {one['to_s']:.0f} s",
            f"{one['ratio']:.4f}",
            f"{2 * one['u_ratio']:.4f}" if one["u_ratio"] is not None else "–",
            f"{from_mps(one['belt_speed_mps'], unit):.3f}",
            f"{from_mps(one['ground_speed_mps'], unit):.3f}",
            f"{one['separation_m'] / length_m:+.2f}",
        )
        for one in answer["segments"]
    ]
    return Table(
        (
            "Time",
            "Ratio belt ÷ ground",
            "± U",
            f"Belt, {unit}",
            f"Ground, {unit}",
            f"Apart, {length}",
        ),
        rows,
        note="U of a segment counts its own scatter only; what all share is left out.",
    )


def _where(answer: Mapping[str, Any], unit: str) -> Figure:
    name, length_m = length_of(unit)
    way = answer["track"]["length_m"] / length_m
    caption = f"The way, {way:.0f} {name}, by the ratio belt ÷ ground."
    return Figure(track_picture(answer, (name, length_m)), caption, caption)


def _sources(answer: Mapping[str, Any]) -> Table:
    rows = []
    for one in answer["ground_sources"]:
        factor = "reference" if one["reference"] else "–"
        if one.get("factor") is not None:
            factor = f"{one['factor']:.4f} ± {2 * (one['u_factor'] or 0.0):.4f}"
        used = " (used)" if one["source"] == answer["ground"] else ""
        rows.append(
            (
                f"{one['source']}{used}",
                one["kind"],
                f"{100 * one['share_with_value']:.0f} %",
                factor,
                _lag(one),
            )
        )
    apart = answer.get("stands_apart")
    note = f"Why {answer['ground']}: {answer['ground_why']}."
    if apart:
        note += f" {apart} stands apart from all the others."
    return Table(
        ("Source", "Kind", "With a value", "÷ reference", "Behind, s"),
        rows,
        note=note,
        align="llrrr",
    )


def _lag(one: Mapping[str, Any]) -> str:
    if one.get("lag_s") is None:
        return "–"
    return f"{one['lag_s']:.2f} ± {2 * one['u_lag_s']:.2f}"


def _why(answer: Mapping[str, Any]) -> list[Block]:
    if not answer["causes"]:
        return []
    blocks: list[Block] = [Heading("Why, the most likely first")]
    if not answer["cause_clear"]:
        blocks.append(Paragraph("Not clear: no cause stands out."))
    rows = [
        (
            f"{100 * one['probability']:.0f} %",
            one["title"],
            " ".join(one["evidence"][1:]) or " ".join(one["evidence"]),
            one["check_next"],
        )
        for one in answer["causes"][:MOST_CAUSES]
    ]
    blocks.append(
        Table(("Probability", "Cause", "What speaks for it", "Check next"), rows, align="rlll")
    )
    hidden = answer.get("causes_not_looked_for") or []
    if hidden:
        text = "; ".join(hidden)
        blocks.append(Footnote(f"Nothing recorded could have shown: {text}."))
    return blocks


def _what_to_do(answer: Mapping[str, Any]) -> list[Block]:
    advice = answer.get("advice") or {}
    if not advice.get("sentences"):
        return []
    blocks: list[Block] = [Heading("What to do")]
    if advice["belt_change_rel"] is not None:
        blocks.append(CautionBlock(Words().say(Caution.AT_THE_HYDRAULICS)))
    return blocks + [Paragraph(sentence) for sentence in advice["sentences"]]

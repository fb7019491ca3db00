"""A gap check in sentences, in the person's units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from workbench.base.units import UnitSystem, from_mps
from workbench.calibration.gap.feeler import FeelerGap
from workbench.models.gap.pickups import BEGUN, NOT_YET, PickupState
from workbench.words.gap_lengths import gap_number, gap_text, in_units
from workbench.words.gap_summary import fault_names, result_words

SHAPES = {
    NOT_YET: "○",
    BEGUN: "◔",
    "pass": "✓",
    "conditional pass": "✓",
    "conditional fail": "△",
    "fail": "✕",
    "cannot tell": "?",
}
"""Beside each state's word a shape, so that colour is never needed."""


def feeler_sentence(gap: FeelerGap, units: UnitSystem) -> str:
    """Mean, run-out and widest point of one pickup."""
    mean, U = gap_text(gap.mean.value, units), gap_text(gap.k * gap.mean.u, units)
    text = f"The gap is {mean} (± {U}) on average"
    if math.isfinite(gap.runout.value):
        text += f", run-out {gap_text(gap.runout.value, units)}"
    return f"{text}; widest {gap_text(gap.widest.value, units)} at {gap.widest.angle_deg:.0f}°."


def feeler_advice(gap: FeelerGap, units: UnitSystem) -> str:
    """What to do, and the first thing the readings warn of; the report has them all."""
    warnings = [line for line in gap.warnings if line != gap.advice]
    return in_units(" ".join([gap.advice, *warnings[:1]]), units)


def wheel_sentence(pickup: Mapping[str, Any], *, marked: bool, units: UnitSystem) -> str:
    """What the pulses say of one wheel, in one sentence."""
    drop = pickup.get("drop_out")
    faults = pickup.get("faults") or []
    if drop and not faults:
        return in_units(str(drop["sentence"]), units)
    if not faults:
        return in_units(f"{_capital(str(pickup['reason']))}.", units)
    first = next((fault for fault in faults if fault["tooth"]), None)
    if first is None:
        return f"{_capital(fault_names(pickup))}."
    origin = "the mark" if marked else "the first tooth seen"
    return (
        f"{_capital(str(first['kind']))}: number {first['tooth']}, counted from {origin} in the "
        "direction of rotation."
    )


def wheel_details(pickup: Mapping[str, Any], units: UnitSystem) -> list[str]:
    """What speaks for it, what to do, and what was counted; a sentence each."""
    lines = [str(fault["sentence"]) for fault in pickup.get("faults") or []]
    if pickup.get("drop_out"):
        lines += [pickup["advice"]] if lines else []
    drop = pickup.get("drop_out")
    if drop:
        lines.append(f"{_pulses(drop['missed'])} of {drop['passages']} missing in the run.")
    elif pickup["teeth"] is not None and "turns" in pickup:
        lines.append(
            f"{pickup['teeth']} teeth over {pickup['turns']:.0f} turns, "
            f"{_pulses(pickup['missed'])} missed, {pickup['extra']} extra."
        )
    lines += [str(line) for line in pickup.get("warnings") or []]
    return [in_units(line, units) for line in lines]


def drop_out_facts(pickup: Mapping[str, Any], units: UnitSystem, low_mps: float) -> str:
    """The drop-out speed beside the lowest working speed, '' where no tooth went missing."""
    drop = pickup.get("drop_out") or {}
    speed_mps = drop.get("speed_mps")
    if speed_mps is None or not math.isfinite(speed_mps):
        return ""
    speed, U, low = (
        from_mps(value, units.speed) for value in (speed_mps, drop["U_speed_mps"], low_mps)
    )
    return f"{speed:.2f} ± {U:.2f} {units.speed}, lowest working speed {low:.2f} {units.speed}"


def run_words(pickup: Mapping[str, Any]) -> str:
    """What a run has found, in few words, to stand in the list; speeds in m/s."""
    named = fault_names(pickup)
    drop = pickup.get("drop_out")
    if named or not drop:
        return named or ("teeth sound" if pickup["verdict"] == "pass" else str(pickup["reason"]))
    speed_mps = drop["speed_mps"]
    if speed_mps is None or not math.isfinite(speed_mps):
        return "no drop-out"
    return f"drop-out at {speed_mps:.3f} m/s"


def kept_words(answer: Mapping[str, Any]) -> str:
    """'Kept as result 4.', or the results of several machines."""
    if "results" not in answer:
        return f"Kept as result {answer['result']}."
    apart = len({bool(one["simulated"]) for one in answer["pickups"]}) > 1
    simulated = ", simulated readings apart" if apart else ""
    return f"Kept as {result_words(answer).lower()}, one for each machine{simulated}."


def state_words(state: PickupState) -> str:
    """'✓ pass', '○ not yet', '◔ 2 read'; with 'simulated' where a run was."""
    word = f"{state.readings} read" if state.word == BEGUN else state.word
    return f"{SHAPES[state.word]} {word}{', simulated' if state.simulated else ''}"


def limits_words(state: PickupState) -> str:
    """Whose limits a pickup is judged by."""
    return f"Limits of {state.held.name}" if state.held.name else "Usual limits, no machine"


def name_words(state: PickupState) -> str:
    """A pickup's name in the list, and below it whose limits hold, unless the name tells."""
    if state.held.name and state.name.startswith(state.held.name):
        return state.name
    return f"{state.name}\n{state.held.name or limits_words(state)}"


def found_words(state: PickupState, units: UnitSystem) -> str:
    """What was found at a pickup of the list: its gap, and what its runs say."""
    words = []
    if state.gap is not None:
        gap = gap_text(state.gap.mean.value, units)
        if math.isfinite(state.gap.runout.value):
            gap = f"{gap}, run-out {gap_number(state.gap.runout.value, units)}"
        words.append(gap)
    words += [in_units(run.said, units) for run in state.runs]
    return "; ".join(words)


def to_do_words(state: PickupState, units: UnitSystem) -> str:
    """What to do at a pickup of the list."""
    if state.gap is not None and state.word != BEGUN:
        return in_units(state.gap.advice, units)
    return ""


def first_lower(text: str) -> str:
    """A sentence that goes on after a colon."""
    return text[:1].lower() + text[1:]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _pulses(count: int) -> str:
    return "1 pulse" if count == 1 else f"{count} pulses"

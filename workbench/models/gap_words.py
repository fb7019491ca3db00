"""A gap check in one sentence, in the person's units."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from workbench.calibration.gap.feeler import FeelerGap
from workbench.reports.gap_summary import fault_names
from workbench.units import UnitSystem


def gap_text(gap_m: float, units: UnitSystem) -> str:
    """'0.063 in' or '1.60 mm'; a dash where there is no value."""
    if not math.isfinite(gap_m):
        return f"– {units.gap}"
    return f"{gap_m / units.gap_m:.{3 if units.gap == 'in' else 2}f} {units.gap}"


def feeler_sentence(gap: FeelerGap, units: UnitSystem) -> str:
    """Mean, run-out and widest point of one pickup."""
    mean, U = gap_text(gap.mean.value, units), gap_text(gap.k * gap.mean.u, units)
    text = f"The gap is {mean} (± {U}) on average"
    if math.isfinite(gap.runout.value):
        text += f", with a run-out of {gap_text(gap.runout.value, units)}"
    widest = f"{gap_text(gap.widest.value, units)} at {gap.widest.angle_deg:.0f}°"
    return f"{text}; widest {widest}."


def wheel_sentence(answer: Mapping[str, Any]) -> str:
    """What the pulses say of the wheel, and of the drop-out where that was run."""
    faults = fault_names(answer) or "no fault"
    text = (
        f"{answer['teeth']} teeth, {answer['turns']:.0f} turns: {faults}; "
        f"{answer['missed']} missed, {answer['extra']} extra."
    )
    return f"{text} {answer['reason'][:1].upper()}{answer['reason'][1:]}."

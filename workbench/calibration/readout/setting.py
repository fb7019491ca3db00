"""From the error found to the number that goes into the readout.

shown ∝ setting ('direct'): the setting that makes shown = true is setting ÷ (1 + error).
shown ∝ 1/setting ('inverse'): it is setting × (1 + error).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from workbench.base.machine import Readout
from workbench.base.typed import parse_setting_unit


@dataclass(frozen=True, slots=True)
class Setting:
    """The setting now, the one that fits exactly, the nearest that can be set.

    `residual_error` is shown ÷ true − 1 left by the step of `new`. NaN: `now` not given;
    `new` and `residual_error` also where the exact one lies outside the readout's range.
    `by_pulses` is the setting the metres a pulse ask for, NaN where the unit tells none.
    """

    now: float
    exact: float
    u_exact: float
    new: float
    residual_error: float
    by_pulses: float
    warnings: tuple[str, ...]


def propose_setting(
    readout: Readout, error: float, u_error: float, metres_per_pulse: float, target_teeth: int
) -> Setting:
    """The setting that takes out `error` (shown ÷ true − 1).

    Every reason why there is none, or why it should be doubted, is a sentence.
    """
    unit = parse_setting_unit(readout.setting_unit)
    by_pulses = unit.setting(metres_per_pulse, target_teeth)
    warnings: list[str] = []
    if unit.reads and unit.reads != readout.reads:
        warnings.append(
            f"readout.reads is '{readout.reads}', but a setting in {readout.setting_unit} "
            f"reads {'lower' if unit.reads == 'inverse' else 'higher'} when raised "
            f"('{unit.reads}'). The new setting follows readout.reads: check it before use."
        )
    if math.isnan(readout.setting):
        warnings.append("readout.setting is not in the machine file: no new setting is given.")
        none = math.nan
        return Setting(none, none, none, none, none, by_pulses, tuple(warnings))
    inverse = readout.reads == "inverse"
    exact = readout.setting * (1 + error) if inverse else readout.setting / (1 + error)
    u_exact = exact * u_error / (1 + error)
    new, why = _nearest(readout, exact)
    if why:
        warnings.append(why)
    residual = math.nan
    if math.isfinite(new):
        residual = (exact / new if inverse else new / exact) - 1
    return Setting(readout.setting, exact, u_exact, new, residual, by_pulses, tuple(warnings))


def _nearest(readout: Readout, exact: float) -> tuple[float, str]:
    """The settable value nearest to `exact`, and a sentence where something is amiss."""
    low, high = readout.setting_low, readout.setting_high
    unit = f" {readout.setting_unit}" if readout.setting_unit else ""
    if not low <= exact <= high:
        end = f"from {low:g}" if math.isinf(high) else f"up to {high:g}"
        if math.isfinite(low) and math.isfinite(high):
            end = f"from {low:g} to {high:g}"
        return math.nan, (
            f"The setting that fits, {exact:.5g}{unit}, lies outside what the readout takes "
            f"({end}): it was not proposed. Look for the cause of the error first."
        )
    if math.isnan(readout.setting_step):
        return exact, "readout.setting_step is not given: the new setting is not rounded."
    # Decimal, so that a step of 0.1 gives 23.4 and not 23.400000000000002.
    step = Decimal(repr(readout.setting_step))
    new = float(round(Decimal(repr(exact)) / step) * step)
    if new < low:
        new = float(Decimal(repr(new)) + step)
    if new > high:
        new = float(Decimal(repr(new)) - step)
    if not low <= new <= high or new <= 0:
        return math.nan, f"No multiple of the step {readout.setting_step:g} lies in the range."
    return new, ""

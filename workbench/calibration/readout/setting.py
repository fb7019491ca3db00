"""From the error found to the number that goes into the readout.

shown ∝ setting ('direct'): the setting that makes shown = true is setting ÷ (1 + error).
shown ∝ 1/setting ('inverse'): it is setting × (1 + error).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum, auto

from workbench.base.machine import Readout
from workbench.base.statements import Statement, statement
from workbench.base.typed import parse_setting_unit


class SettingSays(StrEnum):
    """Why there is no new setting, or why it should be doubted."""

    READS_LOWER = auto()
    READS_HIGHER = auto()
    SETTING_NOT_GIVEN = auto()
    ERROR_NOT_TOLD = auto()
    SETTING_STEP_NOT_GIVEN = auto()
    SETTING_OUT_OF_RANGE = auto()
    RANGE_FROM = auto()
    RANGE_UP_TO = auto()
    RANGE_FROM_TO = auto()
    NO_STEP_IN_RANGE = auto()
    SETTING_BY_PULSES = auto()


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
    warnings: tuple[Statement, ...]


def propose_setting(
    readout: Readout,
    error: float,
    u_error: float,
    metres_per_pulse: float,
    target_teeth: int,
    *,
    told: bool = True,
) -> Setting:
    """The setting that takes out `error` (shown ÷ true − 1), and every reason to doubt it; no
    new one where the error is not `told`."""
    unit = parse_setting_unit(readout.setting_unit)
    by_pulses = unit.setting(metres_per_pulse, target_teeth)
    warnings: list[Statement] = []
    if unit.reads and unit.reads != readout.reads:
        lower = unit.reads == "inverse"
        says = SettingSays.READS_LOWER if lower else SettingSays.READS_HIGHER
        warnings.append(statement(says, unit=readout.setting_unit, reads=readout.reads))
    if math.isnan(readout.setting):
        warnings.append(statement(SettingSays.SETTING_NOT_GIVEN))
        none = math.nan
        return Setting(none, none, none, none, none, by_pulses, tuple(warnings))
    inverse = readout.reads == "inverse"
    exact = readout.setting * (1 + error) if inverse else readout.setting / (1 + error)
    u_exact = exact * u_error / (1 + error)
    untold = math.nan, statement(SettingSays.ERROR_NOT_TOLD)
    new, why = _nearest(readout, exact) if told else untold
    if why is not None:
        warnings.append(why)
    residual = math.nan
    if math.isfinite(new):
        residual = (exact / new if inverse else new / exact) - 1
    # Shown values and pulses may ask for very different settings.
    if told and abs(by_pulses / exact - 1) > max(0.02, 3 * u_exact / exact):
        warnings.append(
            statement(SettingSays.SETTING_BY_PULSES, by_pulses=by_pulses, by_shown=exact)
        )
    return Setting(readout.setting, exact, u_exact, new, residual, by_pulses, tuple(warnings))


def _nearest(readout: Readout, exact: float) -> tuple[float, Statement | None]:
    """The settable value nearest to `exact`, and a statement where something is amiss."""
    low, high = readout.setting_low, readout.setting_high
    if not low <= exact <= high:
        says = SettingSays.RANGE_FROM if math.isinf(high) else SettingSays.RANGE_UP_TO
        if math.isfinite(low) and math.isfinite(high):
            says = SettingSays.RANGE_FROM_TO
        return math.nan, statement(
            SettingSays.SETTING_OUT_OF_RANGE,
            exact=exact,
            range=statement(says, low=low, high=high),
        )
    if math.isnan(readout.setting_step):
        return exact, statement(SettingSays.SETTING_STEP_NOT_GIVEN)
    # Decimal, so that a step of 0.1 gives 23.4 and not 23.400000000000002.
    step = Decimal(repr(readout.setting_step))
    new = float(round(Decimal(repr(exact)) / step) * step)
    if new < low:
        new = float(Decimal(repr(new)) + step)
    if new > high:
        new = float(Decimal(repr(new)) - step)
    if not low <= new <= high or new <= 0:
        return math.nan, statement(SettingSays.NO_STEP_IN_RANGE, step=readout.setting_step)
    return new, None

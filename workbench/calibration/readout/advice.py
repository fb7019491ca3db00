"""What would settle a verdict that is not a plain pass or fail."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum, auto

from workbench.base.statements import Statement, statement
from workbench.calibration.readout.runs import RunResult
from workbench.calibration.readout.true_speed import InputSays
from workbench.calibration.statistics.budget import Budget, Part
from workbench.calibration.statistics.decision import (
    Decision,
    Verdict,
    times_as_many,
    uncertainty_to_settle,
)


class SettleSays(StrEnum):
    """What would settle it, and the steps of that."""

    SET_RIGHT_INSTEAD = auto()
    RUNS_CANNOT_SETTLE = auto()
    WOULD_SETTLE = auto()
    MEASURE_LAP_AGAIN = auto()
    TIME_LAPS_TOO = auto()
    TIME_TEN_LAPS = auto()
    CHECK_ENTRIES = auto()
    USE_BETTER_REFERENCE = auto()
    USE_BETTER_CLOCK = auto()
    MORE_LAPS_A_RUN = auto()
    COUNT_LONGER = auto()
    RAMP_MORE_OFTEN = auto()
    RUNS_AT_OTHER_SPEEDS = auto()
    RUNS_LIKE_THESE = auto()
    READ_WHILE_STEADY = auto()


SHRINKS = {
    Part.LAP_TIMING: 1.0,
    Part.PULSE_COUNT: 1.0,
    Part.PULSE_TIMING: 1.0,
    Part.WANDER: 0.5,
    Part.DISPLAY: 0.5,
    Part.REFERENCE_READING: 0.5,
    Part.SCATTER: 0.5,
    Part.CHANGE_OVERS: 0.5,
}
"""Groups of the budget that more work shrinks, and the power of the amount of work."""

MEND = {
    Part.LAP_LENGTH: SettleSays.MEASURE_LAP_AGAIN,
    Part.DRIVE_LINE: SettleSays.TIME_LAPS_TOO,
    Part.REFERENCE: SettleSays.USE_BETTER_REFERENCE,
    Part.CLOCK: SettleSays.USE_BETTER_CLOCK,
    Part.AVERAGING: SettleSays.READ_WHILE_STEADY,
}
MOST_ERROR = 0.3
"""No readout in use is further off: a digit, a count or a unit is wrong. Common practice, no
source."""
MOST_TIMES = 10.0
"""More than ten times the work is not advice."""


def advice(
    decision: Decision,
    budget: Budget,
    limit: float,
    runs: Sequence[RunResult],
    guard_band: float,
) -> Statement | None:
    """What would settle a verdict; None for a plain pass or fail. `runs` are those used."""
    if decision.verdict in (Verdict.PASS, Verdict.FAIL):
        return None
    if abs(budget.value) > MOST_ERROR:
        return statement(SettleSays.CHECK_ENTRIES)
    if any(line.quantity.what == InputSays.WEAR_OR_MUD for line in budget.lines):
        return statement(SettleSays.TIME_TEN_LAPS)
    wanted = uncertainty_to_settle(decision, budget.value, -limit, limit) / budget.k
    if wanted < budget.u / MOST_TIMES:
        return statement(SettleSays.SET_RIGHT_INSTEAD)
    # What the guard band holds beyond U is a scatter that might be.
    beyond = math.sqrt(max(guard_band**2 - budget.U**2, 0.0)) / budget.k
    parts = budget.groups | {Part.SCATTER: math.hypot(budget.groups.get(Part.SCATTER, 0.0), beyond)}
    kinds = {name: (parts[name], power) for name, power in SHRINKS.items() if parts.get(name)}
    u_fixed = math.sqrt(sum(p**2 for name, p in parts.items() if name not in kinds))
    if wanted <= u_fixed:
        worst = max((name for name in parts if name not in kinds), key=lambda name: parts[name])
        return statement(
            SettleSays.RUNS_CANNOT_SETTLE, part=statement(worst), step=statement(MEND[worst])
        )
    # Largest first; each may shrink until the sum fits, the others are left as they are.
    rest = math.sqrt(sum(p**2 for p, _ in kinds.values()))
    steps = []
    for name, (part, power) in sorted(kinds.items(), key=lambda item: -item[1][0]):
        if math.hypot(u_fixed, rest) <= wanted:
            break
        others = math.sqrt(max(rest**2 - part**2, 0.0))
        times = times_as_many(wanted, math.hypot(u_fixed, others), part, power)
        times = min(times, MOST_TIMES)
        steps.append(_step(name, times, runs))
        rest = math.hypot(others, part / times**power)
    return statement(SettleSays.WOULD_SETTLE, steps=tuple(steps)) if steps else None


def _step(part: Part, times: float, runs: Sequence[RunResult]) -> Statement:
    if part is Part.LAP_TIMING:
        laps = [run.laps for run in runs if math.isfinite(run.laps)]
        count = math.ceil(min(laps) * (times - 1)) if laps else 1
        return statement(SettleSays.MORE_LAPS_A_RUN, count=count)
    if part in (Part.PULSE_COUNT, Part.PULSE_TIMING):
        return statement(SettleSays.COUNT_LONGER, times=times)
    if part is Part.CHANGE_OVERS:
        return statement(SettleSays.RAMP_MORE_OFTEN, count=math.ceil(times))
    other = part is Part.DISPLAY
    return statement(
        SettleSays.RUNS_AT_OTHER_SPEEDS if other else SettleSays.RUNS_LIKE_THESE,
        count=max(1, math.ceil(len(runs) * (times - 1))),
    )

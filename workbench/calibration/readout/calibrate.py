"""The answer of a calibration: what the readout showed against what was true.

`steady_runs.calibrate_runs` takes runs with a shown value each, `ramp.calibrate_ramp` a
ramped run with the moments at which the display changed. Both end here, in one
`Calibration`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum, auto

from workbench.base.machine import Machine, Readout
from workbench.base.statements import PlusMinus, Statement, statement
from workbench.calibration.readout.change_overs import FlipResult, RampResult
from workbench.calibration.readout.drive_line_check import DriveLine
from workbench.calibration.readout.runs import RunResult
from workbench.calibration.readout.setting import propose_setting
from workbench.calibration.readout.true_speed import InputSays, TrueSpeeds
from workbench.calibration.statistics.budget import Budget, Part
from workbench.calibration.statistics.decision import (
    Decision,
    Verdict,
    decide,
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
    SAY_HOW_IT_ROUNDS = auto()
    SAY_ROUNDING_FIRST = auto()
    SAY_WHOSE_CLOCK = auto()
    RAMP_INSTEAD = auto()
    RUNS_WITH_PULSES = auto()


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

SAME_WORK = (
    (Part.SCATTER, Part.WANDER, Part.REFERENCE_READING),
    (Part.PULSE_COUNT, Part.PULSE_TIMING),
)
"""Groups that are shrunk together, by more runs or by longer counts: each is one step."""

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
QUESTIONS = (SettleSays.SAY_ROUNDING_FIRST, SettleSays.SAY_WHOSE_CLOCK)
"""Steps that cost an entry in the machine file."""
MOST_RUNS = 5
"""More runs than that are more work than one slow ramp, whose change-overs tell more. Chosen."""


def advice(
    decision: Decision,
    budget: Budget,
    limit: float,
    runs: Sequence[RunResult],
    guard_band: float,
) -> Statement | None:
    """What would settle a verdict, the cheapest step first; None for a plain pass or fail.
    `runs` are those used.

    How the display rounds is a question that its manual answers; it goes before all work.
    """
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
    steps = []
    if parts.pop(Part.ROUNDING, 0.0) > 0:
        then = 2 * math.sqrt(sum(part**2 for part in parts.values()))
        off_rel = max(guard_band - then, 0.0)
        steps.append(statement(SettleSays.SAY_ROUNDING_FIRST, off_rel=off_rel))
    if any(line.source.what == InputSays.FROM_CLOCK_UNSAID for line in budget.lines):
        off_rel = budget.U - 2 * math.sqrt(max(budget.u**2 - parts.pop(Part.CLOCK) ** 2, 0.0))
        steps.append(statement(SettleSays.SAY_WHOSE_CLOCK, off_rel=max(off_rel, 0.0)))
    for together in SAME_WORK:
        parts[together[0]] = math.hypot(*(parts.pop(name, 0.0) for name in together))
    kinds = {name: (parts[name], power) for name, power in SHRINKS.items() if parts.get(name)}
    u_fixed = math.sqrt(sum(p**2 for name, p in parts.items() if name not in kinds))
    if wanted <= u_fixed:
        worst = max((name for name in parts if name not in kinds), key=lambda name: parts[name])
        return statement(
            SettleSays.RUNS_CANNOT_SETTLE, part=statement(worst), step=statement(MEND[worst])
        )
    untold = any(line.source.what == InputSays.FROM_USUAL_WANDER for line in budget.lines)
    # Largest first; each may shrink until the sum fits, the others are left as they are.
    rest = math.sqrt(sum(p**2 for p, _ in kinds.values()))
    for name, (part, power) in sorted(kinds.items(), key=lambda item: -item[1][0]):
        if math.hypot(u_fixed, rest) <= wanted:
            break
        others = math.sqrt(max(rest**2 - part**2, 0.0))
        times = times_as_many(wanted, math.hypot(u_fixed, others), part, power)
        times = min(times, MOST_TIMES)
        steps.append(_step(name, times, runs, wander_untold=untold))
        rest = math.hypot(others, part / times**power)
    if any(step.what == SettleSays.RAMP_INSTEAD for step in steps):
        # It stands for every run that would have been made, with all that is done in one.
        asked = (*QUESTIONS, SettleSays.RAMP_INSTEAD)
        steps = [step for step in dict.fromkeys(steps) if step.what in asked]
    return statement(SettleSays.WOULD_SETTLE, steps=tuple(steps)) if steps else None


def _step(part: Part, times: float, runs: Sequence[RunResult], *, wander_untold: bool) -> Statement:
    if part is Part.LAP_TIMING:
        laps = [run.laps for run in runs if math.isfinite(run.laps)]
        count = math.ceil(min(laps) * (times - 1)) if laps else 1
        return statement(SettleSays.MORE_LAPS_A_RUN, count=count)
    if part in (Part.PULSE_COUNT, Part.PULSE_TIMING):
        return statement(SettleSays.COUNT_LONGER, times=times)
    if part is Part.CHANGE_OVERS:
        return statement(SettleSays.RAMP_MORE_OFTEN, count=math.ceil(times))
    count = max(1, math.ceil(len(runs) * (times - 1)))
    if count > MOST_RUNS:
        return statement(SettleSays.RAMP_INSTEAD)
    if part is Part.DISPLAY:
        return statement(SettleSays.RUNS_AT_OTHER_SPEEDS, count=count)
    says = SettleSays.RUNS_WITH_PULSES if wander_untold else SettleSays.RUNS_LIKE_THESE
    return statement(says, count=count)


ERROR = statement(InputSays.READOUT_ERROR_AT_WORK)
"""What the budget is one of: indicated ÷ true − 1 at the middle of the working speeds, the
indication being the mean of those that a shown number stands for."""


class ResultSays(StrEnum):
    """What a readout shows, and how far an answer can be trusted beyond its uncertainty."""

    READS_RIGHT = auto()
    SHOWS_TOO_MUCH = auto()
    SHOWS_TOO_LITTLE = auto()
    TOO_UNSURE_TO_SAY = auto()
    NO_SUCH_ERROR = auto()
    ROUNDS_UNSAID = auto()
    NO_RUN_AT_WORK = auto()
    NO_CHANGE_OVER_AT_WORK = auto()


@dataclass(frozen=True, slots=True)
class FittedLine:
    """shown = offset + slope · true; the probability is that of the lack-of-fit test, NaN where
    it cannot be made."""

    slope: float
    u_slope: float
    offset_mps: float
    u_offset_mps: float
    lack_of_fit_probability: float = math.nan
    through_origin: bool = False


@dataclass(frozen=True, slots=True)
class EndError:
    """The error at one end of the working speeds."""

    speed_mps: float
    error: float
    u_error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """The readout in one state: its error at the middle of the working speeds (shown ÷ true
    − 1), the verdict, the setting that would be right.

    `readout_error_limit` is the error allowed. `metres_per_pulse` is what was used; `_runs`
    that of laps and pulses together, `_geometry` that of the drive line. A job adds what it
    was computed from (`source` and its hash, `simulated`, `method`), and the same of the runs
    made with the new setting, `as_left`.
    """

    machine: str
    sentence: Statement
    error_at_work: float
    u_error_at_work: float
    U_error_at_work: float
    k: float
    dof: float
    coverage: float
    speed_at_work_mps: float
    readout_error_limit: float
    verdict: Verdict
    conformance_probability: float
    reason: Statement
    advice: Statement | None
    unit: str
    step: float
    setting_unit: str
    reads: str
    setting_now: float
    setting_exact: float
    u_setting_exact: float
    U_setting_exact: float
    setting_new: float
    setting_by_pulses: float
    residual_error: float
    verdict_expected: Verdict
    metres_per_pulse: float
    u_metres_per_pulse: float
    U_metres_per_pulse: float
    metres_per_pulse_runs: float
    u_metres_per_pulse_runs: float
    metres_per_pulse_geometry: float
    u_metres_per_pulse_geometry: float
    drive_line_difference: float
    u_drive_line_difference: float
    drive_line_causes: tuple[Statement, ...]
    fit: FittedLine
    error_at_ends: tuple[EndError, ...]
    budget: Budget
    runs: tuple[RunResult, ...]
    warnings: tuple[Statement, ...]
    change_overs: RampResult | None = None
    source: str = ""
    source_sha256: str | None = None
    simulated: bool = False
    method: Statement | None = None
    as_left: Calibration | None = None

    @property
    def headline(self) -> Statement:
        """What the readout shows: `sentence` by the numbers, which an earlier program stored as
        finished words."""
        return shows(
            self.error_at_work,
            self.U_error_at_work,
            self.speed_at_work_mps,
            self.readout_error_limit,
        )

    @property
    def flips(self) -> tuple[FlipResult, ...]:
        """The change-overs that were used; none of steady runs."""
        return self.change_overs.points if self.change_overs else ()

    @property
    def latest(self) -> Calibration:
        """The readout as it is now."""
        return self.as_left or self

    @property
    def has_new_setting(self) -> bool:
        """Whether a number is proposed for the readout."""
        return math.isfinite(self.setting_new)

    @property
    def to_be_proved(self) -> bool:
        """Whether there is a new setting that no run has been made with yet."""
        return self.has_new_setting and self.as_left is None

    @property
    def sends_to_the_belt(self) -> bool:
        """Whether it asks for runs, with the belt moving: to settle the verdict, or to prove
        the new setting."""
        return self.advice is not None or self.to_be_proved


def finished(
    budget: Budget,
    machine: Machine,
    drive_line: DriveLine,
    speeds: TrueSpeeds,
    *,
    fit: FittedLine,
    ends: tuple[EndError, ...],
    runs: tuple[RunResult, ...] = (),
    warnings: Sequence[Statement],
    ramp: RampResult | None = None,
    guard_band: float | None = None,
) -> Calibration:
    """Verdict, setting and advice for an error found; `ends` are the errors at the ends of the
    working speeds. `guard_band` is how far inside its limit an error must lie for a plain
    verdict, where that is more than U."""
    readout, limits, k = machine.readout, machine.limits, budget.k
    w = guard_band or budget.U
    limit, error, u = limits.readout_error, budget.value, budget.u
    decision = decide(error, u, -limit, limit, U=w)
    if abs(error) > MOST_ERROR:
        reason = statement(ResultSays.NO_SUCH_ERROR, most_rel=MOST_ERROR)
        decision = Decision(Verdict.CANNOT_TELL, decision.conformance_probability, reason)
    pulse_m, teeth = speeds.metres_per_pulse, machine.drive.target_teeth
    told = decision.verdict is not Verdict.CANNOT_TELL
    setting = propose_setting(readout, error, u, pulse_m, teeth, told=told)
    # The error left after the change is as uncertain as the one found before it.
    left, u_left = setting.residual_error, u / (1 + error)
    u_pulse_m = pulse_m * speeds.u_metres_per_pulse_rel
    return Calibration(
        machine=machine.name,
        sentence=shows(error, budget.U, limits.speed_at_work_mps, limit),
        error_at_work=error,
        u_error_at_work=u,
        U_error_at_work=budget.U,
        k=k,
        dof=budget.dof,
        coverage=budget.coverage,
        speed_at_work_mps=limits.speed_at_work_mps,
        readout_error_limit=limit,
        verdict=decision.verdict,
        conformance_probability=decision.conformance_probability,
        reason=decision.reason,
        advice=advice(decision, budget, limit, [run for run in runs if run.used], w),
        unit=readout.unit,
        step=readout.step,
        setting_unit=readout.setting_unit,
        reads=readout.reads,
        setting_now=setting.now,
        setting_exact=setting.exact,
        u_setting_exact=setting.u_exact,
        U_setting_exact=k * setting.u_exact,
        setting_new=setting.new,
        setting_by_pulses=setting.by_pulses,
        residual_error=left,
        verdict_expected=decide(left, u_left, -limit, limit, U=w / (1 + error)).verdict,
        metres_per_pulse=pulse_m,
        u_metres_per_pulse=u_pulse_m,
        U_metres_per_pulse=k * u_pulse_m,
        metres_per_pulse_runs=drive_line.from_runs_m,
        u_metres_per_pulse_runs=drive_line.u_from_runs_m,
        metres_per_pulse_geometry=drive_line.from_geometry_m,
        u_metres_per_pulse_geometry=drive_line.u_from_geometry_m,
        drive_line_difference=drive_line.difference,
        u_drive_line_difference=drive_line.u_difference,
        drive_line_causes=drive_line.causes,
        fit=replace(fit, through_origin=fit.offset_mps == 0),
        error_at_ends=ends,
        budget=budget,
        runs=runs,
        warnings=(*drive_line.says, *_rounds_unsaid(readout), *warnings, *setting.warnings),
        change_overs=ramp,
    )


def _rounds_unsaid(readout: Readout) -> tuple[Statement, ...]:
    if readout.rounds:
        return ()
    return (statement(ResultSays.ROUNDS_UNSAID, half_mps=readout.step_mps / 2),)


def shows(error: float, U: float, at_mps: float, limit: float) -> Statement:
    """What an error with its expanded uncertainty means, at a speed, where `limit` is allowed."""
    if abs(error) > MOST_ERROR or (abs(error) <= U and limit < U):
        unsure = PlusMinus(error, U)
        return statement(ResultSays.TOO_UNSURE_TO_SAY, error_rel=unsure, at_mps=at_mps)
    if abs(error) <= U:
        right = PlusMinus(error, U)
        return statement(ResultSays.READS_RIGHT, error_rel=right, at_mps=at_mps)
    says = ResultSays.SHOWS_TOO_MUCH if error > 0 else ResultSays.SHOWS_TOO_LITTLE
    return statement(says, error_rel=PlusMinus(abs(error), U), at_mps=at_mps)

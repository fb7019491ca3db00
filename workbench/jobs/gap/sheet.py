"""A shop's list of pickups, one line each: where it stands, and what was found at it."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum, auto

from workbench.base.cautions import Caution
from workbench.base.machine import Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.answer import FeelerAnswer, WheelAnswer
from workbench.calibration.gap.faults import WheelFault
from workbench.calibration.gap.judgement import GapSays
from workbench.calibration.gap.margin import DropOutSays
from workbench.calibration.gap.wheel_faults import WheelSays
from workbench.calibration.statistics.decision import Verdict, badness
from workbench.jobs.gap.answer import GapAnswer, faults_named

HANDS_OFF = frozenset(
    {
        GapSays.LEAVE_IT,
        DropOutSays.NONE_MISSING,
        DropOutSays.NONE_MISSING_YET,
        DropOutSays.MISSING_BELOW_WORK,
    }
)
"""Advice that asks for no hand at the pickup; any other does, and so does a former program's."""
BELT_RUNS = frozenset(
    {DropOutSays.NONE_MISSING_YET, WheelSays.ONLY_FEW_TURNS, WheelSays.BELT_UNSTEADY}
)
"""What asks to run the belt again."""


class WheelRunSays(StrEnum):
    """What a run has found, in few words, to stand in a list."""

    TEETH_SOUND = auto()
    NO_DROP_OUT = auto()
    DROP_OUT_AT = auto()


class Standing(StrEnum):
    """Where a pickup stands that has no verdict yet."""

    NOT_YET = auto()
    BEGUN = auto()


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One pickup; `found` is what feeler, tooth run and drop-out run say, in this order,
    `as_found` what the feeler said before the pickup was adjusted, None where it was not."""

    pickup: str
    state: Verdict | Standing
    found: tuple[FeelerAnswer | WheelAnswer, ...]
    limits_of: str | None
    limits: Pickup
    simulated: bool
    as_found: FeelerAnswer | WheelAnswer | None = None

    @property
    def gap(self) -> FeelerAnswer | WheelAnswer | None:
        """What tells its gap best; None where nothing does."""
        return next((one for one in self.found if math.isfinite(one.gap_m)), None)

    @property
    def wheel(self) -> WheelAnswer | None:
        """The run whose teeth are counted, None where there was none."""
        runs = (one for one in self.found if isinstance(one, WheelAnswer))
        return next((one for one in runs if one.teeth is not None), None)

    @property
    def faults(self) -> tuple[WheelFault, ...]:
        return tuple(fault for one in self.found for fault in one.faults)

    @property
    def advice(self) -> tuple[Statement, ...]:
        return tuple(one.advice for one in self.found if one.advice is not None)

    @property
    def warnings(self) -> tuple[Statement, ...]:
        return tuple(said for one in self.found for said in one.warnings)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What must be read before doing what its answers ask for."""
        untold = any(isinstance(one, WheelAnswer) and one.teeth is None for one in self.found)
        asked = {said.what for said in self.advice}
        hand = untold or bool(self.faults) or bool(asked - HANDS_OFF)
        runs = untold or bool(BELT_RUNS & (asked | {said.what for said in self.warnings}))
        needed = {Caution.AT_THE_WHEEL: hand, Caution.WITH_THE_BELT_RUNNING: runs}
        return tuple(caution for caution, is_needed in needed.items() if is_needed)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The lines of a list; `source` is the table, the recording or the list they came from."""

    source: str
    lines: tuple[SheetLine, ...]

    @property
    def state(self) -> Verdict | Standing:
        """The worst of all; what is not done yet is worse than any pass."""
        return max((line.state for line in self.lines), key=_badness)

    @property
    def counts(self) -> dict[Verdict | Standing, int]:
        """How many pickups stand where."""
        return dict(Counter(line.state for line in self.lines))

    @property
    def simulated(self) -> bool:
        return any(line.simulated for line in self.lines)

    @property
    def adjusted(self) -> bool:
        """Whether any pickup was adjusted and read again."""
        return any(line.as_found is not None for line in self.lines)

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What must be read before doing what its lines ask for."""
        found = {caution for line in self.lines for caution in line.cautions}
        return tuple(caution for caution in Caution if caution in found)


def sheet_of(answer: GapAnswer) -> Sheet:
    """The pickups of one answer as a sheet, as they were left."""
    again = answer.latest.checked_again or ()
    lines = (
        SheetLine(
            now.pickup,
            now.verdict,
            (now,),
            answer.limits_of,
            answer.limits,
            answer.simulated,
            found if found.pickup in again else None,
        )
        for found, now in zip(answer.pickups, answer.latest.pickups, strict=True)
    )
    return Sheet(answer.source, tuple(lines))


def run_says(one: WheelAnswer) -> Statement:
    """What a run has found at one pickup, to stand in a list."""
    if one.faults:
        return statement(WheelSays.HAS_FAULTS, faults=faults_named(one.faults))
    if one.drop_out is None:
        return statement(WheelRunSays.TEETH_SOUND) if one.verdict is Verdict.PASS else one.reason
    speed_mps = one.drop_out.speed_mps
    if not math.isfinite(speed_mps):
        return statement(WheelRunSays.NO_DROP_OUT)
    return statement(WheelRunSays.DROP_OUT_AT, speed_mps=speed_mps)


def _badness(state: Verdict | Standing) -> float:
    if isinstance(state, Verdict):
        return badness(state)
    return badness(Verdict.CANNOT_TELL) + (0.2 if state is Standing.NOT_YET else 0.1)

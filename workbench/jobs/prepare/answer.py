"""What `evenpace prepare` is asked with and answers, and what it may say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum, auto

from workbench.base.statements import Statement
from workbench.calibration.prepare.due import Done, ServiceLine
from workbench.calibration.prepare.measures import CheckKind, Topic
from workbench.calibration.prepare.sheet import CheckLine, FigureLine
from workbench.calibration.statistics.decision import Verdict


class PrepareSays(StrEnum):
    """What a preparation comes to, and what its rows lack."""

    ALL_WELL = auto()
    SOME_OUTSIDE = auto()
    NOTHING_JUDGED = auto()
    NEEDED_FIRST = auto()
    BLADE_APART = auto()
    SLACK_BELT_SLIPS = auto()
    COURSE_ONE_WAY = auto()
    COURSE_NO_LENGTH = auto()
    COURSE_NO_TIME = auto()
    SHANK_UNKNOWN = auto()
    MODEL_OF_OIL = auto()
    READ_ON_ONE_SIDE = auto()


class DoSays(StrEnum):
    """What to do where a check is not passed; `TOO_LOW` below its limits, else above."""

    FLOW_TOO_LOW = auto()
    RESERVE_TOO_LOW = auto()
    PRESSURE_OFF = auto()
    PRESSURES_APART = auto()
    RADII_APART = auto()
    NOT_LEVEL = auto()
    BLADES_APART = auto()
    SHANK_OFF = auto()
    SHANKS_APART = auto()
    BELT_TOO_TIGHT = auto()
    BELT_TOO_SLACK = auto()
    BELT_UNEVEN = auto()
    CHAIN_TOO_TIGHT = auto()
    CHAIN_TOO_SLACK = auto()
    CHAIN_WORN = auto()
    PART_WORN = auto()


class AtHandSays(StrEnum):
    """What a preparation says in a calibration and in a pass."""

    TRUE_SCALE_USED = auto()
    FAILED_BEFORE = auto()
    NOT_MEASURED_BEFORE = auto()
    BELT_MAY_SLIP = auto()


DO: dict[CheckKind, tuple[DoSays, DoSays]] = {
    CheckKind.OIL_FLOW: (DoSays.FLOW_TOO_LOW,) * 2,
    CheckKind.OIL_FLOW_RESERVE: (DoSays.RESERVE_TOO_LOW,) * 2,
    CheckKind.TYRE_PRESSURE: (DoSays.PRESSURE_OFF,) * 2,
    CheckKind.TYRE_PRESSURE_DIFFERENCE: (DoSays.PRESSURES_APART,) * 2,
    CheckKind.TYRE_RADIUS_DIFFERENCE: (DoSays.RADII_APART,) * 2,
    CheckKind.FRAME_HEIGHT_DIFFERENCE: (DoSays.NOT_LEVEL,) * 2,
    CheckKind.BLADE_HEIGHT_SPREAD: (DoSays.BLADES_APART,) * 2,
    CheckKind.SHANK: (DoSays.SHANK_OFF,) * 2,
    CheckKind.SHANK_DIFFERENCE: (DoSays.SHANKS_APART,) * 2,
    CheckKind.BELT_SAG: (DoSays.BELT_TOO_TIGHT, DoSays.BELT_TOO_SLACK),
    CheckKind.BELT_SAG_MEAN: (DoSays.BELT_TOO_TIGHT, DoSays.BELT_TOO_SLACK),
    CheckKind.BELT_SAG_EVENNESS: (DoSays.BELT_UNEVEN,) * 2,
    CheckKind.CHAIN_SLACK: (DoSays.CHAIN_TOO_TIGHT, DoSays.CHAIN_TOO_SLACK),
    CheckKind.CHAIN_LENGTH: (DoSays.CHAIN_WORN,) * 2,
    CheckKind.WEAR: (DoSays.PART_WORN,) * 2,
}
"""Check -> what to do where it lies too low, and where too high."""


@dataclass(frozen=True, slots=True)
class PrepareOptions:
    """All that an answer hangs on besides the table and the machine.

    `today` is the day such as 2026-11-29 on which it was done, `done_before` what earlier
    results of this machine say was looked after. `by` stands beside what was looked after now.
    """

    table_name: str = ""
    today: str = ""
    done_before: tuple[Done, ...] = ()
    simulated: bool = False
    by: str = ""


@dataclass(frozen=True, slots=True)
class ProvenSource:
    """A source of ground speed over the taped course: true ÷ shown, U = k·u. Only one that is
    `proven`, by two runs at least, there and back, is used by a pass."""

    source: str
    factor: float
    u_factor: float
    U_factor: float
    k: float
    runs: int
    both_ways: bool
    proven: bool


@dataclass(frozen=True, slots=True)
class PreparedFactor:
    """True ÷ shown of a kind of ground source, and the stored result that proved it."""

    source: str
    factor: float
    u_factor: float
    result: int


@dataclass(frozen=True, slots=True)
class Prepared:
    """What was prepared of a machine before: the newest sheet, 0 for none, with its day, what of
    it failed and what was not measured; whether the belt hung too slack; proven sources."""

    result: int
    on: str
    failed: tuple[Topic, ...]
    unmeasured: tuple[Topic, ...]
    slack_belt: bool
    factors: tuple[PreparedFactor, ...]


@dataclass(frozen=True, slots=True)
class PrepareAnswer:
    """Is everything that bears on belt and ground speed as it should be?

    `due` are the parts of `services` that are to be looked after now; `unmeasured` the topics of
    which nothing was read; `to_do` what to do, a statement for each check that is not passed.
    """

    source: str
    kind: str
    simulated: bool
    machine: str
    today: str
    verdict: Verdict
    reason: Statement
    checks: tuple[CheckLine, ...]
    figures: tuple[FigureLine, ...]
    due: tuple[ServiceLine, ...]
    services: tuple[ServiceLine, ...]
    done: tuple[Done, ...]
    sources: tuple[ProvenSource, ...]
    unmeasured: tuple[Topic, ...]
    to_do: tuple[Statement, ...]
    warnings: tuple[Statement, ...] = ()

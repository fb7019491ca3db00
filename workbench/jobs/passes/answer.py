"""What `evenpace pass` answers, and what it may say."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum, auto

import numpy as np

from drivers.contract import Floats
from workbench.base.cautions import Caution
from workbench.base.statements import Statement
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.prepare.answer import Prepared
from workbench.match.advice import Advice
from workbench.match.hypotheses import Cause
from workbench.match.ratio import RatioPart
from workbench.match.sources import GroundKind
from workbench.match.track import Track
from workbench.match.trend import Following, Mismatch, Segment

MOST_CAUSES, LEAST_PROBABILITY = 3, 0.05
"""So many causes are worth a line, and only if they are as likely as that; chosen."""

CAUTIONS = {
    Cause.VALVE_OFF: (Caution.HANDS_OFF,),
    Cause.VALVE_MOVED: (Caution.HANDS_OFF,),
    Cause.OIL_WARMING: (Caution.HANDS_OFF,),
    Cause.BELT_SLIP: (Caution.AT_THE_WHEEL,),
    Cause.ROLL_BUILD_UP: (Caution.AT_THE_WHEEL,),
    Cause.WRONG_SETTING: (Caution.AT_THE_WHEEL, Caution.WITH_THE_BELT_RUNNING),
    Cause.LOSING_PULSES: (Caution.AT_THE_WHEEL,),
    Cause.EXTRA_PULSES: (Caution.AT_THE_WHEEL,),
    Cause.DAMAGED_WHEEL: (Caution.AT_THE_WHEEL,),
}
"""What to heed where a cause is looked for by hand."""


class PassSays(StrEnum):
    """Which sources are compared and why, how sure a verdict is, and what stands against it."""

    GROUND_ASKED_FOR = auto()
    ONLY_GROUND = auto()
    MOST_TRUSTED_GROUND = auto()
    NO_BELT_KNOWN = auto()
    NO_GROUND_KNOWN = auto()
    NO_SPEED_HELD = auto()
    SOURCE_HELD = auto()
    VALUES_HELD = auto()
    NO_VALUE_HELD = auto()
    NO_TIMES = auto()
    MORE_WOULD_SETTLE = auto()
    MORE_WOULD_NOT_SETTLE = auto()
    LAPS_CONTRADICT_PULSES = auto()


@dataclass(frozen=True, slots=True)
class PassOptions:
    """`belt` and `ground` name the two sources, None the best there are.

    `oil_c` is the oil's temperature at the start and the end; `moved` the moments at which the
    flow control was moved, (s, steps) each; `course` a taped course: its length in metres, and
    when its ends were passed; `prepared` what was prepared of the machine, None where nobody
    looked.
    """

    belt: str | None = None
    ground: str | None = None
    oil_c: tuple[float, float] | None = None
    moved: tuple[tuple[float, float], ...] | None = None
    course: tuple[float, float, float] | None = None
    prepared: Prepared | None = None


@dataclass(frozen=True, slots=True)
class CauseAnswer:
    """A cause with its probability, what speaks for it, and what to check next."""

    cause: Cause
    title: Statement
    probability: float
    evidence: tuple[Statement, ...]
    check_next: Statement


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the pass judged by itself."""

    from_s: float
    to_s: float
    ratio: float
    U_ratio: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Change:
    """A moment at which the ratio changed, and by how much."""

    time_s: float
    change: float


def _nothing() -> Floats:
    return np.empty(0)


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """The pass on one line of time, (n,) each, n at most some hundreds; NaN: no value.

    `steady` is 1 where a moment counts, else 0; `separation_m` is belt minus ground distance.
    """

    time_s: Floats = field(default_factory=_nothing)
    belt_mps: Floats = field(default_factory=_nothing)
    ground_mps: Floats = field(default_factory=_nothing)
    steady: Floats = field(default_factory=_nothing)
    separation_m: Floats = field(default_factory=_nothing)

    def rows(self) -> Floats:
        """(n, 4) time, belt, ground and separation, NaN for what does not count.

        Where nothing was steady, all of it: it shows why there is no answer.
        """
        rows = np.stack((self.time_s, self.belt_mps, self.ground_mps, self.separation_m), axis=1)
        counts = self.steady > 0
        if counts.any():
            rows[~counts, 1:] = math.nan
        return rows


@dataclass(frozen=True, slots=True)
class GroundSource:
    """A source of ground speed: how good it is, and against the `reference`, where it was not
    that itself, its factor and how far it is behind."""

    source: str
    kind: GroundKind
    share_with_value: float
    u_mean_rel: float
    reference: bool
    factor: float = math.nan
    u_factor: float = math.nan
    lag_s: float = math.nan
    u_lag_s: float = math.nan


@dataclass(frozen=True, slots=True)
class TrueOverShown:
    """True ÷ shown speed of a source."""

    factor: float
    u_factor: float


@dataclass(frozen=True, slots=True)
class CourseAnswer:
    """What a taped course says of every source of ground speed."""

    length_m: float
    from_s: float
    to_s: float
    true_speed_mps: float
    u_true_speed_mps: float
    true_over_shown: dict[str, TrueOverShown]


@dataclass(frozen=True, slots=True)
class PassAnswer:
    """Did belt and ground keep pace; NaN, None and empty where nothing can be said.

    The ratio is belt ÷ ground. `lag_s` is positive where the ground source is behind,
    `separation_m` belt minus ground distance at the end, both with standard uncertainties.
    `u_parts_rel` holds each contribution to u_ratio ÷ ratio; `causes` are the likely ones, the
    most likely first; `mismatch_shares` adds up to 1. `stretches` are before and after a change
    that a clear cause made, () where there was none. `wear_rel` is how much more belt speed
    and ratio may be at most than pulses and drawing tell, 0 where laps or a measured pitch do: it
    is no part of U_ratio, and the verdict allows for it on its one side.
    """

    source: str
    kind: str
    simulated: bool
    belt: str | None
    ground: str | None
    ground_why: Statement | None
    sources: tuple[str, ...]
    verdict: Verdict
    reason: Statement
    conformance_probability: float = math.nan
    ratio: float = math.nan
    u_ratio: float = math.nan
    U_ratio: float = math.nan
    k: float = math.nan
    ratio_low: float = math.nan
    ratio_high: float = math.nan
    u_parts_rel: dict[RatioPart, float] = field(default_factory=dict)
    belt_speed_mps: float = math.nan
    ground_speed_mps: float = math.nan
    in_band_fraction: float = math.nan
    lag_s: float = math.nan
    u_lag_s: float = math.nan
    drift_per_hour: float = math.nan
    u_drift_per_hour: float = math.nan
    separation_m: float = math.nan
    u_separation_m: float = math.nan
    duration_s: float = 0.0
    warnings: tuple[Statement, ...] = ()
    causes: tuple[CauseAnswer, ...] = ()
    cause_clear: bool = False
    causes_not_looked_for: tuple[Statement, ...] = ()
    segments: tuple[Segment, ...] = ()
    trend_per_hour: float = math.nan
    trend_per_hour_low: float = math.nan
    trend_per_hour_high: float = math.nan
    change_points: tuple[Change, ...] = ()
    cusum_alarm_s: float = math.nan
    belt_against_ground: Following | None = None
    mismatch_shares: dict[Mismatch, float] = field(default_factory=dict)
    series: Series = field(default_factory=Series)
    ground_sources: tuple[GroundSource, ...] = ()
    stands_apart: str | None = None
    wheel_slip: float = math.nan
    u_wheel_slip: float = math.nan
    wheel_slip_against: str | None = None
    advice: Advice | None = None
    course: CourseAnswer | None = None
    track: Track | None = None
    stretches: tuple[Stretch, ...] = ()
    wear_rel: float = 0.0

    @property
    def likely_causes(self) -> tuple[CauseAnswer, ...]:
        """Those that are worth a line, the most likely first; that all is well is none of them
        where it is not, or cannot be told."""
        in_pace = math.isfinite(self.ratio) and not self.verdict.is_fail
        return tuple(
            cause
            for cause in self.causes[:MOST_CAUSES]
            if cause.probability >= LEAST_PROBABILITY and (in_pace or cause.cause is not Cause.NONE)
        )

    @property
    def cautions(self) -> tuple[Caution, ...]:
        """What must be read before the advice is followed or a cause is looked for."""
        changes = self.advice is not None and math.isfinite(self.advice.belt_change_rel)
        found = [Caution.HANDS_OFF] if changes else []
        for cause in self.likely_causes:
            found += CAUTIONS.get(cause.cause, ())
        return tuple(dict.fromkeys(found))

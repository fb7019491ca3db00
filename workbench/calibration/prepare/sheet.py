"""What readings say: each thing judged with its limits and verdict, and what is computed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from statistics import fmean

from workbench.base.machine import Machine
from workbench.base.preparation import Preparation
from workbench.base.statements import Statement
from workbench.calibration.prepare.measures import CHECKS, FIGURES, CheckKind, Computed, ReadingKind
from workbench.calibration.prepare.table import PreparedReading
from workbench.calibration.statistics.decision import Verdict, decide

K = 2.0
"""Coverage factor: every uncertainty here is known of the tool, not from scatter."""


class Whose(StrEnum):
    """Whose a limit is."""

    MANUAL = "machine's own"
    PRACTICE = "common practice"
    GUIDANCE = "published guidance"
    COMPUTED = "computed"
    EYE = "by eye"


@dataclass(frozen=True, slots=True)
class Limit:
    """Between these a value is as it should be, infinite where one side is open."""

    low: float = -math.inf
    high: float = math.inf
    whose: Whose = Whose.PRACTICE


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One thing judged; value, uncertainty and limits in the SI `unit`. A limit is NaN where that
    side is open; `value` of a part's state is 0 sound, 1 worn."""

    check: CheckKind
    place: str
    value: float
    u_value: float
    U_value: float
    k: float
    unit: str
    limit_low: float
    limit_high: float
    limit_from: Whose
    verdict: Verdict
    reason: Statement

    @property
    def too_low(self) -> bool:
        """Whether it lies below its limits rather than above, or nearer to the lower."""
        if math.isnan(self.limit_high) or math.isnan(self.limit_low):
            return math.isnan(self.limit_high)
        return self.value < 0.5 * (self.limit_low + self.limit_high)


@dataclass(frozen=True, slots=True)
class FigureLine:
    """One thing computed and not judged, in the SI `unit`."""

    figure: Computed
    place: str
    value: float
    u_value: float
    U_value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Lacking:
    """What must be known before the readings of a measure at a place say anything."""

    measure: ReadingKind
    place: str
    of: ReadingKind


@dataclass(slots=True)
class PrepareSheet:
    """The readings of one machine, the mean of several at one place, and what was found of them
    so far; `apart` is the blade tip that stands out from the others."""

    by: Mapping[ReadingKind, Mapping[str, float]]
    machine: Machine | None
    checks: list[CheckLine] = field(default_factory=list)
    figures: list[FigureLine] = field(default_factory=list)
    lacking: list[Lacking] = field(default_factory=list)
    apart: str = ""

    @property
    def prepare(self) -> Preparation:
        return self.machine.prepare if self.machine else Preparation()

    def all(self, measure: ReadingKind) -> Mapping[str, float]:
        """What was read of it, by place."""
        return self.by.get(measure, {})

    def one(self, measure: ReadingKind, otherwise: float = math.nan, place: str = "") -> float:
        """What was read of it at one place."""
        return self.all(measure).get(place, otherwise)

    def judge(self, check: CheckKind, place: str, value: float, u: float, limit: Limit) -> None:
        """Judge a value by the bench's one rule."""
        decision = decide(value, u, limit.low, limit.high, U=K * u)
        low, high = (end if math.isfinite(end) else math.nan for end in (limit.low, limit.high))
        self.checks.append(
            CheckLine(
                check,
                place,
                value,
                u,
                K * u,
                K,
                CHECKS[check].unit,
                low,
                high,
                limit.whose,
                decision.verdict,
                decision.reason,
            )
        )

    def tell(self, figure: Computed, place: str, value: float, u: float) -> None:
        """Tell what was computed."""
        unit = FIGURES[figure].unit
        self.figures.append(FigureLine(figure, place, value, u, K * u, unit))


def sheet_of(readings: Iterable[PreparedReading], machine: Machine | None) -> PrepareSheet:
    """The readings by measure and place, nothing judged yet."""
    by: dict[ReadingKind, dict[str, list[float]]] = {}
    for one in readings:
        by.setdefault(one.measure, {}).setdefault(one.place, []).append(one.value)
    means = {m: {place: fmean(v) for place, v in places.items()} for m, places in by.items()}
    return PrepareSheet(means, machine)

"""Did belt and ground keep pace: the ratio belt ÷ ground and what follows from it.

The ratio is that of the two distances over the pass. What single moments differ by hangs
together in time, and its uncertainty allows for that.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.statements import Statement, statement
from workbench.calibration.pulses.speed import SpeedSeries
from workbench.calibration.statistics.decision import (
    Decision,
    DecisionSays,
    Verdict,
    decide,
)
from workbench.match.align import Aligned, align
from workbench.match.changes import change_points
from workbench.match.mean import Scatter, scatter_of
from workbench.match.steady import steady_part

Floats = NDArray[np.float64]

MOVING_MPS = 0.2
"""Ground speed from which a moment counts; below it a ratio says nothing. Chosen."""

LEAST_S = 5.0
"""Seconds of common movement below which no ratio is given. Chosen."""

BAND_MEAN_S = 1.0
"""Means over this long are held against the band: single readings are noise. Chosen."""

MOST_MEANS = 120
"""In so many a pass is looked through for changes, however long it is: the work grows with
their square."""

CLEAR_CHANGE = 0.05
"""A change of the ratio from this on is an event and not scatter. Chosen."""

ACCURACY_MEMORY_S = 1.0
"""How long a receiver's error lasts, for averaging its own accuracy figure down; on the
safe side of 10 s means within 0.05 m/s (Chalko 2009, static test)."""


LONGEST_MORE_S = 1800.0
"""Nobody drives on for longer to settle one pass: more is then no advice. Chosen."""


class PaceSays(StrEnum):
    """Why two speeds cannot be compared, and what to know of the answer where they can."""

    BELT_WITHOUT_VALUE = auto()
    GROUND_WITHOUT_VALUE = auto()
    NO_TIME_IN_COMMON = auto()
    HARDLY_MOVED = auto()
    HARDLY_STEADY = auto()
    NO_LAG_FOUND = auto()
    TIMES_WITHOUT_VALUE = auto()
    RATIO_BUT_FOR_WEAR = auto()
    LEFT_OUT = auto()


class RatioPart(StrEnum):
    """What adds to the uncertainty of a ratio; the value is its name in every answer."""

    SCATTER = "scatter"
    BELT_SHARED = "belt, shared"
    GROUND_SHARED = "ground, shared"
    BELT_OWN = "belt source's own accuracy"
    GROUND_OWN = "ground source's own accuracy"
    LAG = "lag"


class BandSays(StrEnum):
    """Where a ratio lies."""

    IN_BAND = auto()
    BELT_SLOW = auto()
    BELT_FAST = auto()
    LEFT_OUT_OF_BAND = auto()


@dataclass(frozen=True, slots=True)
class PaceLimits:
    """Lowest and highest acceptable ratio belt ÷ ground."""

    low: float
    high: float

    def band(self, ratio: float) -> BandSays:
        """Where a ratio lies; NaN is left out."""
        if not math.isfinite(ratio):
            return BandSays.LEFT_OUT_OF_BAND
        if ratio < self.low:
            return BandSays.BELT_SLOW
        return BandSays.BELT_FAST if ratio > self.high else BandSays.IN_BAND


@dataclass(frozen=True, slots=True)
class Pace:
    """What two speeds say of each other over a pass; NaN where nothing can be said.

    `ratio` is belt ÷ ground. `in_band` is the share of the steady time whose one-second
    means lay within the limits. `separation_m` is belt distance minus ground distance at
    the end of the steady part. `drift_per_hour` is the change of the ratio an hour. `parts`
    holds each contribution to u_ratio ÷ ratio. `wear_rel` is how much more the ratio may be at
    most than pulses and drawing tell, which the decision allows for.
    """

    decision: Decision
    ratio: float = math.nan
    u_ratio: float = math.nan
    U_ratio: float = math.nan
    k: float = math.nan
    belt_speed_mps: float = math.nan
    ground_speed_mps: float = math.nan
    in_band: float = math.nan
    lag_s: float = math.nan
    u_lag_s: float = math.nan
    drift_per_hour: float = math.nan
    u_drift_per_hour: float = math.nan
    separation_m: float = math.nan
    u_separation_m: float = math.nan
    duration_s: float = 0.0
    parts: dict[RatioPart, float] = field(default_factory=dict)
    wear_rel: float = 0.0
    warnings: tuple[Statement, ...] = ()


def cannot_tell(reason: Statement) -> Pace:
    """The answer where there is nothing to compare."""
    return Pace(Decision(Verdict.CANNOT_TELL, math.nan, reason))


@dataclass(frozen=True, slots=True, eq=False)
class Comparison:
    """The answer with the two speeds on one line of time and the part that counts.

    `scatter` is that of belt minus ratio times ground. All but `pace` are None where there was
    nothing to compare.
    """

    pace: Pace
    aligned: Aligned | None = None
    steady: NDArray[np.bool_] | None = None
    scatter: Scatter | None = None


def compare(belt: SpeedSeries, ground: SpeedSeries, limits: PaceLimits) -> Comparison:
    """Compare two speed series over the time they share."""
    for says, series in (
        (PaceSays.BELT_WITHOUT_VALUE, belt),
        (PaceSays.GROUND_WITHOUT_VALUE, ground),
    ):
        if not np.isfinite(series.speed_mps).any():
            return _cannot_tell(says, messages=series.speed_mps.size)
    both = align(belt, ground)
    if both is None:
        return _cannot_tell(PaceSays.NO_TIME_IN_COMMON)
    moving = both.valid & (both.ground_mps > MOVING_MPS)
    moving_s = float(moving.sum()) * both.step_s
    if moving_s < LEAST_S:
        return _cannot_tell(
            PaceSays.HARDLY_MOVED, least_mps=MOVING_MPS, moved_s=moving_s, least_s=LEAST_S
        )
    steady = steady_part(both.ground_mps, both.step_s, moving)
    steady_s = float(steady.sum()) * both.step_s
    if steady_s < LEAST_S:
        return _cannot_tell(PaceSays.HARDLY_STEADY, steady_s=steady_s, least_s=LEAST_S)
    scatter = scatter_of_pass(both.belt_mps[steady], both.ground_mps[steady], both.step_s)
    return Comparison(_judge(belt, ground, both, steady, scatter, limits), both, steady, scatter)


def _cannot_tell(says: PaceSays, **values: float) -> Comparison:
    return Comparison(cannot_tell(statement(says, **values)))


def _judge(
    belt: SpeedSeries,
    ground: SpeedSeries,
    both: Aligned,
    steady: NDArray[np.bool_],
    scatter: Scatter,
    limits: PaceLimits,
) -> Pace:
    b, g = both.belt_mps[steady], both.ground_mps[steady]
    ratio, mean_ground = float(b.sum() / g.sum()), float(g.mean())
    u_mean, U_mean = scatter.of_mean(b.size)
    steady_s = b.size * both.step_s
    size = mean_ground * max(abs(ratio), 1e-9)
    parts = {RatioPart.SCATTER: u_mean / size}
    parts[RatioPart.BELT_SHARED] = belt.u_common_rel
    parts[RatioPart.GROUND_SHARED] = ground.u_common_rel
    seen_mps = math.sqrt(float(scatter.weight @ scatter.variance))
    parts[RatioPart.BELT_OWN] = own_accuracy(belt, steady_s, seen_mps)
    parts[RatioPart.GROUND_OWN] = own_accuracy(ground, steady_s, seen_mps)
    if math.isfinite(both.lag_s):
        parts[RatioPart.LAG] = abs(float(b[-1] - b[0])) * both.u_lag_s / max(float(b.sum()), 1e-9)
        parts[RatioPart.LAG] /= both.step_s
    u_rel = math.sqrt(sum(part**2 for part in parts.values()))
    U_rel = math.hypot(U_mean / size, 2 * math.sqrt(max(u_rel**2 - (u_mean / size) ** 2, 0.0)))
    k = U_rel / u_rel if u_rel > 0 else 2.0
    u_ratio = abs(ratio) * u_rel
    drift, u_drift = _drift(both.time_s[steady], b, g, ratio, both.step_s)
    away = int(_holes(both, steady).sum())
    held_s, u_apart_mps = (b.size + away) * both.step_s, _u_apart(scatter, away, b.size)
    return Pace(
        decision=decide_worn(ratio, u_ratio, k, limits, belt.wear_rel),
        ratio=ratio,
        u_ratio=u_ratio,
        U_ratio=k * u_ratio,
        k=k,
        belt_speed_mps=float(b.mean()),
        ground_speed_mps=mean_ground,
        in_band=_in_band(both, steady, limits),
        lag_s=both.lag_s,
        u_lag_s=both.u_lag_s,
        drift_per_hour=drift,
        u_drift_per_hour=u_drift,
        separation_m=float(np.mean(b - g)) * held_s,
        u_separation_m=math.hypot(k / 2 * u_ratio * mean_ground, u_apart_mps) * held_s,
        duration_s=steady_s,
        parts=parts,
        wear_rel=belt.wear_rel,
        warnings=(*_doubts(both, steady), *_wear(belt)),
    )


def decide_worn(
    ratio: float, u_ratio: float, k: float, limits: PaceLimits, wear_rel: float
) -> Decision:
    """The verdict on a ratio that may be anything up to `wear_rel` more than its pulses tell.

    Wear is the same in every pass of a machine and goes one way. Drift, changes and whether this
    pass is like the last do not feel it, so it is no part of the ratio's uncertainty; the match
    does, on one side: a plain verdict is one with no wear and with the most. Where the two
    differ, it is the conditional one of the side on which the ratio by pulses lies.
    """
    new, worn = (
        decide(factor * ratio, factor * u_ratio, limits.low, limits.high, U=factor * k * u_ratio)
        for factor in (1.0, 1.0 + wear_rel)
    )
    if new.verdict is worn.verdict or new.verdict is Verdict.CANNOT_TELL:
        return new
    if worn.verdict is Verdict.CANNOT_TELL:
        return worn
    inside = limits.low <= ratio <= limits.high
    verdict = Verdict.CONDITIONAL_PASS if inside else Verdict.CONDITIONAL_FAIL
    reason = statement(DecisionSays.JUST_INSIDE if inside else DecisionSays.JUST_OUTSIDE)
    return Decision(verdict, new.conformance_probability, reason)


def _wear(belt: SpeedSeries) -> tuple[Statement, ...]:
    if belt.wear_rel <= 0:
        return ()
    return (statement(PaceSays.RATIO_BUT_FOR_WEAR, wear_rel=belt.wear_rel),)


def scatter_of_pass(belt: Floats, ground: Floats, step_s: float) -> Scatter:
    """The scatter of belt minus ratio times ground (n,), less the clear changes of its mean.

    A valve that was bumped in mid-pass made this pass's ratio what it is: that is no
    uncertainty of it.
    """
    error_mps = belt - belt.sum() / ground.sum() * ground
    width = max(1, round(BAND_MEAN_S / step_s), -(-error_mps.size // MOST_MEANS))
    starts = np.arange(0, error_mps.size, width)
    count = np.diff(np.append(starts, error_mps.size))
    seconds = np.add.reduceat(error_mps, starts) / count
    points = change_points(seconds / float(ground.mean()), width * step_s, CLEAR_CHANGE)
    parts = np.split(error_mps, [point.index * width for point in points])
    return scatter_of(np.concatenate([part - part.mean() for part in parts]), step_s)


def _holes(both: Aligned, steady: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(n,) True where a source was away while the tractor was at work on both sides."""
    known = both.valid
    at = np.flatnonzero(known)
    before = at[np.clip(np.searchsorted(at, np.arange(known.size), "right") - 1, 0, None)]
    after = at[np.clip(np.searchsorted(at, np.arange(known.size)), None, at.size - 1)]
    return np.asarray(~known & steady[before] & steady[after])


def _u_apart(scatter: Scatter, away: int, steady: int) -> float:
    """What holes of `away` steps beside `steady` ones add to the standard uncertainty of the mean
    of belt minus ground, m/s.

    There the two came apart at the mean rate, but for the scatter of so short a stretch.
    """
    return away / (away + steady) * scatter.of_mean(away)[1] / 2 if away else 0.0


def own_accuracy(series: SpeedSeries, duration_s: float, seen_mps: float = 0.0) -> float:
    """Relative u of a series' mean from the accuracy its source claims for each value.

    The error of readings that move from one to the next averages out over its memory; that
    of a coarse reading that stays the same does not. Of what moves, only that counts here
    which the scatter that was seen (`seen_mps` of one value, with room for the chance in it)
    does not show already.
    """
    good = np.isfinite(series.speed_mps) & np.isfinite(series.u_mps)
    if good.sum() < 2:
        return 0.0
    speed_mps = series.speed_mps[good]
    u_mps = math.sqrt(float(np.mean(series.u_mps[good] ** 2)))
    moves = float(np.mean(np.diff(speed_mps) != 0)) > 0.2
    share = 1.0
    if moves:
        share = min(1.0, 2 * ACCURACY_MEMORY_S / duration_s)
        u_mps = math.sqrt(max(u_mps**2 - 2 * seen_mps**2, 0.0))
    mean_mps = abs(float(speed_mps.mean()))
    return u_mps * math.sqrt(share) / mean_mps if mean_mps > 0 else 0.0


def _drift(
    time_s: Floats, belt: Floats, ground: Floats, ratio: float, step_s: float
) -> tuple[float, float]:
    """Change of the ratio an hour: belt = ratio·ground + D·ground·(t − t̄), with its u."""
    lever = ground * (time_s - float(np.average(time_s, weights=ground)))
    strength = float(lever @ lever)
    if strength == 0:
        return math.nan, math.nan
    slope = float(lever @ (belt - ratio * ground)) / strength
    left = belt - ratio * ground - slope * lever
    U_one = scatter_of(left, step_s, trend=True).long_run()[1]
    return 3600 * slope, 3600 * U_one / 2 / math.sqrt(strength)


def _in_band(both: Aligned, steady: NDArray[np.bool_], limits: PaceLimits) -> float:
    """Share of steady seconds whose mean ratio lies within the limits."""
    width = max(1, round(BAND_MEAN_S / both.step_s))
    edges = np.arange(0, both.time_s.size, width)
    belt = np.add.reduceat(np.where(steady, both.belt_mps, 0.0), edges)
    ground = np.add.reduceat(np.where(steady, both.ground_mps, 0.0), edges)
    count = np.add.reduceat(steady.astype(np.int64), edges)
    used = count > 0
    ratio = belt[used] / ground[used]
    inside = (ratio >= limits.low) & (ratio <= limits.high)
    return float(count[used] @ inside) / float(count.sum())


def _doubts(both: Aligned, steady: NDArray[np.bool_]) -> tuple[Statement, ...]:
    doubts = []
    if not math.isfinite(both.lag_s):
        doubts.append(statement(PaceSays.NO_LAG_FOUND))
    holes_rel = 1 - float(both.valid.mean())
    if holes_rel > 0.02:
        doubts.append(statement(PaceSays.TIMES_WITHOUT_VALUE, holes_rel=holes_rel))
    left_out_s = float((both.valid & ~steady).sum()) * both.step_s
    if left_out_s > 1:
        doubts.append(statement(PaceSays.LEFT_OUT, left_out_s=left_out_s))
    return tuple(doubts)


def seconds_to_settle(answer: Pace, limits: PaceLimits) -> float:
    """More seconds of the same that would bring the nearest limit outside U; inf if none would, or
    nobody would drive for so long.

    Only the scatter shrinks with time, as 1/√t; what is shared stays.
    """
    room = min(abs(answer.ratio - limits.low), abs(answer.ratio - limits.high)) / answer.ratio
    scatter = answer.k * answer.parts[RatioPart.SCATTER]
    shared = math.sqrt(max((answer.U_ratio / answer.ratio) ** 2 - scatter**2, 0.0))
    if room <= shared or not math.isfinite(room):
        return math.inf
    needed = answer.duration_s * scatter**2 / (room**2 - shared**2)
    more_s = max(0.0, needed - answer.duration_s)
    return more_s if more_s <= LONGEST_MORE_S else math.inf

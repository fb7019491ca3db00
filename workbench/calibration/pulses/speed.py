"""Belt speed from clean edges.

One intercept per tooth with a common slope removes every tooth spacing error exactly; on
Z teeth and N = Z·R edges with white time stamp jitter σ the variance of the period is
12σ²/[N(N² − Z²)], a factor R²/(R² − 1) above the bound for a perfect wheel. Where the belt
itself wanders, the residuals hang together and the mean speed over the run is what the end
points say (cf. Rubiola et al., IEEE Trans. UFFC 63(7), 2016, on Π and Ω counters); the
uncertainty is then that of the two end points alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.calibration.pulses.edges import CleanEdges
from workbench.calibration.pulses.period import NO_TIME_S
from workbench.calibration.pulses.target_wheel import tooth_signature
from workbench.calibration.statistics.coverage import coverage_factor
from workbench.calibration.statistics.spread import robust_spread

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

TOOTH_SPACING_REL = 0.01
"""Spacing error of a tooth assumed where it cannot be removed, as a share of the pitch;
chosen, on the safe side of what flame-cut and stamped wheels show (common practice)."""

OUTLIER = 6.0
"""Residuals this many robust standard deviations out are noise taken for a tooth."""

ALIKE, ALIKE_IN_FEW = 4.0, 2.0
"""Standard deviations by which residuals hang together before the belt is said to wander. In few
a wander hardly shows: there the end points are rather taken once too often."""

FEW = 60
"""Degrees of freedom that are few."""

ENOUGH_TO_COMPARE = 10
"""Turns from which their mean residuals are held against one another."""

COARSE = 0.6
"""Steps of the clock below which the jitter does not smear its rounding: 0.29 is rounding alone."""

STEP_FROM = 4096
"""Edges that tell the clock's step."""

ENOUGH_TURNS = 3
"""Turns from which the scatter of a tooth's lateness tells how well it is known."""


@dataclass(frozen=True, slots=True)
class PeriodFit:
    """Mean time from tooth to tooth over a run.

    `method` is 'per-tooth' (least squares, steady belt), 'end points' (wandering belt) or
    'line' (fewer than two turns; the spacing error is allowed for). `jitter_s` is the
    standard deviation of one time stamp.
    """

    period_s: float
    u_period_s: float
    dof: float
    method: str
    jitter_s: float
    span_s: float
    teeth_passed: int

    def bridged(self, edges: CleanEdges) -> PeriodFit:
        """The mean over the interruptions too, each at the rate of the teeth on its two sides.

        Pulses are often lost because the belt is slow: the mean over the rest is then too
        fast. By how much the bridging moves the mean is taken as its standard uncertainty.
        """
        gap_s, rate_hz = _interruptions(edges)
        if not gap_s.size:
            return self
        pitches = self.span_s / self.period_s + float(gap_s @ rate_hz)
        period_s = (self.span_s + float(gap_s.sum())) / pitches
        u_period_s = math.hypot(self.u_period_s, period_s - self.period_s)
        return replace(self, period_s=period_s, u_period_s=u_period_s)


@dataclass(frozen=True, slots=True)
class BeltSpeed:
    """Mean belt speed over a run with its uncertainty (GUM) and what it is made of.

    `parts` holds the relative standard uncertainty of each contribution.
    """

    speed_mps: float
    u_mps: float
    U_mps: float
    k: float
    dof: float
    pulse_rate_hz: float
    u_pulse_rate_hz: float
    duration_s: float
    turns: float
    method: str
    jitter_s: float
    parts: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class SpeedSeries:
    """Belt speed against time: each value is the mean over one turn of the target wheel.

    All (n,): `time_s` the middle of the turn, `speed_mps`, and `u_mps` the standard
    uncertainty of each value on its own. What all values share, the metres a pulse and
    the clock, is apart in `u_common_rel`; `wear_rel` is how much faster the belt may be at most
    where rods wear or mud sits on a roll, which pulses alone do not show.
    """

    time_s: Floats
    speed_mps: Floats
    u_mps: Floats
    u_common_rel: float
    wear_rel: float = 0.0

    def between(self, from_s: float, to_s: float) -> SpeedSeries:
        """What of it lies from `from_s` to `to_s`."""
        kept = (self.time_s >= from_s) & (self.time_s <= to_s)
        return replace(
            self, time_s=self.time_s[kept], speed_mps=self.speed_mps[kept], u_mps=self.u_mps[kept]
        )


def fit_period(edges: CleanEdges, teeth: int) -> PeriodFit:
    """Mean tooth period over the run.

    Raises WrongInput where fewer than 3 edges are left, no two of them are neighbours, or all came
    at one moment.
    """
    if edges.time_s.size < 3:
        raise WrongInput(
            "{count} edges are left; a speed needs at least 3.", count=int(edges.time_s.size)
        )
    if not edges.time_s[-1] > edges.time_s[0]:
        raise WrongInput("all edges came at one and the same moment.")
    if not np.any(np.diff(edges.starts, append=edges.time_s.size) > 1):
        raise WrongInput("no two edges are known to be neighbours; a speed needs them.")
    time_s = edges.time_s - edges.time_s[0]
    segment = edges.segment()
    group = segment * teeth + edges.tooth % teeth
    turns = [(edges.tooth[last - 1] - edges.tooth[first]) / teeth for first, last in edges.spans()]
    if max(turns) < 2:
        return _few_turns(edges)
    good = np.ones(time_s.size, dtype=np.bool_)
    period_s, residual_s = _common_slope(time_s, edges.tooth, group, good)
    good = _no_outliers(residual_s)
    if not good.all():
        period_s, residual_s = _common_slope(time_s, edges.tooth, group, good)
    freedom = float(good.sum() - np.unique(group[good]).size - 1)
    step_s = clock_step(time_s)
    # A clock that is coarse beside the jitter rounds neighbours alike: nothing averages out.
    coarse = float(np.std(residual_s[good])) < COARSE * step_s
    if (
        coarse
        or freedom < 1
        or _hangs_together(residual_s[good], edges.tooth[good], teeth, freedom)
    ):
        return _end_points(edges, teeth, good, step_s)
    return _steady_fit(edges, period_s, residual_s, group, good, freedom)


def _common_slope(time_s: Floats, tooth: Ints, group: Ints, good: Flags) -> tuple[float, Floats]:
    """Least-squares slope common to all groups, and every edge's residual."""
    count = np.bincount(group[good], minlength=int(group.max()) + 1)
    count = np.maximum(count, 1)

    def centred(values: Floats) -> Floats:
        mean = np.bincount(group[good], weights=values[good], minlength=count.size) / count
        return np.asarray(values - mean[group])

    x, y = centred(tooth.astype(np.float64)), centred(time_s)
    slope = float(x[good] @ y[good]) / float(x[good] @ x[good])
    return slope, y - slope * x


def _no_outliers(residual_s: Floats) -> Flags:
    """Edges whose residual fits those around them: a wandering belt is no outlier.

    The two edges at each end have no middle to be held against: they are held against the
    line through their two neighbours, by what that usually leaves. So is the middle's own
    measure: on a belt that only speeds up, most edges are the middle of those around them.
    """
    if residual_s.size < 5:
        return np.ones(residual_s.size, dtype=np.bool_)
    windows = np.lib.stride_tricks.sliding_window_view(residual_s, 5)
    inner, bend = residual_s[2:-2] - np.median(windows, axis=1), np.diff(residual_s, n=2)

    usual_s = robust_spread(bend)
    within = np.abs(inner) <= max(
        OUTLIER * max(robust_spread(inner), usual_s / math.sqrt(6)), 1e-12
    )
    ends = np.abs(bend[[0, 0, -1, -1]]) <= max(OUTLIER * usual_s, 1e-12)
    return np.insert(within, [0, 0, inner.size, inner.size], ends)


def _hangs_together(residual_s: Floats, tooth: Ints, teeth: int, freedom: float) -> bool:
    """Whether neighbouring residuals are alike: the belt wandered, the jitter is not white.

    Looked at from edge to edge, and from turn to turn, where a slow wander shows under jitter.
    """
    total = float(residual_s @ residual_s)
    if total == 0:
        return False
    lag_1 = float(residual_s[1:] @ residual_s[:-1]) / total
    if lag_1 > (ALIKE if freedom >= FEW else ALIKE_IN_FEW) / math.sqrt(freedom):
        return True
    turn = (tooth - tooth[0]) // teeth
    count = np.maximum(np.bincount(turn), 1)
    sums = np.bincount(turn, weights=residual_s)
    excess = float(np.sum(sums**2 / count)) / (count.size * total / freedom)
    return count.size >= ENOUGH_TO_COMPARE and excess > 1 + ALIKE * math.sqrt(2 / count.size)


def clock_step(time_s: Floats) -> float:
    """The step of the clock behind edge times (n,), s; 0 where none shows."""
    interval_s = np.round(np.diff(time_s[:STEP_FROM]), 12)
    steps = np.diff(np.unique(interval_s))
    if steps.size < 1:
        return 0.0
    step_s = float(steps.min())
    off = interval_s / step_s
    return step_s if float(np.abs(off - np.rint(off)).max()) < 0.01 else 0.0


def _steady_fit(
    edges: CleanEdges,
    period_s: float,
    residual_s: Floats,
    group: Ints,
    good: Flags,
    dof: float,
) -> PeriodFit:
    count = np.bincount(group[good])
    jitter_s = math.sqrt(float(residual_s[good] @ residual_s[good]) / dof)
    tooth = edges.tooth[good].astype(np.float64)
    mean = np.bincount(group[good], weights=tooth) / np.maximum(count, 1)
    spread = float(np.sum((tooth - mean[group[good]]) ** 2))
    return PeriodFit(
        period_s,
        jitter_s / math.sqrt(spread),
        dof,
        "per-tooth",
        jitter_s,
        *_extent(edges),
    )


def _end_points(edges: CleanEdges, teeth: int, good: Flags, step_s: float) -> PeriodFit:
    """Mean period from both ends of every segment, each edge put where an even wheel's is.

    The tooth offsets come from the signature, which a wander does not reach, unlike the
    intercepts of the common slope; where too few turns tell them, from what wheels show.
    """
    # Values two apart still overlap; a third of them are worth counting.
    jitters_s = _jitters(edges, teeth, 0, edges.time_s.size)
    if not jitters_s.size:
        return _few_turns(edges)
    dof = max(1.0, jitters_s.size / 3)
    jitter_s = max(robust_spread(jitters_s), step_s / math.sqrt(12))
    offset_rel, u_offset_rel = _known_offsets(edges, teeth)
    span_s, passed, variance = 0.0, 0, 0.0
    for first, last in edges.spans():
        inside = first + np.flatnonzero(good[first:last])
        if inside.size < 2:
            continue
        ends = inside[[0, -1]]
        time_s, tooth = edges.time_s[ends], edges.tooth[ends]
        pitches, at = int(np.ptp(tooth)), tooth % teeth
        period_s = float(np.ptp(time_s)) / pitches
        span_s += float(np.diff(time_s - period_s * offset_rel[at])[0])
        passed += pitches
        apart = 0.0 if at[0] == at[1] else float(np.sum(u_offset_rel[at] ** 2))
        variance += 2 * jitter_s**2 + period_s**2 * apart
    mean_s, u_mean_s = span_s / passed, math.sqrt(variance) / passed
    return PeriodFit(mean_s, u_mean_s, dof, "end points", jitter_s, *_extent(edges))


def _known_offsets(edges: CleanEdges, teeth: int) -> tuple[Floats, Floats]:
    """(lateness (Z,), its standard uncertainty), each tooth's own turns weighed with what
    cut wheels show."""
    signature = tooth_signature(edges, teeth)
    told = signature.seen >= ENOUGH_TURNS
    u_own = np.where(told, signature.u_offset_rel, np.inf)
    share = TOOTH_SPACING_REL**2 / (TOOTH_SPACING_REL**2 + u_own**2)
    offset_rel = share * np.where(told, signature.offset_rel, 0.0)
    return offset_rel, TOOTH_SPACING_REL * np.sqrt(1 - share)


def _extent(edges: CleanEdges) -> tuple[float, int]:
    """Seconds and teeth from first to last edge of every segment, added up."""
    spans = edges.spans()
    time_s = sum(float(edges.time_s[last - 1] - edges.time_s[first]) for first, last in spans)
    return time_s, sum(int(edges.tooth[last - 1] - edges.tooth[first]) for first, last in spans)


NEAR_TEETH = 8
"""Intervals on each side of an interruption that tell the rate there."""


def _interruptions(edges: CleanEdges) -> tuple[Floats, Floats]:
    """Seconds of each interruption and the tooth rate beside it."""
    spans = edges.spans()
    gap_s = edges.time_s[edges.starts[1:]] - edges.time_s[edges.starts[1:] - 1]
    rates = [_end_rates(edges, first, last) for first, last in spans]
    sides = np.array(
        [(one[1], other[0]) for one, other in pairwise(rates)], dtype=np.float64
    ).reshape(-1, 2)
    known = np.isfinite(sides).any(axis=1)
    return gap_s[known], np.nanmean(sides[known], axis=1)


def _end_rates(edges: CleanEdges, first: int, last: int) -> tuple[float, float]:
    """Tooth rate at the beginning and at the end of a segment, NaN where it is one edge."""
    pitches, interval_s = np.diff(edges.tooth[first:last]), np.diff(edges.time_s[first:last])
    if interval_s.size == 0:
        return math.nan, math.nan
    rate_hz = pitches / np.maximum(interval_s, NO_TIME_S)
    return float(np.median(rate_hz[:NEAR_TEETH])), float(np.median(rate_hz[-NEAR_TEETH:]))


def _jitters(edges: CleanEdges, teeth: int, first: int, last: int) -> Floats:
    """As many values as there are, each with the standard deviation of one time stamp.

    From second differences of the turns that begin at three successive teeth, which neither
    tooth spacing nor a smooth wander moves.
    """
    start, end = _same_tooth(edges, np.arange(first, last), teeth)
    next_to = (np.diff(start) == 1) & (np.diff(edges.tooth[start]) == 1)
    bend_s = np.diff(edges.time_s[end] - edges.time_s[start], n=2)[next_to[1:] & next_to[:-1]]
    # 1 −2 1 at the turns' ends and the same at their beginnings, which overlap on few teeth.
    return np.asarray(bend_s / math.sqrt({1: 20, 2: 10}.get(teeth, 12)))


def _few_turns(edges: CleanEdges) -> PeriodFit:
    """From the first to the last edge of every segment, which a wander of the belt does not move;
    what neighbouring edges scatter is allowed for, or a tooth spacing error that cannot be
    removed, whichever is more, as it stands at the two ends."""
    bends_s = [
        np.diff(edges.time_s[first:last], n=2)
        for first, last in edges.spans()
        if np.all(np.diff(edges.tooth[first:last]) == 1)
    ]
    bend_s = np.concatenate([*bends_s, np.empty(0)])
    jitter_s = math.sqrt(float(bend_s @ bend_s) / 6 / max(bend_s.size, 1))
    span_s, passed = _extent(edges)
    period_s = span_s / passed
    apart_s = math.sqrt(2) * max(TOOTH_SPACING_REL * period_s, jitter_s)
    dof = max(1.0, bend_s.size / 2)
    return PeriodFit(period_s, apart_s / passed, dof, "line", jitter_s, span_s, passed)


def belt_speed(
    edges: CleanEdges,
    teeth: int,
    metre_per_pulse_m: float,
    u_metre_per_pulse_m: float,
    u_clock_rel: float = 0.0,
    wear_rel: float = 0.0,
) -> BeltSpeed:
    """Mean belt speed over the run, v = metres a pulse ÷ period.

    The belt may be faster by anything up to `wear_rel`, never slower. The speed stays what pulses
    and drawing tell, as the bench shows it while the belt runs, so that the whole of it is
    uncertainty: the root mean square of an arc sine distribution about its end (JCGM 101,
    6.4.6; GUM F.2.4.5 of a correction not made), of which twice holds all wear there can be.

    Relative contributions add in squares (GUM 5.1.6), degrees of freedom after
    Welch-Satterthwaite (GUM G.4.1). Raises WrongInput where there are too few edges.
    """
    fit = fit_period(edges, teeth).bridged(edges)
    parts = {
        "period": fit.u_period_s / fit.period_s,
        "metres a pulse": u_metre_per_pulse_m / metre_per_pulse_m,
        "clock": u_clock_rel,
    }
    if wear_rel > 0:
        parts["wear"] = math.sqrt(3 / 8) * wear_rel
    u_rel = math.sqrt(sum(part**2 for part in parts.values()))
    dof = fit.dof * (u_rel / parts["period"]) ** 4 if parts["period"] > 0 else math.inf
    k = coverage_factor(dof)
    speed_mps = metre_per_pulse_m / fit.period_s
    return BeltSpeed(
        speed_mps=speed_mps,
        u_mps=speed_mps * u_rel,
        U_mps=k * speed_mps * u_rel,
        k=k,
        dof=dof,
        pulse_rate_hz=1 / fit.period_s,
        u_pulse_rate_hz=parts["period"] / fit.period_s,
        duration_s=fit.span_s,
        turns=fit.teeth_passed / teeth,
        method=fit.method,
        jitter_s=fit.jitter_s,
        parts=parts,
    )


def speed_series(
    edges: CleanEdges,
    teeth: int,
    metre_per_pulse_m: float,
    u_common_rel: float = 0.0,
    step: int | None = None,
) -> SpeedSeries:
    """Speed against time, a value every `step` edges (default a quarter turn).

    Each value is one whole turn of the wheel, from a tooth to the same tooth, so that
    spacing errors cancel; where that tooth was missed, the value is left out. Empty where
    no segment holds a turn.
    """
    step = max(1, teeth // 4) if step is None else step
    start = np.arange(0, edges.time_s.size, step)
    start, end = _same_tooth(edges, start, teeth)
    turn_s = edges.time_s[end] - edges.time_s[start]
    good = turn_s > 0
    start, end, turn_s = start[good], end[good], turn_s[good]
    speed_mps = teeth * metre_per_pulse_m / turn_s
    middle_s = edges.time_s[start] + 0.5 * turn_s
    u_mps = speed_mps * math.sqrt(2) * _jitter_along(edges, teeth, middle_s) / turn_s
    return SpeedSeries(middle_s, speed_mps, u_mps, u_common_rel)


def _same_tooth(edges: CleanEdges, start: Ints, ahead: int) -> tuple[Ints, Ints]:
    """Pairs (i, j) of edges exactly `ahead` teeth apart within a segment."""
    wanted = edges.tooth[start] + ahead
    end = np.minimum(start + ahead, edges.tooth.size - 1)
    # Where no tooth is missed, that is the edge; elsewhere it comes earlier by as many.
    other = np.flatnonzero(edges.tooth[end] < wanted)
    end[other] = np.searchsorted(edges.tooth, wanted[other])
    end = np.minimum(end, edges.tooth.size - 1)
    late = np.flatnonzero(edges.tooth[end] > wanted)
    while late.size:
        end[late] -= 1
        late = late[edges.tooth[end[late] - 1] >= wanted[late]]
    good = edges.tooth[end] == wanted
    if edges.starts.size > 1:
        segment = np.searchsorted(edges.starts, np.stack((start, end)), side="right")
        good &= segment[0] == segment[1]
    return start[good], end[good]


JITTER_BLOCK = 1024
"""Edges from which one value of the jitter is taken."""

JITTER_BLOCKS = 256
"""Values of the jitter over a run; between them it is interpolated."""


def _jitter_along(edges: CleanEdges, teeth: int, time_s: Floats) -> Floats:
    """Standard deviation of one time stamp around each of `time_s`."""
    blocks = -(-edges.time_s.size // JITTER_BLOCK)
    chosen = np.unique(np.linspace(0, blocks - 1, min(blocks, JITTER_BLOCKS)).astype(np.int64))
    at_s, jitter_s = [], []
    for first in (chosen * JITTER_BLOCK).tolist():
        around_s = _jitters(edges, teeth, first, min(first + JITTER_BLOCK, edges.time_s.size))
        if around_s.size >= 7:
            at_s.append(float(edges.time_s[first]))
            jitter_s.append(robust_spread(around_s))
    if not at_s:
        return np.full(time_s.size, math.nan)
    least_s = clock_step(edges.time_s) / math.sqrt(12)
    return np.maximum(np.interp(time_s, at_s, jitter_s), least_s)

"""The drop-out run: the belt is slowed until teeth go missing.

A tooth is seen while its voltage, in proportion to its speed, exceeds the threshold. With
run-out the side that stands away from the pickup goes first:
P(seen) = Φ((ln v − μ − a·cos θ − b·sin θ)/σ), fitted by maximum likelihood; σ is the noise.
The drop-out speed is that at which the weakest side, or a single weaker tooth, is seen half
of the time: exp(μ + √(a² + b²)).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.calibration.gap.counting import count_on, distinct
from workbench.calibration.gap.stand_outs import Usual, find_stand_outs
from workbench.calibration.pulses.edges import clean

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

LEAST_SPREAD = 0.003
"""Smallest σ: no belt's speed is known better from tooth to tooth; chosen."""
USUAL_LOG_SPEED = Usual(spread=0.03, freedom=8, least=0.10)
"""Logarithm of the speeds at which single teeth of a sound wheel go; chosen."""
SLOWED_TO = 0.8
"""Share of the full rate above which a belt was not slowed; chosen."""
FAR_ABOVE = 1.5
_ALPHA = 0.001
_FEWEST_MISSED = 3


@dataclass(frozen=True, slots=True, eq=False)
class Passages:
    """Every tooth that went by, seen or not: (n,) place on the wheel from the mark, tooth
    rate, seen. The rate is the mean over about a turn."""

    place: Ints
    tooth_hz: Floats
    seen: Flags


@dataclass(frozen=True, slots=True)
class DropOut:
    """Tooth rate at which teeth go missing, with its relative standard uncertainty.

    NaN where none went missing: it then lies below `lowest_hz`. `tooth` from 1 at the mark
    is the first to go, `first_hz` the highest rate at which any was missed. `spread_rel` is
    σ. `missed` of `passages` were not seen.
    """

    tooth_hz: float
    u_rel: float
    tooth: int
    angle_deg: float
    first_hz: float
    lowest_hz: float
    highest_hz: float
    spread_rel: float
    missed: int
    passages: int


def find_drop_out(time_s: Floats, teeth: int, first_tooth_s: float | None = None) -> DropOut:
    """The drop-out rate from a run `time_s` (n,) that slows until teeth go missing.

    `first_tooth_s` is when tooth 1 went by, the first edge's time if None. Raises
    WrongInput where the belt was not slowed, or fewer than two turns are there.
    """
    passages = follow(time_s, teeth, first_tooth_s)
    rate = passages.tooth_hz
    lowest, highest = float(rate.min()), float(rate.max())
    passages = _without_gone(passages, teeth)
    missed = int(np.count_nonzero(~passages.seen))
    if lowest > SLOWED_TO * highest:
        raise _not_slowed()
    if missed < _FEWEST_MISSED:
        nan = math.nan
        return DropOut(nan, nan, 0, nan, nan, lowest, highest, nan, missed, rate.size)
    first_hz = float(passages.tooth_hz[~passages.seen].max())
    tooth, found = _weakest(passages, teeth, first_hz)
    return DropOut(
        tooth_hz=math.exp(found.log_hz),
        u_rel=math.hypot(found.u, LEAST_SPREAD),
        tooth=tooth + 1,
        angle_deg=found.angle_deg,
        first_hz=first_hz,
        lowest_hz=lowest,
        highest_hz=highest,
        spread_rel=found.spread,
        missed=missed,
        passages=rate.size,
    )


def _weakest(passages: Passages, teeth: int, first_hz: float) -> tuple[int, _Threshold]:
    """(tooth from 0, its threshold): a single tooth that goes well before all, or a side."""
    single = _single_tooth(passages, teeth)
    others = passages if single is None else _without(passages, passages.place == single[0])
    # Far above the threshold every tooth is seen, whatever the fit.
    near = _without(others, others.tooth_hz > FAR_ABOVE * first_hz)
    side = None if near.seen.all() else _fit(near, teeth)
    if single is None:
        assert side is not None  # some tooth was missed, and no single one is left out
        return round(side.angle_deg / 360.0 * teeth) % teeth, side
    tooth, log_hz, bracket = single
    spread = side.spread if side else LEAST_SPREAD
    u = math.hypot(bracket, spread / math.sqrt(2))
    return tooth, _Threshold(log_hz, u, tooth * 360.0 / teeth, spread)


def follow(time_s: Floats, teeth: int, first_tooth_s: float | None = None) -> Passages:
    """Every tooth from full speed on with its rate, also where half the wheel goes missing.

    The count stops where it is no longer sure: after a hole of a turn and a half.
    """
    time_s = distinct(time_s)
    start = _full_speed(time_s, teeth)
    if start + 2 * teeth > time_s.size:
        raise _not_slowed()
    edge_s, tooth = count_on(time_s[start:], teeth)
    if tooth[-1] < 2 * teeth:
        raise _not_slowed()
    grid = np.arange(tooth[-1] + 1)
    grid_s = np.interp(grid, tooth, edge_s)
    half = max(1, teeth // 2)
    low, high = np.maximum(grid - half, 0), np.minimum(grid + half, grid.size - 1)
    rate = (high - low) / (grid_s[high] - grid_s[low])
    first = _from_first(
        time_s, edge_s, tooth, time_s[0] if first_tooth_s is None else first_tooth_s
    )
    return Passages((grid - first) % teeth, rate, np.isin(grid, tooth, assume_unique=True))


def _full_speed(time_s: Floats, teeth: int) -> int:
    """Index of the last edge before the belt slows: the end of the fastest stretch before its
    greatest fall. That the speed was raised again afterwards is no new beginning."""
    if time_s.size < 2 * teeth + 1:
        raise WrongInput(
            "{count} pulses are fewer than two turns of a wheel of {teeth} teeth.",
            count=time_s.size,
            teeth=teeth,
        )
    turn_s = time_s[teeth:] - time_s[:-teeth]
    fastest_s = np.minimum.accumulate(turn_s)
    slowest = int(np.argmax(turn_s / fastest_s))
    near = np.flatnonzero(turn_s[: slowest + 1] <= 1.05 * fastest_s[slowest])
    return int(near[-1])


def _from_first(time_s: Floats, edge_s: Floats, tooth: Ints, first_tooth_s: float) -> int:
    """Running index of tooth 1, which went by at `first_tooth_s`, before or in the run."""
    if first_tooth_s > edge_s[0]:
        return round(float(np.interp(first_tooth_s, edge_s, tooth)))
    before = clean(time_s[time_s <= edge_s[0]])
    passed = np.interp([first_tooth_s, edge_s[0]], before.time_s, before.tooth)
    return -round(float(passed[1] - passed[0]))


def _without_gone(passages: Passages, teeth: int) -> Passages:
    """The passages without the teeth that are missing at full speed as well."""
    fast = passages.tooth_hz >= np.quantile(passages.tooth_hz, 0.75)
    passed = np.bincount(passages.place[fast], minlength=teeth)
    missed = np.bincount(passages.place[fast & ~passages.seen], minlength=teeth)
    return _without(passages, (missed > 0.5 * passed)[passages.place])


def _without(passages: Passages, out: Flags) -> Passages:
    return Passages(passages.place[~out], passages.tooth_hz[~out], passages.seen[~out])


@dataclass(frozen=True, slots=True)
class _Threshold:
    """ln of the drop-out rate, its standard uncertainty, the weakest side's angle, σ."""

    log_hz: float
    u: float
    angle_deg: float
    spread: float


def _fit(passages: Passages, teeth: int) -> _Threshold:
    """Maximum likelihood of the probit; some passages must be missed, and some seen."""
    from scipy.optimize import minimize

    log_hz = np.log(passages.tooth_hz)
    theta = 2 * np.pi * passages.place / teeth
    design = np.column_stack([np.ones(theta.size), np.cos(theta), np.sin(theta)])
    sign = np.where(passages.seen, 1.0, -1.0)

    def misfit(beta: Floats) -> tuple[float, Floats]:
        spread = math.exp(beta[3])
        z = sign * (log_hz - design @ beta[:3]) / spread
        log_p, ratio = _log_normal(z)
        slope = np.append(design.T @ (ratio * sign) / spread, ratio @ z)
        return -float(np.sum(log_p)), slope

    middle = float(np.median(log_hz[~passages.seen]))
    start = np.array([middle, 0.0, 0.0, math.log(0.05)])
    bounds = [(None, None)] * 3 + [(math.log(LEAST_SPREAD), 0.0)]
    beta = np.asarray(minimize(misfit, start, jac=True, method="L-BFGS-B", bounds=bounds).x)
    spread = math.exp(beta[3])
    z = sign * (log_hz - design @ beta[:3]) / spread
    ratio = _log_normal(z)[1]
    # Observed information of a probit: λ(λ + z)/σ².
    weight = np.maximum(ratio * (ratio + z), 0.0) / spread**2
    information = design.T @ (design * weight[:, None]) + 1e-9 * np.eye(3)
    angle = math.atan2(beta[2], beta[1])
    gradient = np.array([1.0, math.cos(angle), math.sin(angle)])
    u = math.sqrt(float(gradient @ np.linalg.solve(information, gradient)))
    top = float(beta[0]) + math.hypot(beta[1], beta[2])
    return _Threshold(top, u, math.degrees(angle) % 360.0, spread)


def _log_normal(z: Floats) -> tuple[Floats, Floats]:
    """ln Φ(z) and φ(z)/Φ(z)."""
    from scipy.special import log_ndtr

    log_p = np.asarray(log_ndtr(z))
    return log_p, np.exp(-0.5 * z**2 - 0.5 * math.log(2 * math.pi) - log_p)


def _single_tooth(passages: Passages, teeth: int) -> tuple[int, float, float] | None:
    """(tooth from 0, ln of its rate, uncertainty) of one tooth that goes well before all."""
    level = np.full(teeth, np.nan)
    u = np.full(teeth, np.nan)
    for tooth in range(teeth):
        mine = passages.place == tooth
        level[tooth], u[tooth] = _step(np.log(passages.tooth_hz[mine]), passages.seen[mine])
    if np.count_nonzero(np.isfinite(level)) < 5:
        known = np.flatnonzero(np.isfinite(level))
        return None if not known.size else _highest(level, u, known)
    named = [
        out.tooth
        for out in find_stand_outs(level, USUAL_LOG_SPEED, _ALPHA).stand_outs
        if out.by > 0
    ]
    return _highest(level, u, np.array(named)) if named else None


def _highest(level: Floats, u: Floats, among: Ints) -> tuple[int, float, float]:
    at = int(among[np.argmax(level[among])])
    return at, float(level[at]), float(u[at])


def _step(log_hz: Floats, seen: Flags) -> tuple[float, float]:
    """(level, uncertainty) of the step from not seen to seen that errs least; NaN if none."""
    if seen.all() or not seen.any():
        return math.nan, math.nan
    order = np.argsort(log_hz)
    level, was_seen = log_hz[order], seen[order]
    # Errors of a step below element i: seen ones before it, missed ones from it on.
    errors = np.concatenate([[0], np.cumsum(was_seen)]) + np.concatenate(
        [np.cumsum(~was_seen[::-1])[::-1], [0]]
    )
    best = np.flatnonzero(errors == errors.min())
    low, high = level[max(best[0] - 1, 0)], level[min(best[-1], level.size - 1)]
    return float(0.5 * (low + high)), float(max(high - low, LEAST_SPREAD) / math.sqrt(12))


def _not_slowed() -> WrongInput:
    return WrongInput(
        "The belt was not slowed, or within two turns of the target wheel: for a drop-out run, "
        "slow it evenly over a minute or two from full speed until the readout loses pulses."
    )

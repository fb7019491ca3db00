"""Reading a coarse display: as typed, and by its change-over points.

A typed reading is good to half a step, rectangular, u = step/√12. The moment at which the
last digit flips is far better: the indication then is the shown value less or plus half a
step. (OIML R 76-1, A.4.4.3, weighs by change-over points; from memory.) The belt is ramped
slowly up and down; an error of the readout moves both branches alike, what lags (averaging
in the readout, the reaction of the hand) moves them apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum, auto
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.base.statements import Statement, statement
from workbench.calibration.pulses.speed import SpeedSeries
from workbench.calibration.statistics.coverage import coverage_factor

Floats = NDArray[np.float64]

U_REACTION_S = 0.07
"""Spread of the reaction to one event, N(0.11 s, (0.07 s)²), 4 304 measurements: Am. J.
Phys. 87(2), 2019, p. 110. Its mean is part of the lag that the fit finds."""

WINDOW_S = 1.0
"""Belt speed and its slope at a flip are those of a line over this long on either side."""

LEAST_FLIPS = 4

UNKNOWN_LAG_S, U_UNKNOWN_LAG_S = 0.6, 0.35
"""Lag of display and hand where flips of one direction cannot show it: rectangular from 0
to 1.2 s; chosen, no source."""


class FlipSays(StrEnum):
    """Flips that were left out, and what flips cannot tell."""

    FLIP_AT_LINE = auto()
    A_FLIP = auto()
    NO_BELT_SPEED_AT_FLIP = auto()
    UP_WHILE_SLOWING = auto()
    DOWN_WHILE_SPEEDING_UP = auto()
    FLIP_STANDS_APART = auto()
    FLIPS_GO_ONE_WAY = auto()
    DISPLAY_OFF_BY_FIXED = auto()


@dataclass(frozen=True, slots=True)
class Flip:
    """The display changed to `shown` (readout's unit) at `time_s`; `up` if it rose.

    `u_time_s` is that of one press of a key, a constant delay being part of the lag.
    """

    time_s: float
    shown: float
    up: bool
    line: int = 0
    u_time_s: float = U_REACTION_S

    @property
    def place(self) -> Statement:
        """How a sentence calls this flip."""
        if self.line:
            return statement(FlipSays.FLIP_AT_LINE, line=self.line)
        return statement(FlipSays.A_FLIP)


def flips_of(time_s: Floats, shown: Floats, step: float) -> list[Flip]:
    """Change-overs of a display that was recorded, (n,) values at (n,) times.

    Changes by more than one step are left out: which threshold was passed when is not known.
    """
    flips = []
    for at in np.flatnonzero(np.diff(shown)):
        change, gap_s = shown[at + 1] - shown[at], time_s[at + 1] - time_s[at]
        if abs(abs(change) - step) < 0.1 * step and 0 < gap_s <= 1.0:
            middle, u_s = float(time_s[at] + gap_s / 2), float(gap_s / math.sqrt(12))
            flips.append(Flip(middle, float(shown[at + 1]), bool(change > 0), u_time_s=u_s))
    return flips


@dataclass(frozen=True, slots=True, eq=False)
class ChangeOvers:
    """What the flips say of the readout, the scale of belt speed taken as sure.

    shown = `offset_mps` + `slope` · true, the offset 0 where the line was held through the
    origin; `covariance` (2, 2) of both. `lag_s` is that of display and hand together.
    `hysteresis_mps` is half the distance between the branches at no slope, NaN where lag
    and hysteresis cannot be told apart. (n,) of the flips used: `speed_mps` the belt's at
    the flip, lag and hysteresis taken out, `threshold_mps` the indication.
    """

    slope: float
    offset_mps: float
    covariance: Floats
    lag_s: float
    u_lag_s: float
    hysteresis_mps: float
    u_hysteresis_mps: float
    flips: tuple[Flip, ...]
    speed_mps: Floats
    threshold_mps: Floats
    dof: float
    warnings: tuple[Statement, ...]

    def result(self, unit_mps: float) -> RampResult:
        """The same in the readout's unit, of which one is `unit_mps`."""
        points = [
            FlipResult(
                flip.time_s,
                flip.shown,
                "up" if flip.up else "down",
                float(threshold) / unit_mps,
                float(speed),
                float(threshold / speed) - 1,
            )
            for flip, speed, threshold in zip(
                self.flips, self.speed_mps, self.threshold_mps, strict=True
            )
        ]
        return RampResult(
            self.lag_s, self.u_lag_s, self.hysteresis_mps, self.u_hysteresis_mps, tuple(points)
        )

    def error(self, speed_mps: float) -> tuple[float, float]:
        """shown ÷ true − 1 at a speed, and its standard uncertainty."""
        row = np.array([1 / speed_mps, 1.0])
        value = self.offset_mps / speed_mps + self.slope - 1
        return value, math.sqrt(row @ self.covariance @ row)


@dataclass(frozen=True, slots=True)
class FlipResult:
    """The display changed to `shown`; `threshold` is the indication then, both in the readout's
    unit, `true_mps` the belt's speed with the lag taken out."""

    time_s: float
    shown: float
    direction: Literal["up", "down"]
    threshold: float
    true_mps: float
    error: float


@dataclass(frozen=True, slots=True)
class RampResult:
    """What a ramped run has shown: the lag of display and hand, and every flip that was used."""

    lag_s: float
    u_lag_s: float
    hysteresis_mps: float
    u_hysteresis_mps: float
    points: tuple[FlipResult, ...]


def change_overs(
    flips: Sequence[Flip],
    series: SpeedSeries,
    step_mps: float,
    unit_mps: float,
    above_steps: float = 0.0,
) -> ChangeOvers:
    """Fit the flips of a ramped run to the belt's speed.

    `unit_mps` is one of the readout's unit, `step_mps` its step, in m/s; the middle of what a
    shown number stands for lies `above_steps` above it. Raises WrongInput where the flips cannot
    carry an answer.
    """
    warnings: list[Statement] = []
    points = _at_flips(flips, series, step_mps, unit_mps, warnings)
    points = replace(points, threshold_mps=points.threshold_mps + above_steps * step_mps)
    if len(points.flips) < LEAST_FLIPS:
        raise WrongInput(
            "The change-overs give no answer: {count} flips can be used; at least {least} are "
            "needed, better ten up and ten down.",
            count=len(points.flips),
            least=LEAST_FLIPS,
        )
    if np.ptp(points.threshold_mps) < step_mps:
        raise WrongInput(
            "The change-overs give no answer: all flips are between the same digits; ramp the "
            "belt over several."
        )
    names = ["scale", "lag"]
    if points.both_ways and _slopes_vary(points):
        names.append("branch")
    points, fit = _without_stragglers(points, names, warnings)
    with_offset = _offset_too(points, names, step_mps)
    if with_offset is not None:
        fit = with_offset
        warnings.append(statement(FlipSays.DISPLAY_OFF_BY_FIXED, offset_mps=fit.offset_mps))
    if not points.both_ways:
        most_s = 2 * UNKNOWN_LAG_S
        warnings.append(statement(FlipSays.FLIPS_GO_ONE_WAY, most_s=most_s))
    return _result(points, fit, warnings)


@dataclass(frozen=True, slots=True, eq=False)
class _Points:
    """The flips with what the belt did at each; all arrays (n,)."""

    flips: tuple[Flip, ...]
    speed_mps: Floats
    slope_mps2: Floats
    u_mps: Floats
    threshold_mps: Floats

    @property
    def sign(self) -> Floats:
        return np.array([1.0 if flip.up else -1.0 for flip in self.flips])

    @property
    def both_ways(self) -> bool:
        return len({flip.up for flip in self.flips}) == 2

    def without(self, index: int) -> _Points:
        keep = np.arange(len(self.flips)) != index
        flips = tuple(flip for flip, stays in zip(self.flips, keep, strict=True) if stays)
        names = ("speed_mps", "slope_mps2", "u_mps", "threshold_mps")
        return _Points(flips, *(getattr(self, name)[keep] for name in names))


def _at_flips(
    flips: Sequence[Flip],
    series: SpeedSeries,
    step_mps: float,
    unit_mps: float,
    warnings: list[Statement],
) -> _Points:
    kept, rows = [], []
    for flip in sorted(flips, key=lambda flip: flip.time_s):
        near = np.abs(series.time_s - flip.time_s) <= WINDOW_S
        time_s, speed = series.time_s[near] - flip.time_s, series.speed_mps[near]
        if time_s.size < 3 or not time_s[0] < 0 < time_s[-1]:
            says = FlipSays.NO_BELT_SPEED_AT_FLIP
            warnings.append(statement(says, flip=flip.place, time_s=flip.time_s))
            continue
        (slope, v), cov = _local_line(time_s, speed, series.u_mps[near])
        if slope * (1 if flip.up else -1) < -2 * math.sqrt(cov[0, 0]) - 1e-3:
            says = FlipSays.UP_WHILE_SLOWING if flip.up else FlipSays.DOWN_WHILE_SPEEDING_UP
            warnings.append(statement(says, flip=flip.place))
            continue
        half = step_mps / 2 if flip.up else -step_mps / 2
        u = math.hypot(math.sqrt(cov[1, 1]), flip.u_time_s * slope)
        kept.append(flip)
        rows.append((v, slope, u, flip.shown * unit_mps - half))
    columns = np.array(rows, dtype=np.float64).reshape(-1, 4).T
    return _Points(tuple(kept), *columns)


def _local_line(time_s: Floats, speed: Floats, u_mps: Floats) -> tuple[Floats, Floats]:
    """Slope and value at 0 of a line, and their covariance from scatter or known u."""
    J = np.column_stack([time_s, np.ones_like(time_s)])
    theta = np.asarray(np.linalg.lstsq(J, speed, rcond=None)[0], dtype=np.float64)
    residual = speed - J @ theta
    variance = max(float(residual @ residual) / max(time_s.size - 2, 1), float(np.mean(u_mps**2)))
    return theta, np.asarray(np.linalg.inv(J.T @ J) * variance)


def _slopes_vary(points: _Points) -> bool:
    steep = np.abs(points.slope_mps2)
    return len(points.flips) >= 8 and float(steep.max()) > 1.5 * float(steep.min())


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """speed = scale · threshold + lag · slope of the belt + branch · direction + offset."""

    theta: dict[str, float]
    covariance: Floats
    names: list[str]
    studentised: Floats
    corrected_mps: Floats
    dof: float

    def u(self, name: str) -> float:
        at = self.names.index(name)
        return math.sqrt(self.covariance[at, at])

    @property
    def offset_mps(self) -> float:
        """The shown value at standstill."""
        return -self.theta.get("offset", 0.0) / self.theta["scale"]


def _fit(points: _Points, names: list[str]) -> _Fit:
    columns = {
        "scale": points.threshold_mps,
        "lag": points.slope_mps2,
        "branch": points.sign,
        "offset": np.ones(len(points.flips)),
    }
    # The floor keeps a belt that stood still at a flip from weighing without bound.
    u = np.maximum(points.u_mps, 0.1 * float(np.median(points.u_mps)) + 1e-9)
    J = np.column_stack([columns[name] for name in names]) / u[:, None]
    y = points.speed_mps / u
    n, dof = y.size, y.size - len(names)
    if not points.both_ways:
        row = np.array([[float(name == "lag") for name in names]]) / U_UNKNOWN_LAG_S
        J, y = np.vstack([J, row]), np.append(y, UNKNOWN_LAG_S / U_UNKNOWN_LAG_S)
        dof += 1
    covariance = np.linalg.inv(J.T @ J)
    theta = covariance @ (J.T @ y)
    residual = y - J @ theta
    # Known uncertainties are only ever enlarged: by the scatter, where that is greater.
    scale = float(residual @ residual) / dof if dof > 0 else 1.0
    leverage = np.einsum("ij,jk,ik->i", J, covariance, J)[:n]
    studentised = residual[:n] / np.sqrt(np.maximum(1 - leverage, 1e-9) * max(scale, 1.0))
    corrected = points.speed_mps - sum(
        float(theta[names.index(name)]) * columns[name]
        for name in names
        if name in ("lag", "branch")
    )
    return _Fit(
        dict(zip(names, theta.tolist(), strict=True)),
        np.asarray(covariance * max(scale, 1.0)),
        names,
        np.asarray(studentised),
        np.asarray(corrected),
        float(dof) if scale > 1 and dof > 0 else math.inf,
    )


def _without_stragglers(
    points: _Points, names: list[str], warnings: list[Statement]
) -> tuple[_Points, _Fit]:
    """The fit, flips left out one by one while one stands apart at 1 % after Bonferroni."""
    from scipy.special import stdtr

    fit = _fit(points, names)
    while (n := len(points.flips)) > max(LEAST_FLIPS, len(names) + 3):
        far = int(np.argmax(np.abs(fit.studentised)))
        inner, dof = float(fit.studentised[far]), n - len(names)
        outer = abs(inner) * math.sqrt((dof - 1) / max(dof - inner**2, 1e-9))
        if n * 2 * float(stdtr(dof - 1, -outer)) > 0.01:
            break
        gone = points.flips[far]
        says = FlipSays.FLIP_STANDS_APART
        warnings.append(statement(says, flip=gone.place, shown=gone.shown, time_s=gone.time_s))
        points = points.without(far)
        fit = _fit(points, names)
    return points, fit


def _offset_too(points: _Points, names: list[str], step_mps: float) -> _Fit | None:
    """The fit with a fixed offset of the display, where there surely is one (1 %) that
    anyone could notice: a tenth of a step."""
    threshold = points.threshold_mps
    if len(points.flips) < 8 or np.ptp(threshold) < 0.2 * float(threshold.mean()):
        return None
    fit = _fit(points, [*names, "offset"])
    least = max(coverage_factor(fit.dof, 0.99) * fit.u("offset"), 0.1 * step_mps)
    if abs(fit.theta["offset"]) <= least:
        return None
    return fit


def _result(points: _Points, fit: _Fit, warnings: list[Statement]) -> ChangeOvers:
    scale, offset = fit.theta["scale"], fit.theta.get("offset", 0.0)
    # shown = (true − offset)/scale: the covariance of (−offset/scale, 1/scale).
    J = np.zeros((2, len(fit.names)))
    J[:, fit.names.index("scale")] = offset / scale**2, -1 / scale**2
    if "offset" in fit.names:
        J[0, fit.names.index("offset")] = -1 / scale
    branch = "branch" in fit.names
    return ChangeOvers(
        1 / scale,
        fit.offset_mps,
        J @ fit.covariance @ J.T,
        fit.theta["lag"],
        fit.u("lag"),
        fit.theta["branch"] if branch else math.nan,
        fit.u("branch") if branch else math.nan,
        points.flips,
        fit.corrected_mps,
        points.threshold_mps,
        fit.dof,
        tuple(warnings),
    )

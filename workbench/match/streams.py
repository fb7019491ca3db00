"""Speeds as they come in: pulses or readings in, a value for each tenth of a second out.

What is kept is bounded, and so is the work for each block.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import clean
from workbench.calibration.pulses.speed import SpeedSeries, speed_series
from workbench.match.align import HOLE_S, MOST_LAG_S, find_lag
from workbench.match.ratio import MOVING_MPS

Floats = NDArray[np.float64]

STEP_S = 0.1
"""Time between two values of the common line."""
PER_SECOND = 10
TOGETHER = 5
"""Values that are made at once, to save work."""

LAG_EVERY_S = 10.0
LAG_WINDOW_S = 120.0
"""The lag is looked for anew this often, in what came within this long."""

KEPT_TURNS = 4
"""Turns of the target wheel that are looked at again when new edges come."""

LONGEST_TURN_S = 10.0
"""A slower wheel stands."""


NOTHING = SpeedSeries(np.empty(0), np.empty(0), np.empty(0), 0.0)


class ValueStream:
    """Values of one source, asked for moment by moment in rising order.

    `last_s` is the time of the newest value, −inf before the first.
    """

    def __init__(self) -> None:
        self._time_s = np.empty(0)
        self._value = np.empty(0)
        self.last_s = -math.inf
        self.u2_sum, self.count, self.moves, self.last_value = 0.0, 0, 0, math.nan

    def add(self, time_s: Floats, value_mps: Floats, u_mps: Floats | None) -> None:
        """Append values (n,); 'no value' and times that run backwards are left out."""
        good = np.isfinite(value_mps) & (time_s > self.last_s)
        good[1:] &= np.diff(time_s) > 0
        if not good.any():
            return
        time_s, value_mps = time_s[good], value_mps[good]
        if u_mps is not None and np.isfinite(u_mps[good]).all():
            self.u2_sum += float(u_mps[good] @ u_mps[good])
            self.count += time_s.size
            self.moves += int(np.count_nonzero(np.diff(value_mps, prepend=self.last_value)))
        self.last_value = float(value_mps[-1])
        self._time_s = np.concatenate((self._time_s, time_s))
        self._value = np.concatenate((self._value, value_mps))
        self.last_s = float(time_s[-1])

    def at(self, time_s: Floats) -> Floats:
        """Values at `time_s` by straight lines; NaN in holes, before the first, after the last."""
        if self._time_s.size < 2:
            return np.full(time_s.size, math.nan)
        after = np.clip(np.searchsorted(self._time_s, time_s), 1, self._time_s.size - 1)
        gap_s = self._time_s[after] - self._time_s[after - 1]
        value = np.interp(time_s, self._time_s, self._value, left=math.nan, right=math.nan)
        usual_s = float(np.median(np.diff(self._time_s)))
        return np.where(gap_s > max(HOLE_S, 4 * usual_s), math.nan, value)

    def forget(self, before_s: float) -> None:
        """Let go of what lies before `before_s`, but for the last value there."""
        first = max(0, int(np.searchsorted(self._time_s, before_s)) - 1)
        self._time_s, self._value = self._time_s[first:], self._value[first:]

    @property
    def u_mps(self) -> float:
        """Root mean square of the u the source claims for each value; 0 where it claims none."""
        return math.sqrt(self.u2_sum / self.count) if self.count else 0.0

    @property
    def moving(self) -> bool:
        """Whether the readings change from one to the next, so that their error averages out."""
        return self.count > 0 and self.moves > 0.2 * self.count


class PulseStream:
    """Pulses of one channel turned into belt speed as they come."""

    def __init__(self, teeth: int, metre_per_pulse_m: float) -> None:
        self._teeth, self._metre_per_pulse_m = teeth, metre_per_pulse_m
        self.edges_again = KEPT_TURNS * teeth
        self._given_s, self._fresh = -math.inf, 0

    def add(self, edges_s: Floats, fresh: int) -> SpeedSeries:
        """The speeds that have become known, from ascending edge times (n,), of which the last
        `fresh` are new."""
        self._fresh += fresh
        if self._fresh < self._teeth // 2:
            return NOTHING
        self._fresh = 0
        recent_s = edges_s[np.searchsorted(edges_s, edges_s[-1] - LONGEST_TURN_S) :]
        series = speed_series(clean(recent_s), self._teeth, self._metre_per_pulse_m)
        new = series.time_s > self._given_s
        if new.any():
            self._given_s = float(series.time_s[-1])
        return SpeedSeries(
            series.time_s[new], series.speed_mps[new], series.u_mps[new], series.u_common_rel
        )


class Tenths:
    """Both speeds at the same moments, the ground source's lag taken out, second by second."""

    def __init__(self, belt: ValueStream, ground: ValueStream) -> None:
        self._belt, self._ground = belt, ground
        self._from_s, self._count = math.nan, 0
        self._pending = np.empty((0, 2))
        self._recent = np.empty((0, 2))
        self._next_lag_s = LAG_EVERY_S
        self.lag_s, self.u_lag_s = math.nan, math.inf

    def new_seconds(self) -> list[Floats]:
        """A row each second that is now full: [its time, tenths moving, Σ belt, Σ ground]."""
        shift_s = self.lag_s if math.isfinite(self.lag_s) else 0.0
        newest_s = min(self._belt.last_s, self._ground.last_s - max(shift_s, 0.0))
        if not math.isfinite(newest_s):
            return []
        if math.isnan(self._from_s):
            self._from_s = newest_s
        ready = math.floor((newest_s - self._from_s) / STEP_S) + 1 - self._count
        if ready < TOGETHER:
            return []
        time_s = self._from_s + STEP_S * np.arange(
            self._count, self._count + ready, dtype=np.float64
        )
        self._count += ready
        belt, ground = self._belt.at(time_s), self._ground.at(time_s + shift_s)
        unshifted = np.stack((belt, self._ground.at(time_s)), axis=1)
        self._recent = np.concatenate((self._recent, unshifted))[-round(LAG_WINDOW_S / STEP_S) :]
        kept_s = float(time_s[-1]) - MOST_LAG_S - 1.0
        self._belt.forget(kept_s)
        self._ground.forget(kept_s)
        self._track_lag()
        return self._rows(np.stack((belt, ground), axis=1))

    def _rows(self, new: Floats) -> list[Floats]:
        self._pending = np.concatenate((self._pending, new))
        rows = []
        while self._pending.shape[0] >= PER_SECOND:
            second, self._pending = self._pending[:PER_SECOND], self._pending[PER_SECOND:]
            good = np.isfinite(second).all(axis=1) & (second[:, 1] > MOVING_MPS)
            behind = self._pending.shape[0] + PER_SECOND
            at_s = self._from_s + STEP_S * (self._count - behind)
            rows.append(np.array([at_s, good.sum(), *second[good].sum(axis=0)]))
        return rows

    def _track_lag(self) -> None:
        """Look for the lag again; one that is no surer than the last is not taken."""
        if self._count * STEP_S < self._next_lag_s:
            return
        self._next_lag_s = self._count * STEP_S + LAG_EVERY_S
        lag_s, u_lag_s = find_lag(self._recent[:, 0], self._recent[:, 1], STEP_S)
        if u_lag_s < 2 * self.u_lag_s:
            self.lag_s, self.u_lag_s = lag_s, u_lag_s

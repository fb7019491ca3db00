"""The time base of a device's clock while it runs: what `time_base` says of its points so far.

Memory and work are bounded. Only the most prompt delivery of each stretch bears on the line
under all points, so of many points the promptest of each stretch is kept, and the stretches
grow with the run.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.time_base import (
    JUMP_S,
    SETTLE_S,
    U_CRYSTAL,
    TimeBase,
    fit_timebase,
)

Floats = NDArray[np.float64]

MOST_POINTS = 512
AGAIN_S = 1.0
"""Seconds of points after which the line is drawn anew, and at once where one lies under it."""

BACK_S = 2.0
"""A clock that goes back by more was started anew; channels of one board differ by less."""


class RunningBase:
    """One clock against the host's, point by point; `run` counts its restarts.

    A delivery that is late by itself is no restart: it is told from one, as after the fact, by
    what comes within `SETTLE_S` after it. A clock that has gone back or ahead is one at once.
    """

    def __init__(self) -> None:
        self.run = 0
        self._rate, self._u_rate, self._span_s = 1.0, U_CRYSTAL, 0.0
        self._points = self._late = np.empty((0, 2))
        self._each = self._open = 1
        self._newest = np.full(2, -math.inf)
        self._base: TimeBase | None = None
        self._drawn_s = -math.inf

    def _begin(self, points: Floats) -> None:
        """The first points of a run."""
        self._points, self._newest = points, points.max(axis=0)
        self._each = self._open = 1
        self._late = points[:0]
        self._draw()

    @property
    def base(self) -> TimeBase | None:
        """The line under the points of the present run; None before the first."""
        return self._base

    def to_host(self, device_s: Floats) -> Floats:
        """Times (n,) of the clock, of its present run, on the host's line.

        Raises ValueError before the first point.
        """
        if self._base is None:
            raise ValueError("a clock of which no point is known has no line yet")
        return self._base.to_host(device_s)

    def add(self, device_s: Floats, host_s: Floats) -> None:
        """Take in points (n,) in the order they came; those that are not finite are left out."""
        for point in np.stack((device_s, host_s), axis=1):
            if np.isfinite(point).all():
                self._add(point)
        if self._points.size and self._newest[1] - self._drawn_s >= AGAIN_S:
            self._draw()

    def _add(self, point: Floats) -> None:
        if self._base is None:
            self._begin(point[None])
            return
        delay_s = point[1] - float(self._base.to_host(point[:1])[0])
        gone_back = point[0] < self._newest[0] - BACK_S
        self._newest = np.maximum(self._newest, point)
        if delay_s < -JUMP_S or gone_back:
            self._restart(point[None])
        elif delay_s > JUMP_S:
            self._late = np.concatenate((self._late, point[None]))
            if point[1] - self._late[0, 1] > SETTLE_S:
                self._restart(self._late)
        else:
            # Prompt again: what was late was late by itself.
            self._keep(np.concatenate((self._late, point[None])))
            self._late = self._late[:0]
            if delay_s < 0:
                self._draw()

    def _restart(self, points: Floats) -> None:
        """A new run of the same crystal: the longest run's rate is known to it."""
        if self._base is not None and self._length_s() > self._span_s:
            self._span_s = self._length_s()
            self._rate, self._u_rate = self._base.rate, self._base.u_rate
        self.run += 1
        self._begin(points)

    def _length_s(self) -> float:
        return float(np.ptp(self._points[:, 0]))

    def _keep(self, points: Floats) -> None:
        for point in points:
            if self._open < self._each:
                self._points[-1] = self._prompter(np.stack((self._points[-1], point))[None])[0]
                self._open += 1
            else:
                self._points = np.concatenate((self._points, point[None]))
                self._open = 1
            if self._points.shape[0] >= MOST_POINTS and self._open == self._each:
                self._points = self._prompter(self._points.reshape(-1, 2, 2))
                self._each *= 2
                self._open = self._each

    def _prompter(self, pairs: Floats) -> Floats:
        """Of pairs (n, 2, 2) of points the one each with the smaller delay, (n, 2)."""
        rate = self._base.rate if self._base else 1.0
        first = pairs[0, 0]
        ahead_s = (pairs[:, :, 1] - first[1]) - rate * (pairs[:, :, 0] - first[0])
        return np.asarray(pairs[np.arange(pairs.shape[0]), ahead_s.argmin(axis=1)])

    def _draw(self) -> None:
        points = self._points
        self._base = fit_timebase(points[:, 0], points[:, 1], self._rate, self._u_rate)
        self._drawn_s = float(self._newest[1])

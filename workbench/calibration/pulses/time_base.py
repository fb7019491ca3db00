"""Device ticks against the host's monotonic clock: one line for pulses and ground speed.

A block reaches the host some time after its last tick: never before. So the delay is
one-sided, and the best line is not the one through the middle of the points but the one
under them that leaves the smallest sum of delays; for exponential delays that is the
maximum likelihood estimate (derived: Σ(delay) is the negative log likelihood, and the
delays must not be negative). It is the edge of the lower convex hull over the mean
device time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

U_CRYSTAL = 50e-6
"""How far an uncompensated crystal may be off, as a standard uncertainty, before anything
was measured: common practice, no source."""

_U_WANDER = 0.1e-6
"""How much a crystal's rate wanders with its temperature during a run: chosen, no source."""
_NOTHING_S = 1e-9
_FEW = 16
"""With fewer points than this the slope says nothing a crystal would not."""
_WINDOWS = 16
_ODD = 5.0
"""Standard uncertainties from the crystal's nominal rate at which it is no crystal any more."""
JUMP_S = 0.5
"""A device clock that moves this much against the host's, and stays there, was restarted."""
SETTLE_S = 5.0
"""Host time looked at on either side to tell a restart from a late delivery."""


@dataclass(frozen=True, slots=True)
class TimeBase:
    """host = host_s + rate · (device − device_s), with what is known of it.

    `u_rate` is the standard uncertainty of `rate`; `delay_s` the mean delay of the points
    above the line, `u_offset_s` the standard uncertainty of the line's height in their
    midst. `odd` is True where the rate is not that of any crystal.
    """

    device_s: float
    host_s: float
    rate: float
    u_rate: float
    delay_s: float
    u_offset_s: float
    points: int
    odd: bool = False

    @property
    def drift_ppm(self) -> float:
        """How much the device's clock runs fast against the host's, in parts per million."""
        return (1.0 / self.rate - 1.0) * 1e6

    @property
    def u_drift_ppm(self) -> float:
        return self.u_rate / self.rate**2 * 1e6

    def to_host(self, device_s: NDArray[np.floating[Any]]) -> Floats:
        """Device times on the host's line."""
        moved = np.asarray(device_s, dtype=np.float64) - self.device_s
        moved *= self.rate
        moved += self.host_s
        return moved


def fit_timebase(
    device_s: Floats, host_s: Floats, rate: float = 1.0, u_rate: float = U_CRYSTAL
) -> TimeBase:
    """The lower envelope of host against device time, at least one point.

    `rate` ± `u_rate` is what is known of the device's rate beforehand; it is weighed with
    what the points say, so that a short recording keeps the crystal's rate and a long one
    measures it. Raises ValueError for no points or lengths that differ.
    """
    if device_s.size == 0 or device_s.size != host_s.size:
        raise ValueError("a time base needs as many host times as device times, at least one")
    x, y = device_s - device_s[0], host_s - host_s[0]
    odd = False
    measured = _slope(x, y)
    if measured is not None:
        slope, u_slope = measured
        odd = abs(slope - rate) > _ODD * math.hypot(u_slope, u_rate)
        weight = 1.0 if odd else u_rate**2 / (u_slope**2 + u_rate**2)
        rate, u_rate = rate + weight * (slope - rate), math.sqrt(weight) * u_slope
    ahead = y - rate * x
    offset = float(ahead.min())
    delays = ahead - offset
    return TimeBase(
        device_s=float(device_s[0]),
        host_s=float(host_s[0]) + offset,
        rate=rate,
        u_rate=u_rate,
        delay_s=float(delays.mean()),
        u_offset_s=_u_height(delays)[0] if delays.size >= _FEW else math.inf,
        points=x.size,
        odd=odd,
    )


def fit_segments(device_s: Floats, host_s: Floats) -> list[tuple[slice, TimeBase]]:
    """A time base for each run of the device's clock between two restarts.

    All runs are of one crystal, so the longest one's rate is known to the others.
    """
    cuts = [0, *restarts(device_s, host_s), device_s.size]
    runs = [slice(a, b) for a, b in pairwise(cuts) if b > a]
    spans = [float(np.ptp(device_s[run])) for run in runs]
    fits: dict[int, TimeBase] = {}
    rate, u_rate = 1.0, U_CRYSTAL
    for index in sorted(range(len(runs)), key=lambda i: -spans[i]):
        run = runs[index]
        fits[index] = fit_timebase(device_s[run], host_s[run], rate, u_rate)
        rate, u_rate = fits[index].rate, fits[index].u_rate
    return [(run, fits[index]) for index, run in enumerate(runs)]


@dataclass(frozen=True, slots=True)
class ClockRuns:
    """One clock against the host's: a time base for each run of it between two restarts.

    `starts_s` is the host time of each run's first point.
    """

    bases: list[TimeBase]
    starts_s: list[float]

    def to_host(
        self, device_s: Floats, arrived_s: Floats, sizes: NDArray[np.int64] | None = None
    ) -> Floats:
        """Times (n,) of the clock on the host's line; each by the run that it arrived in.

        `arrived_s` is of each time, or with `sizes` of each of as many blocks of them.
        """
        if len(self.bases) == 1:
            return self.bases[0].to_host(device_s)
        run = np.maximum(np.searchsorted(self.starts_s, arrived_s, "right") - 1, 0)
        if sizes is not None:
            run = np.repeat(run, sizes)
        time_s = np.empty(device_s.size)
        for at, base in enumerate(self.bases):
            mine = run == at
            time_s[mine] = base.to_host(device_s[mine])
        return time_s


def fit_clock(points: Sequence[tuple[Floats, Floats]]) -> ClockRuns:
    """A clock from pairs of (its own times, the host's), in any order."""
    device_s = np.concatenate([device for device, _ in points])
    host_s = np.concatenate([host for _, host in points])
    order = np.lexsort((device_s, host_s))
    device_s, host_s = device_s[order], host_s[order]
    runs = fit_segments(device_s, host_s)
    return ClockRuns([base for _, base in runs], [float(host_s[run.start]) for run, _ in runs])


def restarts(device_s: Floats, host_s: Floats) -> list[int]:
    """Where the device's clock was set or started anew: the first point of each new run.

    A delivery that is late by itself is none: soon after it there is a prompt one again.
    """
    ahead = host_s - device_s
    found: list[int] = []
    for place in (np.flatnonzero(np.abs(np.diff(ahead)) > JUMP_S) + 1).tolist():
        start, end = np.searchsorted(host_s, [host_s[place] - SETTLE_S, host_s[place] + SETTLE_S])
        start = min(place - 1, max(found[-1] if found else 0, int(start)))
        before, after = ahead[start:place].min(), ahead[place : max(end, place + 1)].min()
        if abs(after - before) > JUMP_S / 2:
            found.append(place)
    return found


def _slope(x: Floats, y: Floats) -> tuple[float, float] | None:
    """Slope of the hull edge over the mean of x, and its standard uncertainty."""
    if x.size < _FEW or not np.ptp(x) > 0:
        return None
    centre = float(x.mean())
    left, right = int(np.argmin(x)), int(np.argmax(x))
    while True:
        slope = (y[right] - y[left]) / (x[right] - x[left])
        under = y - y[left] - slope * (x - x[left])
        lowest = int(np.argmin(under))
        if under[lowest] > -_NOTHING_S:
            break
        if x[lowest] <= centre:
            left = lowest
        else:
            right = lowest
    u_height, parts = _u_height(under)
    at = np.array([part.mean() for part in np.array_split(x, parts)])
    return float(slope), math.hypot(u_height / float(np.std(at)), _U_WANDER)


def _u_height(delays: Floats) -> tuple[float, int]:
    """Standard uncertainty of the envelope's height in the midst of the points, and from how
    many parts of them it was taken.

    The fastest delivery of each part lies above the line by an amount that scatters as the
    line itself does. Twice the median stands for their root mean square (exact for an
    exponential), so that a part lost in one late burst does not spoil the estimate.
    """
    parts = np.array_split(delays, min(_WINDOWS, max(1, delays.size // 4)))
    fastest = np.array([part.min() for part in parts])
    return 2.0 * float(np.median(fastest)) / math.sqrt(fastest.size), fastest.size

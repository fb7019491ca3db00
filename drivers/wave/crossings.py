"""A pickup's voltage, sampled, to edges: where it falls through zero after a peak that armed it.

A tooth that passes a variable-reluctance pickup gives a peak of one sign and then one of the other;
between them, where the tooth stands before the pole, the voltage runs through zero at its steepest,
and where that lies does not depend on its height. So an edge is that crossing, as the integrated
conditioners of such pickups take it: a peak above a threshold arms, the crossing that follows
fires, and nothing fires again until a peak has armed again. The threshold is a share of the teeth
that passed last; that a peak of the other sign must follow is the hysteresis.

How well a crossing can be timed: a line fitted to m samples of white noise σ about it gives
σ/(slope·√m), two samples and a straight line between them no better than √(2/3)·σ/slope. The bound
for all samples from peak to peak is that of Cramér and Rao, σ²/Σs'² (S. M. Kay, Fundamentals of
Statistical Signal Processing: Estimation Theory, 1993, eq. 3.14); the fit here stays near it.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivers.contract import Floats

Places = NDArray[np.int64]

ARMING_SHARE = 0.3
"""Of the usual peak: a tooth that gives a third is seen, hum under it is not; chosen."""
_NOISES = 6.0
"""The threshold stands at least so many standard deviations of the noise high; chosen."""
_LEAST_SHARE = 0.05
"""Of the highest level in the last minutes, below which nothing arms; chosen. A voltage goes with
the speed, so these are speeds below a twentieth of the working speed."""
_FORGET_S = 120.0
_QUIET_S = 0.25
"""After so long without a peak a tooth is over, and what was armed is so no longer."""
_STUCK_S = 2.0
"""A voltage that stays on one side for so long is an offset and no tooth."""
_BLOCK_S, _MOST_BLOCK = 0.05, 1 << 16
_SLOWEST_S = 0.05
"""The period up to which the smoothing grows with the teeth's own."""
_SMOOTHED = 32
"""The smoothing reaches a 32nd of a period to either side: 0.6 % of a sine's height, put back."""
_FITTED = 0.4
"""The fit reaches so far to either side, as a share of the way from peak to peak; chosen where its
spread on a sine is least."""
_RECENT, _CENTRED = 8, 64
_FIRST, _STEEPER = 16, 0.8
"""Teeth that tell how the wires are, and by how much one flank must be the shorter; chosen."""
_LEAST_NOISE = 32
"""Differences from which a noise is told; fewer samples than that are no waveform."""
_MOST_CELLS, _MOST_HELD = 1 << 20, 1 << 22


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Teeth of one channel, (n,) each, ascending.

    `at` and `fall` are places in samples after the first one, between them too; `fall`, where the
    voltage comes back up through zero, is NaN where no tooth follows. `peak` is half the way from
    the peak before to the peak after, in the samples' unit.
    """

    at: Floats
    fall: Floats
    peak: Floats

    @staticmethod
    def joined(parts: list[Crossings]) -> Crossings:
        """Several in a row as one."""
        names = ("at", "fall", "peak")
        columns = ([getattr(part, name) for part in parts] or [np.empty(0)] for name in names)
        return Crossings(*(np.concatenate(column) for column in columns))


@dataclass(frozen=True, slots=True, eq=False)
class _Lobes:
    """Stretches beyond the threshold, (n,) each, high and low in turn: the first and last sample
    beyond it, where the peak stands and what it is."""

    high: NDArray[np.bool_]
    first: Places
    last: Places
    top_at: Floats
    top: Floats

    def __getitem__(self, part: slice) -> _Lobes:
        return _Lobes(*(getattr(self, name)[part] for name in self.__slots__))

    def followed_by(self, others: _Lobes) -> _Lobes:
        """These and then others; what one block left open goes on in the next."""
        both = [
            np.concatenate((getattr(self, name), getattr(others, name))) for name in self.__slots__
        ]
        at = self.first.size
        joined = _Lobes(*both)
        if not (at and others.first.size and self.high[-1] == others.high[0]):
            return joined
        higher = max if self.high[-1] else min
        top = higher(at - 1, at, key=joined.top.__getitem__)
        joined.last[at - 1] = joined.last[at]
        joined.top_at[at - 1], joined.top[at - 1] = joined.top_at[top], joined.top[top]
        return _Lobes(*(np.delete(column, at) for column in both))


_NO_PLACES = np.empty(0, np.int64)
_NO_LOBES = _Lobes(np.empty(0, np.bool_), _NO_PLACES, _NO_PLACES, np.empty(0), np.empty(0))


class ToothFinder:
    """Edges of one channel from its samples, in chunks of any size: they never change the edges.

    `least` is a level in the samples' unit below which nothing arms, however quiet it is.
    """

    def __init__(self, rate_hz: float, least: float) -> None:
        self._rate_hz, self._least = rate_hz, least
        self._block = int(min(max(rate_hz * _BLOCK_S, 256), _MOST_BLOCK))
        self._reach = int(min(rate_hz * _SLOWEST_S / _SMOOTHED, self._block // 4)) + 1
        self._fresh: list[Floats] = []
        self._fresh_size = 0
        self._kept = np.empty(0)
        """Samples that are still needed, the first of them number `_begin`."""
        self._begin = self._seen = 0
        self._lobes = _NO_LOBES
        self._centre = math.nan
        self._level, self._noise = 0.0, math.inf
        self._has_teeth = False
        self._total = 0.0
        """Of all samples that were let go."""
        self._cut = (np.empty(0, np.int64), np.empty(0))
        """Where the last tooth crossed, and the sum of all samples before it."""
        self._mean = np.zeros(2)
        """Whole periods of late: how many samples, and their sum."""
        self._peaks: deque[float] = deque(maxlen=_RECENT)
        self._periods: deque[float] = deque(maxlen=_RECENT)
        self._widths: deque[float] = deque(maxlen=_RECENT)
        self._last_at, self._low_at = -math.inf, math.nan
        self._falling: list[float] = []
        self._rising: list[float] = []
        """From peak to peak of the first teeth, down through zero and up again."""

    @property
    def is_turned(self) -> bool | None:
        """Whether the pickup's wires are the other way round: the voltage of the first teeth is
        steeper where it rises. None until enough of them have passed."""
        if len(self._rising) < _FIRST:
            return None
        return float(np.median(self._rising)) < _STEEPER * float(np.median(self._falling))

    def feed(self, samples: Floats) -> Crossings:
        """The teeth that are over with `samples` (n,), which follow those fed before."""
        self._fresh.append(samples)
        self._fresh_size += samples.size
        if self._fresh_size < self._block:
            return Crossings.joined([])
        waiting = np.concatenate(self._fresh)
        # Worked in blocks that lie where they lie, however the samples come.
        whole = waiting.size - waiting.size % self._block
        found = [self._take(waiting[at : at + self._block]) for at in range(0, whole, self._block)]
        self._fresh, self._fresh_size = [waiting[whole:]], waiting.size - whole
        return Crossings.joined(found)

    def finish(self) -> Crossings:
        """The teeth that are left, once no more samples come."""
        rest = np.concatenate([np.empty(0), *self._fresh])
        self._fresh, self._fresh_size = [], 0
        if not rest.size and not self._kept.size:
            return Crossings.joined([])
        last = rest[-1] if rest.size else self._kept[-1]
        return self._take(np.append(rest, np.full(self._reach, last)), is_last=True)

    def _take(self, block: Floats, *, is_last: bool = False) -> Crossings:
        if not self._kept.size:
            self._kept, self._begin = np.full(self._reach, block[0]), -self._reach
        self._kept = np.append(self._kept, block)
        from_, to = self._seen, self._begin + self._kept.size - self._reach
        if to <= from_:
            return Crossings.joined([])
        self._seen = to
        half = self._smoothing()
        smooth = self._smooth(from_, to, half)
        if not self._has_teeth:
            self._centre = float(np.median(smooth))
        threshold = self._threshold(smooth, to, half)
        self._lobes = self._lobes.followed_by(_lobes(smooth, self._centre, threshold, from_))
        found = self._teeth(to, half, is_last)
        self._forget(to)
        return found

    def _smoothing(self) -> int:
        """How many samples to either side are averaged: a share of what passes now."""
        width = 2 * float(np.median(self._widths)) if self._widths else 0.0
        return min(int(width / _SMOOTHED), self._reach - 1)

    def _smooth(self, from_: int, to: int, half: int) -> Floats:
        part = self._kept[from_ - half - self._begin : to + half - self._begin]
        if not half:
            return part
        sums = np.cumsum(np.append(0.0, part))
        smooth: Floats = (sums[2 * half + 1 :] - sums[: -2 * half - 1]) / (2 * half + 1)
        return smooth

    def _threshold(self, smooth: Floats, to: int, half: int) -> float:
        raw = self._kept[to - smooth.size - self._begin : to - self._begin]
        # Sixth differences hardly know the teeth; of white noise they have 924 times its variance.
        rough = np.abs(np.diff(raw, n=6))
        if rough.size >= _LEAST_NOISE:
            self._noise = float(np.median(rough)) / 0.6745 / math.sqrt(924)
        least = max(self._least, _NOISES * self._noise / math.sqrt(2 * half + 1))
        if not self._peaks:
            usual = float(np.quantile(np.abs(smooth - self._centre), 0.9))
            return max(least, ARMING_SHARE * usual)
        usual = float(np.median(self._peaks))
        self._level = max(usual, self._level * math.exp(-smooth.size / self._rate_hz / _FORGET_S))
        if self._periods:
            # A coil's voltage goes with the speed: a tooth that comes so late can give no more.
            usual *= min(1.0, float(np.median(self._periods)) / max(to - self._last_at, 1.0))
        return max(least, ARMING_SHARE * usual, _LEAST_SHARE * self._level)

    def _teeth(self, to: int, half: int, is_last: bool) -> Crossings:
        lobes = self._lobes
        if lobes.top.size > 1 and not is_last:  # the last rise may still want samples to be fitted
            wanted = lobes.first[-1] + _FITTED * np.ptp(lobes.top_at[-3:])
            if lobes.high[-1] and wanted > to + self._reach:
                return Crossings.joined([])
        begin = int(lobes.top.size > 0 and not lobes.high[0])
        over = is_last or (lobes.last.size and to - lobes.last[-1] > _QUIET_S * self._rate_hz)
        count = (lobes.top.size - begin - (0 if over else 1)) // 2
        if count <= 0:
            self._lobes = _NO_LOBES if over else lobes[begin:]
            return Crossings.joined([])
        high = slice(begin, begin + 2 * count, 2)
        low = slice(begin + 1, begin + 2 * count, 2)
        width = np.maximum(lobes.top_at[low] - lobes.top_at[high], 1.0)
        guess = (lobes.last[high] + lobes.first[low]) / 2
        if not self._mean[0]:  # until a period is over, the middle of the peaks
            self._centre = float(np.median((lobes.top[high] + lobes.top[low]) / 2))
            guess = self._crossing(guess, width)
        self._find_centre(guess)
        at = self._crossing(guess, width)
        fall = self._falls(lobes.last[low], lobes.first[begin + 2 :: 2][:count], width)
        # The smoothing has taken this much of a sine's height.
        kept = np.maximum(np.sinc((2 * half + 1) / (2 * width)), 0.5)
        peak = (lobes.top[high] - lobes.top[low]) / 2 / kept
        self._remember(at, peak * kept, width)
        self._compare_flanks(width, lobes.top_at[high], lobes.top_at[low])
        self._lobes = _NO_LOBES if over else lobes[begin + 2 * count :]
        return Crossings(at, np.where(fall > at, fall, np.nan), peak)

    def _falls(self, gone: Places, follows: Places, width: Floats) -> Floats:
        """Where the voltage comes up again between the low's end and the high that follows; NaN
        where none follows so near that it is the next tooth's."""
        fall = np.full(gone.size, np.nan)
        near = np.flatnonzero(follows - gone[: follows.size] < 2 * width[: follows.size])
        fall[near] = self._crossing((gone[near] + follows[near]) / 2, width[near])
        return fall

    def _find_centre(self, crossed: Floats) -> None:
        """The voltage without a tooth: what it is on average from crossing to crossing, because a
        coil's voltage is 0 over whole periods."""
        cuts = np.ceil(crossed).astype(np.int64)
        total = self._total + np.cumsum(self._kept)[cuts - 1 - self._begin]
        at, past = (np.append(end, new) for end, new in zip(self._cut, (cuts, total), strict=True))
        self._cut = (at[-1:], past[-1:])
        whole = np.diff(at) < _QUIET_S * self._rate_hz
        keep = math.exp(-np.count_nonzero(whole) / _CENTRED)
        self._mean = self._mean * keep + [np.diff(at)[whole].sum(), np.diff(past)[whole].sum()]
        self._has_teeth = True
        samples, volts = self._mean.tolist()
        self._centre = volts / samples if samples else self._centre

    def _remember(self, at: Floats, peak: Floats, width: Floats) -> None:
        periods = np.diff(at, prepend=self._last_at)
        self._periods.extend(periods[np.isfinite(periods)][-_RECENT:].tolist())
        self._peaks.extend(peak[-_RECENT:].tolist())
        self._widths.extend(width[-_RECENT:].tolist())
        self._last_at = float(at[-1])

    def _compare_flanks(self, falling: Floats, high_at: Floats, low_at: Floats) -> None:
        left = _FIRST - len(self._rising)
        if left > 0:
            rising = high_at - np.append(self._low_at, low_at[:-1])
            known = np.isfinite(rising)
            self._falling += falling[known][:left].tolist()
            self._rising += rising[known][:left].tolist()
            self._low_at = float(low_at[-1])

    def _crossing(self, guess: Floats, width: Floats) -> Floats:
        """Where the voltage is at its centre, near each guess (n,): by a line through the samples
        around it, those farther off weighing less, moved to where it crosses and fitted again."""
        reach = np.maximum(_FITTED * width, 1.5)
        most = int(reach.max(initial=1.0)) + 1
        step = max(1, _MOST_CELLS // (2 * most + 1))
        found = guess.copy()
        for some in (slice(at, at + step) for at in range(0, guess.size, step)):
            for _ in range(3):
                found[some] = self._fitted(found[some], guess[some], reach[some])
        return found

    def _fitted(self, centre: Floats, guess: Floats, reach: Floats) -> Floats:
        most = int(reach.max()) + 1
        at = np.floor(centre)[:, None] + np.arange(-most, most + 2)
        places = np.clip(at - self._begin, 0, self._kept.size - 1).astype(np.intp)
        away = at - centre[:, None]
        weight = np.maximum(1 - (away / reach[:, None]) ** 2, 0.0)
        value = self._kept[places] - self._centre
        total, first, second, level, slope = (
            np.einsum("ij,ij->i", weight, part)
            for part in (np.ones_like(away), away, away**2, value, away * value)
        )
        rise, zero = total * slope - first * level, first * slope - second * level
        shift = np.divide(zero, rise, out=np.zeros_like(rise), where=rise != 0)
        moved: Floats = np.clip(centre + shift, guess - reach, guess + reach)
        return moved

    def _forget(self, to: int) -> None:
        """Let go of the samples that no tooth needs any more, and of what stays on one side."""
        if self._lobes.first.size and to - self._lobes.first[0] > _STUCK_S * self._rate_hz:
            self._lobes = _NO_LOBES
            self._has_teeth, self._mean = False, np.zeros(2)
        keep = to - self._reach
        if self._lobes.first.size:
            keep = min(keep, int(self._lobes.first[0]) - self._reach)
        drop = max(keep - self._begin, 0)
        self._total += float(self._kept[:drop].sum())
        self._kept, self._begin = self._kept[drop:], self._begin + drop


def _lobes(smooth: Floats, centre: float, threshold: float, from_: int) -> _Lobes:
    beyond = np.flatnonzero(np.abs(smooth - centre) > threshold)
    if not beyond.size:
        return _NO_LOBES
    part = smooth[beyond] - centre
    starts = np.flatnonzero(np.diff(part > 0, prepend=not part[0] > 0))
    ends = np.append(starts[1:], part.size)
    height = np.maximum.reduceat(np.abs(part), starts)
    # A peak that is cut off flat stands in the middle of it.
    highest = np.flatnonzero(np.abs(part) == np.repeat(height, ends - starts))
    one = beyond[highest[np.searchsorted(highest, starts)]]
    other = beyond[highest[np.searchsorted(highest, ends) - 1]]
    high = part[starts] > 0
    top = centre + np.where(high, height, -height)
    first, last = beyond[starts] + from_, beyond[ends - 1] + from_
    return _Lobes(high, first, last, (one + other) / 2 + from_, top)


class TurningFinder:
    """The same for a pickup whose wires may be either way round: the first teeth tell, and what
    came until then is turned over where they must be. Then `is_turned` says so."""

    def __init__(self, rate_hz: float, least: float) -> None:
        self._trial, self._real = ToothFinder(rate_hz, least), ToothFinder(rate_hz, least)
        self._held: list[Floats] | None = []
        self._held_size = 0
        self.is_turned = False

    def feed(self, samples: Floats) -> Crossings:
        """The teeth that are over with `samples` (n,), none until it is known how they stand."""
        if self._held is None:
            return self._real.feed(-samples if self.is_turned else samples)
        self._held.append(samples)
        self._held_size += samples.size
        self._trial.feed(samples)
        if self._trial.is_turned is None and self._held_size < _MOST_HELD:
            return Crossings.joined([])
        return self._decide()

    def finish(self) -> Crossings:
        """The teeth that are left, once no more samples come."""
        first = Crossings.joined([])
        if self._held is not None:
            self._trial.finish()
            first = self._decide()
        return Crossings.joined([first, self._real.finish()])

    def _decide(self) -> Crossings:
        self.is_turned = bool(self._trial.is_turned)
        held, self._held = np.concatenate(self._held or [np.empty(0)]), None
        return self._real.feed(-held if self.is_turned else held)

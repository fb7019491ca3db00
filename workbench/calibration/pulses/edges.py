"""Rising edges as they came → clean edges with a running tooth index.

An extra edge (bounce, noise) is one whose removal leaves an interval that is still no
longer than one pitch; a missed one shows as an interval of two or more pitches. Both are
judged against the local period, which is a running median and therefore follows a belt
that changes speed. Where the count between two edges cannot be known (a stop, a cable
break) a new segment starts, and nothing is guessed.

Rounding Δt/T̂ to whole teeth: Sidiropoulos, Swami & Sadler, IEEE Trans. Signal Process.
53(6), 2005, who show that with known integers the fit is ordinary regression.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.period import BLOCK, block_medians, local_period
from workbench.calibration.pulses.relock import CHUNK, Relocked, in_a_row, raise_after, relocked

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
Column = TypeVar("Column", Floats, Ints)

GLANCE = 256
"""Edges looked at together to see whether anything is wrong with them at all."""

PAD = 8 * BLOCK
"""Edges of context on both sides of what is examined; no decision looks further."""

EXTRA_BELOW = 1.42
"""Two neighbouring intervals that together are shorter than this many pitches hold one
edge too many. A tooth displaced by half a pitch, the worst bent one, still gives 1.5."""

COUNTED_TOGETHER = 3.5
"""Pitches in two neighbouring intervals up to which their sum is compared with each."""

LONG_ABOVE = 1.4
"""An interval of more pitches than this may hold missed teeth."""

MOST_PITCHES = 12
"""Pitches in one interval that can still be counted; a longer one starts a new segment."""

UNSTEADY = 1.3
"""Ratio of the periods before and after a long interval at which it is no longer clear
whether teeth were missed or the wheel nearly stood."""

LOST_SHARE = 0.002
"""Share of edges missed or extra from which the person is told; chosen."""


@dataclass(frozen=True, slots=True, eq=False)
class CleanEdges:
    """Edges with their place on the target wheel.

    `time_s` (n,) ascending; `tooth` (n,) the running tooth index, missed teeth counted
    in; `starts` the indices at which a segment begins (the first is 0): within a segment
    the index is sure, across a start it is not. `missed_s` holds the time of the edge
    before each interval with missed teeth, `extra_s` the times of the edges taken out.
    """

    time_s: Floats
    tooth: Ints
    starts: Ints
    missed: int
    extra: int
    missed_s: Floats
    extra_s: Floats

    def segment(self) -> Ints:
        """(n,) the number of the segment each edge belongs to."""
        mark = np.zeros(self.time_s.size, dtype=np.int64)
        mark[self.starts[1:]] = 1
        return np.cumsum(mark)

    def spans(self) -> list[tuple[int, int]]:
        """(first, last + 1) of each segment."""
        ends = [*self.starts[1:].tolist(), self.time_s.size]
        pairs = zip(self.starts.tolist(), ends, strict=True)
        return [(first, last) for first, last in pairs if last > first]


def clean(time_s: Floats) -> CleanEdges:
    """Find extra and missed edges in `time_s` (n,), ascending seconds.

    Raises ValueError if the times are not finite or run backwards.
    """
    time_s = np.ascontiguousarray(time_s, dtype=np.float64)
    if time_s.ndim != 1:
        raise ValueError("edge times must be a one-dimensional array")
    found = [
        _examine(time_s, low, high)
        for first in range(0, time_s.size - 1, CHUNK)
        for low, high in _suspects(time_s, first)
    ]
    return _assemble(time_s, _joined(found))


@dataclass(slots=True, eq=False)
class _Found:
    """Indices of extra edges, of edges before a long interval and the teeth missed in it
    (which may be none), of new segments."""

    extra: Ints
    long_at: Ints
    missed: Ints
    starts: Ints


def _joined(parts: Sequence[_Found]) -> _Found:
    names = ("extra", "long_at", "missed", "starts")
    return _Found(*(in_a_row(getattr(part, name) for part in parts) for name in names))


def _suspects(time_s: Floats, first: int) -> list[tuple[int, int]]:
    """Runs (low, high) of edges, from `first` on, in which an interval is out of line."""
    last = min(first + CHUNK, time_s.size - 1)
    interval_s = np.diff(time_s[first : last + 1])
    if not interval_s.min() >= 0 or not np.isfinite(time_s[last]):  # NaN fails the first
        raise ValueError("edge times must be finite and must not run backwards")
    at = np.arange(0, interval_s.size, GLANCE)
    count = np.diff(np.append(at, interval_s.size))
    mean_s = np.add.reduceat(interval_s, at) / count
    wrong = np.minimum.reduceat(interval_s, at) < 0.5 * EXTRA_BELOW * mean_s
    wrong |= np.maximum.reduceat(interval_s, at) > LONG_ABOVE * mean_s
    change = np.flatnonzero(np.diff(np.concatenate(([False], wrong, [False])).astype(np.int8)))
    return [
        (first + int(low) * GLANCE, min(first + int(high) * GLANCE, last + 1))
        for low, high in change.reshape(-1, 2)
    ]


def _examine(time_s: Floats, first: int, last: int) -> _Found:
    """Judge the edges first:last, looking a little to both sides."""
    low, high = max(0, first - PAD), min(time_s.size, last + PAD)
    extra = _extras(time_s[low:high])
    interval_s = np.diff(np.delete(time_s[low:high], extra))
    median = block_medians(interval_s)
    long = np.flatnonzero(interval_s > LONG_ABOVE * median.min())
    period_s = local_period(interval_s, median, long)
    sure = interval_s[long] > LONG_ABOVE * period_s
    long, period_s = long[sure], period_s[sure]
    pitches, unsure = _count_pitches(interval_s, median, long, period_s)
    taken_before = extra - np.arange(extra.size)

    def ours(index: Ints) -> Flags:
        return (index + low >= first) & (index + low < last)

    def place(kept: Ints) -> Ints:
        return kept + np.searchsorted(taken_before, kept, side="right")

    long_at, starts = place(long[~unsure]), place(long[unsure] + 1)
    return _Found(
        extra[ours(extra)] + low,
        long_at[ours(long_at)] + low,
        pitches[~unsure][ours(long_at)] - 1,
        starts[ours(starts)] + low,
    )


def _extras(time_s: Floats) -> Ints:
    """Indices of the edges that are no teeth.

    An edge is one too many where the intervals on its two sides, each rounded to pitches,
    make more pitches than their sum does; one of them is short. Again and again the one with
    the shortest sum nearby is taken out; only one of neighbours goes in one round, because
    taking it out heals the other.
    """
    interval_s = np.diff(time_s)
    median = block_medians(interval_s)
    short = interval_s < 0.5 * EXTRA_BELOW * median.max()
    at = np.flatnonzero(short[1:] | short[:-1]) + 1
    before, after = at - 1, at + 1
    period_s = np.maximum(
        local_period(interval_s, median, at), local_period(interval_s, median, before)
    )
    taken = []
    while at.size:
        left_s, right_s = time_s[at] - time_s[before], time_s[after] - time_s[at]
        pair = (left_s + right_s) / period_s
        shorter = np.minimum(left_s, right_s) < 0.5 * EXTRA_BELOW * period_s
        suspect = (pair < COUNTED_TOGETHER) & shorter
        wrong = suspect & _one_too_many(left_s / period_s, right_s / period_s)
        pair = np.concatenate(([np.inf], np.where(wrong, pair, np.inf), [np.inf]))
        touch = np.concatenate(([False], at[1:] == after[:-1], [False]))
        drop = wrong & ~(touch[:-1] & (pair[:-2] <= pair[1:-1]))
        drop &= ~(touch[1:] & (pair[2:] < pair[1:-1]))
        if not drop.any():
            break
        taken.append(at[drop])
        gone = np.flatnonzero(drop)
        right, left = gone[touch[gone + 1]], gone[touch[gone]]
        before[right + 1], after[left - 1] = before[right], after[left]
        at, before, after, period_s = (
            one[suspect & ~drop] for one in (at, before, after, period_s)
        )
    return np.sort(in_a_row(taken))


def _one_too_many(first: Floats, second: Floats) -> Flags:
    """Whether two intervals, in pitches, hold an edge too many between them.

    Rounded with a leaning that leaves a tooth displaced by half a pitch alone.
    """
    lean = 1.5 - EXTRA_BELOW
    alone = np.maximum(np.rint(first - lean), 1) + np.maximum(np.rint(second - lean), 1)
    return np.asarray(np.rint(first + second + lean) < alone)


def _assemble(time_s: Floats, found: _Found) -> CleanEdges:
    """Number the kept edges."""
    start = np.zeros(1, dtype=np.int64)
    if not (found.extra.size or found.long_at.size or found.starts.size):
        none = np.empty(0)
        tooth = np.arange(time_s.size, dtype=np.int64)
        return CleanEdges(time_s, tooth, start, 0, 0, none, none)
    kept_s = np.delete(time_s, found.extra)
    at = found.long_at - np.searchsorted(found.extra, found.long_at)
    starts = found.starts - np.searchsorted(found.extra, found.starts)
    # The index is 0, 1, 2 …, raised by the missed teeth from each hole on.
    tooth = np.arange(kept_s.size, dtype=np.int64)
    raise_after(tooth, at, found.missed)
    extra_s = time_s[found.extra]
    taken = found.extra - np.arange(1, found.extra.size + 1)  # the kept edge before each
    tied = np.flatnonzero(kept_s[taken] >= extra_s)
    taken[tied] = np.searchsorted(kept_s, extra_s[tied]) - 1
    doubtful = np.sort(np.concatenate((at, taken)), kind="stable")
    again = relocked(kept_s, tooth, doubtful)
    edges = CleanEdges(
        kept_s,
        tooth,
        np.concatenate((start, starts)),
        int(found.missed.sum()),
        found.extra.size,
        kept_s[at[found.missed > 0]],
        extra_s,
    )
    return edges if again is None else _recounted(edges, again)


def _recounted(edges: CleanEdges, again: Relocked) -> CleanEdges:
    """The edges as their phase numbers them."""
    extra_s = edges.time_s[again.extra]
    out = np.sort(np.concatenate((again.extra, again.unsure)))
    time_s, tooth = _closed_up(edges.time_s, out), _closed_up(edges.tooth, out)
    starts = np.union1d(edges.starts, again.starts)
    starts = np.unique(starts - np.searchsorted(out, starts))
    starts = starts[starts < time_s.size]
    # Phases that lead to a tooth that was there already could not tell: what follows is new.
    jumps = _jumps(tooth)
    back = jumps[tooth[jumps + 1] <= tooth[jumps]]
    raise_after(tooth, back, tooth[back] - tooth[back + 1] + 1)
    starts = np.union1d(starts, back + 1)
    holes = np.setdiff1d(_jumps(tooth), starts[1:] - 1, assume_unique=True)
    missed = tooth[holes + 1] - tooth[holes] - 1
    return CleanEdges(
        time_s,
        tooth,
        starts,
        int(missed.sum()),
        edges.extra + extra_s.size,
        time_s[holes[missed > 0]],
        np.sort(np.concatenate((edges.extra_s, extra_s))),
    )


def _closed_up(values: Column, out: Ints) -> Column:
    """`values` (n,) without those at `out`, ascending; in place, for they may be hours of edges."""
    end = 0
    for low in range(0, values.size, CHUNK):
        first, last = np.searchsorted(out, (low, low + CHUNK))
        kept = values[low : low + CHUNK]
        if last > first:
            kept = np.delete(kept, out[first:last] - low)
        values[end : end + kept.size] = kept
        end += kept.size
    return values[:end]


def _jumps(tooth: Ints) -> Ints:
    """Indices after which the next number does not follow."""
    found = [
        np.flatnonzero(np.diff(tooth[low : low + CHUNK + 1]) != 1) + low
        for low in range(0, tooth.size - 1, CHUNK)
    ]
    return in_a_row(found)


def _count_pitches(
    interval_s: Floats, median: Floats, long: Ints, period_s: Floats
) -> tuple[Ints, Flags]:
    """Pitches in each `long` interval (m,), and whether they cannot be counted; `period_s` (m,)
    is that around each."""
    ratio = interval_s[long] / period_s
    end = interval_s.size - 1
    before = np.where(long > 0, interval_s[np.maximum(long - 1, 0)], np.inf)
    after = np.where(long < end, interval_s[np.minimum(long + 1, end)], np.inf)
    both = ratio + np.minimum(before, after) / period_s
    # A displaced tooth makes one interval long and its neighbour short by the same amount:
    # the two are counted together where their sum is the rounder number.
    displaced = (both - ratio < 0.75) & (_off_round(both) < _off_round(ratio))
    pitches = np.where(displaced, np.rint(both) - 1, np.rint(ratio))
    pitches = np.maximum(pitches, 1).astype(np.int64)
    block = np.minimum(long // BLOCK, median.size - 1)
    around = np.stack(
        (median[np.maximum(block - 1, 0)], median[np.minimum(block + 1, median.size - 1)])
    )
    unsteady = around.max(axis=0) > UNSTEADY * around.min(axis=0)
    # While the wheel starts or stops the interval on one side is long too, and no tooth is
    # missing; where both are short, it either nearly stood or teeth were missed.
    ramp = unsteady & (interval_s[long] < LONG_ABOVE * np.maximum(before, after))
    pitches = np.where(ramp & np.isfinite(before) & np.isfinite(after), 1, pitches)
    return pitches, (ratio > MOST_PITCHES) | (unsteady & (pitches > 1))


def _off_round(pitches: Floats) -> Floats:
    return np.abs(pitches - np.rint(pitches))

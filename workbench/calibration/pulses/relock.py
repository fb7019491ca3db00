"""The tooth count across a stretch where noise and lost pulses fell together.

Interval by interval such a stretch cannot be counted: noise lands in the gap of a missed
tooth, sparks come nearly as fast as teeth. But the teeth before and after it stand in
phase, so the number of pitches between them is known, and each edge inside is either the
one nearest to its place or an extra one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

REACH = 16
"""Good edges looked at on each side of a stretch; nearer stretches are taken together."""

STEADY = 0.05
"""Largest change of the period across a stretch at which the phase is carried over it."""

OUT_OF_PHASE = 0.25
"""Pitches by which the phase may be off for the count to be sure."""

LONGEST = 64
"""Pitches over which the phase is carried; beyond, a belt that wanders is out of step."""

WANDER = 0.01
"""Share of a stretch by which a sound belt may be out of phase at its end; chosen."""

NEAR_PITCH = 0.3
"""Pitches an edge inside may stand from its place and still be its tooth's."""


SHORTEST_S = 1e-9
"""A period below any counter's tick: edges that all bear one time have none of their own."""

LONG_DOUBT = 8
"""Doubtful edges in one stretch that are left out where they cannot be counted."""

TOGETHER = 2048
"""Stretches compared at once, so that what is made of them stays in the cache."""

CHUNK = 1 << 16
"""Edges worked on at once: half a megabyte, so that every pass stays in the cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Relocked:
    """What the phases say of edges: `extra` are the indices of those that are no teeth, `unsure`
    of those that nobody can count; `starts` are the indices after these, at which a new segment
    begins."""

    extra: Ints
    unsure: Ints
    starts: Ints


def relocked(time_s: Floats, tooth: Ints, at: Ints) -> Relocked | None:
    """Number the edges (n,) anew, in place, where the phases across the doubtful places `at`
    (ascending indices) contradict the count; None where they bear it out."""
    at = at[(at >= REACH) & (at < time_s.size - REACH)]
    if not at.size:
        return None
    doubtful = _stretches(time_s, tooth, at)
    long = doubtful.last - doubtful.first >= LONG_DOUBT
    unsure = np.flatnonzero(doubtful.off & ~doubtful.sure & long)
    wrong = np.flatnonzero(doubtful.off & doubtful.sure)
    if not (unsure.size or wrong.size):
        return None
    extra = []
    for index in wrong:
        inside = np.arange(doubtful.first[index] + 1, doubtful.last[index] + 1)
        mine, tooth[inside] = _places(time_s, tooth, doubtful, int(index))
        extra.append(inside[~mine])
    raise_after(tooth, doubtful.last[wrong], doubtful.slip[wrong])
    spans = zip(doubtful.first[unsure] + 1, doubtful.last[unsure] + 1, strict=True)
    left_out = [np.arange(*span) for span in spans]
    return Relocked(in_a_row(extra), in_a_row(left_out), doubtful.last[unsure] + 1)


def in_a_row(parts: Iterable[Ints]) -> Ints:
    """All of them as one, also where there are none."""
    return np.concatenate([np.empty(0, dtype=np.int64), *parts])


def raise_after(tooth: Ints, at: Ints, step: Ints) -> None:
    """Raise `tooth`, in place, by each step from the index after its place on."""
    height = np.concatenate(([0], np.cumsum(step)))
    for low in range(int(at[0]) + 1 if at.size else tooth.size, tooth.size, CHUNK):
        high = min(low + CHUNK, tooth.size)
        first, last = np.searchsorted(at, (low, high - 1)).tolist()
        lengths = np.diff(np.concatenate(([low], at[first:last] + 1, [high])))
        tooth[low:high] += np.repeat(height[first : last + 1], lengths)


@dataclass(frozen=True, slots=True, eq=False)
class _Stretches:
    """Stretches of doubtful edges: the last good edge before, the last doubtful one.

    All (n,). `slip` is by how many teeth the count over it was short (negative: over),
    `sure` whether that is known, `off` whether the phases say that something is wrong.
    `period_s` is the tooth period around it, `phase_s` the
    time at which the tooth of the edge `first` was due by its fellows before it.
    """

    first: Ints
    last: Ints
    slip: Ints
    sure: Flags
    off: Flags
    period_s: Floats
    phase_s: Floats


def _stretches(time_s: Floats, tooth: Ints, at: Ints) -> _Stretches:
    """Gather the doubtful places `at` (ascending indices, at least one) and compare phases across
    each."""
    apart = np.diff(at, prepend=-REACH - 1) > REACH
    first, last = at[apart], at[np.append(apart[1:], True)]
    some = [slice(low, low + TOGETHER) for low in range(0, first.size, TOGETHER)]
    parts = [_compared(time_s, tooth, first[one], last[one]) for one in some]
    return _Stretches(first, last, *map(np.concatenate, zip(*parts, strict=True)))


def _compared(
    time_s: Floats, tooth: Ints, first: Ints, last: Ints
) -> tuple[Ints, Flags, Flags, Floats, Floats]:
    """`_Stretches` of some stretches, from `slip` on."""
    windows_s = sliding_window_view(time_s, REACH)
    before_s, after_s = windows_s[first - REACH + 1], windows_s[last + 1]
    row = np.arange(float(REACH))[None]
    before, after = row - row[:, -1:], row  # no doubtful place is so near, but for
    if first[0] < 2 * REACH or last[-1] >= tooth.size - 2 * REACH:  # the last of all
        teeth = sliding_window_view(tooth, REACH)
        before = (teeth[first - REACH + 1] - tooth[first][:, None]).astype(np.float64)
        after = (teeth[last + 1] - tooth[last + 1][:, None]).astype(np.float64)
    period_before, period_after = _period(before_s, before), _period(after_s, after)
    period_s = 0.5 * (period_before + period_after)
    over = (tooth[last + 1] - tooth[first]).astype(np.float64)
    phase_s = _middle(before_s - period_s[:, None] * before)
    later_s = _middle(after_s - period_s[:, None] * (after + over[:, None]))
    jump = (later_s - phase_s) / period_s
    slip = np.rint(jump)
    sure = np.abs(period_after - period_before) < STEADY * period_s
    sure &= np.abs(jump - slip) < OUT_OF_PHASE
    pitches = tooth[last] - tooth[first]
    sure &= pitches <= LONGEST
    off = np.abs(jump) > np.maximum(0.5, WANDER * pitches)
    return slip.astype(np.int64), sure, off, period_s, phase_s


def _period(time_s: Floats, tooth: Floats) -> Floats:
    pitch_s = np.diff(time_s) / np.maximum(np.diff(tooth), 1)
    return np.maximum(_middle(pitch_s), SHORTEST_S)


def _middle(rows: Floats) -> Floats:
    """The median of each row."""
    ordered = np.sort(rows, axis=1)
    width = ordered.shape[1]
    return np.asarray(0.5 * (ordered[:, (width - 1) // 2] + ordered[:, width // 2]))


def _places(time_s: Floats, tooth: Ints, found: _Stretches, index: int) -> tuple[Flags, Ints]:
    """Which edges inside one stretch are teeth, and which tooth each of these is.

    Both over the edges first + 1 … last; the tooth numbers count on from that of `first`.
    """
    first, last = int(found.first[index]), int(found.last[index])
    inside = slice(first + 1, last + 1)
    pitches = (time_s[inside] - found.phase_s[index]) / found.period_s[index]
    nearest = np.rint(pitches).astype(np.int64)
    off = np.abs(pitches - nearest)
    most = int(tooth[last + 1] - tooth[first] + found.slip[index])
    order = np.lexsort((off, nearest))
    best = np.zeros(nearest.size, dtype=np.bool_)
    best[order[np.diff(nearest[order], prepend=-1) > 0]] = True
    best &= (nearest >= 1) & (nearest < most) & (off <= NEAR_PITCH)
    return best, tooth[first] + nearest

"""The tooth count across a stretch where noise and lost pulses fell together.

Interval by interval such a stretch cannot be counted: noise lands in the gap of a missed
tooth, sparks come nearly as fast as teeth. But the teeth before and after it stand in
phase, so the number of pitches between them is known, and each edge inside is either the
one nearest to its place or an extra one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
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

FEW_HOLES = 10_000
"""Up to this many holes the index is raised piece by piece, without a copy of it all."""


@dataclass(frozen=True, slots=True, eq=False)
class Relocked:
    """Edges numbered by their phase; all (n,) but `starts`.

    `tooth` is the number of each, `keep` which of them stay, `extra` which of the others are
    no teeth; the rest were left out, for nobody can count them. `starts` are the indices
    after these, at which a new segment begins.
    """

    tooth: Ints
    keep: Flags
    extra: Flags
    starts: Ints


def relocked(time_s: Floats, tooth: Ints, at: Ints) -> Relocked | None:
    """Number the edges (n,) anew where the phases across the doubtful places `at` (ascending
    indices) contradict the count; None where they bear it out."""
    doubtful = _stretches(time_s, tooth, at)
    long = doubtful.last - doubtful.first >= LONG_DOUBT
    unsure = np.flatnonzero(doubtful.off & ~doubtful.sure & long)
    wrong = np.flatnonzero(doubtful.off & doubtful.sure)
    if not (unsure.size or wrong.size):
        return None
    numbered, keep = tooth.copy(), np.ones(tooth.size, dtype=np.bool_)
    for index in wrong:
        inside = slice(int(doubtful.first[index]) + 1, int(doubtful.last[index]) + 1)
        keep[inside], numbered[inside] = _places(time_s, tooth, doubtful, int(index))
    raise_after(numbered, doubtful.last[wrong], doubtful.slip[wrong])
    extra = ~keep
    for first, last in zip(doubtful.first[unsure], doubtful.last[unsure], strict=True):
        keep[first + 1 : last + 1] = False
    return Relocked(numbered, keep, extra, doubtful.last[unsure] + 1)


def raise_after(tooth: Ints, at: Ints, step: Ints) -> None:
    """Raise `tooth`, in place, by each step from the index after its place on."""
    if not at.size:
        return
    bounds, height = np.append(at + 1, tooth.size), np.cumsum(step)
    if at.size > FEW_HOLES:
        tooth[bounds[0] :] += np.repeat(height, np.diff(bounds))
        return
    for low, high, raised in zip(bounds[:-1], bounds[1:], height, strict=True):
        tooth[low:high] += raised


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
    """Gather the doubtful places `at` (ascending indices) and compare phases across each."""
    at = at[(at >= REACH) & (at < time_s.size - REACH)]
    apart = np.diff(at, prepend=-REACH - 1) > REACH
    first, last = at[apart], at[np.append(apart[1:], True)] if at.size else at
    before = first[:, None] + np.arange(1 - REACH, 1)
    after = np.minimum(last[:, None] + np.arange(1, REACH + 1), time_s.size - 1)
    period_before, period_after = _period(time_s, tooth, before), _period(time_s, tooth, after)
    period_s = 0.5 * (period_before + period_after)
    here = tooth[first][:, None]
    phase_s = np.median(time_s[before] - period_s[:, None] * (tooth[before] - here), axis=1)
    later_s = np.median(time_s[after] - period_s[:, None] * (tooth[after] - here), axis=1)
    jump = (later_s - phase_s) / period_s
    slip = np.rint(jump)
    sure = np.abs(period_after - period_before) < STEADY * period_s
    sure &= np.abs(jump - slip) < OUT_OF_PHASE
    pitches = tooth[last] - tooth[first]
    sure &= pitches <= LONGEST
    off = np.abs(jump) > np.maximum(0.5, WANDER * pitches)
    return _Stretches(first, last, slip.astype(np.int64), sure, off, period_s, phase_s)


def _period(time_s: Floats, tooth: Ints, window: Ints) -> Floats:
    pitches = np.maximum(np.diff(tooth[window]), 1)
    return np.maximum(np.median(np.diff(time_s[window]) / pitches, axis=1), SHORTEST_S)


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

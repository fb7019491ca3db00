"""The pulses of one pickup after cleaning, tooth by tooth from the mark."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.errors import WrongInput
from workbench.calibration.gap.counting import count_on, distinct, first_after
from workbench.calibration.gap.false_edges import (
    FalseEdges,
    Origin,
    false_edges,
    mean_tooth_hz,
    paired_edges,
)
from workbench.calibration.pulses.edges import CleanEdges, clean
from workbench.calibration.pulses.target_wheel import TeethSeen, teeth_seen

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST_TURNS = 2
ENOUGH_EDGES = 400_000
"""Edges that tell all of a wheel; more only take time and memory. Chosen."""
ENOUGH_TO_JUDGE = 20_000
"""Edges in which noise that spoils a speed shows. Chosen."""
TOO_NOISY = 0.05
"""Share of false edges above which the teeth cannot be told one by one."""
_SAME_SPEED = 0.15
_FEW_TEETH = 8
_SURELY = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The pulses after cleaning.

    `raw_s` (n,) as they came; `edges` all that were kept; `piece` the longest piece of
    them without a break, in which each edge's tooth is sure unless `noisy`: there are too
    many `false` edges to tell teeth one by one. `mark` is the running index modulo Z of
    tooth 1, `marked` whether a mark gave it (else the piece's first edge).
    """

    raw_s: Floats
    edges: CleanEdges
    piece: CleanEdges
    teeth: int
    mark: int
    marked: bool
    false: FalseEdges
    noisy: bool

    @property
    def turns(self) -> float:
        """Turns of the wheel in the piece."""
        return float(self.piece.tooth[-1] - self.piece.tooth[0] + 1) / self.teeth

    def from_mark(self, values: Floats) -> Floats:
        """(Z,) by running index modulo Z → by tooth from the mark."""
        return np.roll(values, -self.mark)

    def at(self, tooth: int) -> int:
        """Place from the mark, from 0, of a tooth by running index modulo Z."""
        return (tooth - self.mark) % self.teeth


def see(time_s: Floats, teeth: int, mark_s: Floats | None, alpha: float) -> Seen:
    """Clean `time_s` (n,), judge its false edges and count from the mark.

    `alpha` is the chance that a sound pickup is said to have false edges. Raises
    WrongInput where fewer than two turns are there.
    """
    if time_s.size < 2 or time_s[-1] <= time_s[0]:
        raise WrongInput(
            "There are too few pulses, {count}, or all at one moment; at least two turns are "
            "needed.",
            count=time_s.size,
        )
    apart_s = distinct(time_s)
    kept_s, pair_at_rel = paired_edges(apart_s)
    edges = clean(kept_s)
    piece = _longest(edges)
    false = false_edges(apart_s, edges, mean_tooth_hz(piece) / teeth, alpha, pair_at_rel)
    noisy = _is_noisy(false)
    needed = FEWEST_TURNS * teeth
    if _pitches(piece) < needed and not noisy:
        # Where half the wheel is not seen, every turn has a hole that ends a piece.
        counted_s, tooth = count_on(kept_s, teeth)
        if tooth[-1] < needed:
            raise _too_short(edges, _pitches(piece), teeth)
        edges = piece = _of_counted(kept_s, counted_s, tooth)
    mark = first_after(piece.time_s, piece.tooth, mark_s)
    first = int(piece.tooth[0]) if mark is None else mark
    return Seen(time_s, edges, piece, teeth, first % teeth, mark is not None, false, noisy)


def _is_noisy(false: FalseEdges) -> bool:
    noise = false.origin not in (Origin.NONE, Origin.TWICE)
    return noise and (false.share > TOO_NOISY or false.origin is Origin.MAINS)


def _pitches(piece: CleanEdges) -> int:
    return int(piece.tooth[-1] - piece.tooth[0])


def _longest(edges: CleanEdges) -> CleanEdges:
    """The longest piece without a break, at most `ENOUGH_EDGES` of it."""
    first, last = max(
        edges.spans(), key=lambda span: int(edges.tooth[span[1] - 1] - edges.tooth[span[0]])
    )
    last = min(last, first + ENOUGH_EDGES)
    time_s, tooth = edges.time_s[first:last], edges.tooth[first:last]
    inside = (edges.extra_s >= time_s[0]) & (edges.extra_s <= time_s[-1])
    return _one_piece(time_s, tooth, edges.extra_s[inside])


def _of_counted(raw_s: Floats, time_s: Floats, tooth: Ints) -> CleanEdges:
    counted = raw_s[raw_s <= time_s[-1]]
    return _one_piece(time_s, tooth, np.setdiff1d(counted, time_s))


def _one_piece(time_s: Floats, tooth: Ints, extra_s: Floats) -> CleanEdges:
    step = np.diff(tooth)
    missed = int(np.sum(step - 1))
    start = np.zeros(1, dtype=np.int64)
    missed_s = time_s[:-1][step > 1]
    return CleanEdges(time_s, tooth, start, missed, extra_s.size, missed_s, extra_s)


def _too_short(edges: CleanEdges, pitches: int, teeth: int) -> WrongInput:
    rate_hz = mean_tooth_hz(edges)
    values = {"turns": pitches / teeth, "teeth": teeth}
    if not rate_hz > 0:
        return WrongInput(
            "The longest piece of the recording holds {turns:.1f} turns of a wheel of {teeth} "
            "teeth; at least two are needed and ten are better.",
            **values,
        )
    return WrongInput(
        "The longest piece of the recording holds {turns:.1f} turns of a wheel of {teeth} teeth; "
        "at least two are needed and ten are better, about {enough_s:seconds} at this speed.",
        **values,
        enough_s=10 * teeth / rate_hz,
    )


def count_teeth(time_s: Floats) -> TeethSeen:
    """After how many teeth the signal repeats, second edges of every tooth taken out.

    None where noise is too heavy to trust the answer.
    """
    if time_s.size < 2:
        return TeethSeen(None, 0.0)
    edges, _, noisy = _looked_over(time_s)
    return TeethSeen(None, 0.0) if noisy else teeth_seen(edges)


def _looked_over(time_s: Floats) -> tuple[CleanEdges, FalseEdges, bool]:
    """(edges kept, false edges, whether noise is heavy) before the teeth are known."""
    apart_s = distinct(time_s)
    kept_s, pair_at_rel = paired_edges(apart_s)
    edges = clean(kept_s)
    # Few teeth a turn, so that a wheel's own lines are kept well clear of.
    turn_hz = mean_tooth_hz(edges) / _FEW_TEETH
    false = false_edges(apart_s, edges, turn_hz, _SURELY, pair_at_rel)
    return edges, false, _is_noisy(false)


def beyond_use(time_s: Floats, edges: CleanEdges) -> FalseEdges | None:
    """False edges that leave no speed to be told: many that no tooth made, or nearly every
    tooth twice. None where `edges`, what `clean` made of `time_s` (n,), may be gone by."""
    if time_s.size < 2 or time_s[-1] <= time_s[0]:
        return None
    start = time_s[:ENOUGH_TO_JUDGE]
    single = math.isnan(paired_edges(distinct(start))[1])
    in_one_piece = edges.starts.size == 1
    if single and in_one_piece and edges.extra + edges.missed <= TOO_NOISY * time_s.size:
        return None
    _, false, noisy = _looked_over(start)
    # Where the count broke off, what seemed the teeth's may be the noise's own.
    noisy &= false.share > TOO_NOISY or not in_one_piece
    return false if noisy or not single else None


def count_breaks(edges: CleanEdges) -> int:
    """Holes with the same speed before and after, near the usual: the wheel turned on."""
    interval_s = np.diff(edges.time_s)
    if not interval_s.size:
        return 0
    usual_s, breaks = float(np.median(interval_s)), 0
    for start in edges.starts[1:].tolist():
        before, after = interval_s[max(0, start - 9) : start - 1], interval_s[start : start + 8]
        if before.size < 4 or after.size < 4:
            continue
        sides_s = np.array([np.median(before), np.median(after)])
        steady = np.ptp(sides_s) < _SAME_SPEED * sides_s.mean()
        breaks += bool(steady and sides_s.mean() < 2 * usual_s)
    return breaks


def log_amplitudes(seen: Seen, amplitude_v: Floats) -> Floats | None:
    """(Z,) mean of ln(voltage ÷ tooth rate) by tooth from the mark.

    `amplitude_v` (n,) beside the raw edges; None where too few are known.
    """
    place, rate_hz, kept = _by_edge(seen)
    volts = amplitude_v[kept]
    good = (volts > 0) & np.isfinite(volts) & (rate_hz > 0)
    if np.count_nonzero(good) < seen.teeth:
        return None
    value = np.log(volts[good] / rate_hz[good])
    return seen.from_mark(_tooth_mean(value, place[good], seen.teeth))


def duties(seen: Seen, fall_s: Floats) -> Floats | None:
    """(Z,) share of a pitch the pulse lasts, by tooth from the mark.

    `fall_s` (n,) beside the raw edges; None where too few are known.
    """
    place, rate_hz, kept = _by_edge(seen)
    duty = (fall_s[kept] - seen.piece.time_s) * rate_hz
    good = np.isfinite(duty) & (duty > 0) & (duty < 1)
    if np.count_nonzero(good) < seen.teeth:
        return None
    return seen.from_mark(_tooth_mean(duty[good], place[good], seen.teeth))


def _by_edge(seen: Seen) -> tuple[NDArray[np.int64], Floats, NDArray[np.int64]]:
    """(place on the wheel, tooth rate, index among the raw edges) of every kept edge."""
    edges = seen.piece
    # The mean over the turn around each edge: a tooth's own offset must not move its rate.
    reach = max(1, seen.teeth // 2)
    low = np.maximum(np.arange(edges.time_s.size) - reach, 0)
    high = np.minimum(low + 2 * reach, edges.time_s.size - 1)
    rate_hz = (edges.tooth[high] - edges.tooth[low]) / (edges.time_s[high] - edges.time_s[low])
    kept = np.searchsorted(seen.raw_s, edges.time_s)
    return edges.tooth % seen.teeth, rate_hz, kept


def _tooth_mean(value: Floats, place: NDArray[np.int64], teeth: int) -> Floats:
    count = np.bincount(place, minlength=teeth)
    total = np.bincount(place, weights=value, minlength=teeth)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)

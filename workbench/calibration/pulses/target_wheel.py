"""What the pulses say of the target wheel itself: how many teeth, and where they stand.

A wheel's tooth spacing errors repeat every turn, so the intervals repeat after as many
teeth as the wheel has. Folding them at every candidate number and weighing fit against
the number of parameters (the Bayesian information criterion, Schwarz, Ann. Statist. 6(2)
1978) tells the number; the folded mean is the tooth signature. Time-synchronous averaging
noise falls as 1/√turns (Bechhoefer & Kingsley, PHM 2009).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import CleanEdges
from workbench.calibration.pulses.period import NO_TIME_S
from workbench.calibration.statistics.spread import robust_spread

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_TEETH = 200
"""Largest number of teeth looked for; chosen, target wheels of this trade have fewer."""

ENOUGH_EDGES = 40_000
"""Edges looked at; more would only cost time: the answer is clear long before."""

OVERDISPERSION = 2.0
"""White jitter makes neighbouring intervals differ in opposite directions (correlation
−1/2), which raises the variance between folded means by up to this factor; the misfit is
divided by it (quasi-likelihood: Burnham & Anderson, 2002, 2.5, from memory)."""

LEAST_SIGNATURE = 2e-4
"""Root mean square spacing error, as a share of the pitch, below which a repetition is
taken for the beat of the clock with the teeth: no cut wheel is that good. Chosen."""

SURE = 0.99
"""Confidence from which a typed tooth count is contradicted."""

LEAST_TURNS = 3
"""Turns needed before a repetition can be told from chance."""


@dataclass(frozen=True, slots=True)
class TeethSeen:
    """After how many teeth the signal repeats.

    `teeth` is None where nothing repeats clearly; `confidence` is the posterior
    probability of the answer among all numbers looked at, with equal priors. `exact` is
    False where the wheel may as well have a multiple of `teeth`: a part of the signature
    stands out before the whole does.
    """

    teeth: int | None
    confidence: float
    exact: bool = False

    def contradicts(self, typed: int) -> bool:
        """Whether a typed tooth count cannot be true by this signal."""
        if self.teeth is None or self.confidence < SURE or typed == self.teeth:
            return False
        return self.exact or typed % self.teeth != 0


@dataclass(frozen=True, slots=True, eq=False)
class ToothSignature:
    """Where each tooth stands, as a share of the pitch, late being positive.

    `offset_rel` and `u_offset_rel` (teeth,), NaN for a tooth never seen; its mean is 0.
    `seen` (teeth,) counts how often each tooth was seen. `jitter_rel` is the standard
    deviation of one edge about the signature. Tooth 0 is that of the first edge.
    """

    offset_rel: Floats
    u_offset_rel: Floats
    seen: Ints
    jitter_rel: float


def teeth_seen(edges: CleanEdges, most: int = MOST_TEETH) -> TeethSeen:
    """The number of teeth the signal itself repeats after, with its confidence."""
    index, deviation, missed = _interval_deviations(edges)
    most = min(most, deviation.size // LEAST_TURNS)
    if most < 2:
        return TeethSeen(None, 0.0)
    along = _Along(index, deviation, missed)
    score = np.array([_misfit(along, teeth) for teeth in range(1, most + 1)])
    weight = np.exp(-0.5 * (score - score.min()))
    best = int(np.argmax(weight)) + 1
    confidence = float(weight[best - 1] / weight.sum())
    clear = _holes(along, best)[0].any() or _stands_out(edges, index, deviation, best)
    if best == 1 or not clear:
        return TeethSeen(None, confidence)
    multiples = range(2 * best, most + 1, best)
    exact = bool(multiples) and not any(
        _more_in(index[~missed], deviation[~missed], best, multiple) for multiple in multiples
    )
    return TeethSeen(best, confidence, exact)


def _stands_out(edges: CleanEdges, index: Ints, deviation: Floats, teeth: int) -> bool:
    """Whether the signature is larger than what a coarse clock makes of a perfect wheel."""
    strength = math.sqrt(_explained(index, deviation, teeth)[0] / deviation.size)
    interval_s = np.diff(edges.time_s[:ENOUGH_EDGES])
    steps = np.diff(np.unique(np.round(interval_s, 12)))
    step = float(steps.min()) / float(np.median(interval_s)) if steps.size else 0.0
    return strength > max(LEAST_SIGNATURE, step)


def missing_teeth(edges: CleanEdges, teeth: int) -> Ints:
    """How often each tooth was missed that is missed in most turns; empty where there is none.

    `teeth` is the number the wheel's pattern repeats after, 0 where none is known.
    """
    if teeth == 0 or edges.missed == 0:
        return np.empty(0, dtype=np.int64)
    pitches = np.diff(edges.tooth)
    long = np.flatnonzero(pitches > 1)
    absent = np.concatenate([np.arange(edges.tooth[at] + 1, edges.tooth[at + 1]) for at in long])
    count = np.bincount(absent % teeth, minlength=teeth)
    turns = (edges.tooth[-1] - edges.tooth[0]) / teeth
    return np.asarray(count[count > 0.5 * turns])


def _more_in(index: Ints, deviation: Floats, teeth: int, multiple: int) -> bool:
    """Whether folding at a multiple could hold a fifth or more of the signature's strength.

    Spacing errors differ from tooth to tooth, so the mean strength of the parts that
    repeat only after the multiple is then about that of the parts already found.
    """
    found, _ = _explained(index, deviation, teeth)
    whole, seen = _explained(index, deviation, multiple)
    noise = max(float(deviation @ deviation) - whole, 0.0) / max(deviation.size - seen, 1)
    parts = max(seen - teeth, 1)
    strength = found / teeth - noise
    more = (whole - found) / parts - noise + 2 * noise * OVERDISPERSION * math.sqrt(2 / parts)
    return more > 0.2 * strength


def _explained(index: Ints, deviation: Floats, teeth: int) -> tuple[float, int]:
    """Sum of squares that the folded means explain, and in how many places there are means."""
    place = index % teeth
    count = np.bincount(place, minlength=teeth)
    total = np.bincount(place, weights=deviation, minlength=teeth)
    seen = count > 0
    return float(np.sum(total[seen] ** 2 / count[seen])), int(np.count_nonzero(seen))


def _interval_deviations(edges: CleanEdges) -> tuple[Ints, Floats, NDArray[np.bool_]]:
    """Tooth index, deviation from the local period in pitches, and 'teeth were missed here'.

    The longest segment is used, at most `ENOUGH_EDGES` of it. The local period is the mean
    over about 64 teeth, long against the tooth errors and short against changes of speed.
    """
    first, last = max(edges.spans(), key=lambda span: span[1] - span[0])
    last = min(last, first + ENOUGH_EDGES)
    time_s, tooth = edges.time_s[first:last], edges.tooth[first:last]
    pitches = np.diff(tooth)
    if pitches.size < 2 * LEAST_TURNS:
        return tooth[:0], time_s[:0], np.empty(0, dtype=np.bool_)
    reach = 32
    low = np.maximum(np.arange(pitches.size) - reach, 0)
    high = np.minimum(np.arange(pitches.size) + 1 + reach, pitches.size)
    period_s = np.maximum((time_s[high] - time_s[low]) / (tooth[high] - tooth[low]), NO_TIME_S)
    deviation = np.diff(time_s) / period_s - pitches
    spread = robust_spread(deviation - np.median(deviation))
    limit = max(8 * spread, 0.05)
    return tooth[:-1], np.clip(deviation, -limit, limit), pitches > 1


class _Along:
    """Sums tooth by tooth along the belt, gaps included: to fold them is to add up rows, which
    is done for two hundred tooth counts."""

    def __init__(self, index: Ints, deviation: Floats, missed: NDArray[np.bool_]) -> None:
        at = index - index[0]
        length = int(at[-1]) + 1
        regular = deviation[~missed]
        self.size, self.regular = deviation.size, regular.size
        self.square = float(regular @ regular)
        self.count = np.bincount(at[~missed], minlength=length)
        self.total = np.bincount(at[~missed], weights=regular, minlength=length)
        self.visits = np.bincount(at, minlength=length)
        self.missed = np.bincount(at[missed], minlength=length)


def _folded(along: NDArray[Any], teeth: int) -> NDArray[Any]:
    """(teeth,) Sums over all turns."""
    whole = along.size // teeth * teeth
    sums = along[:whole].reshape(-1, teeth).sum(axis=0)
    sums[: along.size - whole] += along[whole:]
    return np.asarray(sums)


def _misfit(along: _Along, teeth: int) -> float:
    """BIC of 'repeats after `teeth`': of the intervals, and of the places of missed teeth."""
    count, total = _folded(along.count, teeth), _folded(along.total, teeth)
    seen = count > 0
    explained = float(np.sum(total[seen] ** 2 / count[seen]))
    left = max(along.square - explained, 1e-300)
    score = along.regular * math.log(left) / OVERDISPERSION
    score += np.count_nonzero(seen) * math.log(along.size)
    if along.regular < along.size:
        score += _holes_misfit(along, teeth)
    return score


def _holes(along: _Along, teeth: int) -> tuple[NDArray[np.bool_], Ints, Ints]:
    """(teeth,) True at places where a tooth was missed in more than half of the turns; how often
    each was visited, and missed."""
    visits, count = _folded(along.visits, teeth), _folded(along.missed, teeth)
    return 2 * count > visits, visits, count


def _holes_misfit(along: _Along, teeth: int) -> float:
    """BIC of the places of missed teeth: holes that are missed nearly always, and the rest."""
    hole, visits, count = _holes(along, teeth)
    score = 2 * np.count_nonzero(hole) * math.log(teeth)
    for group in (hole, ~hole):
        n, m = int(visits[group].sum()), int(count[group].sum())
        score += math.log(max(n, 1))
        score -= 2 * sum(part * math.log(part / n) for part in (m, n - m) if part > 0)
    return score


def tooth_signature(edges: CleanEdges, teeth: int) -> ToothSignature:
    """The place of every tooth, from intervals folded at `teeth`.

    Each edge is compared with the mean time of the turn around it, which the signature
    cannot move. Raises ValueError if no segment holds two turns.
    """
    phase, place = [], []
    for first, last in edges.spans():
        segment = _phases(edges.time_s[first:last], edges.tooth[first:last], teeth)
        phase.append(segment[0])
        place.append(segment[1])
    offset, at = np.concatenate(phase), np.concatenate(place)
    if not offset.size:
        raise ValueError(f"the tooth signature needs two turns of {teeth} teeth in one piece")
    count = np.bincount(at, minlength=teeth)
    seen = count > 0
    mean = np.full(teeth, np.nan)
    mean[seen] = np.bincount(at, weights=offset, minlength=teeth)[seen] / count[seen]
    residual = offset - mean[at]
    spread = robust_spread(residual)
    good = np.abs(residual) <= max(6 * spread, 1e-12)
    count = np.bincount(at[good], minlength=teeth)
    seen = count > 0
    mean[seen] = np.bincount(at[good], weights=offset[good], minlength=teeth)[seen] / count[seen]
    residual = offset[good] - mean[at[good]]
    freedom = max(residual.size - int(seen.sum()), 1)
    jitter = math.sqrt(float(np.sum(residual**2)) / freedom)
    with np.errstate(divide="ignore", invalid="ignore"):
        u = np.where(seen, jitter / np.sqrt(count), np.nan)
    return ToothSignature(mean - np.nanmean(mean), u, count, jitter)


def _phases(time_s: Floats, tooth: Ints, teeth: int) -> tuple[Floats, Ints]:
    """Lateness in pitches against the mean of the turn around each edge, and the tooth's place."""
    grid = np.arange(tooth[0], tooth[-1] + 1)
    if grid.size < 2 * teeth:
        return np.empty(0), np.empty(0, dtype=np.int64)
    if teeth == 1:  # the only tooth is its own mean
        return np.zeros(tooth.size), np.zeros(tooth.size, dtype=np.int64)
    full_s = np.interp(grid, tooth, time_s)
    # The mean of t over one whole turn centred on k: for an even wheel the two end teeth,
    # which are one and the same tooth, count half each.
    weight = np.full(teeth + 1 - teeth % 2, 1.0 / teeth)
    if teeth % 2 == 0:
        weight[[0, -1]] *= 0.5
    half = weight.size // 2
    total = np.concatenate(([0.0], np.cumsum(full_s - full_s[0])))
    window = weight.size
    mean = (total[window:] - total[:-window]) * weight[weight.size // 2]
    if teeth % 2 == 0:
        mean -= 0.5 / teeth * (full_s[: -window + 1] + full_s[window - 1 :] - 2 * full_s[0])
    period_s = (full_s[window - 1 :] - full_s[: full_s.size - window + 1]) / (window - 1)
    middle = full_s[half : full_s.size - half] - full_s[0]
    phase = (middle - mean) / period_s
    present = np.isin(grid[half : grid.size - half], tooth, assume_unique=True)
    return phase[present], grid[half : grid.size - half][present] % teeth

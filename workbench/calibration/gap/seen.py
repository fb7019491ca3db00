"""The pulses of one pickup after cleaning, tooth by tooth from the mark."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.edges import CleanEdges, clean
from workbench.calibration.gap.false_edges import mean_tooth_hz, paired_edges
from workbench.calibration.target_wheel import TeethSeen, teeth_seen
from workbench.errors import WrongInput

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FEWEST_TURNS = 2
_SAME_SPEED = 0.15


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The pulses after cleaning.

    `raw_s` (n,) as they came; `mark` the running index modulo Z of tooth 1; `pair_at_rel`
    where in the pitch a second edge of every tooth stood that was taken out, else NaN.
    """

    raw_s: Floats
    edges: CleanEdges
    teeth: int
    mark: int
    pair_at_rel: float
    turn_hz: float

    def from_mark(self, values: Floats) -> Floats:
        """(Z,) by running index modulo Z → by tooth from the mark."""
        return np.roll(values, -self.mark)

    def at(self, tooth: int) -> int:
        """Place from the mark, from 0, of a tooth by running index modulo Z."""
        return (tooth - self.mark) % self.teeth


def see(time_s: Floats, teeth: int, mark_s: Floats | None) -> Seen:
    """Clean `time_s` (n,) and count from the mark. Raises WrongInput under two turns."""
    if time_s.size < 2:
        raise WrongInput(f"There are {time_s.size} pulses; at least two turns are needed.")
    kept_s, pair_at_rel = paired_edges(time_s)
    edges = clean(kept_s)
    longest = max((int(edges.tooth[b - 1] - edges.tooth[a]) + 1) for a, b in edges.spans())
    if longest < FEWEST_TURNS * teeth + 1:
        rate_hz = mean_tooth_hz(edges)
        more = f", about {10 * teeth / rate_hz:.0f} s at this speed" if rate_hz > 0 else ""
        raise WrongInput(
            f"The longest piece of the recording holds {longest / teeth:.1f} turns of a wheel of "
            f"{teeth} teeth; at least two are needed and ten are better{more}."
        )
    mark = 0
    if mark_s is not None and mark_s.size:
        at = min(int(np.searchsorted(edges.time_s, mark_s[0])), edges.time_s.size - 1)
        mark = int(edges.tooth[at]) % teeth
    return Seen(time_s, edges, teeth, mark, pair_at_rel, mean_tooth_hz(edges) / teeth)


def count_teeth(time_s: Floats) -> TeethSeen:
    """After how many teeth the signal repeats, second edges of every tooth taken out."""
    return teeth_seen(clean(paired_edges(time_s)[0]))


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
    duty = (fall_s[kept] - seen.edges.time_s) * rate_hz
    good = np.isfinite(duty) & (duty > 0) & (duty < 1)
    if np.count_nonzero(good) < seen.teeth:
        return None
    return seen.from_mark(_tooth_mean(duty[good], place[good], seen.teeth))


def _by_edge(seen: Seen) -> tuple[NDArray[np.int64], Floats, NDArray[np.int64]]:
    """(place on the wheel, tooth rate, index among the raw edges) of every kept edge."""
    edges = seen.edges
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

"""Edges that no tooth made: where do they come from?

Edges close behind a tooth's own, or always at the same part of the pitch, are the tooth's:
it triggers twice. Edges that keep time with the mains, or come in bursts, or stand
anywhere, are electrical noise, which does not turn with the wheel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.pulses.edges import CleanEdges
from workbench.calibration.pulses.period import block_medians, local_period

Floats = NDArray[np.float64]

TOLERATED = 0.001
"""Share of false edges that a sound pickup may have; chosen."""
FEWEST = 4
NEAR_TOOTH = 0.15
"""Part of a pitch on either side of a tooth's edge that counts as close to it."""
ALTERNATES = 0.04
"""Median unevenness of neighbouring intervals from which every tooth triggers twice: on a
wheel with 1 % spacing error it is 0.4 %."""
MAINS_HZ = (50.0, 60.0, 100.0, 120.0)
MAINS_REL = 0.004
"""How far the mains may be off its nominal frequency, with a counter's clock; chosen."""
_MAINS_OF_CYCLES = 0.25
"""Share of the mains' cycles that must each give an edge; chosen."""
_MAINS_OF_EXTRAS = 0.5
"""Share of the false edges that must keep time with the mains; chosen."""
_MAINS_FOR_S = 30.0
"""Longest stretch over which the mains keep time with a counter's clock; chosen."""
_MAINS_P = 1e-6
"""A line in all edges must be beyond doubt: the teeth themselves are far from random."""
_MOST_EDGES = 6000
_FEWEST_INTERVALS = 20
_ONE_PITCH = (0.9, 1.15)
"""Share of the local period that two intervals with one false edge make; where most teeth
trigger twice the period that shows is the longer interval alone."""
_LOOKED_AT = 100_000


class Origin(StrEnum):
    """Where false edges come from."""

    NONE = auto()
    TWICE = auto()
    MAINS = auto()
    BURSTS = auto()
    SCATTERED = auto()


@dataclass(frozen=True, slots=True)
class FalseEdges:
    """How many false edges, their share of all, their origin; `hz` of the mains, else NaN.

    `at_rel` is where in the pitch they stand (0 to 1) if they turn with the wheel. `p` is
    the chance of a sound pickup looking so.
    """

    count: int
    share: float
    origin: Origin
    p: float
    hz: float = math.nan
    at_rel: float = math.nan


def paired_edges(time_s: Floats) -> tuple[Floats, float]:
    """(edges with the second of each pair taken out, where it stood in the pitch).

    Where every tooth, or nearly, triggers twice, short and long intervals alternate and no
    single edge looks wrong; the pairs are told here. NaN where nothing alternates. False
    edges that do not turn with the wheel alternate as well, but drift through the pitch.
    """
    interval_s = np.diff(time_s[:_LOOKED_AT])
    if interval_s.size < _FEWEST_INTERVALS:
        return time_s, math.nan
    both_s = interval_s[:-1] + interval_s[1:]
    share = interval_s[:-1] / np.maximum(both_s, 1e-300)
    uneven = np.minimum(share, 1 - share)
    sign = np.sign(share - 0.5)
    flips = float(np.mean(sign[1:] * sign[:-1] < 0))
    at_rel = float(np.median(uneven))
    # Of false edges anywhere in the pitch 0.4 lie so close to the median.
    kept = float(np.mean(np.abs(uneven - at_rel) < 0.1))
    if at_rel > 0.5 - ALTERNATES or flips < 0.8 or kept < 0.65:
        return time_s, math.nan
    return _first_of_pairs(time_s, at_rel), at_rel


def _first_of_pairs(time_s: Floats, at_rel: float) -> Floats:
    """The edges without those that follow another closely.

    Close is judged by the pitch around, the sum of two intervals, so that it may change.
    """
    interval_s = np.diff(time_s)
    pitch_s = np.append(interval_s[:-1] + interval_s[1:], interval_s[-2:].sum())
    second = np.concatenate([[False], interval_s < (0.5 + at_rel) * 0.5 * pitch_s])
    # A close one after a second one is a new tooth's.
    return np.asarray(time_s[~(second & ~np.concatenate([[False], second[:-1]]))])


def false_edges(
    time_s: Floats, edges: CleanEdges, turn_hz: float, alpha: float, pair_at_rel: float = math.nan
) -> FalseEdges:
    """Judge the edges `time_s` (n,) as they came, of which `clean` took out `edges.extra_s`.

    `alpha` is the chance that a sound pickup is said to have false edges; `pair_at_rel`
    comes from `paired_edges` where those were taken out before.
    """
    from scipy.special import bdtrc

    if math.isfinite(pair_at_rel):
        count = time_s.size - edges.time_s.size
        return FalseEdges(count, count / time_s.size, Origin.TWICE, 0.0, at_rel=pair_at_rel)
    count, share = edges.extra, edges.extra / max(time_s.size, 1)
    hz, p = _mains(time_s, mean_tooth_hz(edges), turn_hz)
    if p < _MAINS_P:
        return FalseEdges(count, share, Origin.MAINS, p, hz=hz)
    p = float(bdtrc(count - 1, time_s.size, TOLERATED)) if count >= FEWEST else 1.0
    if p > alpha / 2:
        return FalseEdges(count, share, Origin.NONE, p)
    bursts = _in_bursts(edges, turn_hz)
    hz, p_mains = mains_line(edges.extra_s, _MAINS_OF_EXTRAS * count)
    if p_mains < alpha / 2 and not bursts:
        return FalseEdges(count, share, Origin.MAINS, p, hz=hz)
    at_rel, sure = _locked_at(_phase(time_s))
    if math.isfinite(at_rel) and (sure or not bursts):
        return FalseEdges(count, share, Origin.TWICE, p, at_rel=at_rel)
    return FalseEdges(count, share, Origin.BURSTS if bursts else Origin.SCATTERED, p)


def mean_tooth_hz(edges: CleanEdges) -> float:
    """Teeth a second over the longest piece without a break; NaN for fewer than two edges."""
    first, last = max(edges.spans(), key=lambda span: span[1] - span[0])
    if last - first < 2:
        return math.nan
    passed = int(edges.tooth[last - 1] - edges.tooth[first])
    return passed / float(edges.time_s[last - 1] - edges.time_s[first])


def _mains(time_s: Floats, tooth_hz: float, turn_hz: float) -> tuple[float, float]:
    """(frequency, p) of mains hum in all edges, wherever the wheel's own lines are not.

    Hum triggers once in many of its cycles; the wheel's own lines, a turn apart, are much
    weaker than that, except beside the tooth rate and its multiples, where nothing is said.
    The tooth rate is doubtful where there is much noise: the one the median interval gives
    is kept clear of too.
    """
    part = time_s[(time_s - time_s[0]) < _MAINS_FOR_S][:_MOST_EDGES]
    if part.size < 50 or not math.isfinite(tooth_hz):
        return math.nan, 1.0
    span_s = float(part[-1] - part[0])
    rates_hz = np.array([tooth_hz, 1.0 / float(np.median(np.diff(part)))])
    for nominal in MAINS_HZ:
        multiple_hz = np.maximum(1, np.rint(nominal / rates_hz)) * rates_hz
        if np.abs(nominal - multiple_hz).min() > 1.2 * turn_hz:
            hz, p = mains_line(part, _MAINS_OF_CYCLES * nominal * span_s, nominal)
            if p < _MAINS_P:
                return hz, p
    return math.nan, 1.0


def mains_line(
    time_s: Floats, least: float, nominal_hz: float | None = None
) -> tuple[float, float]:
    """(frequency, p) of the clearest mains line in events at `time_s` (n,).

    |Σ exp(2πi·f·t)| is about the number of events that keep time with f; fewer than `least`
    do not count. For events at random its square over n is exponentially distributed with
    mean 1 (Rayleigh's test). p allows for all frequencies looked at.
    """
    at_s = time_s - time_s[0]
    best = (math.nan, 1.0)
    if at_s.size < FEWEST or at_s[-1] <= 0:
        return best
    for nominal in MAINS_HZ if nominal_hz is None else (nominal_hz,):
        half = MAINS_REL * nominal
        lines = int(min(max(4 * half * at_s[-1], 3), 200))
        hz = nominal + np.linspace(-half, half, lines)
        power = np.abs(np.exp(2j * np.pi * hz[:, None] * at_s).sum(axis=1)) ** 2
        at = int(np.argmax(power))
        p = min(1.0, math.exp(-float(power[at]) / at_s.size) * lines * len(MAINS_HZ))
        if power[at] >= least**2 and p < best[1]:
            best = (float(hz[at]), p)
    return best


def _phase(time_s: Floats) -> Floats:
    """Where in the pitch false edges stand, 0 to 1 after the tooth before.

    Of all pairs of neighbouring intervals that make one pitch together, as far as one false
    edge in it does; which of its edges is the false one need not be known.
    """
    interval_s = np.diff(time_s)
    inner = np.arange(interval_s.size - 1)
    pitch_s = local_period(interval_s, block_medians(interval_s), inner)
    both_s = interval_s[:-1] + interval_s[1:]
    low, high = _ONE_PITCH
    one = (both_s > low * pitch_s) & (both_s < high * pitch_s)
    return np.asarray(interval_s[:-1][one] / both_s[one])


def _locked_at(at_rel: Floats) -> tuple[float, bool]:
    """(the place in the pitch that false edges keep to, whether nearly all of them do).

    NaN where they keep to none: of evenly spread ones 0.3 stand near a tooth, and the
    length of their mean phasor is about 1/√n.
    """
    n = at_rel.size
    if n < FEWEST:
        return math.nan, False
    from_tooth = np.minimum(at_rel, 1 - at_rel)
    near = float(np.mean(from_tooth < NEAR_TOOTH))
    if near > max(0.6, 0.3 + 2.5 * math.sqrt(0.21 / n)):
        return float(np.median(from_tooth)), near > 0.85
    mean = np.mean(np.exp(2j * np.pi * at_rel))
    if abs(mean) > max(0.5, 2.5 / math.sqrt(n)):
        return float((np.angle(mean) / (2 * np.pi)) % 1.0), abs(mean) > 0.8
    return math.nan, False


def _in_bursts(edges: CleanEdges, turn_hz: float) -> bool:
    """Whether false edges crowd together: the count a turn varies more than chance does."""
    span_s = float(edges.time_s[-1] - edges.time_s[0])
    windows = int(min(max(span_s * turn_hz, 2), 10_000))
    count = np.histogram(edges.extra_s, bins=windows)[0]
    return float(np.var(count)) > 3.0 * float(np.mean(count))

"""A taped course: the true speed over it, and what it says of every source of ground speed.

Driven both ways, twice at least (common practice of extension services; wind and slope then
fall out of the mean).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

import numpy as np

from workbench.calibration.pulses.speed import SpeedSeries
from workbench.calibration.statistics.coverage import coverage_factor
from workbench.match.mean import autocorrelated_mean
from workbench.match.ratio import own_accuracy

HAND_U_S = 0.10
"""Standard uncertainty of an interval started and stopped by one hand (Am. J. Phys. 87(2)
2019, p. 110, abstract)."""
U_LENGTH_M = 0.03
"""Of a course taped on the ground; chosen."""


@dataclass(frozen=True, slots=True)
class Course:
    """What a taped course says of each source: true ÷ shown and its u."""

    speed_mps: float
    u_speed_mps: float
    factors: Mapping[str, tuple[float, float]]


def course_speed(
    length_m: float, duration_s: float, u_length_m: float = U_LENGTH_M
) -> tuple[float, float]:
    """The true speed over a course and its standard uncertainty, m/s.

    Raises ValueError where length or time make no speed.
    """
    if not (length_m > 0 and duration_s > 0):
        raise ValueError("a taped course needs a length and an end after its beginning")
    speed_mps = length_m / duration_s
    return speed_mps, speed_mps * math.hypot(u_length_m / length_m, HAND_U_S / duration_s)


def taped_course(
    length_m: float, from_s: float, to_s: float, sources: Mapping[str, SpeedSeries]
) -> Course:
    """The true speed over a course driven from `from_s` to `to_s` of a recording, and each
    source's factor. Raises ValueError where length or time make no speed."""
    duration_s = to_s - from_s
    speed_mps, u_speed_mps = course_speed(length_m, duration_s)
    factors = {}
    for name, series in sources.items():
        inside = (series.time_s >= from_s) & (series.time_s <= to_s) & np.isfinite(series.speed_mps)
        if inside.sum() < 3:
            continue
        mean = autocorrelated_mean(series.speed_mps[inside])
        if not mean.value > 0:
            continue  # it stood still: no factor makes that the course's speed
        shown = SpeedSeries(
            series.time_s[inside], series.speed_mps[inside], series.u_mps[inside], 0.0
        )
        factor = speed_mps / mean.value
        # The mean's own scatter is the speed's, which the course's mean contains as well.
        u_rel = math.hypot(u_speed_mps / speed_mps, own_accuracy(shown, duration_s))
        factors[name] = (factor, factor * u_rel)
    return Course(speed_mps, u_speed_mps, factors)


@dataclass(frozen=True, slots=True)
class CourseRun:
    """One run over the course: how long, what a source showed meanwhile with its u, and whether
    it went there or back."""

    duration_s: float
    shown_mps: float
    u_shown_mps: float
    there: bool


@dataclass(frozen=True, slots=True)
class ScaleFactor:
    """True ÷ shown of one source; U = k·u, `dof` those of u; `both_ways` and runs it is of."""

    factor: float
    u_factor: float
    U_factor: float
    k: float
    runs: int
    both_ways: bool

    @property
    def proven(self) -> bool:
        """Whether it may be used: two runs at least, there and back."""
        return self.both_ways and self.runs > 1


def scale_factor(length_m: float, runs: Sequence[CourseRun]) -> ScaleFactor:
    """What several runs say of a source: the mean of both directions' means.

    Watch and display are independent from run to run, the tape is common to all. Where the runs
    scatter by more than these explain, their own scatter counts, with its few degrees of freedom
    (GUM 4.2 and G.4).
    """
    factors, u_own = [], []
    for run in runs:
        factor = length_m / run.duration_s / run.shown_mps
        u_rel = math.hypot(HAND_U_S / run.duration_s, run.u_shown_mps / run.shown_mps)
        factors.append(factor)
        u_own.append(factor * u_rel)
    ways = [
        [factor for factor, run in zip(factors, runs, strict=True) if run.there is there]
        for there in (True, False)
    ]
    ways = [way for way in ways if way]
    value = fmean(map(fmean, ways))
    u_run, dof = math.sqrt(fmean([u * u for u in u_own])), math.inf
    if len(runs) > 1 and stdev(factors) > u_run:
        u_run, dof = stdev(factors), len(runs) - 1.0
    # Each way's mean counts alike, however many runs are in it.
    u_mean = u_run * math.sqrt(math.fsum(1 / len(way) for way in ways)) / len(ways)
    u_tape = value * U_LENGTH_M / length_m
    u = math.hypot(u_mean, u_tape)
    if math.isfinite(dof):
        dof *= (u / u_mean) ** 4  # Welch-Satterthwaite, the tape's being infinite
    k = coverage_factor(dof)
    return ScaleFactor(value, u, k * u, k, len(runs), len(ways) == 2)

"""Why belt and ground did not keep pace: competing causes weighed by likelihood.

Each cause of `hypotheses.py` is a Gaussian model of the belt's speed in time and of single
measures. The probability it gives to what was recorded, its free sizes averaged over what
they may be (the marginal likelihood; it punishes a model that could explain anything, as
the Bayesian information criterion does for large samples: Schwarz, Ann. Statist. 6(2),
1978), is its weight; priors are equal. Measures scatter by Student's t with 4 degrees of
freedom, so that one odd measure does not decide alone (Lange, Little & Taylor, J. Am. Stat.
Assoc. 84, 1989, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from workbench.match.evidence import Bins, Evidence, Measure
from workbench.match.hypotheses import (
    HYPOTHESES,
    TOLERANCE,
    USUAL,
    USUAL_FLAGS,
    Cause,
    CauseSays,
    CheckSays,
    Hypothesis,
    Mixture,
)
from workbench.match.sources import WHEEL

Floats = NDArray[np.float64]

WHITE_SHARE = (0.15, 0.6)
WANDER_S = (2.0, 6.0)
SCALES = np.array([0.002, 0.004, 0.008, 0.016, 0.032, 0.064, 0.128, 0.256])
USUAL_SCALE, USUAL_SPREAD = 0.007, 0.7
"""A belt wanders by 0.7 %, give or take a factor of 2: crop that comes unevenly. Chosen."""


def log_prior(restless: float) -> Floats:
    """(scales, 1) ln of each scale's prior weight; `restless` multiplies the usual scale."""
    logs = np.log(SCALES / (USUAL_SCALE * restless)) / USUAL_SPREAD
    weight = np.exp(-0.5 * logs**2)
    shapes = len(WHITE_SHARE) * len(WANDER_S)
    return np.asarray(np.log(weight / (weight.sum() * shapes))[:, None])


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """One correlation of the grid. `whiten` (n, n) makes it the unit matrix."""

    whiten: Floats
    log_det: float

    def log_density(self, y: Floats, fixed: Floats, free: Floats) -> tuple[Floats, Floats]:
        """(scales, m) ln p of each column of `y` (n, m), and the most likely size along `free`.

        Sizes are free along the columns of `fixed` (n, k) and along the same column of
        `free` (n, m) as that of `y`; they come in units of `free`.
        """
        n, k = fixed.shape
        w_y, w_a, w_b = self.whiten @ y, self.whiten @ fixed, self.whiten @ free
        aa, ay, ab = w_a.T @ w_a, w_a.T @ w_y, w_a.T @ w_b
        yy, bb, by = np.sum(w_y**2, axis=0), np.sum(w_b**2, axis=0), np.sum(w_b * w_y, axis=0)
        density, size = np.empty((2, SCALES.size, y.shape[1]))
        for at, s2 in enumerate(SCALES**2):
            gram = np.eye(k) + aa / s2
            inner = np.linalg.inv(gram)
            left_yy = yy / s2 - np.sum(ay * (inner @ ay), axis=0) / s2**2
            # After the fixed directions each free one is a single direction more.
            left_bb = 1 + bb / s2 - np.sum(ab * (inner @ ab), axis=0) / s2**2
            left_by = by / s2 - np.sum(ab * (inner @ ay), axis=0) / s2**2
            size[at] = left_by / left_bb
            log_det = self.log_det + n * math.log(2 * math.pi * s2)
            log_det += float(np.linalg.slogdet(gram)[1])
            density[at] = -0.5 * (left_yy - left_by * size[at] + log_det + np.log(left_bb))
        return density, size


def noises(time_s: Floats) -> list[Noise]:
    """The grid for values at `time_s` (n,)."""
    apart_s = np.abs(time_s[:, None] - time_s[None, :])
    found = []
    for white in WHITE_SHARE:
        for tau_s in WANDER_S:
            correlation = white * np.eye(time_s.size) + (1 - white) * np.exp(-apart_s / tau_s)
            lower = np.linalg.cholesky(correlation)
            found.append(Noise(np.linalg.inv(lower), 2 * float(np.sum(np.log(np.diag(lower))))))
    return found


STUDENT_DOF = 4.0

LEAST_SHOWN = 0.01
"""Causes less likely than this are not listed."""

CLEAR = 0.5
"""Probability from which the first cause is called clear."""

WARMING_S = (40.0, 120.0, 400.0)
"""Time constants with which the oil may warm where its temperature is not known. Chosen."""

VISCOSITY_PER_C = 0.035
"""Share by which hydraulic oil thins for each degree: it halves in 20 °C (from memory)."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """A cause with its probability and the most likely size of each of its shapes."""

    cause: Cause
    title: Cause | CauseSays
    probability: float
    check_next: CheckSays
    sizes: dict[str, float] = field(default_factory=dict)


def weigh(evidence: Evidence) -> list[Weighed]:
    """The causes in the running, the most likely first; they sum to 1."""
    running = [one for one in HYPOTHESES if _can_show(one, evidence)]
    timed = _InTime(evidence) if evidence.bins is not None else None
    scores, sizes = [], []
    for one in running:
        score = sum(_measure_score(one, name, m) for name, m in evidence.measures.items())
        score += sum(_flag_score(one, name, on) for name, on in evidence.flags.items())
        size: dict[str, float] = {}
        if timed is not None:
            in_time, size = timed.score(one)
            score += in_time
        scores.append(score)
        sizes.append(size)
    weight = np.exp(np.array(scores) - max(scores))
    weight /= weight.sum()
    causes: dict[Cause, Weighed] = {}
    for at in np.argsort(-weight):
        one, probability = running[at], float(weight[at])
        known = causes.get(one.cause)
        if known is None:
            causes[one.cause] = Weighed(
                one.cause, one.title, probability, one.check_next, sizes[at]
            )
        else:  # the same cause in another shape: its probability adds, the likelier shape speaks
            causes[one.cause] = replace(known, probability=known.probability + probability)
    return sorted(causes.values(), key=lambda cause: -cause.probability)


def could_not_show(evidence: Evidence) -> list[Cause | CauseSays]:
    """Titles of the causes that nothing recorded could have shown."""
    hidden = dict.fromkeys(
        one.title
        for one in HYPOTHESES
        if not _can_show(one, evidence) and one.drive in ("", evidence.drive_kind)
    )
    return list(hidden)


def _can_show(one: Hypothesis, evidence: Evidence) -> bool:
    there = set(evidence.measures)
    if evidence.ground_kind is WHEEL:
        there.add("wheel")
    had = all(there.intersection(group) for group in one.needs)
    return had and (not one.drive or one.drive == evidence.drive_kind)


def _measure_score(one: Hypothesis, name: str, measure: Measure) -> float:
    """ln of the probability density the cause gives to a measure."""
    if name in one.measures:
        return _log_mixture(measure.value, measure.u, one.measures[name])
    mean, sd = USUAL[name]
    scale = math.hypot(sd, measure.u)
    z2 = ((measure.value - mean) / scale) ** 2
    dof = STUDENT_DOF
    log_c = math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2) - 0.5 * math.log(dof * math.pi)
    return log_c - math.log(scale) - (dof + 1) / 2 * math.log1p(z2 / dof)


def _log_mixture(value: float, u: float, mixture: Mixture) -> float:
    parts = []
    for weight, mean, sd in mixture:
        scale = math.hypot(sd, u)
        z = (value - mean) / scale
        parts.append(math.log(weight) - math.log(scale * math.sqrt(2 * math.pi)) - 0.5 * z * z)
    return _log_sum(parts)


def _flag_score(one: Hypothesis, name: str, on: bool) -> float:
    p = one.flags.get(name, USUAL_FLAGS[name])
    return math.log(p if on else 1 - p)


def _log_sum(parts: Iterable[float]) -> float:
    values = list(parts)
    most = max(values)
    return most + math.log(sum(math.exp(value - most) for value in values))


class _InTime:
    """The belt's speed in time under one cause after the other."""

    def __init__(self, evidence: Evidence) -> None:
        assert evidence.bins is not None
        self._evidence, self._bins = evidence, evidence.bins
        bins = self._bins
        self._follow = (bins.ground_log - bins.ground_log.mean())[:, None]
        engine = bins.engine_log
        n = bins.time_s.size
        self._engine = np.empty((n, 0)) if engine is None else (engine - engine.mean())[:, None]
        self._noises = noises(bins.time_s)
        low, high = math.log(evidence.limits.low), math.log(evidence.limits.high)
        self._middle, self._usual = (low + high) / 2, TOLERANCE * (high - low) / 2

    def score(self, one: Hypothesis) -> tuple[float, dict[str, float]]:
        """ln of the marginal likelihood, and the most likely size of each shape."""
        best, size = -math.inf, {}
        scores = []
        for name, shape in self._shapes(one):
            for weight, mean, sd in one.shapes.get(name, ((1.0, 0.0, 0.0),)):
                for part, level, level_sd in self._levels(one):
                    score, found = self._one(one, shape, mean, sd, level, level_sd)
                    score += math.log(weight * part)
                    scores.append(score - math.log(self._variants(name)))
                    if score > best and name:
                        best, size = score, {name: found[0], f"{name}_at_s": found[1]}
        return _log_sum(scores), size

    def _variants(self, name: str) -> int:
        return len(WARMING_S) if name == "oil" and self._bins.oil_c is None else 1

    def _levels(self, one: Hypothesis) -> list[tuple[float, float, float]]:
        """(weight, mean, sd) of the ratio's level, what it is known to included."""
        found = []
        for weight, mean, sd in one.levels:
            at = self._level(mean, one)
            if at is None:
                at, sd = self._middle, max(sd, 0.08)
            elif mean is None:
                sd = max(sd, self._usual)
            found.append((weight, at, math.hypot(sd, self._evidence.u_level)))
        return found

    def _level(self, mean: float | str | None, one: Hypothesis) -> float | None:
        if mean is None:
            return self._middle
        if isinstance(mean, float):
            return self._middle + mean
        measures = self._evidence.measures
        if mean == "wheel":
            if self._evidence.ground_kind is not WHEEL:
                return self._middle
            return -measures["wheel"].value if "wheel" in measures else self._middle - 0.14
        known = measures.get("setting") or measures.get("shown")
        return None if known is None else self._middle - known.value

    def _shapes(self, one: Hypothesis) -> list[tuple[str, Floats]]:
        """(name, (n, m) shapes to be averaged over); one empty shape where there is none."""
        bins = self._bins
        if not one.shapes:
            return [("", np.zeros((bins.time_s.size, 1)))]
        found = []
        for name in one.shapes:
            if name == "step":
                found.append((name, _steps(bins)))
            elif name == "engine" and bins.engine_log is not None:
                found.append((name, bins.engine_log[:, None]))
            elif name == "oil":
                found += [(name, shape[:, None]) for shape in _warmings(bins)]
        return found

    def _one(
        self,
        one: Hypothesis,
        shapes: Floats,
        mean: float,
        sd: float,
        level: float,
        level_sd: float,
    ) -> tuple[float, tuple[float, float]]:
        """ln p(belt | shape), averaged over the columns of `shapes` and over the noise."""
        y = self._bins.belt_log
        start = y[:, None] - level - mean * shapes
        level_of = np.full((y.size, 1), level_sd)
        fixed = np.concatenate((level_of, self._follow), axis=1)
        if "engine" not in one.shapes:
            # A divider's belt always follows the engine a little: that alone is no cause.
            fixed = np.concatenate((fixed, self._engine), axis=1)
        prior = log_prior(one.restless) - math.log(shapes.shape[1])
        found = [noise.log_density(start, fixed, sd * shapes) for noise in self._noises]
        joint = np.stack([density + prior for density, _ in found])
        where = np.unravel_index(int(np.argmax(joint)), joint.shape)
        size = np.stack([size for _, size in found])[where]
        at = min(int(where[2]) + STEP_EDGE, y.size - 1)
        score = _log_sum(joint.ravel().tolist())
        return score, (mean + sd * float(size), float(self._bins.time_s[at]))


STEP_EDGE = 2
"""Bins at either end within which no step is looked for."""


def _steps(bins: Bins) -> Floats:
    """(n, m) a step up by 1 before each bin that is not at an end."""
    n = bins.time_s.size
    at = np.arange(STEP_EDGE, n - STEP_EDGE + 1)
    return (np.arange(n)[:, None] >= at[None, :]).astype(np.float64)


def _warmings(bins: Bins) -> list[Floats]:
    """How the belt slows with the oil, from 0 at the start to 1 at the end."""
    if bins.oil_c is not None:
        thin = np.exp(VISCOSITY_PER_C * (bins.oil_c - bins.oil_c[0]))
        span = float(thin[-1] - thin[0])
        # Oil that hardly warmed explains nothing, however the shape is stretched.
        return [(thin - thin[0]) / max(span, 0.2)]
    since = bins.time_s - min(0.0, float(bins.time_s[0]))
    found = []
    for tau in WARMING_S:
        cooled = 1 - np.exp(-since / tau)
        found.append((cooled - cooled[0]) / float(cooled[-1] - cooled[0]))
    return found

"""The parts of a pass's answer beyond its ratio: why, when, where, and what to do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from itertools import pairwise
from typing import Any

import numpy as np

from drivers.contract import Floats, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Limits, Machine
from workbench.jobs.passes.inputs import reference_of
from workbench.match.advice import Advice, Response, advise, learn_response
from workbench.match.causes import CLEAR, LEAST_SHOWN, could_not_show, weigh
from workbench.match.changes import change_points, watch
from workbench.match.evidence import Bins, Evidence, PassInputs
from workbench.match.mean import autocorrelated_mean
from workbench.match.ratio import Comparison
from workbench.match.sentences import evidence_for, percent
from workbench.match.sources import WHEEL, Factor, stands_apart, taped_course, wheel_slip
from workbench.match.track import make_track
from workbench.match.trend import following, mismatch_shares, segments, theil_sen

MOST_SERIES = 300
"""Points of the series kept for the picture."""


def causes(evidence: Evidence, found: Comparison) -> dict[str, Any]:
    """`causes`, the most likely first, and what could not have shown."""
    weighed = weigh(evidence)
    listed = [
        {
            "cause": cause.cause,
            "title": cause.title,
            "probability": cause.probability,
            "evidence": evidence_for(cause, evidence, found.pace),
            "check_next": cause.check_next,
        }
        for cause in weighed
        if cause.probability >= LEAST_SHOWN
    ]
    return {
        "causes": listed,
        "cause_clear": weighed[0].probability >= CLEAR and weighed[0].cause != "not-clear",
        "causes_not_looked_for": could_not_show(evidence),
    }


LAPS_DIFFER = 0.01
"""Share by which laps and pulses may differ before the person is told; chosen."""


def doubts(evidence: Evidence) -> list[str]:
    """A sentence where the laps say that the pulses do not tell the belt's speed."""
    lap = evidence.measures.get("lap")
    if lap is None or abs(lap.value) < max(3 * lap.u, LAPS_DIFFER):
        return []
    return [
        f"By its laps the belt travels {percent(lap.value)} ± {200 * lap.u:.1f} % against what its "
        "pulses say: the ratio by pulses is wrong by as much, if the lap length is right."
    ]


def over_time(found: Comparison, bins: Bins | None) -> dict[str, Any]:
    """Segments, trend, change points, CUSUM, belt against ground, what the mismatch follows."""
    answer: dict[str, Any] = {
        "segments": [asdict(part) for part in segments(found)],
        "trend_per_hour": math.nan,
        "trend_per_hour_low": math.nan,
        "trend_per_hour_high": math.nan,
        "change_points": [],
        "cusum_alarm_s": math.nan,
        "belt_against_ground": None,
        "mismatch_shares": {},
        "series": _series(found),
    }
    if bins is None:
        return answer
    ratio = np.exp(bins.belt_log - bins.ground_log)
    trend = theil_sen(bins.time_s, ratio)
    watched = watch(ratio)
    line = following(bins, found.pace.ground_speed_mps)
    return answer | {
        "trend_per_hour": 3600 * trend.slope,
        "trend_per_hour_low": 3600 * trend.low,
        "trend_per_hour_high": 3600 * trend.high,
        "change_points": [
            {"time_s": float(bins.time_s[point.index]), "change": point.change}
            for point in change_points(ratio)
        ],
        "cusum_alarm_s": float(bins.time_s[watched.alarms[0]]) if watched.alarms else math.nan,
        "belt_against_ground": asdict(line) if line else None,
        "mismatch_shares": mismatch_shares(bins),
    }


def _series(found: Comparison) -> dict[str, list[float]]:
    """Belt, ground and separation for the picture; a steady one is 1, what is left out 0."""
    both, steady = found.aligned, found.steady
    if both is None or steady is None:
        return {}
    width = max(1, -(-both.time_s.size // MOST_SERIES))
    starts = np.arange(0, both.time_s.size, width)
    away = np.cumsum(np.where(steady, np.nan_to_num(both.belt_mps - both.ground_mps), 0.0))

    def mean(values: Floats) -> list[float]:
        good = np.isfinite(values)
        total = np.add.reduceat(np.where(good, values, 0.0), starts)
        count = np.add.reduceat(good.astype(np.float64), starts)
        means: list[float] = np.where(count > 0, total / np.maximum(count, 1), math.nan).tolist()
        return means

    return {
        "time_s": mean(both.time_s),
        "belt_mps": mean(both.belt_mps),
        "ground_mps": mean(both.ground_mps),
        "steady": np.round(np.add.reduceat(steady.astype(np.float64), starts) / width).tolist(),
        "separation_m": (away[np.minimum(starts + width, away.size) - 1] * both.step_s).tolist(),
    }


def sources(inputs: PassInputs) -> dict[str, Any]:
    """Each ground source's quality and factor, which one stands apart, wheel slip."""
    reference = reference_of(inputs)
    listed = []
    for name, one in inputs.qualities.items():
        factor = inputs.factors.get(name)
        row: dict[str, Any] = {
            "source": name,
            "kind": one.kind.name,
            "share_with_value": one.share,
            "u_mean_rel": one.u_mean_rel,
            "reference": name == reference,
        }
        if factor is not None:
            row |= {
                "factor": factor.factor,
                "u_factor": factor.u_factor,
                "lag_s": factor.lag_s,
                "u_lag_s": factor.u_lag_s,
            }
        listed.append(row)
    factors = list(inputs.factors.values())
    return {
        "ground_sources": listed,
        "stands_apart": stands_apart(reference, factors) if reference else None,
        **_slip(inputs, reference, factors),
    }


def _slip(inputs: PassInputs, reference: str | None, factors: list[Factor]) -> dict[str, Any]:
    wheels = [one for one in factors if inputs.qualities[one.source].kind is WHEEL]
    none: dict[str, Any] = {
        "wheel_slip": math.nan,
        "u_wheel_slip": math.nan,
        "wheel_slip_against": None,
    }
    if not wheels or reference is None or not inputs.qualities[reference].kind.of_the_ground:
        return none
    slip = wheel_slip(wheels[0], inputs.qualities[reference].kind.u_scale_rel, reference)
    return {
        "wheel_slip": slip.slip,
        "u_wheel_slip": slip.u_slip,
        "wheel_slip_against": slip.against,
    }


def what_to_do(
    found: Comparison, machine: Machine | None, options: Mapping[str, Any]
) -> dict[str, Any]:
    """The advice as plain values, from moves of the flow control where they were told."""
    moved = options.get("moved")
    response = _response(found, moved) if moved else None
    limits, unit = (machine.limits, machine.readout.unit) if machine else (Limits(), "m/s")
    advice: Advice = advise(found.pace, limits, unit, response)
    return {"advice": asdict(advice)}


SETTLE_S = 3.0
"""After the flow control was moved, this long is left out. Chosen."""


def _response(found: Comparison, moved: list[list[float]]) -> Response | None:
    """What the moves [[time, steps], …] did to the ratio. Raises WrongInput."""
    both, steady = found.aligned, found.steady
    if both is None or steady is None:
        return None
    moves = sorted((float(at_s), float(steps)) for at_s, steps in moved)
    bounds = [-math.inf, *(at_s for at_s, _ in moves), math.inf]
    positions = np.concatenate(([0.0], np.cumsum([steps for _, steps in moves])))
    ratios, us = [], []
    for low, high in pairwise(bounds):
        part = steady & (both.time_s >= low + SETTLE_S * math.isfinite(low)) & (both.time_s < high)
        if part.sum() * both.step_s < SETTLE_S:
            raise WrongInput(
                f"--moved: between {low:g} and {high:g} s there are less than {SETTLE_S:g} steady "
                "seconds; give the moments at which the flow control was moved, in seconds of the "
                "recording."
            )
        b, g = both.belt_mps[part], both.ground_mps[part]
        ratios.append(float(b.sum() / g.sum()))
        us.append(autocorrelated_mean(b - ratios[-1] * g).u / float(g.mean()))
    try:
        return learn_response(positions.tolist(), ratios, us)
    except ValueError as error:
        raise WrongInput(f"--moved: {error}; move it farther.") from None


def course(inputs: PassInputs, options: Mapping[str, Any]) -> dict[str, Any]:
    """What a taped course says of every ground source. Raises WrongInput."""
    given = options.get("course")
    if not given:
        return {"course": None}
    length_m, from_s, to_s = given
    try:
        found = taped_course(length_m, from_s, to_s, inputs.others)
    except ValueError as error:
        raise WrongInput(f"--course: {error}.") from None
    return {
        "course": {
            "length_m": length_m,
            "from_s": from_s,
            "to_s": to_s,
            "true_speed_mps": found.speed_mps,
            "u_true_speed_mps": found.u_speed_mps,
            "true_over_shown": {
                name: {"factor": factor, "u_factor": u}
                for name, (factor, u) in found.factors.items()
            },
        }
    }


def where(recording: Recording, found: Comparison) -> dict[str, Any]:
    """The track with the ratio, where there were positions."""
    both, steady = found.aligned, found.steady
    pairs = {
        source: (track, recording.values.get((source, "longitude_deg")))
        for (source, quantity), track in recording.values.items()
        if quantity == "latitude_deg"
    }
    latitude, longitude = next(iter(pairs.values()), (None, None))
    if latitude is None or longitude is None or latitude.time_s.size != longitude.time_s.size:
        return {"track": None}
    at_s, ratio = np.empty(0), np.empty(0)
    if both is not None and steady is not None:
        width = max(1, round(1.0 / both.step_s))
        number = np.arange(0, both.time_s.size, width)
        b = np.add.reduceat(np.where(steady, both.belt_mps, 0.0), number)
        g = np.add.reduceat(np.where(steady, both.ground_mps, 0.0), number)
        at_s = both.time_s[number] + 0.5 * width * both.step_s
        ratio = np.where(g > 0, b / np.where(g > 0, g, 1.0), math.nan)
    track = make_track(latitude.time_s, latitude.value, longitude.value, at_s, ratio)
    if track is None:
        return {"track": None}
    names = ("time_s", "latitude_deg", "longitude_deg", "north_m", "east_m", "ratio")
    points = {name: getattr(track, name).tolist() for name in names}
    return {"track": {**points, "length_m": track.length_m}}

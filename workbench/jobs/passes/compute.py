"""Did belt and ground keep pace over a recording, and if not, why; a pure function of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from drivers.contract import Floats, Recording
from workbench.base.errors import WrongInput
from workbench.base.machine import Limits, Machine
from workbench.base.statements import Statement, as_written, statement
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.channels import on_its_clock
from workbench.jobs.job import Job
from workbench.jobs.passes.answer import (
    CauseAnswer,
    Change,
    PassAnswer,
    PassOptions,
    PassSays,
    Series,
)
from workbench.jobs.passes.grounds import with_course, with_sources
from workbench.jobs.passes.inputs import Chosen, choose, gather_inputs, with_factors
from workbench.jobs.passes.prepared import with_prepared, with_true_grounds
from workbench.jobs.passes.pulse_rates import with_pulse_rates
from workbench.jobs.passes.to_do import Judgement, with_advice
from workbench.match.advice import Response, learn_response
from workbench.match.causes import CLEAR, LEAST_SHOWN, could_not_show, weigh
from workbench.match.changes import change_points, cusum_of_changes
from workbench.match.evidence import Bins, Evidence, gather
from workbench.match.findings import difference, evidence_for
from workbench.match.hypotheses import Cause
from workbench.match.mean import autocorrelated_mean
from workbench.match.ratio import (
    Comparison,
    Pace,
    PaceLimits,
    cannot_tell,
    compare,
    seconds_to_settle,
)
from workbench.match.track import Track, make_track
from workbench.match.trend import following, mismatch_shares, segments, theil_sen

LAPS_DIFFER = 0.01
"""Share by which laps and pulses may differ before the person is told; chosen."""


def compute(recording: Recording, machine: Machine | None, options: PassOptions) -> PassAnswer:
    """The pace of the belt against the ground over one recording.

    Raises WrongInput where the options do not fit the recording, or pulses lack a machine.
    """
    limits = machine.limits if machine else Limits()
    band = PaceLimits(limits.ratio_low, limits.ratio_high)
    recording, of_clock = on_its_clock(recording, machine)
    recording = with_true_grounds(with_pulse_rates(recording, machine), options.prepared)
    chosen = choose(recording, options)
    if chosen.reason is not None:
        return _judged(recording, chosen, cannot_tell(chosen.reason), band)
    inputs = gather_inputs(recording, machine, chosen, options)
    found = compare(inputs.belt, inputs.ground, band)
    inputs = with_factors(inputs, found)
    evidence = gather(inputs, found)
    answer = _judged(recording, chosen, found.pace, band, (*of_clock, *_doubts(evidence)))
    answer = _with_causes(answer, evidence, found.pace)
    answer = over_time(answer, found, evidence.bins)
    answer = with_course(with_sources(answer, inputs), inputs, options.course)
    response = response_to_moves(found, options.moved) if options.moved else None
    answer = with_advice(Judgement(answer, inputs, found, limits, response))
    answer = with_prepared(answer, recording, options.prepared)
    return replace(answer, track=track_of(recording, found))


def _judged(
    recording: Recording,
    chosen: Chosen,
    found: Pace,
    band: PaceLimits,
    doubts: Sequence[Statement] = (),
) -> PassAnswer:
    """The answer with its verdict and its ratio."""
    return PassAnswer(
        source=recording.name,
        kind=recording.kind,
        simulated=recording.simulated,
        belt=chosen.belt.name if chosen.belt else None,
        ground=chosen.ground.name if chosen.ground else None,
        ground_why=chosen.why,
        sources=(*recording.edges, *recording.speeds),
        verdict=found.decision.verdict,
        reason=_reason(found, band),
        conformance_probability=found.decision.conformance_probability,
        ratio=found.ratio,
        u_ratio=found.u_ratio,
        U_ratio=found.U_ratio,
        k=found.k,
        ratio_low=band.low,
        ratio_high=band.high,
        u_parts_rel=found.parts,
        belt_speed_mps=found.belt_speed_mps,
        ground_speed_mps=found.ground_speed_mps,
        in_band_fraction=found.in_band,
        lag_s=found.lag_s,
        u_lag_s=found.u_lag_s,
        drift_per_hour=found.drift_per_hour,
        u_drift_per_hour=found.u_drift_per_hour,
        separation_m=found.separation_m,
        u_separation_m=found.u_separation_m,
        duration_s=found.duration_s,
        wear_rel=found.wear_rel,
        warnings=(*map(as_written, recording.warnings), *doubts, *found.warnings),
    )


def _reason(found: Pace, band: PaceLimits) -> Statement:
    reason = found.decision.reason
    if not math.isfinite(found.ratio) or found.decision.verdict in (Verdict.PASS, Verdict.FAIL):
        return reason
    more_s = seconds_to_settle(found, band)
    if math.isfinite(more_s):
        return statement(PassSays.MORE_WOULD_SETTLE, reason=reason, more_s=more_s)
    return statement(PassSays.MORE_WOULD_NOT_SETTLE, reason=reason)


def _doubts(evidence: Evidence) -> list[Statement]:
    """Where the laps say that the pulses do not tell the belt's speed."""
    lap, by = evidence.measures.get("lap"), difference(evidence, "lap")
    if lap is None or by is None or abs(lap.value) < max(3 * lap.u, LAPS_DIFFER):
        return []
    return [statement(PassSays.LAPS_CONTRADICT_PULSES, difference_rel=by)]


def _with_causes(answer: PassAnswer, evidence: Evidence, found: Pace) -> PassAnswer:
    """The causes, the most likely first, and what could not have shown."""
    weighed = weigh(evidence)
    first, fails = weighed[0].cause, found.decision.verdict.is_fail
    stands_out = first is not Cause.NOT_CLEAR and not (first is Cause.NONE and fails)
    return replace(
        answer,
        causes=tuple(
            CauseAnswer(
                cause=one.cause,
                title=statement(one.title),
                probability=one.probability,
                evidence=tuple(evidence_for(one, evidence, found)),
                check_next=statement(one.check_next),
            )
            for one in weighed
            if one.probability >= LEAST_SHOWN
        ),
        cause_clear=weighed[0].probability >= CLEAR and stands_out,
        causes_not_looked_for=tuple(map(statement, could_not_show(evidence))),
    )


JOB = Job("pass", PassOptions, PassAnswer, compute)


MOST_SERIES = 300
"""Points of the series kept for the picture."""


def over_time(answer: PassAnswer, found: Comparison, bins: Bins | None) -> PassAnswer:
    """The answer with segments, trend, change points, CUSUM, belt against ground, series."""
    answer = replace(answer, segments=tuple(segments(found)), series=_series(found))
    if bins is None:
        return answer
    ratio = np.exp(bins.belt_log - bins.ground_log)
    trend = theil_sen(bins.time_s, ratio)
    step_s = float(np.median(np.diff(bins.time_s)))
    alarms = cusum_of_changes(ratio, step_s).alarms
    return replace(
        answer,
        trend_per_hour=3600 * trend.slope,
        trend_per_hour_low=3600 * trend.low,
        trend_per_hour_high=3600 * trend.high,
        change_points=tuple(
            Change(float(bins.time_s[point.index]), point.change)
            for point in change_points(ratio, step_s)
        ),
        cusum_alarm_s=float(bins.time_s[alarms[0]]) if alarms else math.nan,
        belt_against_ground=following(bins, found.pace.ground_speed_mps),
        mismatch_shares=mismatch_shares(bins),
    )


def _series(found: Comparison) -> Series:
    """Belt, ground and separation for the picture; a steady one is 1, what is left out 0."""
    both, steady = found.aligned, found.steady
    if both is None or steady is None:
        return Series()
    width = max(1, -(-both.time_s.size // MOST_SERIES))
    starts = np.arange(0, both.time_s.size, width)
    away = np.cumsum(np.where(steady, np.nan_to_num(both.belt_mps - both.ground_mps), 0.0))

    def mean(values: Floats) -> Floats:
        good = np.isfinite(values)
        total = np.add.reduceat(np.where(good, values, 0.0), starts)
        count = np.add.reduceat(good.astype(np.float64), starts)
        return np.where(count > 0, total / np.maximum(count, 1), math.nan)

    return Series(
        time_s=mean(both.time_s),
        belt_mps=mean(both.belt_mps),
        ground_mps=mean(both.ground_mps),
        steady=np.round(np.add.reduceat(steady.astype(np.float64), starts) / width),
        separation_m=away[np.minimum(starts + width, away.size) - 1] * both.step_s,
    )


def track_of(recording: Recording, found: Comparison) -> Track | None:
    """The way with the ratio, where there were positions."""
    both, steady = found.aligned, found.steady
    pairs = {
        source: (track, recording.values.get((source, "longitude_deg")))
        for (source, quantity), track in recording.values.items()
        if quantity == "latitude_deg"
    }
    latitude, longitude = next(iter(pairs.values()), (None, None))
    if latitude is None or longitude is None or latitude.time_s.size != longitude.time_s.size:
        return None
    at_s, ratio = np.empty(0), np.empty(0)
    if both is not None and steady is not None:
        width = max(1, round(1.0 / both.step_s))
        number = np.arange(0, both.time_s.size, width)
        b = np.add.reduceat(np.where(steady, both.belt_mps, 0.0), number)
        g = np.add.reduceat(np.where(steady, both.ground_mps, 0.0), number)
        at_s = both.time_s[number] + 0.5 * width * both.step_s
        ratio = np.where(g > 0, b / np.where(g > 0, g, 1.0), math.nan)
    return make_track(latitude.time_s, latitude.value, longitude.value, at_s, ratio)


SETTLE_S = 3.0
"""After the flow control was moved, this long is left out. Chosen."""


def response_to_moves(found: Comparison, moved: Sequence[tuple[float, float]]) -> Response | None:
    """What the moves (s, steps) did; None where nothing was compared. Raises WrongInput."""
    both, steady = found.aligned, found.steady
    if both is None or steady is None:
        return None
    moves = sorted(moved)
    bounds = [-math.inf, *(at_s for at_s, _ in moves), math.inf]
    positions = np.concatenate(([0.0], np.cumsum([steps for _, steps in moves])))
    ratios, us = [], []
    for low, high in pairwise(bounds):
        part = steady & (both.time_s >= low + SETTLE_S * math.isfinite(low)) & (both.time_s < high)
        if part.sum() * both.step_s < SETTLE_S:
            raise WrongInput(
                "--moved: between {low:g} and {high:g} s there are less than {settle:g} steady "
                "seconds; give the moments at which the flow control was moved, in seconds of the "
                "recording.",
                low=max(low, float(both.time_s[0])),
                high=min(high, float(both.time_s[-1])),
                settle=SETTLE_S,
            )
        b, g = both.belt_mps[part], both.ground_mps[part]
        ratios.append(float(b.sum() / g.sum()))
        us.append(autocorrelated_mean(b - ratios[-1] * g, both.step_s).U / 2 / float(g.mean()))
    try:
        return learn_response(positions.tolist(), ratios, us)
    except ValueError:
        raise WrongInput(
            "--moved: the steps of the flow control made no clear change of the ratio; move it "
            "farther."
        ) from None

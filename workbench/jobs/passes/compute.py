"""Did belt and ground keep pace over a recording, and if not, why; a pure function of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from drivers.contract import Recording
from workbench.base.machine import Limits, Machine
from workbench.base.statements import Statement, as_written, statement
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.job import Job
from workbench.jobs.passes.answer import CauseAnswer, PassAnswer, PassOptions, PassSays
from workbench.jobs.passes.grounds import with_course, with_sources
from workbench.jobs.passes.inputs import Chosen, choose, gather_inputs, with_factors
from workbench.jobs.passes.moves import response_to_moves
from workbench.jobs.passes.over_time import over_time, track_of
from workbench.jobs.passes.pulse_rates import with_pulse_rates
from workbench.jobs.passes.to_do import Judgement, with_advice
from workbench.match.causes import CLEAR, LEAST_SHOWN, could_not_show, weigh
from workbench.match.evidence import Evidence, gather
from workbench.match.findings import difference, evidence_for
from workbench.match.hypotheses import Cause
from workbench.match.ratio import Pace, PaceLimits, cannot_tell, compare, seconds_to_settle

LAPS_DIFFER = 0.01
"""Share by which laps and pulses may differ before the person is told; chosen."""


def compute(recording: Recording, machine: Machine | None, options: PassOptions) -> PassAnswer:
    """The pace of the belt against the ground over one recording.

    Raises WrongInput where the options do not fit the recording, or pulses lack a machine.
    """
    limits = machine.limits if machine else Limits()
    band = PaceLimits(limits.ratio_low, limits.ratio_high)
    recording = with_pulse_rates(recording, machine)
    chosen = choose(recording, options)
    if chosen.reason is not None:
        return _judged(recording, chosen, cannot_tell(chosen.reason), band)
    inputs = gather_inputs(recording, machine, chosen, options)
    found = compare(inputs.belt, inputs.ground, band)
    inputs = with_factors(inputs, found)
    evidence = gather(inputs, found)
    answer = _judged(recording, chosen, found.pace, band, _doubts(evidence))
    answer = _with_causes(answer, evidence, found.pace)
    answer = over_time(answer, found, evidence.bins)
    answer = with_course(with_sources(answer, inputs), inputs, options.course)
    response = response_to_moves(found, options.moved) if options.moved else None
    answer = with_advice(Judgement(answer, inputs, found, limits, response))
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

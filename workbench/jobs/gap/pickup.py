"""One pickup of a gap check: by its feeler readings, or by its pulses alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drivers.contract import EdgeTrack, Floats
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.amplitude import (
    AmplitudeLaw,
    BaselinePoint,
    fit_law,
    gap_by_tooth,
)
from workbench.calibration.gap.answer import (
    BaselineReading,
    LawAnswer,
    WheelAnswer,
    identity,
    with_gap,
)
from workbench.calibration.gap.dropout import find_drop_out
from workbench.calibration.gap.faults import FaultKind
from workbench.calibration.gap.feeler import REPEATABILITY_M
from workbench.calibration.gap.judgement import (
    Estimate,
    GapFound,
    advice,
    gap_warnings,
    judge,
    worst,
)
from workbench.calibration.gap.margin import judge_drop_out, with_gap_at_limit
from workbench.calibration.gap.same_wheel import compare_spacing
from workbench.calibration.gap.seen import count_teeth
from workbench.calibration.gap.wheel_faults import WheelCheck, check_wheel
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.statistics.decision import Decision, Verdict
from workbench.jobs.gap.answer import GapOptions, PickupSays, faults_named

FEWEST_PULSES = 9
"""Two turns of the smallest wheel that can be judged."""


def pulse_answer(
    track: EdgeTrack,
    mark_s: Floats | None,
    machine: Machine | None,
    options: GapOptions,
    *,
    holes_known: bool,
) -> WheelAnswer:
    """One pickup's answer from its pulses alone. Raises WrongInput where they are too few."""
    teeth, doubts = _teeth(track, machine)
    check = check_wheel(
        track.time_s,
        teeth,
        pickup=track.channel,
        pitch_radius_m=options.pitch_radius_m,
        mark_s=mark_s,
        fall_s=track.fall_s,
        amplitude_v=track.amplitude_v,
        holes_known=holes_known,
    )
    answer = replace(check.answer, warnings=(*doubts, *check.answer.warnings))
    answer = by_voltage(answer, check, machine.pickup if machine else Pickup(), options)
    if options.drop_out:
        answer = drop_out(answer, track, machine, options)
    if track.channel in options.before:
        now, then = (np.array(one) for one in (answer.spacing_rel, options.before[answer.pickup]))
        before = compare_spacing(now, then, options.before_result)
        answer = replace(answer, before=before)
    if answer.faults:
        named = faults_named(answer.faults)
        answer = replace(answer, advice=statement(PickupSays.SEE_TO_FIRST, faults=named))
    return answer


def untold(name: str, error: WrongInput) -> WheelAnswer:
    """The answer for one of several pickups that could not be judged at all."""
    return WheelAnswer(
        **identity(name),
        verdict=Verdict.CANNOT_TELL,
        reason=error.statement,
        advice=None,
        warnings=(error.statement,),
        teeth=None,
        missed=None,
        extra=None,
    )


def _teeth(track: EdgeTrack, machine: Machine | None) -> tuple[int, list[Statement]]:
    """(teeth to fold at, doubts about them): as typed unless the signal clearly differs."""
    if track.time_s.size < FEWEST_PULSES:
        raise WrongInput(
            "Channel '{channel}' has {count} pulses; at least two turns of the target wheel are "
            "needed, and ten are better.",
            channel=track.channel,
            count=track.time_s.size,
        )
    seen = count_teeth(track.time_s)
    typed = machine.drive.target_teeth if machine else None
    if typed is None:
        if seen.teeth is None or seen.confidence < 0.9:
            raise WrongInput(
                "Channel '{channel}' does not tell how many teeth the target wheel has; give the "
                "machine file with --machine.",
                channel=track.channel,
            )
        return seen.teeth, [statement(PickupSays.TEETH_BY_SIGNAL, seen=seen.teeth)]
    if seen.teeth is not None and seen.contradicts(typed):
        twice = seen.teeth == 2 * typed
        says = PickupSays.TEETH_TWICE if twice else PickupSays.TEETH_DIFFER
        return seen.teeth, [statement(says, seen=seen.teeth, typed=typed)]
    return typed, []


BEYOND_BASELINE_M = 0.0005
"""How far outside its known gaps a baseline is still trusted without a word; chosen."""
MEANT_TO_HAPPEN = (
    *(FaultKind.LOST, FaultKind.WORN, FaultKind.BREAKS, FaultKind.RUNOUT),
    FaultKind.PLAY,
)
"""What a drop-out run shows on a sound wheel too: teeth go missing on purpose, and a flow control
closed notch by notch jerks the wheel as play in its bearing does."""


def by_voltage(
    answer: WheelAnswer, check: WheelCheck, limits: Pickup, options: GapOptions
) -> WheelAnswer:
    """The answer with the gap from the pulses' height, or as a reading of the baseline.

    Raises WrongInput where a known gap was given and the height does not tell it.
    """
    known_m = options.at_gap_m
    if check.log_amplitude is None or check.voltage is None:
        if math.isfinite(known_m):
            raise WrongInput(
                "--at-gap needs the height of the pulses, and this recording has none; the pulse "
                "counter gives it for variable-reluctance pickups."
            )
        return answer
    level = float(np.nanmean(check.log_amplitude))
    answer = replace(answer, log_volt_seconds=level)
    points = [BaselinePoint(*point) for point in options.baseline]
    if math.isfinite(known_m):
        reading = _baseline_reading(level, answer.teeth or 0, limits, options)
        points.append(BaselinePoint(known_m, reading.u_gap_m, level))
        answer = replace(answer, baseline_reading=reading)
    law, why_not = _law(points)
    if law is None:
        return replace(answer, warnings=(*answer.warnings, *why_not))
    answer = replace(answer, amplitude_law=_law_answer(law))
    if math.isfinite(known_m):
        return answer
    gap, gap_m = gap_by_tooth(law, check.log_amplitude, check.voltage)
    answer = replace(answer, gap_by_tooth_m=tuple(gap_m.tolist()))
    return _with_gap(answer, gap, law, limits)


def drop_out(
    answer: WheelAnswer, track: EdgeTrack, machine: Machine | None, options: GapOptions
) -> WheelAnswer:
    """The answer with what the drop-out run shows; its verdict takes the place of the wheel's.

    Raises WrongInput where the belt was not slowed, or its speed cannot be known.
    """
    if machine is None or answer.teeth is None:
        raise WrongInput(
            "--drop-out needs the machine file (--machine FILE): without it the drop-out speed "
            "cannot be held against the working speeds."
        )
    found = find_drop_out(track.time_s, answer.teeth, answer.first_tooth_s)
    per_pulse, low_mps = metres_per_pulse(machine), machine.limits.speed_low_mps
    shown, decision = judge_drop_out(found, per_pulse, low_mps)
    law, _ = _law([BaselinePoint(*point) for point in options.baseline])
    gap = Estimate(answer.gap_m, answer.u_gap_m)
    if math.isfinite(options.at_gap_m):
        gap = Estimate(options.at_gap_m, REPEATABILITY_M)
    if law is not None and math.isfinite(gap.value) and math.isfinite(shown.margin):
        shown = with_gap_at_limit(shown, gap, law)
    faults = tuple(one for one in answer.faults if one.kind not in MEANT_TO_HAPPEN)
    decisions = [
        decision,
        *(Decision(Verdict.FAIL, math.nan, statement(one.kind)) for one in faults),
    ]
    if math.isfinite(answer.widest_m):
        runout = Estimate(answer.runout_m, answer.u_runout_m)
        closest = Estimate(answer.closest_m, answer.u_closest_m)
        widest = Estimate(answer.widest_m, answer.u_widest_m)
        round_wheel = GapFound(gap, runout, closest, widest, answer.k)
        decisions.append(judge(round_wheel, machine.pickup))
    answer = _decided(answer, worst(decisions))
    return replace(answer, drop_out=shown, faults=faults, advice=shown.sentence)


def _baseline_reading(
    level: float, teeth: int, limits: Pickup, options: GapOptions
) -> BaselineReading:
    if limits.kind != "variable-reluctance":
        raise WrongInput(
            "--at-gap: the voltage of a pickup of kind '{kind}' does not tell its gap; only a "
            "variable-reluctance one's does.",
            kind=limits.kind,
        )
    return BaselineReading(
        gap_m=options.at_gap_m,
        u_gap_m=math.hypot(options.blade_step_m / math.sqrt(12), REPEATABILITY_M),
        log_volt_seconds=level,
        pickup_kind=limits.kind,
        teeth=teeth,
    )


def _law(points: list[BaselinePoint]) -> tuple[AmplitudeLaw | None, list[Statement]]:
    """(the law, why there is none); both empty where there is no baseline."""
    if not points:
        return None, []
    try:
        return fit_law(points), []
    except WrongInput as error:
        return None, [error.statement]


def _law_answer(law: AmplitudeLaw) -> LawAnswer:
    return LawAnswer(
        log_k=law.log_k,
        u_log_k=math.sqrt(law.variance[0]),
        decay_m=law.decay_m,
        u_decay_m=law.u_decay_m,
        readings=law.points,
        lowest_gap_m=law.low_m,
        highest_gap_m=law.high_m,
    )


def _with_gap(answer: WheelAnswer, gap: GapFound, law: AmplitudeLaw, limits: Pickup) -> WheelAnswer:
    mean_m, warnings = gap.mean.value, gap_warnings(gap, limits)
    if not law.low_m - BEYOND_BASELINE_M <= mean_m <= law.high_m + BEYOND_BASELINE_M:
        outside = statement(
            PickupSays.OUTSIDE_BASELINE, gap_m=mean_m, low_m=law.low_m, high_m=law.high_m
        )
        warnings = [outside, *warnings]
    wheel = Decision(answer.verdict, answer.conformance_probability, answer.reason)
    answer = _decided(answer, worst([wheel, judge(gap, limits)]))
    answer = replace(answer, advice=advice(gap, limits), warnings=(*answer.warnings, *warnings))
    return with_gap(answer, gap)


def _decided(answer: WheelAnswer, decision: Decision) -> WheelAnswer:
    return replace(
        answer,
        verdict=decision.verdict,
        reason=decision.reason,
        conformance_probability=decision.conformance_probability,
    )

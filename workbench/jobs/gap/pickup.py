"""One pickup of a gap check: by its feeler readings, or by its pulses alone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drivers.contract import EdgeTrack, Floats
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.same_wheel import compare_spacing
from workbench.calibration.gap.seen import count_teeth
from workbench.calibration.gap.table import GapReadings
from workbench.calibration.gap.wheel_faults import WheelCheck, check_wheel
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.answer import (
    FeelerAnswer,
    GapOptions,
    PickupSays,
    Place,
    WheelAnswer,
    faults_named,
    parts_of,
    with_gap,
)
from workbench.jobs.gap.voltage import by_voltage, drop_out

FEWEST_PULSES = 9
"""Two turns of the smallest wheel that can be judged."""


def feeler_answer(readings: GapReadings, limits: Pickup, blade_step_m: float) -> FeelerAnswer:
    """One pickup's answer from its feeler readings."""
    gap = feeler_gap(readings, limits, blade_step_m=blade_step_m)
    places = gap.places
    machine_name, side, kind = parts_of(readings.pickup)
    answer = FeelerAnswer(
        pickup=readings.pickup,
        machine_name=machine_name,
        side=side,
        pickup_kind=kind,
        verdict=gap.decision.verdict,
        reason=gap.decision.reason,
        conformance_probability=gap.decision.conformance_probability,
        advice=gap.advice,
        warnings=tuple(gap.warnings),
        repeatability_m=places.scatter_m,
        form_error_m=gap.form_m,
        swing_m=gap.swing_m,
        places=tuple(
            Place(float(angle), float(mean), int(count))
            for angle, mean, count in zip(places.angle_deg, places.gap_m, places.count, strict=True)
        ),
        odd_angles_deg=tuple(gap.odd_deg),
        readings=int(readings.gap_m.size),
        teeth=None,
        missed=None,
        extra=None,
    )
    return with_gap(answer, gap.mean, gap.runout, gap.closest, gap.widest, gap.k)


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
        mark_s=mark_s,
        fall_s=track.fall_s,
        amplitude_v=track.amplitude_v,
        holes_known=holes_known,
    )
    answer = _of_wheel(track.channel, check, doubts, options.pitch_radius_m)
    answer = by_voltage(answer, check, machine.pickup if machine else Pickup(), options)
    if options.drop_out:
        answer = drop_out(answer, track, machine, options)
    if track.channel in options.before:
        then = np.array(options.before[track.channel])
        before = compare_spacing(check.offset_rel, then, options.before_result)
        answer = replace(answer, before=before)
    if answer.faults:
        named = faults_named(answer.faults)
        answer = replace(answer, advice=statement(PickupSays.SEE_TO_FIRST, faults=named))
    return answer


def untold(name: str, error: WrongInput) -> WheelAnswer:
    """The answer for one of several pickups that could not be judged at all."""
    machine_name, side, kind = parts_of(name)
    return WheelAnswer(
        pickup=name,
        machine_name=machine_name,
        side=side,
        pickup_kind=kind,
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


def _of_wheel(
    name: str, check: WheelCheck, doubts: list[Statement], pitch_radius_m: float
) -> WheelAnswer:
    """Counts, faults, and what each tooth shows, from tooth 1 at the mark."""
    machine_name, side, kind = parts_of(name)
    runout, level, duty = check.runout, check.log_amplitude, check.duty
    return WheelAnswer(
        pickup=name,
        machine_name=machine_name,
        side=side,
        pickup_kind=kind,
        verdict=check.decision.verdict,
        reason=check.decision.reason,
        conformance_probability=check.decision.conformance_probability,
        advice=None,
        warnings=(*doubts, *check.warnings),
        runout_m=2 * pitch_radius_m * runout.value,
        u_runout_m=2 * pitch_radius_m * runout.u,
        U_runout_m=4 * pitch_radius_m * runout.u,
        eccentricity_rel=runout.value,
        u_eccentricity_rel=runout.u,
        U_eccentricity_rel=2 * runout.u,
        late_angle_deg=runout.angle_deg,
        k=2.0,
        teeth=check.teeth,
        first_tooth_s=check.first_tooth_s,
        marked=check.marked,
        turns=check.turns,
        tooth_rate_hz=check.tooth_hz,
        missed=check.missed,
        extra=check.extra,
        breaks=check.breaks,
        faults=tuple(check.faults),
        play_rel=check.play.shift_rel,
        play_least_rel=check.play.least_rel,
        spacing_rel=tuple(check.offset_rel.tolist()),
        u_spacing_rel=tuple(check.u_offset_rel.tolist()),
        missed_share=tuple(check.missed_share.tolist()),
        voltage_rel=None if level is None else tuple(np.exp(level - np.nanmean(level)).tolist()),
        duty=None if duty is None else tuple(duty.tolist()),
        duty_mean=math.nan if duty is None else float(np.nanmean(duty)),
    )

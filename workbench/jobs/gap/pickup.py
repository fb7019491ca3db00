"""One pickup of a gap check: by its feeler readings, or by its pulses alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from drivers.contract import EdgeTrack, Floats
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import Statement, statement
from workbench.calibration.gap.answer import WheelAnswer, identity
from workbench.calibration.gap.same_wheel import compare_spacing
from workbench.calibration.gap.seen import count_teeth
from workbench.calibration.gap.wheel_faults import check_wheel
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.gap.answer import GapOptions, PickupSays, faults_named
from workbench.jobs.gap.voltage import by_voltage, drop_out

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

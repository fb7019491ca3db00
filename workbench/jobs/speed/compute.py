"""Belt speed from the pulses of a recording; a pure function of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.base.statements import Statement, as_written, statement
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.edges import LOST_SHARE, CleanEdges, clean
from workbench.calibration.pulses.speed import BeltSpeed, belt_speed, speed_series
from workbench.calibration.pulses.target_wheel import TeethSeen, missing_teeth, teeth_seen
from workbench.calibration.readout.lap_check import LapCheck, check_laps
from workbench.calibration.readout.true_speed import most_wear_rel
from workbench.jobs.channels import on_its_clock, pick_mark, pick_pickup, pickups
from workbench.jobs.job import Job
from workbench.jobs.noise import spoilt_by
from workbench.jobs.speed.answer import SourceSpeed, SpeedAnswer, SpeedOptions, SpeedSays
from workbench.match.mean import reading_mean


def compute(recording: Recording, machine: Machine | None, options: SpeedOptions) -> SpeedAnswer:
    """Belt speed of one pulse channel and the speeds of every source there is.

    Raises WrongInput where the recording holds neither, or not the channel asked for.
    """
    if not recording.edges and not recording.speeds:
        raise WrongInput(
            "{name} holds neither pulses nor speeds to compute from.", name=recording.name
        )
    recording, of_clock = on_its_clock(recording, machine)
    answer = SpeedAnswer(
        source=recording.name,
        kind=recording.kind,
        simulated=recording.simulated,
        warnings=(*map(as_written, recording.warnings), *of_clock),
        speeds=tuple(map(_source_speed, recording.speeds.values())),
        messages=recording.messages,
        rejects=recording.rejects,
        lost=tuple(recording.lost),
    )
    if options.channel is None and recording.speeds and not pickups(recording):
        return answer
    track = pick_pickup(recording, options.channel)
    lap = pick_mark(recording, None, (ChannelKind.LAP_MARK,))
    return _with_belt(answer, track, machine, lap)


def _with_belt(
    answer: SpeedAnswer, track: EdgeTrack, machine: Machine | None, lap: EdgeTrack | None
) -> SpeedAnswer:
    edges = clean(track.time_s)
    seen = teeth_seen(edges)
    answer = replace(
        answer,
        channel=track.channel,
        edges=int(track.time_s.size),
        missed=edges.missed,
        extra=edges.extra,
        breaks=int(edges.starts.size - 1),
        target_teeth_seen=seen.teeth,
        target_teeth_confidence=seen.confidence,
    )
    per_pulse = metres_per_pulse(machine) if machine else None
    value_m, u_m = (per_pulse.value_m, per_pulse.u_m) if per_pulse else (1.0, 0.0)
    teeth = _teeth(machine, seen)
    spoilt = spoilt_by(track, edges)
    if spoilt is not None:
        return _without(answer, track, spoilt)
    check = None
    if machine and lap is not None and lap is not track and edges.time_s.size:
        check = check_laps(edges, lap.time_s, machine)
    wear_rel = most_wear_rel(machine.drive) if machine and check is None else 0.0
    try:
        speed = belt_speed(edges, teeth, value_m, u_m, track.u_clock_rel, wear_rel)
    except WrongInput as error:
        return _without(answer, track, error.statement)
    answer = replace(
        answer,
        warnings=(*answer.warnings, *_doubts(track, edges, seen, machine, speed)),
        duration_s=speed.duration_s,
        turns=speed.turns if machine or seen.teeth else float("nan"),
        pulse_rate_hz=speed.pulse_rate_hz,
        u_pulse_rate_hz=speed.u_pulse_rate_hz,
        jitter_s=speed.jitter_s,
        method=speed.method,
    )
    if machine is None:
        return answer
    answer = _in_metres(answer, edges, teeth, value_m, u_m, speed)
    if wear_rel > 0:
        told = statement(SpeedSays.SPEED_BUT_FOR_WEAR, wear_rel=wear_rel)
        answer = replace(answer, warnings=(*answer.warnings, told))
    return answer if check is None else _with_laps(answer, check)


def _without(answer: SpeedAnswer, track: EdgeTrack, reason: Statement) -> SpeedAnswer:
    """The answer where the pulses give no speed."""
    told = statement(SpeedSays.NO_SPEED, channel=track.channel, reason=reason)
    return replace(
        answer,
        warnings=(*answer.warnings, told),
        target_teeth_seen=None,
        target_teeth_confidence=0.0,
    )


def _in_metres(
    answer: SpeedAnswer,
    edges: CleanEdges,
    teeth: int,
    value_m: float,
    u_m: float,
    speed: BeltSpeed,
) -> SpeedAnswer:
    turns_mps = speed_series(edges, teeth, value_m).speed_mps
    return replace(
        answer,
        belt_speed_mps=speed.speed_mps,
        u_belt_speed_mps=speed.u_mps,
        U_belt_speed_mps=speed.U_mps,
        k=speed.k,
        u_parts_rel=speed.parts,
        lowest_mps=float(turns_mps.min()) if turns_mps.size else float("nan"),
        highest_mps=float(turns_mps.max()) if turns_mps.size else float("nan"),
        metres_per_pulse=value_m,
        u_metres_per_pulse=u_m,
    )


def _with_laps(answer: SpeedAnswer, check: LapCheck) -> SpeedAnswer:
    """What the lap mark says of the belt."""
    told: tuple[Statement, ...] = ()
    if check.causes:
        told = (
            statement(
                SpeedSays.LAPS_DIFFER,
                laps=check.laps,
                difference_rel=check.difference,
                U_difference_rel=2 * check.u_difference,
                causes=check.causes,
            ),
        )
    return replace(
        answer,
        warnings=(*answer.warnings, *told),
        laps=check.laps,
        lap_speed_mps=check.lap_speed_mps,
        u_lap_speed_mps=check.u_lap_speed_mps,
        metres_per_pulse_by_laps=check.metre_per_pulse_m,
        u_metres_per_pulse_by_laps=check.u_metre_per_pulse_m,
    )


def _teeth(machine: Machine | None, seen: TeethSeen) -> int:
    """Teeth to fold at: as typed, unless the signal clearly says otherwise."""
    if machine and not (seen.teeth and seen.contradicts(machine.drive.target_teeth)):
        return machine.drive.target_teeth
    return seen.teeth or 1


def _doubts(
    track: EdgeTrack,
    edges: CleanEdges,
    seen: TeethSeen,
    machine: Machine | None,
    speed: BeltSpeed,
) -> list[Statement]:
    channel, doubts = track.channel, []
    if machine is None:
        doubts.append(statement(SpeedSays.NO_MACHINE))
    elif seen.teeth and seen.contradicts(machine.drive.target_teeth):
        typed = machine.drive.target_teeth
        faster = typed / seen.teeth
        doubts.append(
            statement(SpeedSays.OTHER_TEETH, seen=seen.teeth, typed=typed, times_as_fast=faster)
        )
    holes = missing_teeth(edges, seen.teeth or 0)
    if holes.size:
        teeth = int(holes.size)
        doubts.append(statement(SpeedSays.SAME_TEETH_MISSING, channel=channel, teeth=teeth))
    total = int(track.time_s.size)
    for says, count in (
        (SpeedSays.PULSES_MISSED, edges.missed - int(holes.sum())),
        (SpeedSays.PULSES_EXTRA, edges.extra),
    ):
        if count > LOST_SHARE * total:
            share_rel = count / total
            doubts.append(
                statement(says, channel=channel, count=count, total=total, share_rel=share_rel)
            )
    if edges.starts.size > 1:
        count = int(edges.starts.size - 1)
        doubts.append(statement(SpeedSays.INTERRUPTED, channel=channel, count=count))
    if speed.method == "line":
        doubts.append(statement(SpeedSays.FEW_TURNS, channel=channel))
    return doubts


def _source_speed(track: SpeedTrack) -> SourceSpeed:
    """Mean of one speed source over the recording, with the uncertainty of its readings."""
    valid = np.isfinite(track.speed_mps)
    counts = SourceSpeed(track.source, track.label, int(valid.sum()), int((~valid).sum()))
    if not valid.any():
        return counts
    mean = reading_mean(track.speed_mps, track.u_mps)
    return replace(
        counts,
        speed_mps=mean.value,
        u_speed_mps=mean.u,
        U_speed_mps=mean.U,
        k=mean.U / mean.u if mean.u > 0 else 2.0,
        lowest_mps=float(track.speed_mps[valid].min()),
        highest_mps=float(track.speed_mps[valid].max()),
    )


JOB = Job("speed", SpeedOptions, SpeedAnswer, compute)

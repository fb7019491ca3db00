"""From a recording to what a pass is judged by: which two speeds, and all that goes with them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack
from workbench.base.errors import WrongInput
from workbench.base.machine import Limits, Machine
from workbench.base.statements import Statement, statement
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.edges import clean
from workbench.calibration.pulses.speed import SpeedSeries, speed_series
from workbench.calibration.readout.true_speed import most_wear_rel
from workbench.jobs.channels import (
    Track,
    ground_kind,
    grounds,
    has_values,
    pick_belt,
    pick_ground,
    pick_mark,
    pickups,
)
from workbench.jobs.noise import spoilt_by
from workbench.jobs.passes.answer import PassOptions, PassSays
from workbench.jobs.passes.prepared import factor_of
from workbench.jobs.passes.pulse_rates import u_scale_rel
from workbench.jobs.prepare.answer import Prepared
from workbench.match.evidence import PassInputs, Values
from workbench.match.ratio import Comparison, PaceLimits
from workbench.match.sources import Quality, best, factor_to, quality

LEAST_MARKS = 3
"""Passings of the belt's mark from which laps are held against pulses."""


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """The belt's and the ground's track, and why this ground; `reason` says what is missing."""

    belt: Track | None
    ground: Track | None
    why: Statement | None
    qualities: dict[str, Quality]
    reason: Statement | None = None


def choose(recording: Recording, options: PassOptions) -> Chosen:
    """The two sources asked for, or the best there are.

    Raises WrongInput for a wrong name, and for one source as both.
    """
    belt = pick_belt(recording, options.belt)
    named = pick_ground(recording, options.ground, belt) if options.ground else None
    able = grounds(recording.speeds.values(), belt, has_values)
    if isinstance(named, SpeedTrack) and named not in able:
        able.append(named)
    qualities = {
        one.source: quality(one.source, ground_kind(one), _plain(one, options.prepared))
        for one in recording.speeds.values()
        if one in able
    }
    if belt is None:
        return Chosen(None, named, None, qualities, _nothing(PassSays.NO_BELT_KNOWN, recording))
    if named is not None:
        return _timed(Chosen(belt, named, statement(PassSays.GROUND_ASKED_FOR), qualities))
    chosen = best(list(qualities.values()))
    if chosen is None:
        return Chosen(belt, None, None, qualities, _nothing(PassSays.NO_GROUND_KNOWN, recording))
    return _timed(Chosen(belt, recording.speeds[chosen.source], _why(chosen, qualities), qualities))


def _why(chosen: Quality, qualities: dict[str, Quality]) -> Statement:
    others = tuple(one.says for one in qualities.values() if one is not chosen)
    if not others:
        return statement(PassSays.ONLY_GROUND, source=chosen.says)
    return statement(PassSays.MOST_TRUSTED_GROUND, source=chosen.says, others=others)


def _timed(chosen: Chosen) -> Chosen:
    """Both tracks, unless one has no times, or noise for pulses."""
    both = [track for track in (chosen.belt, chosen.ground) if track is not None]
    speeds = [track for track in both if isinstance(track, SpeedTrack)]
    if not all(track.timed for track in speeds):
        return replace(chosen, reason=statement(PassSays.NO_TIMES, held=tuple(map(_held, speeds))))
    for track in both:
        if isinstance(track, EdgeTrack):
            spoilt = spoilt_by(track, clean(track.time_s))
            if spoilt is not None:
                return replace(chosen, reason=spoilt)
    return chosen


def _nothing(says: PassSays, recording: Recording) -> Statement:
    held = tuple(map(_held, recording.speeds.values()))
    return statement(says, held=held or statement(PassSays.NO_SPEED_HELD))


def _held(track: SpeedTrack) -> Statement:
    known = track.speed_mps[np.isfinite(track.speed_mps)]
    if known.size:
        low_mps, high_mps = float(known.min()), float(known.max())
        values = statement(
            PassSays.VALUES_HELD, count=known.size, low_mps=low_mps, high_mps=high_mps
        )
    else:
        values = statement(PassSays.NO_VALUE_HELD, messages=track.speed_mps.size)
    return statement(PassSays.SOURCE_HELD, source=track.source, label=track.label, values=values)


def gather_inputs(
    recording: Recording, machine: Machine | None, chosen: Chosen, options: PassOptions
) -> PassInputs:
    """Everything in arrays. Raises WrongInput where pulses lack a machine file."""
    belt, ground = chosen.belt, chosen.ground
    assert belt is not None
    assert ground is not None
    limits = machine.limits if machine else Limits()
    pulses = belt if isinstance(belt, EdgeTrack) else None
    lap = pick_mark(recording, None, (ChannelKind.LAP_MARK,))
    others = [track for track in pickups(recording) if track is not pulses]
    return PassInputs(
        belt=belt_series(belt, machine, recording),
        ground=_plain(ground, options.prepared)
        if isinstance(ground, SpeedTrack)
        else belt_series(ground, machine, recording),
        ground_source=ground.name,
        limits=PaceLimits(limits.ratio_low, limits.ratio_high),
        machine=machine,
        edges_s=pulses.time_s if pulses else None,
        amplitude_v=pulses.amplitude_v if pulses else None,
        lap_s=lap.time_s if lap else None,
        other_edges_s=others[0].time_s if others else None,
        shown=_value(recording, "readout_shown"),
        engine_hz=_value(recording, "engine_speed_hz"),
        oil_c=_oil(recording, options.oil_c),
        qualities=chosen.qualities,
        others={
            track.source: _plain(track, options.prepared)
            for track in recording.speeds.values()
            if track.source in chosen.qualities and track.timed
        },
    )


def with_factors(inputs: PassInputs, found: Comparison) -> PassInputs:
    """The same with each source's factor to a source of the ground itself, over the steady part."""
    if found.aligned is None or found.steady is None:
        return inputs
    time_s = found.aligned.time_s[found.steady]
    reference = reference_of(inputs)
    if reference is None:
        return inputs
    factors = {}
    for name, series in inputs.others.items():
        if name != reference:
            factor = factor_to(
                inputs.others[reference], name, series, float(time_s[0]), float(time_s[-1])
            )
            if factor is not None:
                factors[name] = factor
    return replace(inputs, factors=factors, reference=reference)


def reference_of(inputs: PassInputs) -> str | None:
    """The source the others are compared with: the best of the ground's own speeds."""
    known = [one for name, one in inputs.qualities.items() if name in inputs.others]
    chosen = best(known)
    return chosen.source if chosen else None


def belt_series(track: Track, machine: Machine | None, recording: Recording) -> SpeedSeries:
    """The belt's track as a speed in time. Raises WrongInput where pulses lack a machine file."""
    if isinstance(track, SpeedTrack):
        u_rel = u_scale_rel(track, recording, machine)
        wear_rel = _wear_rel(recording, machine) if machine and u_rel > 0 else 0.0
        return SpeedSeries(track.time_s, track.speed_mps, track.u_mps, u_rel, wear_rel)
    if machine is None:
        raise WrongInput(
            "pulse channel '{channel}' of {name} needs a machine file to become a belt speed; give "
            "one with --machine FILE.",
            channel=track.channel,
            name=recording.name,
        )
    per_pulse = metres_per_pulse(machine)
    u_rel = math.hypot(per_pulse.u_rel, track.u_clock_rel)
    teeth, edges = machine.drive.target_teeth, clean(track.time_s)
    series = speed_series(edges, teeth, per_pulse.value_m, u_rel)
    return replace(series, wear_rel=_wear_rel(recording, machine))


def _wear_rel(recording: Recording, machine: Machine) -> float:
    """How much faster the belt may be than its pulses tell; 0 where laps are there to tell."""
    marks = pick_mark(recording, None, (ChannelKind.LAP_MARK,))
    lapped = marks is not None and marks.time_s.size >= LEAST_MARKS
    if lapped and math.isfinite(machine.belt.lap_length_m):
        return 0.0
    return most_wear_rel(machine.drive)


def _plain(track: SpeedTrack, prepared: Prepared | None) -> SpeedSeries:
    """A ground source, with what its scale may be off: by its kind, or as a taped course proved."""
    u_scale_rel, proven = ground_kind(track).u_scale_rel, factor_of(track, prepared)
    if proven is not None:
        u_scale_rel = proven.u_factor / proven.factor
    return SpeedSeries(track.time_s, track.speed_mps, track.u_mps, u_scale_rel)


def _value(recording: Recording, quantity: str) -> Values | None:
    found = [track for (_, name), track in recording.values.items() if name == quantity]
    usable = [track for track in found if np.isfinite(track.value).sum() > 1]
    return Values(usable[0].time_s, usable[0].value) if usable else None


def _oil(recording: Recording, typed: tuple[float, float] | None) -> Values | None:
    """Oil temperature from the bus, or as typed for the start and the end."""
    if typed is None:
        return _value(recording, "oil_temperature_c")
    lines = [track.time_s for track in recording.edges.values()]
    lines += [track.time_s for track in recording.speeds.values()]
    ends = [float(time_s[at]) for time_s in lines if time_s.size for at in (0, -1)]
    if not ends:
        return None
    return Values(np.array([min(ends), max(ends)]), np.array(typed, dtype=np.float64))

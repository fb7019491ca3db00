"""Pulse rates and counts that a simple board or a DBC signal tells, as belt speed.

They carry no edges, so nothing can be said of single teeth; but times the metres a pulse
they are a speed like any other.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drivers.contract import ChannelKind, Floats, Recording, SpeedTrack, ValueTrack
from workbench.base.machine import Machine
from workbench.calibration.pulses.drive_line import MetresPerPulse, metres_per_pulse
from workbench.jobs.channels import u_clock_rel


def with_pulse_rates(recording: Recording, machine: Machine | None) -> Recording:
    """The recording with a speed source beside each pulse rate or count of the belt, named as
    it is.

    Without a machine file, or where the name is taken, it stays as it was.
    """
    if machine is None:
        return recording
    per_pulse = metres_per_pulse(machine)
    speeds = {
        track.source: _speed(track, per_pulse)
        for track in recording.values.values()
        if track.quantity in ("pulse_rate_hz", "pulse_count")
        and track.kind is ChannelKind.BELT
        and track.source not in recording.edges
        and track.time_s.size > 1
    }
    return replace(recording, speeds={**speeds, **recording.speeds})


def u_scale_rel(track: SpeedTrack, recording: Recording, machine: Machine | None) -> float:
    """The relative standard uncertainty that all values of a speed share: that of the metres
    a pulse where they were made of pulses, and of the clock of a board that tells their rate
    itself; else 0."""
    rate, count = (
        (track.source, told) in recording.values for told in ("pulse_rate_hz", "pulse_count")
    )
    if machine is None or not (rate or count):
        return 0.0
    return math.hypot(metres_per_pulse(machine).u_rel, u_clock_rel(machine) if rate else 0.0)


def _speed(track: ValueTrack, per_pulse: MetresPerPulse) -> SpeedTrack:
    time_s, rate_hz = track.time_s, track.value
    if track.quantity == "pulse_count":
        time_s, rate_hz = _rate_of_count(track)
    # A number that is printed or sent has a last digit; its steps show which.
    steps_hz = np.diff(np.unique(rate_hz[np.isfinite(rate_hz)]))
    u_mps = float(steps_hz.min(initial=math.inf)) * per_pulse.value_m / math.sqrt(12)
    return SpeedTrack(
        track.source,
        "pulse rate of the target wheel, times the metres a pulse",
        time_s,
        rate_hz * per_pulse.value_m,
        np.full(time_s.size, u_mps if math.isfinite(u_mps) else math.nan),
        kind=ChannelKind.BELT,
    )


def _rate_of_count(track: ValueTrack) -> tuple[Floats, Floats]:
    """(time in the middle, pulses a second) from one count to the next; NaN where it went back."""
    passed_s, pulses = np.diff(track.time_s), np.diff(track.value)
    known = (passed_s > 0) & (pulses >= 0)
    rate_hz = np.full(passed_s.size, math.nan)
    rate_hz[known] = pulses[known] / passed_s[known]
    return track.time_s[:-1] + passed_s / 2, rate_hz

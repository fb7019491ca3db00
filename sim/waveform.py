"""The voltage itself that a variable-reluctance pickup gives, as a recorder's file holds it.

The law of `sim.pickup`: a sine a tooth, whose height goes with the surface speed and falls with
the gap by e every decay length. It falls through zero where the tooth's middle faces the pickup.
"""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drivers.contract import Floats
from sim.pickup import TargetWheel, decay_m, reluctance_amplitude_v
from sim.run import Simulation
from sim.scenarios import Scenario, load
from sim.streams import stream

RATE_HZ = 48_000
FULL_SCALE_V = 25.0
"""What the recorder's full scale means before the divider; chosen above what the scenarios give."""


def voltage_v(simulation: Simulation, channel: str, time_s: Floats) -> Floats:
    """(n,) the pickup's voltage without noise, at evenly spaced true times (n,) that have been
    simulated. The shaft's play in its bearing, drawn turn by turn, is left out."""
    from scipy.interpolate import PchipInterpolator

    wheel, plan = simulation.truth.wheels[channel], getattr(simulation.plan, channel)
    turns = _wheel_turns(simulation, time_s)
    numbers = np.arange(int(turns[0] * wheel.teeth) - 2, int(turns[-1] * wheel.teeth) + 4)
    middles = _middles(wheel, numbers)
    # Smooth: a field does not change its pace at once where one tooth's middle is passed.
    pitches = PchipInterpolator(middles, numbers + 0.5)(turns)
    tooth = np.floor(pitches).astype(np.int64) % wheel.teeth
    height_v = reluctance_amplitude_v(
        2 * np.pi * wheel.radius_m * np.gradient(turns, time_s),
        wheel.gap_m[tooth],
        plan.volts_per_mps,
        decay_m(plan, wheel.pitch_m),
    )
    volts: Floats = wheel.present[tooth] * height_v * np.sin(2 * np.pi * pitches)
    return volts


def middles_s(simulation: Simulation, channel: str) -> Floats:
    """When each tooth's middle faced the pickup, in true time: where its voltage falls through
    zero."""
    wheel = simulation.truth.wheels[channel]
    time_s = np.arange(0.0, simulation.truth.until_s, 1e-3)
    turns = _wheel_turns(simulation, time_s)
    numbers = np.arange(int(turns[0] * wheel.teeth), int(turns[-1] * wheel.teeth))
    middles = _middles(wheel, numbers)
    passed = wheel.present[numbers % wheel.teeth]
    passed &= (middles > turns[0]) & (middles < turns[-1])
    found: Floats = np.interp(middles[passed], turns, time_s)
    return found


def write_wav(
    path: Path,
    scenario: Scenario | str | Path,
    *,
    seed: int = 0,
    for_s: float = 60.0,
    rate_hz: int = RATE_HZ,
    full_scale_v: float = FULL_SCALE_V,
) -> Simulation:
    """Write what a recorder in stereo, 16 bit, hears of a scenario's pickups in `for_s` seconds,
    their noise included, and return the run. Raises AddressError for an unknown scenario."""
    simulation = Simulation(scenario if isinstance(scenario, Scenario) else load(scenario), seed)
    channels = list(simulation.truth.wheels)
    chance = {name: stream(seed, f"{name}.recorder") for name in channels}
    done, end = 0, round(for_s * rate_hz)
    with wave.open(str(path), "wb") as file:
        file.setparams((len(channels), 2, rate_hz, 0, "NONE", ""))
        while done < end:
            until_s = simulation.advance().to_s
            time_s = np.arange(done, min(round(until_s * rate_hz), end)) / rate_hz
            columns = [
                voltage_v(simulation, name, time_s)
                + chance[name].standard_normal(time_s.size) * getattr(simulation.plan, name).noise_v
                for name in channels
            ]
            levels = np.clip(np.stack(columns, axis=1) / full_scale_v, -1, 1)
            file.writeframes(np.rint(levels * 32767).astype("<i2").tobytes())
            done += time_s.size
    return simulation


def _middles(wheel: TargetWheel, numbers: NDArray[np.int64]) -> Floats:
    """(n,) where in turns of the wheel the middle of each tooth counted on (n,) stands."""
    middles: Floats = (numbers + wheel.offset_rel[numbers % wheel.teeth] + 0.5) / wheel.teeth
    return middles


def _wheel_turns(simulation: Simulation, time_s: Floats) -> Floats:
    shaft = simulation.truth.shaft_turns(time_s)
    return shaft / simulation.truth.built.turns_per_target_turn + simulation.start_turns

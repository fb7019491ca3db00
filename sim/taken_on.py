"""A scenario on somebody's own machine: its drive line, teeth, pickup and readout.

What goes wrong stays the scenario's: a tooth count typed wrong is wrong by the same share, a
readout set 4 per cent too high is set 4 per cent too high on this machine too.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from drivers.contract import Note
from sim import typed
from sim.scenarios import Scenario, checked_together
from sim.typed import KEYS

_READOUT = ("unit", "step", "reads")


def taken_on(scenario: Scenario, machine_text: str) -> Scenario:
    """The scenario on the machine of a machine file. Raises AddressError where its numbers are
    beyond what can be simulated."""
    machine: Mapping[str, Mapping[str, Any]] = tomllib.loads(machine_text)
    drive, readout = dict(machine.get("drive", {})), machine.get("readout", {})
    built = {key: drive[key] for key in KEYS["drive"] if key in drive}
    if "target_teeth" in (wrong := scenario.typed.get("drive", {})):
        share = scenario.value("drive", "target_teeth") / wrong["target_teeth"]
        built["target_teeth"] = round(built["target_teeth"] * share)
    if lap_m := machine.get("belt", {}).get("lap_length_m"):
        built |= _lap(scenario, built, lap_m)
    given: dict[str, dict[str, Any]] = {
        "drive": built,
        "readout": {key: readout[key] for key in _READOUT if key in readout},
    }
    kind = machine.get("pickup", {}).get("kind")
    for side in ("left", "right") if kind else ():
        given[side] = {"kind": kind}
    teeth = built.get("target_teeth", scenario.value("drive", "target_teeth"))
    for side in ("left", "right"):
        for key in ("bent_tooth", "worn_tooth", "missing_tooth"):
            if key in scenario.values.get(side, {}):
                given.setdefault(side, {})[key] = min(scenario.value(side, key), teeth)
    place = Note("the machine in use, {name}", name=str(machine.get("name", "")))
    return checked_together(replace(scenario, typed={}), given, place)


def _lap(scenario: Scenario, built: Mapping[str, Any], lap_m: float) -> dict[str, Any]:
    """Rods in a lap. On a roll nothing else asks for the pitch, so the lap is met exactly."""
    kind = built.get("kind", scenario.value("drive", "kind"))
    if kind == "sprocket":
        pitch_m = built.get("rod_pitch_m", scenario.value("drive", "rod_pitch_m"))
        return {"lap_rods": round(lap_m / pitch_m)}
    rods = scenario.value("drive", "lap_rods")
    return {"lap_rods": rods, "rod_pitch_m": lap_m / rods}


def setting(scenario: Scenario) -> float:
    """The number in the readout in the simulator's own unit, wrong by the scenario's error."""
    error = scenario.value("readout", "setting_error_rel")
    return typed.right_setting(scenario) * (1 + float(error))

"""The machine file a technician would have typed for a scenario.

The keys are the machine file's; sim may not know the workbench, so the one formula
that is needed for the right setting stands here again: a sprocket of N teeth moves N·P
of belt a turn, a roll of diameter D moves π·(D + 2·pitch line offset).
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, Protocol

from drivers.contract import Note


class MachineSource(Protocol):
    """What a machine file is written from; `sim.scenarios.Scenario` is one."""

    @property
    def title(self) -> str: ...
    @property
    def typed(self) -> Mapping[str, Mapping[str, Any]]: ...
    def value(self, section: str, key: str) -> Any: ...


KEYS: dict[str, tuple[str, ...]] = {
    "belt": ("lap_length_m", "u_lap_length_m"),
    "drive": (
        "target_teeth",
        "turns_per_target_turn",
        "kind",
        "sprocket_teeth",
        "rod_pitch_m",
        "u_rod_pitch_m",
        "roll_diameter_m",
        "u_roll_diameter_m",
        "pitch_line_offset_m",
        "u_pitch_line_offset_m",
    ),
    "readout": ("unit", "step", "setting", "setting_unit", "setting_step", "reads", "rounds"),
    "pickup": ("kind", "gap_best_m", "gap_max_m"),
    "limits": ("ratio_low", "ratio_high", "speed_low_mps", "speed_high_mps", "readout_error"),
    "prepare": ("belt_span_m", "belt_kg_per_metre", "motor_volume_m3"),
}

MEASURED_ON = "2026-04-20"
"""The day on which the demonstration's pitch was measured over many rods."""

SETTING_UNITS: dict[str, tuple[str, float, float]] = {
    "inverse": ("pulses per 100 ft", 30.48, 1.0),
    "direct": ("mm per pulse", 0.001, 0.01),
}
"""How a readout reads -> its setting's unit, the length in it (m), the setting's step."""


def metres_per_pulse(scenario: MachineSource) -> float:
    """Nominal belt travel a pulse, m, from the drive line as built."""
    kind, teeth = scenario.value("drive", "kind"), scenario.value("drive", "target_teeth")
    if kind == "sprocket":
        turn = scenario.value("drive", "sprocket_teeth") * scenario.value("drive", "rod_pitch_m")
    else:
        offset = 2 * scenario.value("drive", "pitch_line_offset_m")
        turn = math.pi * (scenario.value("drive", "roll_diameter_m") + offset)
    return float(turn * scenario.value("drive", "turns_per_target_turn") / teeth)


def right_setting(scenario: MachineSource) -> float:
    """The number that would be right in the readout."""
    reads = scenario.value("readout", "reads")
    length_m, pulse_m = SETTING_UNITS[reads][1], metres_per_pulse(scenario)
    return length_m / pulse_m if reads == "inverse" else pulse_m / length_m


def setting(scenario: MachineSource) -> float:
    """The number that is set in the readout, right or wrong, on its own step."""
    step = SETTING_UNITS[scenario.value("readout", "reads")][2]
    error = scenario.value("readout", "setting_error_rel")
    return float(round(round(right_setting(scenario) * (1 + error) / step) * step, 6))


def machine_text(scenario: MachineSource) -> str:
    """TOML text of the machine file, [typed] values in place of the true ones."""
    sections = _true_sections(scenario)
    for section, inner in scenario.typed.items():
        sections[section] |= inner
    lines = [
        f"name = {json.dumps(Note('Demonstration digger, {lower}', lower=scenario.title.lower()))}"
    ]
    for section, inner in sections.items():
        lines += ["", f"[{section}]"]
        lines += [f"{key} = {_toml(value)}" for key, value in inner.items()]
    return "\n".join(lines) + "\n"


def _true_sections(scenario: MachineSource) -> dict[str, dict[str, Any]]:
    value = scenario.value
    kind, reads = value("drive", "kind"), value("readout", "reads")
    unit, _, setting_step = SETTING_UNITS[reads]
    lap_m, u_lap_m = lap_length(scenario)
    drive = {
        "target_teeth": int(value("drive", "target_teeth")),
        "turns_per_target_turn": value("drive", "turns_per_target_turn"),
        "kind": kind,
    }
    if kind == "sprocket":
        drive["sprocket_teeth"] = int(value("drive", "sprocket_teeth"))
        drive["measured_on"] = MEASURED_ON
    lengths = {"sprocket": KEYS["drive"][4:6], "roll": KEYS["drive"][6:]}[kind]
    drive |= {name: value("drive", name) for name in lengths}
    return {
        "belt": {"lap_length_m": lap_m, "u_lap_length_m": u_lap_m},
        "drive": drive,
        "readout": {
            "unit": value("readout", "unit"),
            "step": value("readout", "step"),
            "setting": setting(scenario),
            "setting_unit": unit,
            "setting_step": setting_step,
            "reads": reads,
            "rounds": value("readout", "rounds"),
        },
        "pickup": {"kind": value("left", "kind")},
        "limits": {},
        "prepare": {
            "belt_span_m": value("belt", "span_m"),
            "belt_kg_per_metre": value("belt", "mass_kg_per_m"),
            "motor_volume_m3": value("hydraulics", "motor_m3"),
        },
    }


def lap_length(scenario: MachineSource) -> tuple[float, float]:
    """Nominal lap length and its standard uncertainty, m.

    On a sprocket the lap is a whole number of rods, so the pitch's uncertainty is the
    lap's; on a roll it is the tape's.
    """
    rods = scenario.value("drive", "lap_rods")
    lap_m = rods * scenario.value("drive", "rod_pitch_m")
    if scenario.value("drive", "kind") == "sprocket":
        u_m = rods * scenario.value("drive", "u_rod_pitch_m")
    else:
        u_m = scenario.value("drive", "u_lap_length_m")
    return round(lap_m, 6), max(round(u_m, 6), 1e-6)


def _toml(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(value)

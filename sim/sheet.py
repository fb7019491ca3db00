"""What a technician would read off rule, gauge and thermometer at a scenario's machine, standing.

Rows of a prepare table, each reading with the scatter of its tool; nothing that the scenario does
not have: belt, oil and tyres.
"""

from __future__ import annotations

from sim import machine, spec
from sim.streams import stream

HEADER = "check,place,value,unit"
TYRE_KPA, WHEEL_SLIP_KPA = 195.0, 160.0
"""Cold pressures, chosen; a tyre that is soft where wheel speed reads high."""
SOFT_FROM_REL = 0.02
RULE_M, GAUGE_KPA, METER_REL = 0.001, 1.0, 0.01
"""Scatter of a rule held to a belt, of a pressure gauge, of a flow gauge; chosen."""


def sheet_text(plan: spec.Plan, seed: int) -> str:
    """The table for one seed's machine: the belt hangs as it does, the pump gives what it gives
    at working speed with the oil as it is at the start."""
    rng = stream(seed, "sheet")
    hydraulics, sensors = plan.hydraulics, plan.sensors
    flow_m3_per_s = float(
        machine.pump_flow_m3_per_s(
            hydraulics.engine_speed_hz, hydraulics.pump_m3, hydraulics.pump_efficiency
        )
    )
    flow_m3_per_s *= 1 + METER_REL * float(rng.standard_normal())
    soft = abs(sensors.wheel_scale_rel) >= SOFT_FROM_REL
    rows = [
        f"oil flow,,{flow_m3_per_s * 60e3:.1f},L/min",
        f"oil temperature,,{hydraulics.oil_start_c:.0f},°C",
    ]
    for side, nominal in (("left", TYRE_KPA), ("right", WHEEL_SLIP_KPA if soft else TYRE_KPA)):
        pressure_kpa = nominal + GAUGE_KPA * float(rng.standard_normal())
        rows.append(f"tyre pressure,{side},{pressure_kpa:.0f},kPa")
    for place in ("left", "middle", "right"):
        sag_m = plan.belt.sag_m + RULE_M * float(rng.standard_normal())
        rows.append(f"belt sag,{place},{sag_m * 1000:.0f},mm")
    return "\n".join([HEADER, *rows]) + "\n"

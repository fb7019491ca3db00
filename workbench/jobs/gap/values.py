"""How estimates and decisions stand in an answer of `evenpace gap`."""

from __future__ import annotations

from typing import Any

from workbench.base.machine import Machine, Pickup
from workbench.calibration.gap.judgement import Estimate
from workbench.calibration.statistics.decision import Decision
from workbench.words.words import Words


def with_u(name: str, estimate: Estimate, k: float, unit: str = "_m") -> dict[str, float]:
    """`name_m`, `u_name_m` and `U_name_m` of an estimate."""
    return {
        f"{name}{unit}": estimate.value,
        f"u_{name}{unit}": estimate.u,
        f"U_{name}{unit}": k * estimate.u,
    }


def extremes(closest: Estimate, widest: Estimate, k: float) -> dict[str, float]:
    """The closest and the widest point, each with its angle."""
    return {
        **with_u("closest", closest, k),
        "closest_angle_deg": closest.angle_deg,
        **with_u("widest", widest, k),
        "widest_angle_deg": widest.angle_deg,
    }


def verdict_values(decision: Decision) -> dict[str, Any]:
    """A decision's verdict, its reason and its probability."""
    return {
        "verdict": decision.verdict,
        "reason": Words().say(decision.reason),
        "conformance_probability": decision.conformance_probability,
    }


def limit_values(machine: Machine | None, blade_step_m: float) -> dict[str, Any]:
    """The limits an answer was judged by, and whose: None where they are common practice."""
    limits = machine.pickup if machine else Pickup()
    return {
        "limits_of": machine.name if machine else None,
        "gap_best_m": limits.gap_best_m,
        "gap_max_m": limits.gap_max_m,
        "blade_step_m": blade_step_m,
    }

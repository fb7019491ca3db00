"""The answers of `evenpace gap` as plain values: of feeler readings, and of pulses."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from drivers.contract import EdgeTrack, Floats
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import as_written
from workbench.calibration.gap.batch import PickupId, verdict_line
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.judgement import Estimate, worst
from workbench.calibration.gap.same_wheel import compare_spacing
from workbench.calibration.gap.seen import count_teeth
from workbench.calibration.gap.table import GapReadings
from workbench.calibration.gap.wheel_faults import WheelCheck, check_wheel
from workbench.calibration.statistics.decision import Decision, Verdict
from workbench.jobs.gap.values import extremes, verdict_values, with_u
from workbench.jobs.gap.voltage import by_voltage, drop_out
from workbench.words.gap_summary import fault_names

FEWEST_PULSES = 9
"""Two turns of the smallest wheel that can be judged."""
HEADLINES = ("pickup", "gap_m", "runout_m", "teeth", "missed", "extra")
"""What stands at the top of every answer, one pickup or many."""


def feeler_answer(readings: GapReadings, limits: Pickup, blade_step_m: float) -> dict[str, Any]:
    """One pickup's answer from its feeler readings."""
    gap = feeler_gap(readings, limits, blade_step_m=blade_step_m)
    places = gap.places
    return {
        **_identity(readings.pickup),
        "method": "feeler",
        **with_u("gap", gap.mean, gap.k),
        **with_u("runout", gap.runout, gap.k),
        **extremes(gap.closest, gap.widest, gap.k),
        "k": gap.k,
        "repeatability_m": places.scatter_m,
        "form_error_m": gap.form_m,
        "swing_m": gap.swing_m,
        "places": [
            {"angle_deg": float(angle), "gap_m": float(mean), "readings": int(count)}
            for angle, mean, count in zip(places.angle_deg, places.gap_m, places.count, strict=True)
        ],
        "odd_angles_deg": gap.odd_deg,
        "readings": int(readings.gap_m.size),
        "teeth": None,
        "missed": None,
        "extra": None,
        **verdict_values(gap.decision),
        "advice": gap.advice,
        "line": verdict_line(gap),
        "warnings": gap.warnings,
    }


def pulse_answer(
    track: EdgeTrack,
    mark_s: Floats | None,
    machine: Machine | None,
    options: Mapping[str, Any],
    *,
    holes_known: bool,
) -> dict[str, Any]:
    """One pickup's answer from its pulses alone. Raises WrongInput where they are too few."""
    teeth, warnings = _teeth(track, machine)
    limits = machine.pickup if machine else Pickup()
    check = check_wheel(
        track.time_s,
        teeth,
        mark_s=mark_s,
        fall_s=track.fall_s,
        amplitude_v=track.amplitude_v,
        holes_known=holes_known,
    )
    answer: dict[str, Any] = {
        **_identity(track.channel),
        "method": "pulses",
        "gap_m": math.nan,
        **_runout(check, options["pitch_radius_m"]),
        **_wheel(check),
        "k": 2.0,
        **verdict_values(check.decision),
        "advice": "",
        "warnings": [*warnings, *check.warnings],
    }
    answer |= by_voltage(check, limits, options, answer["warnings"])
    if options["drop_out"]:
        answer |= drop_out(track, check.first_tooth_s, machine, answer, options)
    if track.channel in options["before"]:
        answer["before"] = _compared(check, options["before"][track.channel], options)
    if answer["faults"]:
        answer["advice"] = f"See to this first: {fault_names(answer)}."
    return answer | {"line": _pulse_line(answer)}


def _compared(
    check: WheelCheck, then: list[float | None], options: Mapping[str, Any]
) -> dict[str, Any]:
    match = compare_spacing(check.offset_rel, np.array(then, dtype=np.float64))
    return {
        "result": options["before_result"],
        "same_wheel": match.same,
        "turned_back": match.turned_back,
        "tooth_then": match.tooth_then or None,
        "correlation": match.correlation,
        "sentence": match.sentence,
    }


def several(pickups: list[dict[str, Any]]) -> dict[str, Any]:
    """Many pickups as one answer: the worst verdict, and the worst pickup's headlines on top."""
    decisions = [Decision(one["verdict"], math.nan, as_written(one["reason"])) for one in pickups]
    bad = worst(decisions)
    first = next(one for one in pickups if one["verdict"] == bad.verdict)
    counts = {str(verdict): 0 for verdict in dict.fromkeys(one["verdict"] for one in pickups)}
    for one in pickups:
        counts[str(one["verdict"])] += 1
    return {
        **{name: first[name] for name in HEADLINES},
        "pickups": pickups,
        "summary": counts,
        "verdict": bad.verdict,
        "reason": f"{first['pickup']}: {first['reason']}",
        "advice": first["advice"],
        "warnings": [f"{one['pickup']}: {line}" for one in pickups for line in one["warnings"]],
    }


def untold(name: str, error: WrongInput) -> dict[str, Any]:
    """The answer for one of several pickups that could not be judged at all."""
    return {
        **_identity(name),
        "method": "pulses",
        "gap_m": math.nan,
        "runout_m": math.nan,
        "teeth": None,
        "missed": None,
        "extra": None,
        "verdict": Verdict.CANNOT_TELL,
        "reason": str(error),
        "advice": "",
        "line": f"{name}: cannot tell; {error}",
        "warnings": [str(error)],
    }


def _identity(name: str) -> dict[str, str]:
    identity = PickupId.parse(name)
    return {
        "pickup": name,
        "machine_name": identity.machine,
        "side": identity.side,
        "pickup_kind": identity.kind,
    }


def _teeth(track: EdgeTrack, machine: Machine | None) -> tuple[int, list[str]]:
    """(teeth to fold at, doubts about them): as typed unless the signal clearly differs."""
    if track.time_s.size < FEWEST_PULSES:
        raise WrongInput(
            f"Channel '{track.channel}' has {track.time_s.size} pulses; at least two turns of the "
            "target wheel are needed, and ten are better."
        )
    seen = count_teeth(track.time_s)
    typed = machine.drive.target_teeth if machine else None
    if typed is None:
        if seen.teeth is None or seen.confidence < 0.9:
            raise WrongInput(
                f"Channel '{track.channel}' does not tell how many teeth the target wheel has; "
                "give the machine file with --machine."
            )
        return seen.teeth, [
            f"No machine is known: the signal repeats after {seen.teeth} teeth, and the "
            "limits of the gap are common practice."
        ]
    if seen.teeth is not None and seen.contradicts(typed):
        twice = " Or does every tooth trigger twice?" if seen.teeth == 2 * typed else ""
        return seen.teeth, [
            f"The signal repeats after {seen.teeth} teeth, but the machine file says {typed}: "
            f"count the teeth.{twice}"
        ]
    return typed, []


def _runout(check: WheelCheck, pitch_radius_m: float | None) -> dict[str, float]:
    relative = with_u("eccentricity", check.runout, 2.0, "_rel")
    both = 2 * pitch_radius_m if pitch_radius_m else math.nan
    runout = Estimate(both * check.runout.value, both * check.runout.u)
    return {**with_u("runout", runout, 2.0), **relative, "late_angle_deg": check.runout.angle_deg}


def _wheel(check: WheelCheck) -> dict[str, Any]:
    """Counts, faults, and what each tooth shows, from tooth 1 at the mark."""
    play = check.play
    return {
        "teeth": check.teeth,
        "first_tooth_s": check.first_tooth_s,
        "marked": check.marked,
        "turns": check.turns,
        "tooth_rate_hz": check.tooth_hz,
        "missed": check.missed,
        "extra": check.extra,
        "breaks": check.breaks,
        "faults": [
            {
                "kind": fault.kind,
                "tooth": fault.tooth or None,
                "angle_deg": fault.angle_deg,
                "size": fault.size,
                "p": fault.p,
                "sentence": fault.sentence,
            }
            for fault in check.faults
        ],
        "play_rel": play.shift_rel,
        "play_least_rel": play.least_rel,
        "spacing_rel": check.offset_rel,
        "u_spacing_rel": check.u_offset_rel,
        "missed_share": check.missed_share,
        "voltage_rel": None
        if check.log_amplitude is None
        else np.exp(check.log_amplitude - np.nanmean(check.log_amplitude)),
        "duty": check.duty,
        "duty_mean": math.nan if check.duty is None else float(np.nanmean(check.duty)),
    }


def _pulse_line(answer: Mapping[str, Any]) -> str:
    kinds = fault_names(answer)
    gap_m = answer["gap_m"]
    gap = f"; {gap_m * 1000:.2f} mm by voltage" if math.isfinite(gap_m) else ""
    return (
        f"{answer['pickup']}: {answer['verdict']}; {kinds or 'no fault'}{gap}; {answer['teeth']} "
        f"teeth, {answer['missed']} missed, {answer['extra']} extra"
    )

"""`evenpace pass`: did belt and ground keep pace on a test pass."""

from __future__ import annotations

import argparse
import math
import sys
from typing import Any

import numpy as np

from drivers.contract import EdgeTrack, Recording, SpeedTrack
from workbench.calibration.driveline import metres_per_pulse
from workbench.calibration.edges import clean
from workbench.calibration.speed import SpeedSeries, speed_series
from workbench.cli import DONE, FAILED
from workbench.cli.output import print_json, print_table, print_warnings, with_uncertainty
from workbench.cli.pulse_rates import u_scale_rel, with_pulse_rates
from workbench.cli.source import add_source, finish, load_source, pick_edges, pick_speed
from workbench.errors import WrongInput
from workbench.machine import Limits, Machine
from workbench.match.ratio import Pace, PaceLimits, cannot_tell, pace, seconds_to_settle

NOT_THE_GROUND = ("wheel", "water", "cruise", "selected", "65096", "65265", "61474")
"""Words of sources that may be away from the ground itself; others are taken first."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument("--belt", metavar="SOURCE", help="the belt's speed source or pulse channel")
    parser.add_argument("--ground", metavar="SOURCE", help="the ground's speed source")


def run(args: argparse.Namespace) -> int:
    source = load_source(args)
    options = {"belt": args.belt, "ground": args.ground}
    answer = finish("pass", compute(source.recording, source.machine, options), source, options)
    if args.json:
        print_json(answer)
    else:
        _print(answer)
        print_warnings(answer["warnings"])
    return FAILED if answer["verdict"] in ("fail", "conditional fail") else DONE


def compute(
    recording: Recording, machine: Machine | None, options: dict[str, Any]
) -> dict[str, Any]:
    """The pace of the belt against the ground over one recording."""
    limits = machine.limits if machine else Limits()
    band = PaceLimits(limits.ratio_low, limits.ratio_high)
    warnings = list(recording.warnings)
    recording = with_pulse_rates(recording, machine)
    belt = pick_speed(recording, options["belt"]) if options["belt"] else _belt_of(recording)
    ground = pick_speed(recording, options["ground"]) if options["ground"] else None
    if ground is None and belt is not None:
        ground = _ground_of(recording, belt)
    if belt is None or ground is None:
        what = "belt" if belt is None else "ground"
        found = cannot_tell(_nothing_for(what, recording))
    elif not (_timed(belt) and _timed(ground)):
        found = cannot_tell(_untimed(belt, ground))
    else:
        found = pace(_series(belt, machine, recording), _series(ground, machine, recording), band)
    return _answer(recording, belt, ground, found, band, warnings + found.warnings)


def _belt_of(recording: Recording) -> EdgeTrack | SpeedTrack | None:
    if any(name != "lap" for name in recording.edges):
        return pick_edges(recording, None)
    return recording.speeds.get("belt")


def _ground_of(recording: Recording, belt: EdgeTrack | SpeedTrack) -> SpeedTrack | None:
    """The source most likely to tell the ground's own speed: with values, and no wheel's."""
    others = [
        track
        for track in recording.speeds.values()
        if track is not belt and np.isfinite(track.speed_mps).any()
    ]

    def rank(track: SpeedTrack) -> tuple[bool, int]:
        words = f"{track.source} {track.label}"
        doubtful = any(word in words for word in NOT_THE_GROUND)
        return (not doubtful, int(np.isfinite(track.speed_mps).sum()))

    return max(others, key=rank, default=None)


def _nothing_for(what: str, recording: Recording) -> str:
    sources = "; ".join(
        f"{track.source} ({track.label}: {_values(track)})" for track in recording.speeds.values()
    )
    held = f"it holds {sources}" if sources else "it holds no speed source"
    return f"nothing in this recording is known to be the {what}; name it with --{what}: {held}"


def _values(track: SpeedTrack) -> str:
    valid = int(np.isfinite(track.speed_mps).sum())
    if not valid:
        return f"no value in {track.speed_mps.size} messages"
    return (
        f"{valid} values, {np.nanmin(track.speed_mps):.3g} to {np.nanmax(track.speed_mps):.3g} m/s"
    )


def _timed(track: EdgeTrack | SpeedTrack) -> bool:
    return isinstance(track, EdgeTrack) or track.timed


def _untimed(belt: EdgeTrack | SpeedTrack, ground: EdgeTrack | SpeedTrack) -> str:
    said = [
        f"{track.source}: {_values(track)}"
        for track in (belt, ground)
        if isinstance(track, SpeedTrack)
    ]
    return "the recording holds no times, so the two cannot be compared (" + "; ".join(said) + ")"


def _series(
    track: EdgeTrack | SpeedTrack, machine: Machine | None, recording: Recording
) -> SpeedSeries:
    if isinstance(track, SpeedTrack):
        u_rel = u_scale_rel(track, recording, machine)
        return SpeedSeries(track.time_s, track.speed_mps, track.u_mps, u_rel)
    if machine is None:
        raise WrongInput(
            f"pulse channel '{track.channel}' of {recording.name} needs a machine file to become "
            "a belt speed; give one with --machine FILE."
        )
    per_pulse = metres_per_pulse(machine)
    u_rel = math.hypot(per_pulse.u_rel, track.u_clock_rel)
    return speed_series(clean(track.time_s), machine.drive.target_teeth, per_pulse.value_m, u_rel)


def _answer(
    recording: Recording,
    belt: EdgeTrack | SpeedTrack | None,
    ground: EdgeTrack | SpeedTrack | None,
    found: Pace,
    band: PaceLimits,
    warnings: list[str],
) -> dict[str, Any]:
    return {
        "source": recording.name,
        "kind": recording.kind,
        "simulated": recording.simulated,
        "belt": _name(belt),
        "ground": _name(ground),
        "sources": [*recording.edges, *recording.speeds],
        "verdict": found.decision.verdict.value,
        "reason": _reason(found, band),
        "conformance_probability": found.decision.conformance_probability,
        "ratio": found.ratio,
        "u_ratio": found.u_ratio,
        "U_ratio": found.U_ratio,
        "k": found.k,
        "ratio_low": band.low,
        "ratio_high": band.high,
        "u_parts_rel": found.parts,
        "belt_speed_mps": found.belt_speed_mps,
        "ground_speed_mps": found.ground_speed_mps,
        "in_band_fraction": found.in_band,
        "lag_s": found.lag_s,
        "u_lag_s": found.u_lag_s,
        "drift_per_hour": found.drift_per_hour,
        "u_drift_per_hour": found.u_drift_per_hour,
        "separation_m": found.separation_m,
        "u_separation_m": found.u_separation_m,
        "duration_s": found.duration_s,
        "warnings": warnings,
    }


def _name(track: EdgeTrack | SpeedTrack | None) -> str | None:
    if track is None:
        return None
    return track.channel if isinstance(track, EdgeTrack) else track.source


def _reason(found: Pace, band: PaceLimits) -> str:
    if not math.isfinite(found.ratio):
        return found.decision.reason
    reason = found.decision.reason
    if found.decision.verdict in ("pass", "fail"):
        return reason
    more_s = seconds_to_settle(found, band)
    if math.isfinite(more_s):
        return f"{reason}; about {more_s:.0f} s more of the same would settle it"
    return f"{reason}; more of the same would not settle it"


def _print(answer: dict[str, Any]) -> None:
    rows = [("Verdict", f"{answer['verdict']}: {answer['reason']}")]
    k = answer["k"]
    if math.isfinite(answer["ratio"]):
        band = f"limits {answer['ratio_low']:g} to {answer['ratio_high']:g}"
        ratio = with_uncertainty(answer["ratio"], answer["U_ratio"], "", k)
        rows += [
            ("Ratio belt ÷ ground", f"{ratio}, {band}"),
            ("Belt", f"{answer['belt']}, mean {answer['belt_speed_mps']:.4g} m/s"),
            ("Ground", f"{answer['ground']}, mean {answer['ground_speed_mps']:.4g} m/s"),
            ("Time within the limits", f"{100 * answer['in_band_fraction']:.0f} %"),
            ("Ground source behind by", _or(answer, "lag_s", "s")),
            ("Drift of the ratio", _or(answer, "drift_per_hour", "an hour")),
            ("Separation at the end", _or(answer, "separation_m", "m (belt minus ground)")),
            ("Steady for", f"{answer['duration_s']:.1f} s"),
        ]
    print_table(answer["source"], rows)
    if answer["simulated"]:
        print("Simulated data.", file=sys.stderr)


def _or(answer: dict[str, Any], key: str, unit: str) -> str:
    if not math.isfinite(answer[key]):
        return "could not be found"
    return with_uncertainty(answer[key], 2 * answer[f"u_{key}"], unit)

"""`evenpace speed`: belt speed from the pulses of a recording."""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import asdict
from typing import Any

import numpy as np

from drivers.contract import EdgeTrack, Recording, SpeedTrack
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.edges import CleanEdges, clean
from workbench.calibration.pulses.speed import BeltSpeed, belt_speed, coverage_factor, speed_series
from workbench.calibration.pulses.target_wheel import TeethSeen, missing_teeth, teeth_seen
from workbench.calibration.readout.lap_check import check_laps
from workbench.cli import DONE
from workbench.cli.output import print_json, print_table, print_warnings, with_uncertainty
from workbench.jobs.source import add_source, finish, load_source, pick_edges
from workbench.match.mean import reading_mean

LOST_SHARE = 0.002
"""Share of edges missed or extra from which the person is told; chosen."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument("--channel", metavar="NAME", help="the pulse channel (default: the first)")


def run(args: argparse.Namespace) -> int:
    source = load_source(args)
    options = {"channel": args.channel}
    answer = finish("speed", compute(source.recording, source.machine, options), source, options)
    if args.json:
        print_json(answer)
    else:
        _print(answer)
        print_warnings(answer["warnings"])
    return DONE


def compute(
    recording: Recording, machine: Machine | None, options: dict[str, Any]
) -> dict[str, Any]:
    """Belt speed of one pulse channel and the speeds of every source there is."""
    if not recording.edges and not recording.speeds:
        raise WrongInput(f"{recording.name} holds neither pulses nor speeds to compute from.")
    warnings = list(recording.warnings)
    answer: dict[str, Any] = {
        "source": recording.name,
        "kind": recording.kind,
        "simulated": recording.simulated,
        "belt_speed_mps": math.nan,
        "warnings": warnings,
    }
    if recording.edges or options["channel"] is not None:
        track = pick_edges(recording, options["channel"])
        answer |= _belt(track, machine, recording.edges.get("lap"), warnings)
    answer["speeds"] = [_source_speed(track) for track in recording.speeds.values()]
    answer["messages"] = recording.messages
    answer["rejects"] = recording.rejects
    answer["lost"] = [asdict(lost) for lost in recording.lost]
    return answer


def _belt(
    track: EdgeTrack, machine: Machine | None, lap: EdgeTrack | None, warnings: list[str]
) -> dict[str, Any]:
    edges = clean(track.time_s)
    seen = teeth_seen(edges)
    answer: dict[str, Any] = {
        "channel": track.channel,
        "edges": int(track.time_s.size),
        "missed": edges.missed,
        "extra": edges.extra,
        "breaks": int(edges.starts.size - 1),
        "target_teeth_seen": seen.teeth,
        "target_teeth_confidence": seen.confidence,
    }
    teeth = _teeth(machine, seen)
    per_pulse = metres_per_pulse(machine) if machine else None
    value_m, u_m = (per_pulse.value_m, per_pulse.u_m) if per_pulse else (1.0, 0.0)
    try:
        speed = belt_speed(edges, teeth, value_m, u_m, track.u_clock_rel)
    except ValueError as error:
        warnings.append(f"Channel '{track.channel}' gives no speed: {error}.")
        return answer | {"target_teeth_seen": None, "target_teeth_confidence": 0.0}
    warnings += _doubts(track, edges, seen, machine, speed)
    answer |= {
        "duration_s": speed.duration_s,
        "turns": speed.turns if machine or seen.teeth else math.nan,
        "pulse_rate_hz": speed.pulse_rate_hz,
        "u_pulse_rate_hz": speed.u_pulse_rate_hz,
        "jitter_s": speed.jitter_s,
        "method": speed.method,
    }
    if per_pulse is not None:
        answer |= _in_metres(edges, teeth, per_pulse.value_m, speed)
        answer |= {"metres_per_pulse": per_pulse.value_m, "u_metres_per_pulse": per_pulse.u_m}
    if machine is not None and lap is not None and lap is not track:
        answer |= _laps(edges, lap, machine, warnings)
    return answer


def _laps(
    edges: CleanEdges, lap: EdgeTrack, machine: Machine, warnings: list[str]
) -> dict[str, Any]:
    """What the lap mark says of the belt, where there is one."""
    check = check_laps(edges, lap.time_s, machine)
    if check is None:
        return {}
    if check.causes:
        warnings.append(
            f"{check.laps} laps say that the belt moves {100 * check.difference:+.1f} % against "
            f"the drive line's geometry (± {200 * check.u_difference:.1f} %): "
            + "; or ".join(check.causes)
            + "."
        )
    return {
        "laps": check.laps,
        "lap_speed_mps": check.lap_speed_mps,
        "u_lap_speed_mps": check.u_lap_speed_mps,
        "metres_per_pulse_by_laps": check.metre_per_pulse_m,
        "u_metres_per_pulse_by_laps": check.u_metre_per_pulse_m,
    }


def _teeth(machine: Machine | None, seen: TeethSeen) -> int:
    """Teeth to fold at: as typed, unless the signal clearly says otherwise."""
    if machine and not (seen.teeth and seen.contradicts(machine.drive.target_teeth)):
        return machine.drive.target_teeth
    return seen.teeth or 1


def _in_metres(
    edges: CleanEdges, teeth: int, metre_per_pulse_m: float, speed: BeltSpeed
) -> dict[str, Any]:
    series = speed_series(edges, teeth, metre_per_pulse_m)
    spread = {
        "lowest_mps": float(series.speed_mps.min()) if series.speed_mps.size else math.nan,
        "highest_mps": float(series.speed_mps.max()) if series.speed_mps.size else math.nan,
    }
    return {
        "belt_speed_mps": speed.speed_mps,
        "u_belt_speed_mps": speed.u_mps,
        "U_belt_speed_mps": speed.U_mps,
        "k": speed.k,
        "u_parts_rel": speed.parts,
        **spread,
    }


def _doubts(
    track: EdgeTrack,
    edges: CleanEdges,
    seen: TeethSeen,
    machine: Machine | None,
    speed: BeltSpeed,
) -> list[str]:
    doubts = []
    name = f"Channel '{track.channel}'"
    if machine is None:
        doubts.append("No machine file was given, so pulses cannot be turned into metres.")
    elif seen.teeth and seen.contradicts(machine.drive.target_teeth):
        typed = machine.drive.target_teeth
        doubts.append(
            f"The signal repeats after {seen.teeth} teeth, but the machine file says {typed}: "
            f"count the teeth. If {seen.teeth} is right, the belt moves "
            f"{typed / seen.teeth:.4g} times as fast as stated."
        )
    holes = missing_teeth(edges, seen.teeth or 0)
    if holes.size:
        doubts.append(
            f"{name}: the same {'tooth is' if holes.size == 1 else 'teeth are'} missing in every "
            "turn of the target wheel: it is damaged, or made so. The gap command names the tooth."
        )
    for what, count in (("missed", edges.missed - holes.sum()), ("extra", edges.extra)):
        if count > LOST_SHARE * track.time_s.size:
            doubts.append(
                f"{name}: {count} {what} pulses in {track.time_s.size} "
                f"({100 * count / track.time_s.size:.3g} %): check gap and wiring."
            )
    if edges.starts.size > 1:
        doubts.append(
            f"{name}: {edges.starts.size - 1} interruptions in which pulses could not be "
            "counted; over these the belt is taken to have run as just before and after."
        )
    if speed.method == "line":
        doubts.append(
            f"{name}: fewer than two whole turns of the target wheel; tooth spacing errors "
            "are allowed for in the uncertainty instead of removed. Record longer."
        )
    return doubts


def _source_speed(track: SpeedTrack) -> dict[str, Any]:
    """Mean of one speed source over the recording, with the uncertainty of its readings."""
    valid = np.isfinite(track.speed_mps)
    answer: dict[str, Any] = {
        "source": track.source,
        "label": track.label,
        "values": int(valid.sum()),
        "no_value": int((~valid).sum()),
        "speed_mps": math.nan,
    }
    if valid.any():
        mean = reading_mean(track.speed_mps, track.u_mps)
        k = coverage_factor(mean.dof)
        answer |= {
            "speed_mps": mean.value,
            "u_speed_mps": mean.u,
            "U_speed_mps": k * mean.u,
            "k": k,
            "lowest_mps": float(track.speed_mps[valid].min()),
            "highest_mps": float(track.speed_mps[valid].max()),
        }
    return answer


def _print(answer: dict[str, Any]) -> None:
    rows = []
    if "channel" in answer:
        rows.append(("Channel", answer["channel"]))
        if math.isfinite(answer["belt_speed_mps"]):
            text = with_uncertainty(
                answer["belt_speed_mps"], answer["U_belt_speed_mps"], "m/s", answer["k"]
            )
            rows.append(("Belt speed", text))
            low, high = answer["lowest_mps"], answer["highest_mps"]
            rows.append(("Slowest, fastest turn", f"{low:.4g} to {high:.4g} m/s"))
        if "pulse_rate_hz" in answer:
            rows.append(("Pulses a second", f"{answer['pulse_rate_hz']:.6g}"))
            rows.append(("Duration", f"{answer['duration_s']:.2f} s"))
            rows.append(("Turns of the target wheel", f"{answer['turns']:.1f}"))
        counts = f"{answer['edges']}, {answer['missed']} missed, {answer['extra']} extra"
        rows.append(("Pulses", counts))
        teeth = answer["target_teeth_seen"]
        rows.append(("Teeth as the signal says", str(teeth) if teeth else "not clear"))
    if rows:
        print_table(answer["source"], rows)
    if answer["speeds"]:
        print_table("Speed sources", [_row(s) for s in answer["speeds"]], _SPEED_HEADER)
    if answer["simulated"]:
        print("Simulated data.", file=sys.stderr)


_SPEED_HEADER = ("source", "what it is", "mean", "lowest", "highest", "values", "no value")


def _row(speed: dict[str, Any]) -> tuple[str, ...]:
    counts = (str(speed["values"]), str(speed["no_value"]))
    if not speed["values"]:
        return (speed["source"], speed["label"], "no value", "", "", *counts)
    mean = with_uncertainty(speed["speed_mps"], speed["U_speed_mps"], "m/s", speed["k"])
    extremes = (f"{speed['lowest_mps']:.3f}", f"{speed['highest_mps']:.3f}")
    return (speed["source"], speed["label"], mean, *extremes, *counts)

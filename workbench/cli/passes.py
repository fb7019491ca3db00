"""`evenpace pass`: did belt and ground keep pace on a test pass, and if not, why."""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import Any

from drivers.contract import Recording
from workbench.base.errors import WrongInput
from workbench.base.files import write_file
from workbench.base.machine import Limits, Machine
from workbench.calibration.statistics.decision import Verdict
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import add_source, seconds, source_of
from workbench.cli.output import print_json, print_warnings
from workbench.cli.pass_print import print_pass
from workbench.jobs.job import Job
from workbench.jobs.passes.answer import (
    causes,
    course,
    doubts,
    over_time,
    sources,
    what_to_do,
    where,
)
from workbench.jobs.passes.inputs import Chosen, choose, gather_inputs, with_factors
from workbench.jobs.passes.pulse_rates import with_pulse_rates
from workbench.jobs.source import finish
from workbench.match.evidence import gather
from workbench.match.ratio import (
    Comparison,
    Pace,
    PaceLimits,
    cannot_tell,
    compare,
    seconds_to_settle,
)
from workbench.words.words import Words

_ABOUT = (
    "The ratio is always belt ÷ ground. Approach, headlands and stops are left out. Causes are "
    "weighed by the likelihood of all that was recorded: pulses, laps, readout, engine speed, oil "
    "temperature, wheel, radar and satellite speed."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = _ABOUT
    add_source(parser, required=False)
    parser.add_argument("--belt", metavar="SOURCE", help="the belt's speed source or pulse channel")
    parser.add_argument("--ground", metavar="SOURCE", help="the ground's speed source")
    parser.add_argument(
        "--oil",
        metavar="START,END",
        type=_two_temperatures,
        help="oil temperature in °C at the start and the end, as read off",
    )
    parser.add_argument(
        "--moved",
        metavar="TIME=STEPS",
        type=_move,
        action="append",
        help="the flow control was moved by so many steps (clicks, turns) at that moment of the "
        "recording; again for each move",
    )
    parser.add_argument(
        "--course",
        metavar="LENGTH,FROM,TO",
        type=_course,
        help="a taped course: its length in metres, and when its two ends were passed",
    )
    parser.add_argument("--track", metavar="FILE", help="write the way with its ratio as GeoJSON")
    parser.add_argument("--report", metavar="FILE", help="write a report: .pdf, .html or .json")
    parser.add_argument(
        "--all",
        action="store_true",
        help="compute every stored pass again; --machine is then a machine's name",
    )
    parser.add_argument("--workers", metavar="N", type=int, help="with --all: processes to use")
    parser.add_argument(
        "--scheduler", metavar="ADDRESS", help="with --all: a dask scheduler to send the work to"
    )


def run(args: argparse.Namespace) -> int:
    if args.all:
        from workbench.cli.pass_all import run_all

        return run_all(args)
    if args.source is None:
        raise WrongInput("name a RECORDING, or --all for every stored pass.")
    source = source_of(args)
    options = {
        "belt": args.belt,
        "ground": args.ground,
        "oil_c": args.oil,
        "moved": args.moved,
        "course": args.course,
    }
    answer = finish("pass", compute(source.recording, source.machine, options), source, options)
    if args.track:
        write_track(answer, args.track)
    if args.report:
        from workbench.reports.document import render
        from workbench.reports.passes.report import pass_document

        render(pass_document(answer, source.machine), args.report)
    if args.json:
        print_json(answer)
    else:
        print_pass(answer)
        print_warnings(answer["warnings"])
    return FAILED if Verdict(answer["verdict"]).is_fail else DONE


def compute(
    recording: Recording, machine: Machine | None, options: dict[str, Any]
) -> dict[str, Any]:
    """The pace of the belt against the ground over one recording."""
    limits = machine.limits if machine else Limits()
    band = PaceLimits(limits.ratio_low, limits.ratio_high)
    recording = with_pulse_rates(recording, machine)
    chosen = choose(recording, options)
    answer = _head(recording, chosen)
    if chosen.reason or chosen.belt is None or chosen.ground is None:
        found = Comparison(cannot_tell(chosen.reason))
        return answer | _ratio(found.pace, band, recording.warnings) | {"causes": []}
    inputs = gather_inputs(recording, machine, chosen, options)
    found = compare(inputs.belt, inputs.ground, band)
    inputs = with_factors(inputs, found)
    evidence = gather(inputs, found)
    answer |= _ratio(found.pace, band, [*recording.warnings, *doubts(evidence)])
    answer |= causes(evidence, found)
    answer |= over_time(found, evidence.bins)
    answer |= sources(inputs)
    answer |= what_to_do(found, machine, options)
    return answer | course(inputs, options) | where(recording, found)


def _head(recording: Recording, chosen: Chosen) -> dict[str, Any]:
    return {
        "source": recording.name,
        "kind": recording.kind,
        "simulated": recording.simulated,
        "belt": chosen.belt.name if chosen.belt else None,
        "ground": chosen.ground.name if chosen.ground else None,
        "ground_why": chosen.why,
        "sources": [*recording.edges, *recording.speeds],
    }


def _ratio(found: Pace, band: PaceLimits, warnings: list[str]) -> dict[str, Any]:
    return {
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
        "warnings": [*warnings, *found.warnings],
    }


def _reason(found: Pace, band: PaceLimits) -> str:
    reason = Words().say(found.decision.reason)
    if not math.isfinite(found.ratio):
        return reason
    if found.decision.verdict in ("pass", "fail"):
        return reason
    more_s = seconds_to_settle(found, band)
    if math.isfinite(more_s):
        return f"{reason}; about {more_s:.0f} s more of the same would settle it"
    return f"{reason}; more of the same would not settle it"


def write_track(answer: dict[str, Any], path: str) -> None:
    """The way of a pass as GeoJSON. Raises WrongInput where there is none to write."""
    from workbench.match.track import to_geojson
    from workbench.records.jsonable import plain

    if not answer.get("track"):
        raise WrongInput(f"{answer['source']} holds no positions, so there is no track to write.")
    text = json.dumps(plain(to_geojson(answer["track"])), allow_nan=False)
    write_file(Path(path), text, WrongInput)


def _two_temperatures(text: str) -> list[float]:
    return _numbers(text, 2, "two temperatures in °C, for example 12,48", -50.0, 150.0)


def _course(text: str) -> list[float]:
    expected = "a length in metres and two moments in seconds, for example 30.48,12.0,36.8"
    return _numbers(text, 3, expected, 0.0, 1e7)


def _numbers(text: str, count: int, expected: str, low: float, high: float) -> list[float]:
    try:
        values = [float(word) for word in text.split(",")]
    except ValueError:
        values = []
    if len(values) != count or not all(low <= value <= high for value in values):
        raise argparse.ArgumentTypeError(f"'{text}' is wrong; expected {expected}")
    return values


def _move(text: str) -> list[float]:
    at, _, steps = text.partition("=")
    try:
        return [seconds(at), float(steps)]
    except (ValueError, argparse.ArgumentTypeError):
        raise argparse.ArgumentTypeError(
            f"'{text}' is wrong; expected a moment and steps, for example 38s=-2"
        ) from None


JOB = Job("pass", dict, dict, compute)

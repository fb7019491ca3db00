"""`evenpace pass`: did belt and ground keep pace on a test pass, and if not, why."""

from __future__ import annotations

import argparse
import json
from dataclasses import fields
from pathlib import Path
from typing import Any

from drivers.contract import Recording
from workbench.base.errors import WrongInput
from workbench.base.files import write_file
from workbench.base.machine import Machine
from workbench.base.units import units_for
from workbench.calibration.statistics.decision import Verdict
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import add_source, seconds, source_of
from workbench.cli.output import print_json, print_warnings
from workbench.cli.pass_print import print_pass
from workbench.jobs.codec import from_plain
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.compute import compute as job_compute
from workbench.jobs.source import finish
from workbench.match.advice import Advice
from workbench.words.view import json_view
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
    """The answer as a dict of sentences and numbers; gives way to `jobs.passes.compute`."""
    answer = job_compute(recording, machine, from_plain(options, PassOptions))
    words = Words(units_for(machine.readout.unit if machine else None))
    none = dict.fromkeys(("stands_apart", "wheel_slip_against", "advice", "course", "track"))
    return _unknown_as_nan(answer, none | json_view(answer, words))


def _unknown_as_nan(answer: Any, view: dict[str, Any]) -> dict[str, Any]:
    view.pop("statements", None)
    for one in fields(answer):
        value = getattr(answer, one.name)
        if isinstance(value, float):
            view[one.name] = value
        elif isinstance(value, Advice):
            _unknown_as_nan(value, view[one.name])
    return view


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

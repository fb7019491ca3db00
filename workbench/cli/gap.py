"""`evenpace gap`: is a pickup's gap right all the way round, and is its wheel sound?"""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from drivers.contract import Recording
from workbench.base.errors import StoreError, WrongInput
from workbench.base.files import write_file
from workbench.base.machine import Machine, Pickup, load_machine
from workbench.base.typed import parse_length_m
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.calibration.statistics.decision import Verdict
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import add_source, source_of
from workbench.cli.gap_print import print_answer
from workbench.cli.output import print_json, print_warnings
from workbench.jobs.gap.recordings import compute_recording
from workbench.jobs.gap.stored import baseline_of, history_of, spacing_of
from workbench.jobs.gap.tables import compute_table, table_text
from workbench.jobs.job import Job
from workbench.jobs.source import Source, finish, keep_table

_WHAT_IS_FOUND = (
    "From 30 turns, with the belt running steadily, at least 95 % of these are found: a missing "
    "tooth, or one not seen in a fifth of the turns; a tooth bent by 8 % of a pitch; double "
    "triggering of 2 % of the teeth; 2 % of false edges from noise; a wheel 2 % of its radius "
    "out of true; a centre that moves by 0.4 % of the radius from turn to turn. Of sound wheels "
    "fewer than 1 in 200 is said to have a fault."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.epilog = _WHAT_IS_FOUND
    parser.description = (
        "The gap of a pickup from feeler readings (a table pickup,angle_deg,gap_m in metres) or "
        "from its pulses, tooth by tooth. Lengths may be typed as 1/16, 0.062 in or 1.6 mm; a "
        "bare number is in millimetres."
    )
    parser.add_argument("--channel", metavar="NAME", help="only this pickup (default: all)")
    parser.add_argument("--mark", metavar="CHANNEL", help="the channel whose mark teeth count from")
    parser.add_argument(
        "--blade-step", metavar="LENGTH", type=_length, help="step of the feeler set (0.05 mm)"
    )
    parser.add_argument(
        "--pitch-radius",
        metavar="LENGTH",
        type=_length,
        help="radius of the target wheel, for its run-out in metres from the pulses",
    )
    parser.add_argument(
        "--at-gap",
        metavar="LENGTH",
        type=_length,
        help="the gap as read with a feeler: makes this recording a reading of the shop's "
        "baseline, from which later gaps are told by voltage",
    )
    parser.add_argument(
        "--drop-out", action="store_true", help="a run slowed until teeth go missing"
    )
    parser.add_argument(
        "--before",
        metavar="RESULT",
        type=int,
        help="an earlier result: is it the same wheel, and did it turn the same way?",
    )
    parser.add_argument(
        "--control",
        metavar="NAME",
        help="the pickup in the table that is the shop's own repeat measurement of one gap",
    )
    parser.add_argument(
        "--target", metavar="LENGTH", type=_length, help="the known gap of --control"
    )
    parser.add_argument("--report", metavar="FILE", help="write a report: .pdf, .html or .json")
    parser.add_argument("--summary", metavar="FILE", help="write one line a pickup as CSV")


def run(args: argparse.Namespace) -> int:
    text = table_text(args.source)
    answer, machine = _of_table(args, text) if text is not None else _of_recording(args)
    if args.summary:
        from workbench.words.gap_summary import summary_table

        write_file(Path(args.summary), summary_table(answer), WrongInput)
    if args.report:
        from workbench.reports.document import render
        from workbench.reports.gap.report import gap_document

        render(gap_document(answer, machine), args.report)
    if args.json:
        print_json(answer)
    else:
        print_answer(answer)
        print_warnings(answer["warnings"])
    return FAILED if Verdict(answer["verdict"]).is_fail else DONE


def compute(
    source: Recording | str, machine: Machine | None, options: Mapping[str, Any]
) -> dict[str, Any]:
    """The answer from a gap table's text or from a recording; a pure function of both."""
    if isinstance(source, str):
        return compute_table(source, machine, options)
    return compute_recording(source, machine, options)


def _of_table(args: argparse.Namespace, text: str) -> tuple[dict[str, Any], Machine | None]:
    if args.seed is not None or args.for_s is not None:
        raise WrongInput("--seed and --for go with sim:SCENARIO, not with a gap table.")
    for option, given in (
        ("--at-gap", args.at_gap),
        ("--drop-out", args.drop_out or None),
        ("--before", args.before),
        ("--mark", args.mark),
        ("--pitch-radius", args.pitch_radius),
    ):
        if given is not None:
            raise WrongInput(f"{option} goes with a recording, not with a gap table.")
    machine = load_machine(args.machine) if args.machine else None
    options = _options(args) | {"table_name": Path(args.source).name}
    warnings: list[str] = []
    if args.control:
        try:
            options["control_history"] = history_of(args.store, args.control, text)
        except StoreError as error:
            warnings.append(f"Earlier repeat measurements could not be read: {error}")
    answer = compute(text, machine, options)
    answer["warnings"] += warnings
    return keep_table("gap", args.store, answer, text, options, machine), machine


def _of_recording(args: argparse.Namespace) -> tuple[dict[str, Any], Machine | None]:
    if args.control or args.target is not None:
        raise WrongInput("--control and --target go with a gap table, not with a recording.")
    source = source_of(args)
    options = _options(args)
    if args.at_gap is not None and source.number is None:
        raise WrongInput(
            "--at-gap keeps this reading in the store, so it needs a stored recording: "
            "'evenpace import FILE' or 'evenpace record INPUT' first, then its number here."
        )
    warnings: list[str] = []
    options["baseline"] = _baseline(source, args.store, warnings)
    if args.before is not None:
        options["before"] = spacing_of(args.store, args.before)
        options["before_result"] = args.before
    answer = compute(source.recording, source.machine, options)
    answer["warnings"] += warnings
    return finish("gap", answer, source, options), source.machine


def _baseline(source: Source, address: str | None, warnings: list[str]) -> list[list[float]]:
    """The shop's readings for this kind of pickup, where this recording has voltages at all."""
    if all(track.amplitude_v is None for track in source.recording.edges.values()):
        return []
    pickup = source.machine.pickup if source.machine else Pickup()
    teeth = source.machine.drive.target_teeth if source.machine else None
    try:
        return baseline_of(address, pickup.kind, teeth, simulated=source.recording.simulated)
    except StoreError as error:
        warnings.append(f"The shop's baseline could not be read: {error}")
        return []


def _options(args: argparse.Namespace) -> dict[str, Any]:
    return {
        "table_name": "",
        "channel": args.channel,
        "mark": args.mark,
        "blade_step_m": args.blade_step or BLADE_STEP_M,
        "pitch_radius_m": args.pitch_radius,
        "at_gap_m": args.at_gap,
        "drop_out": args.drop_out,
        "baseline": [],
        "before": {},
        "before_result": None,
        "control": args.control,
        "control_target_m": args.target,
        "control_history": [],
    }


def _length(text: str) -> float:
    """A length as typed, above 0, in metres; argparse's error otherwise."""
    try:
        length_m = parse_length_m(text)
    except WrongInput as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    if length_m <= 0:
        raise argparse.ArgumentTypeError(f"'{text}' is not above 0")
    return length_m


JOB = Job("gap", dict, dict, compute)

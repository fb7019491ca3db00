"""`evenpace gap`: is a pickup's gap right all the way round, and is its wheel sound?"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from drivers.contract import EdgeTrack, Recording
from workbench.calibration.decision import Verdict
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.calibration.gap.repeats import repeat_chart
from workbench.calibration.gap.table import GapReadings, parse_gap_table
from workbench.cli import DONE, FAILED
from workbench.cli.gap_answers import feeler_answer, pulse_answer, several, untold
from workbench.cli.gap_print import print_answer
from workbench.cli.gap_store import baseline_of, history_of, store_table
from workbench.cli.output import print_json, print_warnings
from workbench.cli.source import Source, add_source, finish, load_source
from workbench.errors import WrongInput
from workbench.machine import Machine, Pickup, load_machine
from workbench.units import parse_length_m

MARKS = ("mark", "index", "lap")
"""Channels that hold a mark and not a pickup's teeth."""
_MOST_TABLE_BYTES = 20_000_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
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
    text = _table_text(args.source)
    answer, machine = _of_table(args, text) if text is not None else _of_recording(args)
    if args.summary:
        _write_summary(args.summary, answer)
    if args.report:
        from workbench.reports.document import render
        from workbench.reports.gap_report import gap_document

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
        return _compute_table(source, machine, options)
    return _compute_recording(source, machine, options)


def _of_table(args: argparse.Namespace, text: str) -> tuple[dict[str, Any], Machine | None]:
    if args.seed is not None or args.for_s is not None:
        raise WrongInput("--seed and --for go with sim:SCENARIO, not with a gap table.")
    for option, given in (("--at-gap", args.at_gap), ("--drop-out", args.drop_out)):
        if given:
            raise WrongInput(f"{option} goes with a recording, not with a gap table.")
    machine = load_machine(args.machine) if args.machine else None
    options = _options(args) | {"table_name": Path(args.source).name}
    warnings: list[str] = []
    if args.control:
        options["control_history"] = history_of(args.store, args.control, warnings)
    answer = compute(text, machine, options)
    answer["warnings"] += warnings
    return store_table(args.store, answer, text, options, machine), machine


def _of_recording(args: argparse.Namespace) -> tuple[dict[str, Any], Machine | None]:
    if args.control or args.target is not None:
        raise WrongInput("--control and --target go with a gap table, not with a recording.")
    source = load_source(args)
    options = _options(args)
    if args.at_gap is not None and source.number is None:
        raise WrongInput(
            "--at-gap keeps this reading in the store, so it needs a stored recording: "
            "'evenpace import FILE' or 'evenpace record INPUT' first, then its number here."
        )
    options["baseline"] = _baseline(source, args.store)
    answer = compute(source.recording, source.machine, options)
    return finish("gap", answer, source, options), source.machine


def _baseline(source: Source, address: str | None) -> list[list[float]]:
    """The shop's readings for this kind of pickup, where this recording has voltages at all."""
    if all(track.amplitude_v is None for track in source.recording.edges.values()):
        return []
    pickup = source.machine.pickup if source.machine else Pickup()
    teeth = source.machine.drive.target_teeth if source.machine else None
    return baseline_of(address, pickup.kind, teeth)


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
        "control": args.control,
        "control_target_m": args.target,
        "control_history": [],
    }


def _compute_table(
    text: str, machine: Machine | None, options: Mapping[str, Any]
) -> dict[str, Any]:
    limits = machine.pickup if machine else Pickup()
    step_m = options["blade_step_m"]
    pickups = parse_gap_table(text, options["table_name"] or "gap table")
    control, pickups = _take_control(pickups, options)
    pickups = _only(pickups, options["channel"])
    answers = [feeler_answer(one, limits, step_m) for one in pickups]
    warnings = (
        []
        if machine
        else [_DEFAULT_LIMITS.format(limits.gap_best_m * 1000, limits.gap_max_m * 1000)]
    )
    answer = answers[0] if len(answers) == 1 else several(answers)
    answer |= {
        "source": options["table_name"],
        "kind": "gap table",
        "simulated": False,
        **_limits(limits, step_m),
        "warnings": [*warnings, *answer["warnings"]],
    }
    if control is not None:
        answer |= _control(control, options)
        if answer["control"]["in_control"] is False:
            answer["warnings"].insert(0, answer["control"]["sentence"])
    return answer


_DEFAULT_LIMITS = (
    "No machine file was given: the limits, {:.1f} mm best and {:.1f} mm at most, are common "
    "practice."
)


def _limits(limits: Pickup, step_m: float) -> dict[str, float]:
    return {
        "gap_best_m": limits.gap_best_m,
        "gap_max_m": limits.gap_max_m,
        "blade_step_m": step_m,
    }


def _take_control(
    pickups: list[GapReadings], options: Mapping[str, Any]
) -> tuple[GapReadings | None, list[GapReadings]]:
    """The repeat measurements and the pickups; a table of repeats alone is judged as well."""
    name = options["control"]
    if name is None:
        return None, pickups
    found = [one for one in pickups if one.pickup == name]
    if not found:
        raise WrongInput(f"--control: the table has no pickup '{name}'; it has {_names(pickups)}.")
    others = [one for one in pickups if one.pickup != name]
    return found[0], others or found


def _only(pickups: list[GapReadings], name: str | None) -> list[GapReadings]:
    chosen = [one for one in pickups if name is None or one.pickup == name]
    if not chosen:
        raise WrongInput(f"--channel: the table has no pickup '{name}'; it has {_names(pickups)}.")
    return chosen


def _names(pickups: list[GapReadings]) -> str:
    names = [f"'{one.pickup}'" for one in pickups[:8]]
    return ", ".join(names) + (" and more" if len(pickups) > 8 else "")


def _control(readings: GapReadings, options: Mapping[str, Any]) -> dict[str, Any]:
    values = np.concatenate([np.array(options["control_history"], dtype=float), readings.gap_m])
    chart = repeat_chart(values, options["blade_step_m"], options["control_target_m"])
    return {
        "control": {
            "name": readings.pickup,
            "new_m": readings.gap_m,
            "gap_m": chart.gap_m,
            "target_m": chart.target_m,
            "sigma_m": chart.sigma_m,
            "ewma_m": chart.ewma.mean if chart.ewma else None,
            "ewma_low_m": chart.ewma.low if chart.ewma else None,
            "ewma_high_m": chart.ewma.high if chart.ewma else None,
            "cusum_high_m": chart.cusum.high if chart.cusum else None,
            "cusum_low_m": chart.cusum.low if chart.cusum else None,
            "cusum_decision_m": chart.cusum.decision if chart.cusum else None,
            "in_control": chart.in_control,
            "sentence": chart.sentence,
        }
    }


def _compute_recording(
    recording: Recording, machine: Machine | None, options: Mapping[str, Any]
) -> dict[str, Any]:
    tracks = _pickups(recording, options)
    mark = _mark(recording, options)
    holes = bool(recording.lost)
    answers = []
    for track in tracks:
        try:
            answers.append(
                pulse_answer(
                    track,
                    mark.time_s if mark else None,
                    machine,
                    options,
                    holes_known=holes,
                )
            )
        except WrongInput as error:
            if len(tracks) == 1:
                raise
            answers.append(untold(track.channel, error))
    if all(one["teeth"] is None for one in answers):
        raise WrongInput(answers[0]["reason"])
    limits = machine.pickup if machine else Pickup()
    answer = answers[0] if len(answers) == 1 else several(answers)
    return answer | {
        "source": recording.name,
        "kind": recording.kind,
        "simulated": recording.simulated,
        "counted_from": _counted_from(mark),
        **_limits(limits, options["blade_step_m"]),
        "warnings": [*recording.warnings, *answer["warnings"]],
    }


def _pickups(recording: Recording, options: Mapping[str, Any]) -> list[EdgeTrack]:
    marks = {*MARKS, options["mark"]}
    named: str | None = options["channel"]
    if named is None:
        found = [track for name, track in recording.edges.items() if name not in marks]
    else:
        found = [track for name, track in recording.edges.items() if name == named]
    if found:
        return found
    known = ", ".join(recording.edges) or "none"
    wanted = f"no pulse channel '{named}'" if named else "no pulses of a pickup"
    raise WrongInput(f"{recording.name} has {wanted}; its pulse channels: {known}.")


def _mark(recording: Recording, options: Mapping[str, Any]) -> EdgeTrack | None:
    named = options["mark"]
    if named is not None and named not in recording.edges:
        known = ", ".join(recording.edges) or "none"
        raise WrongInput(f"--mark: {recording.name} has no channel '{named}'; it has {known}.")
    for name in [named] if named else MARKS:
        if name in recording.edges and recording.edges[name].time_s.size:
            return recording.edges[name]
    return None


def _counted_from(mark: EdgeTrack | None) -> str:
    if mark is None:
        return (
            "There is no mark channel: tooth 1 is the first edge of the recording; teeth count in "
            "the turning direction."
        )
    return (
        f"Tooth 1 is the first after the mark of channel '{mark.channel}' at {mark.time_s[0]:.3f} "
        "s; teeth count in the turning direction."
    )


def _table_text(word: str) -> str | None:
    """The text of a gap table, None where `word` is something else. Raises WrongInput."""
    path = Path(word.removeprefix("file:"))
    if word.startswith("sim:") or not path.is_file():
        return None
    with path.open("rb") as file:
        head = file.read(4096).lstrip(b"\xef\xbb\xbf \t\r\n").split(b"\n", 1)[0].lower()
    if not (b"pickup" in head or b"gap_m" in head):
        return None
    if path.stat().st_size > _MOST_TABLE_BYTES:
        raise WrongInput(f"{path}: a gap table of more than 20 MB; cut it into parts.")
    try:
        return path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise WrongInput(
            f"{path}: byte {error.start} is not UTF-8 text; save the table as UTF-8."
        ) from None


def _length(text: str) -> float:
    """A length as typed, above 0, in metres; argparse's error otherwise."""
    try:
        length_m = parse_length_m(text)
    except WrongInput as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    if length_m <= 0:
        raise argparse.ArgumentTypeError(f"'{text}' is not above 0")
    return length_m


def _write_summary(name: str, answer: Mapping[str, Any]) -> None:
    from workbench.reports.gap_summary import SUMMARY_HEADER, summary_rows

    try:
        with Path(name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(SUMMARY_HEADER)
            writer.writerows(summary_rows(answer))
    except OSError as error:
        raise WrongInput(f"{name}: the summary cannot be written ({error.strerror}).") from None

"""`evenpace calibrate`: does the readout show the true belt speed, and which setting would?"""

from __future__ import annotations

import argparse
import hashlib
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from drivers.contract import Recording
from workbench.base.cautions import Caution
from workbench.base.errors import WrongInput
from workbench.base.machine import Machine, load_machine
from workbench.base.units import percent
from workbench.calibration.readout.calibrate import Calibration
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import add_source, source_of
from workbench.cli.output import print_json, print_table, print_warnings
from workbench.jobs.job import Job
from workbench.jobs.source import Source, finish, keep_table
from workbench.words.words import Words

_MOST_TABLE_BYTES = 2_000_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.description = (
        "Calibrate the readout from a run table (header run,shown,laps,laps_time_s,pulses,"
        "pulses_time_s; either pair may be empty; equal times in both pairs mean one interval "
        "on one watch; reference_mps,u_reference_mps may be added), or from a recording: of "
        "steady runs with --shown, of a slow ramp with --flips, or of a readout that is itself "
        "in the recording."
    )
    parser.add_argument(
        "--shown",
        metavar="FILE",
        help="for a recording: what the readout showed in steady stretches, a table "
        "from_s,to_s,shown",
    )
    parser.add_argument(
        "--flips",
        metavar="FILE",
        help="for a recording of a slow ramp: when the last digit changed, a table "
        "time_s,shown,direction with up or down",
    )
    parser.add_argument("--channel", metavar="NAME", help="the pulse channel (default: the first)")
    parser.add_argument(
        "--lap-channel",
        metavar="NAME",
        help="the lap mark's channel (default: the one that is one)",
    )
    parser.add_argument(
        "--as-left", metavar="FILE", help="run table made with the new setting in the readout"
    )
    parser.add_argument("--report", metavar="FILE", help="write a report: .pdf, .html or .json")
    parser.add_argument("--by", metavar="NAME", default="", help="who did it, for the report")
    parser.add_argument("--remarks", metavar="TEXT", default="", help="remarks for the report")
    parser.add_argument(
        "--environment", metavar="TEXT", default="", help="weather, oil, place, for the report"
    )
    parser.add_argument(
        "--reference",
        metavar="TEXT",
        action="append",
        default=[],
        help="a tape, watch or tachometer used and how it is traceable; may be repeated",
    )


def run(args: argparse.Namespace) -> int:
    if args.report:
        from workbench.reports.document import check_report_path

        check_report_path(args.report)
    options = _options(args)
    text = _run_table(args.source)
    if text is None:
        answer, machine = _of_recording(args, options)
    else:
        answer, machine = _of_table(args, text, options)
    if args.report:
        _report(args.report, answer, machine, options)
    _caution(answer)
    if args.json:
        print_json(answer)
    else:
        _print(answer)
        print_warnings(answer["warnings"])
    last = answer.get("as_left") or answer
    return FAILED if last["verdict"] in ("fail", "conditional fail") else DONE


def compute(
    source: Recording | str, machine: Machine | None, options: Mapping[str, Any]
) -> dict[str, Any]:
    """The answer from a run table's text or from a recording; a pure function of both."""
    from workbench.calibration.readout.runs import marked_simulated
    from workbench.jobs.calibrate.former import as_answer
    from workbench.jobs.calibrate.sources import from_recording, from_table

    if machine is None:
        raise WrongInput(
            "A calibration needs the machine file: --machine FILE, with the readout's step and "
            "setting, the drive line and the length of one lap."
        )
    if isinstance(source, str):
        found = from_table(source, options["table_name"], machine)
        answer = as_answer(found, machine)
        simulated = marked_simulated(source) or marked_simulated(options["as_left"])
        answer |= {"source": options["table_name"], "simulated": simulated}
        answer |= {"source_sha256": hashlib.sha256(source.encode()).hexdigest()}
        answer["method"] = _method(found)
    else:
        found, method = from_recording(source, machine, options)
        answer = as_answer(found, machine)
        simulated = source.simulated or marked_simulated(options["as_left"])
        answer |= {"source": source.name, "simulated": simulated, "method": method}
        answer |= {"source_sha256": source.sha256}
    if options["as_left"]:
        answer["as_left"] = _as_left(answer, machine, options)
    return answer


def _method(found: Calibration) -> str:
    """What the true speeds of typed runs were taken from, in words."""
    from workbench.calibration.readout.runs import HAND_INTERVAL_U_S

    runs = [result.run for result in found.runs]
    by_hand = any(run.has_laps and run.u_laps_time_s == HAND_INTERVAL_U_S for run in runs)
    by_pickup = any(run.has_laps and run.u_laps_time_s != HAND_INTERVAL_U_S for run in runs)
    ways = [
        ("laps timed by hand", by_hand),
        ("laps timed by a lap pickup", by_pickup),
        ("another instrument", any(run.has_reference for run in runs)),
        ("pulses counted", any(run.has_pulses for run in runs)),
    ]
    return "steady runs, " + " and ".join(words for words, used in ways if used)


def _as_left(found: dict[str, Any], machine: Machine, options: Mapping[str, Any]) -> dict[str, Any]:
    """The same from the runs made with the new setting, and whether the setting did its work."""
    from workbench.jobs.calibrate.former import as_answer
    from workbench.jobs.calibrate.sources import from_table

    new = found["setting_new"]
    if new == new:
        machine = replace(machine, readout=replace(machine.readout, setting=new))
    calibration = from_table(options["as_left"], options["as_left_name"], machine)
    answer = as_answer(calibration, machine) | {"source": options["as_left_name"]}
    expected = found["residual_error"]
    away = answer["error_at_work"] - expected
    if abs(away) > (found["U_error_at_work"] ** 2 + answer["U_error_at_work"] ** 2) ** 0.5:
        answer["warnings"].append(
            f"{options['as_left_name']}: after the change an error of "
            f"{percent(expected, signed=True)} was expected and "
            f"{percent(answer['error_at_work'], signed=True)} was found: was "
            "the new setting entered, and does the readout follow it?"
        )
    return answer


def _options(args: argparse.Namespace) -> dict[str, Any]:
    """All that the answer and its report depend on besides source and machine."""
    if args.shown and args.flips:
        raise WrongInput("--shown and --flips cannot go together: steady runs or a ramp.")
    options: dict[str, Any] = {
        name: getattr(args, name)
        for name in ("channel", "lap_channel", "units", "by", "remarks", "environment")
    }
    options |= {"references": args.reference, "table_name": Path(args.source).name}
    for name in ("shown", "flips", "as_left"):
        path = getattr(args, name)
        options[name] = _text(Path(path)) if path else ""
        options[f"{name}_name"] = Path(path).name if path else ""
    return options


def _of_table(
    args: argparse.Namespace, text: str, options: dict[str, Any]
) -> tuple[dict[str, Any], Machine | None]:
    if args.seed is not None or args.for_s is not None:
        raise WrongInput("--seed and --for go with sim:SCENARIO, not with a run table.")
    for option, given in (("--shown", args.shown), ("--flips", args.flips)):
        if given:
            raise WrongInput(f"{option} goes with a recording, not with a run table.")
    machine = load_machine(args.machine) if args.machine else None
    answer = compute(text, machine, options)
    return keep_table("calibrate", args.store, answer, text, options, machine), machine


def _of_recording(
    args: argparse.Namespace, options: dict[str, Any]
) -> tuple[dict[str, Any], Machine | None]:
    source = source_of(args)
    options["recorded_machine"] = _recorded_machine(source)
    answer = compute(source.recording, source.machine, options)
    return finish("calibrate", answer, source, options), source.machine


def _recorded_machine(source: Source) -> str:
    """The name of the machine a stored recording was made of, '' where none was noted."""
    if source.number is None:
        return ""
    from workbench.records.store import open_store

    with open_store(source.store) as store:
        return store.recording(source.number).machine_name


def _run_table(word: str) -> str | None:
    """The text of a run table; None where `word` is something else."""
    from workbench.calibration.readout.runs import looks_like_run_table

    path = Path(word.removeprefix("file:"))
    if word.startswith("sim:") or not path.is_file():
        return None
    try:
        with path.open("rb") as file:
            head = file.read(4096)
    except OSError as error:
        raise WrongInput(f"{path}: it cannot be read ({error.strerror}).") from None
    if not head.strip():
        raise WrongInput(f"{path}: it is empty; expected a run table or a recording.")
    if not looks_like_run_table(head.decode("utf-8", "replace")):
        return None
    return _text(path)


def _text(path: Path) -> str:
    """A table's text. Raises WrongInput."""
    try:
        if path.stat().st_size > _MOST_TABLE_BYTES:
            raise WrongInput(f"{path}: a table of more than 2 MB; expected a line a run.")
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise WrongInput(f"{path}: it cannot be read ({error.strerror}).") from None
    except UnicodeDecodeError as error:
        raise WrongInput(
            f"{path}: byte {error.start} is not UTF-8 text; save the table as UTF-8."
        ) from None


def _report(
    path: str, answer: dict[str, Any], machine: Machine | None, options: Mapping[str, Any]
) -> None:
    from datetime import UTC, datetime

    from workbench.records.store import program_version
    from workbench.reports.calibrate.certificate import Made, certificate
    from workbench.reports.document import render

    now = datetime.now(UTC).isoformat(timespec="seconds")
    made = Made(answer.get("result"), now, program_version())
    render(certificate(answer, machine, options, made), path)


def _caution(answer: Mapping[str, Any]) -> None:
    """Before words that send someone to the moving belt again."""
    if answer["advice"] or (
        "as_left" not in answer and answer["setting_new"] == answer["setting_new"]
    ):
        print(f"CAUTION. {Words().say(Caution.WITH_THE_BELT_RUNNING)}", file=sys.stderr)


def _print(answer: Mapping[str, Any]) -> None:
    from workbench.jobs.calibrate.former import rows_for_people, run_rows

    print(answer["sentence"])
    print_table(f"Readout of {answer['machine']} ({answer['source']})", rows_for_people(answer))
    header, rows = run_rows(answer)
    if rows:
        print_table("Runs", rows, header)
    if "as_left" in answer:
        left = answer["as_left"]
        print(f"As left: {left['sentence']}")
        print_table(f"As left ({left['source']})", rows_for_people(left))
        print_warnings(left["warnings"])
    if answer["simulated"]:
        print("Simulated data.", file=sys.stderr)


JOB = Job("calibrate", dict, dict, compute)

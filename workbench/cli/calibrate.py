"""`evenpace calibrate`: does the readout show the true belt speed, and which setting would?"""

from __future__ import annotations

import argparse
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from workbench.base.cautions import Caution
from workbench.base.errors import BenchError, WrongInput
from workbench.base.machine import Machine
from workbench.calibration.readout.run_table import looks_like_run_table
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import (
    add_particulars,
    add_signing,
    add_source,
    check_report,
    machine_of,
    particulars_of,
    signer_of,
    source_of,
    words_of,
)
from workbench.cli.output import (
    exit_status,
    print_caution,
    print_simulated,
    print_table,
    print_warnings,
    show_answer,
    write_report,
)
from workbench.jobs.at_hand import judge_table, with_prepared
from workbench.jobs.calibrate.answer import CalibrateAnswer, CalibrateOptions
from workbench.jobs.calibrate.compute import compute
from workbench.jobs.keep import Kept, keep
from workbench.jobs.table import read_text, table_text
from workbench.reports.calibrate.tables import error_rows, run_table, setting_rows, travel_rows
from workbench.words.language import _
from workbench.words.words import Words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.description = _(
        "Calibrate the readout from a run table (header run,shown,laps,laps_time_s,pulses,"
        "pulses_time_s; either pair may be empty; equal times in both pairs mean one interval "
        "on one watch; reference_mps,u_reference_mps may be added), or from a recording: of "
        "steady runs with --shown, of a slow ramp with --flips, or of a readout that is itself "
        "in the recording."
    )
    parser.add_argument(
        "--shown",
        metavar="FILE",
        help=_(
            "for a recording: what the readout showed in steady stretches, a table "
            "from_s,to_s,shown"
        ),
    )
    parser.add_argument(
        "--flips",
        metavar="FILE",
        help=_(
            "for a recording of a slow ramp: when the last digit changed, a table "
            "time_s,shown,direction with up or down"
        ),
    )
    parser.add_argument(
        "--channel", metavar="NAME", help=_("the pulse channel (default: the first)")
    )
    parser.add_argument(
        "--lap-channel",
        metavar="NAME",
        help=_("the lap mark's channel (default: the one that is one)"),
    )
    parser.add_argument(
        "--as-left",
        metavar="FILE",
        help=_("run table made with the new setting in the readout"),
    )
    parser.add_argument(
        "--report",
        metavar="FILE",
        help=_("write a report: .pdf, .html, .json, or .xml, a digital calibration certificate"),
    )
    add_signing(parser)
    add_particulars(parser)


def run(args: argparse.Namespace) -> int:
    check_report(args, digital=True)
    signer = signer_of(args, args.report)
    options = _options(args)
    text = table_text(args.source, looks_like_run_table)
    if text is None:
        source = source_of(args)
        machine, options = source.machine, replace(options, recorded_machine=source.made_of)
        simulated = source.recording.simulated
        options = with_prepared(options, machine, args.store, simulated=simulated)
        answer = compute(source.recording, machine, options)
        kept = keep("calibrate", answer, options, source, particulars_of(args))
    else:
        answer, kept, machine = _of_table(args, text, options)
    words = words_of(args, machine)
    troubles: list[BenchError] = []
    if args.report:
        from workbench.reports.calibrate.certificate import certificate

        document = partial(certificate, answer, machine, options, words=words)
        troubles = write_report(args, kept, words, document, signer)
    if answer.sends_to_the_belt:
        print_caution(words.say(Caution.WITH_THE_BELT_RUNNING))
    show_answer(args, answer, kept, words, lambda: _print(answer, words), troubles)
    return exit_status(troubles, FAILED if answer.latest.verdict.is_fail else DONE)


def _options(args: argparse.Namespace) -> CalibrateOptions:
    """All that the answer and its report depend on besides source and machine."""
    if args.shown and args.flips:
        raise WrongInput("--shown and --flips cannot go together: steady runs or a ramp.")
    texts: dict[str, Any] = {}
    for name in ("shown", "flips", "as_left"):
        path = getattr(args, name)
        texts[name] = read_text(Path(path)) if path else ""
        texts[f"{name}_name"] = Path(path).name if path else ""
    return CalibrateOptions(
        channel=args.channel,
        lap_channel=args.lap_channel,
        table_name=Path(args.source).name,
        **texts,
    )


def _of_table(
    args: argparse.Namespace, text: str, options: CalibrateOptions
) -> tuple[CalibrateAnswer, Kept, Machine | None]:
    if args.seed is not None or args.for_s is not None:
        raise WrongInput("--seed and --for go with sim:SCENARIO, not with a run table.")
    for option, given in (("--shown", args.shown), ("--flips", args.flips)):
        if given:
            raise WrongInput("{option} goes with a recording, not with a run table.", option=option)
    machine = machine_of(args)
    said = particulars_of(args)
    return *judge_table("calibrate", text, machine, options, args.store, said), machine


def _print(answer: CalibrateAnswer, words: Words) -> None:
    print(words.say(answer.headline))
    title = _("Readout of {machine} ({source})")
    print_table(title.format(machine=answer.machine, source=answer.source), _rows(answer, words))
    if answer.runs:
        runs = run_table(answer, words, _("Runs"))
        print_table(runs.caption, runs.rows, runs.header)
        if runs.note:
            print(runs.note)
    if answer.as_left is not None:
        left = answer.as_left
        print(_("As left: {sentence}").format(sentence=words.say(left.headline)))
        print_table(_("As left ({source})").format(source=left.source), _rows(left, words))
        print_warnings(words.say_all(left.warnings))
    print_simulated(answer.simulated)


def _rows(answer: CalibrateAnswer, words: Words) -> list[tuple[str, str]]:
    """Label and text of what matters most."""
    verdict, reason = words.say(answer.verdict), words.say(answer.reason)
    error, probability = error_rows(answer, words, _("Error at {speed}"))
    rows = [
        error,
        (_("Allowed"), f"± {100 * answer.readout_error_limit:.3g} %"),
        (_("Verdict"), f"{verdict}: {reason}"),
        probability,
    ]
    if answer.advice is not None:
        rows.append((_("Advice"), words.say(answer.advice)))
    rows += setting_rows(answer, words) + travel_rows(answer, words)
    if answer.change_overs is not None:
        lag = answer.change_overs
        shown = words.number("time", lag.lag_s, 2 * lag.u_lag_s)
        rows.append((_("Lag of display and hand"), shown))
    parts = sorted(answer.budget.groups.items(), key=lambda item: -item[1])[:4]
    shares = (f"{words.say(name)} {words.number('percent', part)}" for name, part in parts)
    rows.append((_("Uncertainty from"), ", ".join(shares)))
    if answer.budget.note is not None:
        rows.append((_("How"), words.say(answer.budget.note)))
    return rows

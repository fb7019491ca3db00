"""`evenpace gap`: is a pickup's gap right all the way round, and is its wheel sound?"""

from __future__ import annotations

import argparse
import math
import sys
from functools import partial
from pathlib import Path

from workbench.base.errors import BenchError, WrongInput
from workbench.base.files import write_file
from workbench.base.machine import Machine
from workbench.base.typed import parse_length_m
from workbench.calibration.gap.answer import FeelerAnswer, WheelAnswer
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import (
    add_report,
    add_source,
    check_report,
    machine_of,
    particulars_of,
    source_of,
    typed,
    words_of,
)
from workbench.cli.output import (
    exit_status,
    print_simulated,
    print_table,
    print_warnings,
    show_answer,
    tried,
    write_report,
)
from workbench.jobs.gap.answer import GapAnswer, GapOptions
from workbench.jobs.gap.compute import judge_recording, judge_table, looks_like_gap_table
from workbench.jobs.gap.sheet import Sheet, sheet_of
from workbench.jobs.gap.stored import spacing_of
from workbench.jobs.keep import Kept
from workbench.jobs.table import read_text, table_text
from workbench.words.gap import (
    found_rows,
    heeded,
    limit_rows,
    measured_rows,
    sheet_words,
    states_words,
    summary_table,
    widest_words,
)
from workbench.words.language import N_, _
from workbench.words.words import Words

_WHAT_IS_FOUND = N_(
    "From 30 turns, with the belt running steadily, at least 95 % of these are found: a missing "
    "tooth, or one not seen in a fifth of the turns; a tooth bent by 8 % of a pitch; double "
    "triggering of 2 % of the teeth; 2 % of false edges from noise; a wheel 2 % of its radius "
    "out of true; a centre that moves by 0.4 % of the radius from turn to turn. Of sound wheels "
    "fewer than 1 in 200 is said to have a fault."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.epilog = _(_WHAT_IS_FOUND)
    parser.description = _(
        "The gap of a pickup from feeler readings (a table pickup,angle_deg,gap_m in metres) or "
        "from its pulses, tooth by tooth. Lengths may be typed as 1/16, 0.062 in or 1.6 mm; a "
        "bare number is in millimetres."
    )
    parser.add_argument(
        "--as-left",
        metavar="FILE",
        help=_("gap table of the pickups that were adjusted and read again"),
    )
    parser.add_argument("--channel", metavar="NAME", help=_("only this pickup (default: all)"))
    parser.add_argument(
        "--mark", metavar="CHANNEL", help=_("the channel whose mark teeth count from")
    )
    parser.add_argument(
        "--blade-step",
        metavar="LENGTH",
        type=typed(_length),
        help=_("step of the feeler set (0.05 mm)"),
    )
    parser.add_argument(
        "--pitch-radius",
        metavar="LENGTH",
        type=typed(_length),
        help=_("radius of the target wheel, for its run-out in metres from the pulses"),
    )
    parser.add_argument(
        "--at-gap",
        metavar="LENGTH",
        type=typed(_length),
        help=_(
            "the gap as read with a feeler: makes this recording a reading of the shop's "
            "baseline, from which later gaps are told by voltage"
        ),
    )
    parser.add_argument(
        "--drop-out", action="store_true", help=_("a run slowed until teeth go missing")
    )
    parser.add_argument(
        "--before",
        metavar="RESULT",
        type=int,
        help=_("an earlier result: is it the same wheel, and did it turn the same way?"),
    )
    parser.add_argument(
        "--control",
        metavar="NAME",
        help=_("the pickup in the table that is the shop's own repeat measurement of one gap"),
    )
    parser.add_argument(
        "--target", metavar="LENGTH", type=typed(_length), help=_("the known gap of --control")
    )
    parser.add_argument("--summary", metavar="FILE", help=_("write one line a pickup as CSV"))
    add_report(parser)


def run(args: argparse.Namespace) -> int:
    check_report(args)
    text = table_text(args.source, looks_like_gap_table)
    answer, kept, machine = _of_table(args, text) if text is not None else _of_recording(args)
    words = words_of(args, machine)
    troubles: list[BenchError] = []
    if args.summary:
        summary = summary_table(sheet_of(answer), words)
        troubles += tried(lambda: write_file(Path(args.summary), summary, WrongInput), "gap", words)
    if args.report:
        from workbench.reports.gap.report import gap_document

        document = partial(gap_document, answer, machine, words)
        troubles += write_report(args, kept, words, document)
    show_answer(args, answer, kept, words, lambda: _print(answer, words), troubles)
    return exit_status(troubles, FAILED if answer.latest.verdict.is_fail else DONE)


def _of_table(args: argparse.Namespace, text: str) -> tuple[GapAnswer, Kept, Machine | None]:
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
            raise WrongInput("{option} goes with a recording, not with a gap table.", option=option)
    machine = machine_of(args)
    left = Path(args.as_left) if args.as_left else None
    options = GapOptions(
        table_name=Path(args.source).name,
        as_left=read_text(left) if left else "",
        as_left_name=left.name if left else "",
        channel=args.channel,
        blade_step_m=args.blade_step or BLADE_STEP_M,
        control=args.control,
        control_target_m=args.target or math.nan,
    )
    return *judge_table(text, machine, options, args.store, particulars_of(args)), machine


def _of_recording(args: argparse.Namespace) -> tuple[GapAnswer, Kept, Machine | None]:
    if args.control or args.target is not None:
        raise WrongInput("--control and --target go with a gap table, not with a recording.")
    if args.as_left:
        raise WrongInput("--as-left goes with a gap table, not with a recording.")
    source = source_of(args)
    if args.at_gap is not None and source.number is None:
        raise WrongInput(
            "--at-gap keeps this reading in the store, so it needs a stored recording: "
            "'evenpace import FILE' or 'evenpace record INPUT' first, then its number here."
        )
    options = GapOptions(
        channel=args.channel,
        mark=args.mark,
        blade_step_m=args.blade_step or BLADE_STEP_M,
        pitch_radius_m=args.pitch_radius or math.nan,
        at_gap_m=args.at_gap or math.nan,
        drop_out=args.drop_out,
        before={} if args.before is None else spacing_of(args.store, args.before),
        before_result=args.before,
    )
    said = particulars_of(args)
    return *judge_recording(source, options, args.store, said), source.machine


MOST_LENGTH_M = 1.0
"""Longer than any gap, blade or target wheel."""


def _length(text: str) -> float:
    """A length as typed, above 0 and no more than `MOST_LENGTH_M`, in metres. Raises
    WrongInput."""
    length_m = parse_length_m(text)
    if length_m <= 0:
        raise WrongInput("'{text}' is not above 0", text=text)
    if length_m > MOST_LENGTH_M:
        raise WrongInput(
            "'{text}' is longer than any target wheel; expected at most 1 m", text=text
        )
    return length_m


def _print(answer: GapAnswer, words: Words) -> None:
    """The answer of one pickup in full, of many with a line each; cautions before the advice."""
    sheet = sheet_of(answer)
    for caution in sheet.cautions:
        said = _("Caution: {caution}").format(caution=words.say(caution))
        print(said, file=sys.stderr)
    if len(answer.pickups) > 1:
        _print_many(sheet, words)
    else:
        _print_one(answer, words)
    if answer.control is not None:
        print(words.say(answer.control.sentence))
    for one in answer.pickups:
        if isinstance(one, WheelAnswer) and one.before is not None:
            told = _("{pickup}, against result {result}: {said}")
            before = words.say(one.before.sentence)
            print(told.format(pickup=one.pickup, result=one.before.result, said=before))
    if answer.counted_from is not None:
        print(words.say(answer.counted_from), file=sys.stderr)
    print_simulated(answer.simulated)


def _print_one(answer: GapAnswer, words: Words) -> None:
    """As found, and as left where it was adjusted."""
    (one,), left = answer.pickups, answer.as_left
    title = f"{one.pickup} ({answer.source})"
    if left is not None:
        title = _("{title}, as found").format(title=title)
    print_table(title, _rows(one, answer, words))
    if left is not None:
        title = _("{pickup} ({source}), adjusted and checked again, as left")
        title = title.format(pickup=one.pickup, source=left.source)
        print_table(f"\n{title}", _rows(left.pickups[0], left, words))
        print_warnings(words.say_all(left.warnings))


def _rows(
    one: FeelerAnswer | WheelAnswer, answer: GapAnswer, words: Words
) -> list[tuple[str, str]]:
    rows = [
        (_("Verdict"), f"{words.say(one.verdict)}: {words.say(one.reason)}"),
        *measured_rows(one, words),
        *limit_rows(answer.limits_of, answer.limits, words),
        *found_rows(one, words),
        *((_("Fault"), words.say(fault.sentence)) for fault in one.faults),
    ]
    rows += [(_("Heed"), words.say(said)) for said in heeded(one)]
    if one.advice is not None:
        rows.append((_("What to do"), words.say(one.advice)))
    return rows


def _print_many(sheet: Sheet, words: Words) -> None:
    header = (
        _("pickup"),
        *((_("as found"), _("as left")) if sheet.adjusted else (_("verdict"),)),
        _("mean gap"),
        _("run-out"),
        _("widest"),
        _("what to do"),
    )
    rows = []
    for line in sheet.lines:
        one = line.found[0]
        lengths = [words.number("gap", value) for value in (one.gap_m, one.runout_m)]
        what = words.say(one.advice if one.advice is not None else one.reason)
        states = states_words(line, sheet, words)
        rows.append((line.pickup, *states, *lengths, widest_words(one, words), what))
    print_table(sheet.source, rows, header)
    for line in sheet.lines:
        for said in (*(fault.sentence for fault in line.faults), *heeded(line.found[0])):
            print(f"{line.pickup}: {words.say(said)}")
    print(sheet_words(sheet, words))

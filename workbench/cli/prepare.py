"""`evenpace prepare`: is everything that bears on belt and ground speed as it should be?"""

from __future__ import annotations

import argparse
from datetime import date
from functools import partial
from pathlib import Path

from workbench.base.cautions import Caution
from workbench.base.errors import BenchError, WrongInput
from workbench.base.machine import Machine
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import (
    add_machine,
    add_report,
    add_store,
    check_report,
    machine_of,
    particulars_of,
    words_of,
)
from workbench.cli.output import (
    exit_status,
    print_caution,
    print_simulated,
    print_table,
    show_answer,
    write_report,
)
from workbench.jobs.prepare.answer import PrepareAnswer, PrepareOptions
from workbench.jobs.prepare.rehearsal import simulated_sheet
from workbench.jobs.prepare.stored import judge_table
from workbench.jobs.table import read_text
from workbench.words.language import _
from workbench.words.prepare import (
    check_rows,
    figure_rows,
    headline_words,
    service_rows,
    source_rows,
)
from workbench.words.words import Words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.description = _(
        "Judge what was measured at the machine before its run: a table check,place,value,unit "
        "with values as on the tool (2 1/4 in, 57 mm, 30 psi, 200 kPa, 15 gal/min). Limits are "
        "the machine file's own; where it has none, common practice, which is said of each."
    )
    parser.add_argument(
        "source",
        metavar="FILE",
        help=_("the table of what was measured, or sim:SCENARIO to rehearse"),
    )
    add_machine(parser)
    add_store(parser)
    parser.add_argument(
        "--on", metavar="DAY", type=_day, help=_("the day it was done on (default: today)")
    )
    add_report(parser)


def run(args: argparse.Namespace) -> int:
    check_report(args)
    text, name, machine = _read(args)
    options = PrepareOptions(
        table_name=name,
        today=args.on or date.today().isoformat(),
        simulated=args.source.startswith("sim:"),
        by=args.by or "",
    )
    answer, kept = judge_table(text, machine, options, args.store, particulars_of(args))
    words = words_of(args, machine)
    troubles: list[BenchError] = []
    if args.report:
        from workbench.reports.prepare.sheet import prepare_document

        document = partial(prepare_document, answer, machine, words)
        troubles = write_report(args, kept, words, document)
    show_answer(args, answer, kept, words, lambda: _print(answer, words), troubles)
    return exit_status(troubles, FAILED if answer.verdict.is_fail else DONE)


def _read(args: argparse.Namespace) -> tuple[str, str, Machine | None]:
    """The table's text and name, and the machine. Raises WrongInput, InputError."""
    machine = machine_of(args)
    if args.source.startswith("sim:"):
        text, machine = simulated_sheet(args.source, machine)
        return text, args.source, machine
    path = Path(args.source.removeprefix("file:"))
    if not path.is_file():
        raise WrongInput(
            "{path}: there is no such file; expected a table check,place,value,unit.", path=path
        )
    return read_text(path), path.name, machine


def _day(text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        told = _("'{text}' is no day; write it as 2026-11-20")
        raise argparse.ArgumentTypeError(told.format(text=text)) from None


def _print(answer: PrepareAnswer, words: Words) -> None:
    """The answer as tables, the caution before what is to be done."""
    print(headline_words(answer, words))
    verdict = f"{words.say(answer.verdict)}: {words.say(answer.reason)}"
    title = f"{answer.machine} ({answer.source})" if answer.machine else answer.source
    print_table(title, [(_("Verdict"), verdict), *figure_rows(answer, words)])
    if answer.checks:
        header = (_("check"), _("value"), _("limits"), _("verdict"))
        print_table("\n" + _("Checks"), check_rows(answer, words), header)
    if answer.sources:
        print_table("\n" + _("True ÷ shown ground speed"), source_rows(answer.sources, words))
    if answer.due:
        print_table("\n" + _("Due"), service_rows(answer.due, words))
    if answer.to_do:
        print_caution(words.say(Caution.AT_THE_MACHINE))
        print_table("\n" + _("What to do"), [(said,) for said in words.say_all(answer.to_do)])
    if answer.unmeasured:
        left = ", ".join(words.say(topic) for topic in answer.unmeasured)
        print(_("Not measured: {topics}.").format(topics=left))
    print_simulated(answer.simulated)

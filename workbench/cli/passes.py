"""`evenpace pass`: did belt and ground keep pace on a test pass, and if not, why."""

from __future__ import annotations

import argparse
from functools import partial

from workbench.base.errors import BenchError, WrongInput
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import (
    add_report,
    add_source,
    check_report,
    particulars_of,
    source_of,
    typed,
    words_of,
)
from workbench.cli.output import (
    exit_status,
    print_caution,
    print_simulated,
    print_table,
    print_warnings,
    show_answer,
    tried,
    write_report,
)
from workbench.jobs.at_hand import with_prepared
from workbench.jobs.keep import keep
from workbench.jobs.passes.answer import PassAnswer, PassOptions, PassSays
from workbench.jobs.passes.compute import compute
from workbench.jobs.passes.typed import parse_course, parse_move, parse_oil_c
from workbench.words.language import _
from workbench.words.passes import PassWords, Rows, pass_words
from workbench.words.words import Words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = _(
        "The ratio is always belt ÷ ground. Approach, headlands and stops are left out. Causes "
        "are weighed by the likelihood of all that was recorded: pulses, laps, readout, engine "
        "speed, oil temperature, wheel, radar and satellite speed."
    )
    add_source(parser, required=False)
    parser.add_argument(
        "--belt", metavar="SOURCE", help=_("the belt's speed source or pulse channel")
    )
    parser.add_argument("--ground", metavar="SOURCE", help=_("the ground's speed source"))
    parser.add_argument(
        "--oil",
        metavar="START,END",
        type=typed(parse_oil_c),
        help=_("oil temperature at the start and the end, as read off: in °C, or 54F,118F"),
    )
    parser.add_argument(
        "--moved",
        metavar="TIME=STEPS",
        type=typed(parse_move),
        action="append",
        help=_(
            "the flow control was moved by so many steps (clicks, turns) at that moment of the "
            "recording; again for each move"
        ),
    )
    parser.add_argument(
        "--course",
        metavar="LENGTH,FROM,TO",
        type=typed(parse_course),
        help=_("a taped course: its length in metres, or 100ft, and when its two ends were passed"),
    )
    parser.add_argument(
        "--track", metavar="FILE", help=_("write the way with its ratio as GeoJSON")
    )
    add_report(parser)
    parser.add_argument(
        "--all",
        action="store_true",
        help=_("compute every stored pass again; --machine is then a machine's name"),
    )
    parser.add_argument("--workers", metavar="N", type=int, help=_("with --all: processes to use"))
    parser.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help=_("with --all: a dask scheduler to send the work to"),
    )


def run(args: argparse.Namespace) -> int:
    if args.all:
        from workbench.cli.pass_all import run_all

        return run_all(args)
    if args.source is None:
        raise WrongInput("name a RECORDING, or --all for every stored pass.")
    check_report(args)
    source = source_of(args)
    moved = tuple(args.moved) if args.moved else None
    options = with_prepared(
        PassOptions(args.belt, args.ground, args.oil, moved, args.course),
        source.machine,
        args.store,
        simulated=source.recording.simulated,
    )
    answer, words = (
        compute(source.recording, source.machine, options),
        words_of(args, source.machine),
    )
    kept = keep("pass", answer, options, source, particulars_of(args))
    troubles: list[BenchError] = []
    if args.track:
        from workbench.reports.passes.way import write_way

        troubles += tried(lambda: write_way(answer, args.track), "pass", words)
    if args.report:
        from workbench.reports.passes.report import pass_document

        document = partial(pass_document, answer, source.machine, words)
        troubles += write_report(args, kept, words, document)
    show_answer(args, answer, kept, words, lambda: print_pass(answer, words), troubles)
    _help_to_choose(answer)
    return exit_status(troubles, FAILED if answer.verdict.is_fail else DONE)


def _help_to_choose(answer: PassAnswer) -> None:
    """Which option names the source that was not found."""
    option = {PassSays.NO_BELT_KNOWN: "--belt", PassSays.NO_GROUND_KNOWN: "--ground"}
    for says, name in option.items():
        if answer.reason.what == says:
            print_warnings([_("name the source with {option} SOURCE.").format(option=name)])


def print_pass(answer: PassAnswer, words: Words) -> None:
    """The answer as tables on stdout, what to heed before anything is done on stderr."""
    said = pass_words(answer, words)
    verdict = (_("Verdict"), f"{words.say(answer.verdict)}: {words.say(answer.reason)}")
    print_table(answer.source, [verdict, *said.figures])
    for sentence in said.sources:
        print(sentence)
    for caution in said.cautions:
        print_caution(caution)
    if said.causes:
        print_table("\n" + _("Why, the most likely first"), _causes(said))
    if answer.advice and answer.advice.sentences:
        print_table("\n" + _("What to do"), [[sentence] for sentence in said.to_do])
    print_simulated(answer.simulated)


def _causes(said: PassWords) -> Rows:
    rows = [("", said.unclear)] if said.unclear else []
    for cause in said.causes:
        rows.append((cause.probability, f"{cause.title}."))
        if cause.evidence:
            rows.append(("", cause.evidence))
        rows.append(("", _("Next: {check}").format(check=cause.check)))
    return rows

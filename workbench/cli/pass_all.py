"""`evenpace pass --all`: every stored pass computed again with today's program, in parallel."""

from __future__ import annotations

import argparse

from workbench.base.errors import StoreError, WrongInput
from workbench.base.files import is_file
from workbench.base.machine import load_machine
from workbench.base.numbers import NO_VALUE
from workbench.base.steps import telling
from workbench.cli.arguments import PARTICULARS, words_of
from workbench.cli.output import exit_status, print_error, print_table, show_answer
from workbench.cli.reading_line import reading_line
from workbench.jobs.keep import Kept
from workbench.jobs.season.again import AgainAnswer, AgainOptions, compute
from workbench.words.language import N_, _
from workbench.words.season import season_title
from workbench.words.words import Words

_JUDGED = N_("{percent:.0f} % of the passes are judged")


def run_all(args: argparse.Namespace) -> int:
    """Compute, store and chart; a pass that cannot be judged is exit 3, told after all the others.

    Raises WrongInput, StoreError.
    """
    _refuse(args)
    name = _machine_name(args.machine)
    with reading_line(said=_JUDGED) as show, telling(show):
        answer = compute(AgainOptions(args.store, name, args.workers, args.scheduler))
    words = words_of(args)
    troubles = _troubles(answer)
    show_answer(args, answer, Kept(), words, lambda: _print(answer, words), troubles)
    for trouble in troubles:
        print_error("pass", words.say(trouble))
    return exit_status(troubles)


def _troubles(answer: AgainAnswer) -> list[StoreError]:
    """That of all that is stored some passes could not be judged."""
    failed = sum(one.error is not None for one in answer.passes)
    if not failed:
        return []
    return [
        StoreError(
            "{count} of {all} passes could not be judged again; all others were.",
            count=failed,
            all=len(answer.passes),
        )
    ]


def _refuse(args: argparse.Namespace) -> None:
    given = {
        "RECORDING": args.source,
        "--seed": args.seed,
        "--for": args.for_s,
        "--report": args.report,
        "--track": args.track,
        "--belt": args.belt,
        "--ground": args.ground,
        "--oil": args.oil,
        "--moved": args.moved,
        "--course": args.course,
        **{option: getattr(args, name) for name, option in PARTICULARS.items()},
    }
    wrong = [name for name, value in given.items() if value is not None]
    if wrong:
        raise WrongInput(
            "{names} goes with one recording, not with --all, which computes each pass as it was "
            "judged before.",
            names=", ".join(wrong),
        )
    if args.workers is not None and not 1 <= args.workers <= 1024:
        raise WrongInput(
            "--workers is {workers}; expected 1 to 1024 processes.", workers=args.workers
        )


def _machine_name(given: str | None) -> str:
    """A machine's name, or that in a machine file; '' for every machine."""
    if given and is_file(given):
        return load_machine(given).name
    return given or ""


def _print(answer: AgainAnswer, words: Words) -> None:
    rows = [
        (
            str(one.recording),
            str(one.result),
            words.say(one.verdict or ""),
            words.number("ratio", one.ratio, 2 * one.u_ratio),
            words.say(one.cause) if one.cause else NO_VALUE,
        )
        for one in answer.passes
        if one.error is None
    ]
    header = (
        _("Recording"),
        _("Result"),
        _("Verdict"),
        _("Ratio belt ÷ ground"),
        _("Likeliest cause"),
    )
    print_table(_("Passes computed again"), rows, header)
    for one in answer.season.values():
        title = _("Over the season: {quantity}").format(quantity=season_title(one))
        print_table(f"\n{title}", [[said] for said in words.say_all(one.changes)])

"""`evenpace backup`: the store copied to one file, read back and checked."""

from __future__ import annotations

import argparse
from pathlib import Path

from workbench.cli import BROKEN, DONE
from workbench.cli.arguments import add_store, words_of
from workbench.cli.output import print_error, print_json, print_table, print_warnings
from workbench.cli.reading_line import reading_line
from workbench.records.backup import back_up
from workbench.records.checking import Checked
from workbench.words.language import N_, _

COPIED = N_("{percent:.0f} % is copied and read back")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "target", metavar="TARGET", help=_("a new file, or a folder such as a memory stick's")
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    with reading_line(said=COPIED) as progress:
        made = back_up(args.store, Path(args.target), progress)
    words = words_of(args)
    problems = words.say_all(made.found.problems)
    if args.json:
        view = {"backup": str(made.path), "bytes": made.size_bytes}
        print_json({"store": made.store, **view, **as_json(made.found, problems)}, problems, BROKEN)
    else:
        right = _("yes: ledger, seals and checksums were read back from the copy")
        print_table(
            _("Backup"),
            [
                (_("Store"), made.store),
                (_("Copy"), str(made.path)),
                (_("Size"), _("{size:.1f} MB").format(size=made.size_bytes / 1e6)),
                *contents(made.found),
                (_("Verified"), _("NO: the store itself is damaged") if problems else right),
            ],
        )
    for problem in problems:
        print_error("backup", problem)
    print_warnings(words.say_all(made.found.notes))
    return BROKEN if problems else DONE


def contents(found: Checked) -> list[tuple[str, str]]:
    """Rows of what a store or its copy holds."""
    return [
        (_("Recordings"), str(found.recordings)),
        (_("Results"), str(found.results)),
        (_("Ledger"), str(found.head or "")),
    ]


def as_json(found: Checked, problems: list[str]) -> dict[str, object]:
    """What a store or its copy holds and what is wrong with it."""
    return {
        "recordings": found.recordings,
        "results": found.results,
        "head": str(found.head or ""),
        "verified": not problems,
        "problems": problems,
    }

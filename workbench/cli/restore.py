"""`evenpace restore`: a copy of a store put in its place, what stood there set aside."""

from __future__ import annotations

import argparse
from pathlib import Path

from workbench.cli import DONE
from workbench.cli.arguments import add_store
from workbench.cli.backup import COPIED, as_json, contents
from workbench.cli.output import print_json, print_table
from workbench.cli.reading_line import reading_line
from workbench.records.backup import restore
from workbench.words.language import _


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "backup", metavar="BACKUP", help=_("a file that `evenpace backup` made, of any version")
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    with reading_line(said=COPIED) as progress:
        made = restore(Path(args.backup), args.store, progress)
    aside = str(made.set_aside or "")
    if args.json:
        view = {"store": made.store, "backup": args.backup, "set_aside": aside or None}
        print_json({**view, **as_json(made.found, [])})
    else:
        print_table(
            _("Restore"),
            [
                (_("Store"), made.store),
                (_("From"), args.backup),
                *contents(made.found),
                (_("Set aside"), aside or _("nothing: no store was there")),
            ],
        )
    return DONE

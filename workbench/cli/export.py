"""`evenpace export`: a stored recording as tables, as a CAN log, or as the file it came from."""

from __future__ import annotations

import argparse
from pathlib import Path

from workbench.cli import BROKEN, DONE
from workbench.cli.arguments import add_store, stored_number, words_of
from workbench.cli.output import print_error, print_json, print_simulated, print_warnings
from workbench.jobs.export import export
from workbench.records.store import open_store
from workbench.records.tables import TABLES
from workbench.words.language import _, ngettext


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "number", metavar="NUMBER", type=stored_number, help=_("a recording's number")
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        required=True,
        help=_("a table (.csv .parquet) or a CAN log (.asc .blf .log .trc); never overwritten"),
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--table", choices=tuple(TABLES), help=_("which table (default: edges, else speeds)")
    )
    what.add_argument(
        "--original", action="store_true", help=_("the imported file itself, byte for byte")
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    path, words = Path(args.output), words_of(args)
    with open_store(args.store, make=False) as store:
        done = export(store, args.number, path, args.table, original=args.original)
    damage = words.say_all(done.damage)
    for error in damage:
        print_error("export", error)
    print_simulated(done.simulated)
    if done.left:
        options = ", ".join(f"--table {name}" for name in done.left)
        print_warnings([_("The recording holds more: {options}.").format(options=options)])
    if args.json:
        print_json(
            {
                "recording": done.recording,
                "file": str(path),
                "rows": done.rows,
                "damaged": len(done.damage),
                "simulated": done.simulated,
            },
            damage,
            BROKEN,
        )
    else:
        bytes_ = ngettext("{path}: {count} byte", "{path}: {count} bytes", done.rows)
        rows = ngettext("{path}: {count} row", "{path}: {count} rows", done.rows)
        print((bytes_ if args.original else rows).format(path=path, count=done.rows))
    return BROKEN if damage else DONE

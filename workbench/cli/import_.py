"""`evenpace import`: bring recorded files into the store, their own bytes included."""

from __future__ import annotations

import argparse

from drivers.contract import InputError
from workbench.base.errors import BenchError
from workbench.cli.arguments import add_machine, add_store, machine_of, words_of
from workbench.cli.output import (
    exit_status,
    print_error,
    print_json,
    print_new_store,
    print_table,
    print_warnings,
)
from workbench.cli.reading_line import reading_line
from workbench.jobs.importing import Imported, import_file
from workbench.records.store import open_store
from workbench.words.language import _
from workbench.words.view import json_view


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files", metavar="FILE", nargs="+", help=_("a recording: an edge or speed table, or a log")
    )
    add_machine(parser)
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    machine = machine_of(args)
    words = words_of(args, machine)
    imported: list[Imported] = []
    refused: list[InputError | BenchError] = []
    with open_store(args.store) as store:
        if store.is_new:
            print_new_store(store.address)
        for name in args.files:
            try:
                with reading_line() as progress:
                    imported.append(import_file(store, name, machine, progress))
            except (InputError, BenchError) as error:
                print_error("import", words.say(error))
                refused.append(error)
    status = exit_status(refused)
    if args.json:
        views = [json_view(one, words) for one in imported]
        first = views[0] if views else {"recording": None}
        print_json(
            {**first, "imported": views, "refused": len(refused)}, words.say_all(refused), status
        )
    elif imported:
        header = (_("recording"), _("file"), _("what it is"), _("messages"), _("rejects"))
        print_table(_("Imported"), map(_row, imported), header)
    for one in imported:
        print_warnings(f"{one.name}: {warning}" for warning in words.say_all(one.warnings))
    return status


def _row(one: Imported) -> tuple[str, ...]:
    messages = ", ".join(f"{count} {name}" for name, count in one.messages.items())
    rejects = ", ".join(f"{count} {name}" for name, count in one.rejects.items())
    return str(one.recording), one.name, one.kind, messages, rejects or _("none")

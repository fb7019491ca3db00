"""`evenpace report`: a stored result as PDF, HTML or JSON; what is said of it stays with it."""

from __future__ import annotations

import argparse

from workbench.base.steps import telling
from workbench.cli import DONE
from workbench.cli.arguments import (
    add_particulars,
    add_signing,
    add_store,
    particulars_of,
    signer_of,
    stored_number,
    words_of,
)
from workbench.cli.output import print_json
from workbench.cli.reading_line import reading_line
from workbench.words.language import _


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("result", metavar="RESULT", type=stored_number, help=_("a result's number"))
    parser.add_argument(
        "-o",
        "--out",
        metavar="FILE",
        required=True,
        help=_("where to: .pdf, .html or .json; of a calibration also .xml"),
    )
    add_signing(parser)
    add_particulars(parser)
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    from workbench.jobs.particulars import particulars_in
    from workbench.records.store import open_store
    from workbench.reports.document import check_report_path, render
    from workbench.reports.stored import document_of
    from workbench.reports.testified import testified

    check_report_path(args.out, digital=True)
    signer = signer_of(args, args.out)
    with open_store(args.store, make=False) as store:
        stored = store.result(args.result)
        before = particulars_in(stored.said)
        said = particulars_of(args, before)
        if said != before:
            store.say_of(stored.number, said.text)
            stored = store.result(args.result)
    with reading_line() as show, telling(show):
        made = document_of(stored, words_of(args, stored.machine()))
        path = render(testified(made, args.store, stored.number), args.out, signer)
    if args.json:
        print_json({"result": stored.number, "kind": stored.kind, "report": str(path)})
    else:
        print(_("Result {number} is in {path}.").format(number=stored.number, path=path))
    return DONE

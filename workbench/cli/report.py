"""`evenpace report`: a stored result as PDF, HTML or JSON."""

from __future__ import annotations

import argparse

from workbench.cli import DONE
from workbench.cli.arguments import add_report_words, add_store, stored_number, words_of
from workbench.cli.output import print_json
from workbench.words.language import _


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("result", metavar="RESULT", type=stored_number, help=_("a result's number"))
    parser.add_argument(
        "-o", "--out", metavar="FILE", required=True, help=_("where to: .pdf, .html or .json")
    )
    add_report_words(parser)
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    from workbench.records.store import open_store
    from workbench.reports.document import check_report_path, render
    from workbench.reports.stored import document_of
    from workbench.reports.testified import testified

    check_report_path(args.out)
    with open_store(args.store, make=False) as store:
        stored = store.result(args.result)
    given = {name: getattr(args, name) for name in ("by", "remarks", "environment", "references")}
    typed = {name: text for name, text in given.items() if text is not None}
    made = document_of(stored, words_of(args, stored.machine()), **typed)
    path = render(testified(made, args.store, stored.number), args.out)
    if args.json:
        print_json({"result": stored.number, "kind": stored.kind, "report": str(path)})
    else:
        print(_("Result {number} is in {path}.").format(number=stored.number, path=path))
    return DONE

"""`evenpace report`: a stored result as PDF, HTML or JSON."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from workbench.base.errors import WrongInput
from workbench.base.units import METRIC, US
from workbench.cli import DONE
from workbench.cli.arguments import add_store
from workbench.cli.output import print_json

if TYPE_CHECKING:
    from workbench.records.entries import StoredResult
    from workbench.reports.document import Document


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("result", metavar="RESULT", type=int, help="a result's number")
    parser.add_argument(
        "-o", "--out", metavar="FILE", required=True, help="where to: .pdf, .html or .json"
    )
    parser.add_argument("--by", metavar="NAME", help="who did it")
    parser.add_argument("--remarks", metavar="TEXT", help="remarks")
    parser.add_argument("--environment", metavar="TEXT", help="weather, oil, place")
    parser.add_argument(
        "--reference",
        metavar="TEXT",
        action="append",
        help="a tape, watch or tachometer used and how it is traceable; may be repeated",
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    from workbench.records.store import open_store
    from workbench.reports.document import check_report_path, render

    check_report_path(args.out)
    with open_store(args.store) as store:
        stored = store.result(args.result)
    typed = {
        "units": args.units,
        "by": args.by,
        "remarks": args.remarks,
        "environment": args.environment,
        "references": args.reference,
    }
    options = stored.options | {name: text for name, text in typed.items() if text is not None}
    path = render(document_of(stored, options), args.out)
    if args.json:
        print_json({"result": stored.number, "kind": stored.kind, "report": str(path)})
    else:
        print(f"Result {stored.number} is in {path}.")
    return DONE


def document_of(stored: StoredResult, options: dict[str, Any]) -> Document:
    """The document of a stored result. Raises WrongInput for a kind that has no report."""
    machine = stored.machine()
    answer = {"result": stored.number, **stored.answer}
    if stored.kind == "calibrate":
        from workbench.reports.calibrate.certificate import Made, certificate

        made = Made(stored.number, stored.created_utc, stored.program_version)
        return certificate(answer, machine, options, made)
    if stored.kind == "gap":
        from workbench.reports.gap.report import gap_document

        return gap_document(answer, machine, US if options.get("units") == "us" else METRIC)
    if stored.kind == "pass":
        from workbench.reports.passes.report import pass_document

        return pass_document(answer, machine)
    raise WrongInput(
        f"Result {stored.number} is one of 'evenpace {stored.kind}', for which there is no report."
    )

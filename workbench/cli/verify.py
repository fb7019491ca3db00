"""`evenpace verify`: is a stored result still what its recording gives, field by field; is all of
the store as it was left?"""

from __future__ import annotations

import argparse

from workbench.base.errors import WrongInput
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import add_store, stored_number
from workbench.cli.output import print_json, print_table
from workbench.cli.verify_store import make_key, verify_store
from workbench.jobs.codec import to_plain
from workbench.jobs.verify import Verification, verify
from workbench.records.store import open_store
from workbench.words.language import _


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "result",
        metavar="RESULT",
        type=stored_number,
        nargs="?",
        help=_("a result's number; without one the whole store is looked through"),
    )
    parser.add_argument(
        "--all", action="store_true", help=_("the whole store: its ledger, seals, blocks and cards")
    )
    parser.add_argument(
        "--paper",
        metavar="REPORT",
        help=_("a saved report (.json or .html): does the store still match it?"),
    )
    parser.add_argument(
        "--head", metavar="TEXT", help=_("the same, by what the report's foot says of the ledger")
    )
    parser.add_argument(
        "--new-key",
        metavar="FILE",
        help=_("make a key; with $EVENPACE_KEY naming its file every report is signed"),
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    whole = args.all or args.paper or args.head
    if sum(map(bool, (args.result, whole, args.new_key))) > 1:
        raise WrongInput(
            "name a RESULT, or the whole store (--all, --paper, --head), or --new-key; one of them."
        )
    if args.new_key:
        return make_key(args)
    if args.result is None:
        return verify_store(args)
    with open_store(args.store, make=False) as store:
        answer = verify(store, args.result)
    if args.json:
        print_json(to_plain(answer))
    else:
        _print(answer)
    return DONE if answer.verified else FAILED


def _print(answer: Verification) -> None:
    source = (
        _("recording {number}").format(number=answer.recording)
        if answer.recording
        else answer.table
    )
    rows = [
        (
            _("Result"),
            _("{number}, {kind} of {source}").format(
                number=answer.result, kind=answer.kind, source=source
            ),
        ),
        (
            _("Made"),
            _("{when} by evenpace {version}").format(
                when=answer.created_utc, version=answer.made_by
            ),
        ),
        (_("Computed again by"), f"evenpace {answer.verified_by}"),
        (_("Verified"), _("yes: the same in every field") if answer.verified else _("NO")),
    ]
    if answer.not_compared:
        rows.append((_("Sentences of an earlier version"), _("not compared, every number is")))
    print_table(_("Verify"), rows)
    if answer.differences:
        fields = [(one.field, str(one.stored), str(one.now)) for one in answer.differences]
        print_table(_("Not the same"), fields, (_("field"), _("stored"), _("now")))

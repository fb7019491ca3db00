"""`evenpace verify`: is a stored result still what its recording gives, field by field?"""

from __future__ import annotations

import argparse

from workbench.base.errors import StoreError
from workbench.cli import DONE, FAILED
from workbench.cli.arguments import add_store, stored_number, words_of
from workbench.cli.output import print_json, print_table
from workbench.jobs.codec import to_plain
from workbench.jobs.verify import Verification, verify
from workbench.records.store import Store, open_store
from workbench.words.language import _
from workbench.words.words import Words


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "result",
        metavar="RESULT",
        type=stored_number,
        nargs="?",
        help=_("a result's number; without one the whole store is looked through"),
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    with open_store(args.store) as store:
        if args.result is None:
            return _verify_store(store, words_of(args), args.json)
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


def _verify_store(store: Store, words: Words, as_json: bool) -> int:
    problems = words.say_all(store.check())
    answer = {
        "store": store.address,
        "recordings": len(store.recordings()) if not problems else None,
        "results": len(store.results()) if not problems else None,
        "verified": not problems,
        "problems": problems,
    }
    if as_json:
        print_json(answer)
    if problems:
        raise StoreError("{problems}", problems=" ".join(problems))
    if not as_json:
        rows = [
            (_("Store"), store.address),
            (_("Recordings"), str(answer["recordings"])),
            (_("Results"), str(answer["results"])),
            (_("Verified"), _("yes: every checksum, hash and reference is right")),
        ]
        print_table(_("Verify"), rows)
    return DONE

"""`evenpace verify`: is a stored result still what its recording gives, field by field; is all of
the store as it was left?"""

from __future__ import annotations

import argparse
from pathlib import Path

from workbench.base.errors import BenchError, WrongInput
from workbench.base.steps import telling
from workbench.cli import BROKEN, DONE, FAILED
from workbench.cli.arguments import add_store, stored_number, words_of
from workbench.cli.backup import as_json, contents
from workbench.cli.output import print_error, print_json, print_table, print_warnings
from workbench.cli.reading_line import reading_line
from workbench.jobs.codec import to_plain
from workbench.jobs.paper import VARIABLE, SignedHead, broken, new_key, paper_in, paper_of
from workbench.jobs.verify import Verification, verify
from workbench.jobs.xml_signature import DIGITAL
from workbench.records.checking import Checked
from workbench.records.store import Store, open_store
from workbench.words.language import N_, _


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "result",
        metavar="RESULT",
        type=_result_or_file,
        nargs="?",
        help=_(
            "a result's number, or a digital certificate FILE.xml: is it unchanged, and who "
            "signed it; without one the whole store is looked through"
        ),
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
    if isinstance(args.result, Path):
        return verify_file(args)
    if args.result is None:
        return verify_store(args)
    with open_store(args.store, make=False) as store, reading_line() as show, telling(show):
        answer = verify(store, args.result)
    if args.json:
        print_json(to_plain(answer))
    else:
        _print(answer)
    return DONE if answer.verified else FAILED


def _result_or_file(word: str) -> int | Path:
    """A result's number, or a digital certificate's path."""
    return Path(word) if word.lower().endswith(DIGITAL) else stored_number(word)


def verify_file(args: argparse.Namespace) -> int:
    """Whether a digital certificate is as it was signed, and by whom."""
    from workbench.jobs.xml_signature import signature_of

    path, found = args.result, signature_of(args.result)
    unchanged = found is not None and found.unchanged
    if args.json:
        told = {} if found is None else to_plain(found)
        print_json({"file": str(path), "signed": found is not None, "verified": unchanged} | told)
    elif found is None:
        print_table(_("Verify"), [(_("Certificate"), str(path)), (_("Signed"), _("NO"))])
    else:
        whole = _("yes: every byte that was signed is as it was")
        rows = [
            (_("Certificate"), str(path)),
            (_("Signed by"), found.signed_by),
            (
                _("Vouched for by"),
                _("nobody else: compare the fingerprint") if found.by_itself else found.issued_by,
            ),
            (_("Fingerprint of the signer's certificate (SHA-256)"), found.sha256),
            (_("Signed at, as the signer says"), found.signed_at),
            (_("Unchanged since"), whole if unchanged else _("NO: it was changed")),
        ]
        print_table(_("Verify"), rows)
    return DONE if unchanged else FAILED


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
    if answer.differences and answer.made_by != answer.verified_by:
        rows.append(
            (_("Why"), _("another version of the program made it and may compute otherwise"))
        )
    print_table(_("Verify"), rows)
    if answer.differences:
        fields = [(one.field, str(one.stored), str(one.now)) for one in answer.differences]
        print_table(_("Not the same"), fields, (_("field"), _("stored"), _("now")))


_OF_THE_STORE = N_("{percent:.0f} % of the store is looked through")


def verify_store(args: argparse.Namespace) -> int:
    """Look through the store and compare a paper with it."""
    paper = paper_in(Path(args.paper)) if args.paper else None
    paper = paper_of(args.head) if args.head else paper
    with open_store(args.store, make=False) as store:
        found = _look(store)
        wrong: list[BenchError] = [*found.problems, *(broken(paper, store) if paper else ())]
        address = store.address
    words = words_of(args)
    problems = words.say_all(wrong)
    if args.json:
        print_json(
            {
                "store": address,
                "entries": found.entries,
                **as_json(found, problems),
                **({"paper": str(paper)} if paper else {}),
                "notes": words.say_all(found.notes),
            },
            problems,
            BROKEN,
        )
    else:
        print_table(_("Verify"), _rows(address, found, paper, bool(problems)))
    for problem in problems:
        print_error("verify", problem)
    print_warnings(words.say_all(found.notes))
    return BROKEN if problems else DONE


def _look(store: Store) -> Checked:
    with reading_line(said=_OF_THE_STORE) as show:
        return store.check(show)


def _rows(
    address: str, found: Checked, paper: SignedHead | None, wrong: bool
) -> list[tuple[str, str]]:
    rows = [(_("Store"), address), *contents(found)]
    if paper and paper.key:
        rows.append((_("The paper's key"), paper.key))
    right = _("yes: every entry of the ledger, seal, checksum, card and reference is right")
    return [*rows, (_("Verified"), _("NO") if wrong else right)]


def make_key(args: argparse.Namespace) -> int:
    """A new key for the papers of a shop."""
    public = new_key(Path(args.new_key))
    if args.json:
        print_json({"key_file": args.new_key, "key": public})
    else:
        rows = [
            (_("Key"), args.new_key),
            (_("Its public half"), public),
            (
                _("To sign every report"),
                _("let {variable} name that file, and let nobody else read it").format(
                    variable=VARIABLE
                ),
            ),
        ]
        print_table(_("New key"), rows)
    return DONE

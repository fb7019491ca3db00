"""`evenpace verify --all`: the whole store, and the papers made from it."""

from __future__ import annotations

import argparse
from pathlib import Path

from workbench.base.errors import BenchError
from workbench.cli import BROKEN, DONE
from workbench.cli.arguments import words_of
from workbench.cli.output import print_error, print_json, print_table, print_warnings
from workbench.cli.reading_line import reading_line
from workbench.jobs.paper import VARIABLE, SignedHead, broken, new_key, paper_in, paper_of
from workbench.records.checking import Checked
from workbench.records.store import Store, open_store
from workbench.words.language import N_, _

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
                "recordings": found.recordings,
                "results": found.results,
                "head": str(found.head or ""),
                **({"paper": str(paper)} if paper else {}),
                "verified": not problems,
                "problems": problems,
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
        return store.check(None if show is None else lambda share, _step: show(share))


def _rows(
    address: str, found: Checked, paper: SignedHead | None, wrong: bool
) -> list[tuple[str, str]]:
    rows = [
        (_("Store"), address),
        (_("Recordings"), str(found.recordings)),
        (_("Results"), str(found.results)),
        (_("Ledger"), str(found.head or "")),
    ]
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

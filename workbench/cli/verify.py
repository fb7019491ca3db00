"""`evenpace verify`: is a stored result still what its recording gives, field by field?"""

from __future__ import annotations

import argparse
import math
from collections.abc import Iterator
from importlib import import_module
from typing import Any

from drivers.contract import Recording
from workbench.base.errors import StoreError
from workbench.cli import COMMANDS, DONE, FAILED
from workbench.cli.output import print_json, print_table
from workbench.jobs.source import add_store, stored_number
from workbench.records.entries import StoredResult
from workbench.records.jsonable import plain
from workbench.records.store import Store, open_store, program_version

_SAME_REL = 1e-9
"""Numbers this close are the same: another processor or library rounds differently; chosen."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "result",
        metavar="RESULT",
        type=stored_number,
        nargs="?",
        help="a result's number; without one the whole store is looked through",
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    with open_store(args.store) as store:
        if args.result is None:
            return _verify_store(store, args.json)
        answer = verify(store, args.result)
    if args.json:
        print_json(answer)
    else:
        _print(answer)
    return DONE if answer["verified"] else FAILED


def verify(store: Store, number: int) -> dict[str, Any]:
    """Compute result `number` again and compare. Raises WrongInput, StoreError.

    `differences` lists every field that is not the same, with what is stored and what
    comes out now.
    """
    stored = store.result(number)
    source, changed = _source(store, stored)
    machine = stored.machine()
    module = import_module(COMMANDS[stored.kind][0])
    again = plain(module.compute(source, machine, dict(stored.options)))
    differences = list(changed)
    differences += [
        {"field": field, "stored": before, "now": now}
        for field, before, now in _differences("", stored.answer, again)
    ]
    return {
        "result": number,
        "kind": stored.kind,
        "verified": not differences,
        "differences": differences,
        "recording": stored.recording,
        "table": stored.table_name,
        "recording_sha256": stored.recording_sha256,
        "made_by": stored.program_version,
        "verified_by": program_version(),
        "created_utc": stored.created_utc,
    }


def _source(
    store: Store, stored: StoredResult
) -> tuple[Recording | str | None, list[dict[str, Any]]]:
    """What the result was computed from, and how its hash has changed since."""
    if stored.recording is None:
        return stored.table, []
    now = store.recording_sha256(stored.recording)
    changed = []
    if now != stored.recording_sha256:
        changed.append({"field": "recording_sha256", "stored": stored.recording_sha256, "now": now})
    return store.load_recording(stored.recording), changed


def _differences(field: str, before: Any, now: Any) -> Iterator[tuple[str, Any, Any]]:
    """(field, stored, now) of everything in two answers that is not the same."""
    if isinstance(before, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*before, *now]):
            inner = f"{field}.{key}" if field else key
            yield from _differences(inner, before.get(key), now.get(key))
    elif isinstance(before, list) and isinstance(now, list) and len(before) == len(now):
        for place, (one, other) in enumerate(zip(before, now, strict=True)):
            yield from _differences(f"{field}[{place}]", one, other)
    elif not _same(before, now):
        yield field, before, now


def _same(before: Any, now: Any) -> bool:
    if isinstance(before, bool) or isinstance(now, bool):
        return before is now
    if isinstance(before, int | float) and isinstance(now, int | float):
        return math.isclose(before, now, rel_tol=_SAME_REL, abs_tol=0.0)
    return bool(before == now)


def _print(answer: dict[str, Any]) -> None:
    source = f"recording {answer['recording']}" if answer["recording"] else answer["table"]
    rows = [
        ("Result", f"{answer['result']}, {answer['kind']} of {source}"),
        ("Made", f"{answer['created_utc']} by evenpace {answer['made_by']}"),
        ("Computed again by", f"evenpace {answer['verified_by']}"),
        ("Verified", "yes: the same in every field" if answer["verified"] else "NO"),
    ]
    print_table("Verify", rows)
    if answer["differences"]:
        fields = [(d["field"], str(d["stored"]), str(d["now"])) for d in answer["differences"]]
        print_table("Not the same", fields, ("field", "stored", "now"))


def _verify_store(store: Store, as_json: bool) -> int:
    problems = list(store.check())
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
        raise StoreError(" ".join(problems))
    if not as_json:
        rows = [
            ("Store", store.address),
            ("Recordings", str(answer["recordings"])),
            ("Results", str(answer["results"])),
            ("Verified", "yes: every checksum, hash and reference is right"),
        ]
        print_table("Verify", rows)
    return DONE

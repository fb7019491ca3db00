"""`evenpace import`: bring recorded files into the store, their own bytes included."""

from __future__ import annotations

import argparse
import hashlib
import sys
from pathlib import Path
from typing import Any

from drivers.contract import FileRefused, InputError, Item
from drivers.files.reading import FileDriver
from workbench.base.machine import Machine, load_machine
from workbench.cli import DONE, WRONG
from workbench.cli.arguments import add_store
from workbench.cli.output import print_json, print_table, print_warnings
from workbench.records.store import Store, open_store

_PIECE_BYTES = 1 << 22


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "files", metavar="FILE", nargs="+", help="a recording: an edge or speed table, or a log"
    )
    parser.add_argument("--machine", metavar="FILE", help="the machine file (TOML)")
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    machine = load_machine(args.machine) if args.machine else None
    imported, refused = [], 0
    with open_store(args.store) as store:
        for name in args.files:
            try:
                imported.append(_import(store, name, machine))
            except InputError as error:
                print(f"evenpace import: {error}", file=sys.stderr)
                refused += 1
    if args.json:
        first = imported[0] if imported else {"recording": None}
        print_json({**first, "imported": imported, "refused": refused})
    elif imported:
        print_table("Imported", [_row(entry) for entry in imported], _HEADER)
    for entry in imported:
        print_warnings(f"{entry['name']}: {warning}" for warning in entry["warnings"])
    return WRONG if refused else DONE


def _import(store: Store, name: str, machine: Machine | None) -> dict[str, Any]:
    """One file into the store, whole or not at all. Raises FileRefused, StoreError."""
    path = Path(name.removeprefix("file:"))
    items: list[Item] = []
    with FileDriver(str(path), {}) as driver:
        while not driver.ended:
            items += driver.read(1.0)
    pieces = _pieces(path, driver.notes.sha256)
    address = f"file:{path.name}"
    twins = [r.number for r in store.recordings() if r.source_sha256 == driver.notes.sha256]
    writer = store.begin_recording(
        path.name, started_host_s=driver.notes.origin_s or 0.0, machine=machine
    )
    try:
        writer.write([(address, item) for item in (*pieces, *items)], driver.notes)
        sha256 = writer.end(driver.notes, "all was read")
    except BaseException:
        writer.discard()
        raise
    warnings = list(driver.notes.warnings)
    if twins:
        warnings.append(f"The same file is in the store already, as recording {twins[0]}.")
    return {
        "recording": writer.number,
        "name": path.name,
        "kind": driver.notes.kind,
        "file_sha256": driver.notes.sha256,
        "sha256": sha256,
        "messages": driver.notes.messages,
        "rejects": driver.notes.rejects,
        "warnings": warnings,
    }


def _pieces(path: Path, sha256: str) -> list[bytes]:
    """The file's own bytes. Raises FileRefused where they are not those just read."""
    pieces = []
    read = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while piece := file.read(_PIECE_BYTES):
                read.update(piece)
                pieces.append(piece)
    except OSError as error:
        raise FileRefused(
            path, f"it cannot be read ({error.strerror})", "a readable file"
        ) from None
    if read.hexdigest() != sha256:
        raise FileRefused(path, "it changed while it was read", "a file that nothing writes to")
    return pieces


_HEADER = ("recording", "file", "what it is", "messages", "rejects")


def _row(entry: dict[str, Any]) -> tuple[str, ...]:
    messages = ", ".join(f"{count} {name}" for name, count in entry["messages"].items())
    rejects = ", ".join(f"{count} {name}" for name, count in entry["rejects"].items())
    return str(entry["recording"]), entry["name"], entry["kind"], messages, rejects or "none"

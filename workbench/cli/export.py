"""`evenpace export`: a stored recording as tables, as a CAN log, or as the file it came from."""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from drivers.contract import FileRefused, FrameBlock
from workbench.base.errors import WrongInput
from workbench.base.files import replacing, write_file
from workbench.cli import BROKEN, DONE
from workbench.cli.arguments import add_store, stored_number
from workbench.cli.output import print_json
from workbench.records.store import Store, open_store
from workbench.records.tables import TABLES, Table, write_csv, write_parquet

_WRITERS: dict[str, Callable[[Table, Path], None]] = {".csv": write_csv, ".parquet": write_parquet}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("number", metavar="NUMBER", type=stored_number, help="a recording's number")
    parser.add_argument(
        "-o",
        "--output",
        metavar="FILE",
        required=True,
        help="a table (.csv .parquet) or a CAN log (.asc .blf .log .trc); never overwritten",
    )
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--table", choices=tuple(TABLES), help="which table (default: edges, else speeds)"
    )
    what.add_argument(
        "--original", action="store_true", help="the imported file itself, byte for byte"
    )
    add_store(parser)


def run(args: argparse.Namespace) -> int:
    from drivers.files.can_export import LOG_ENDINGS

    path = Path(args.output)
    ending = path.suffix.lower()
    if path.exists():
        raise WrongInput(f"{path} exists already and is not overwritten; name another file.")
    if not args.original and ending not in (*_WRITERS, *LOG_ENDINGS):
        known = " ".join((*_WRITERS, *LOG_ENDINGS))
        raise WrongInput(f"{path}: the ending '{ending}' is not known; expected one of {known}.")
    damage: list[str] = []
    with open_store(args.store) as store:
        simulated = store.recording(args.number).simulated
        if args.original:
            rows = _write_original(store, args.number, path)
        elif ending in LOG_ENDINGS:
            rows = _write_can_log(store, args.number, path, damage.append)
        else:
            rows = _write_table(store, args, path, damage.append)
    for sentence in damage:
        print(f"evenpace export: {sentence}", file=sys.stderr)
    if simulated:
        print("Simulated data.", file=sys.stderr)
    answer = {
        "recording": args.number,
        "file": str(path),
        "rows": rows,
        "damaged": len(damage),
        "simulated": simulated,
    }
    if args.json:
        print_json(answer)
    else:
        print(f"{path}: {rows} {'bytes' if args.original else 'rows'}")
    return BROKEN if damage else DONE


def _write_table(
    store: Store, args: argparse.Namespace, path: Path, on_damage: Callable[[str], None]
) -> int:
    recording = store.load_recording(args.number, on_damage)
    tables = {name: make(recording) for name, make in TABLES.items()}
    filled = [name for name, table in tables.items() if table.rows]
    if not filled:
        raise WrongInput(f"Recording {args.number} holds neither pulses nor values.")
    name = args.table or filled[0]
    if not tables[name].rows:
        raise WrongInput(f"Recording {args.number} holds no {name}; it holds {', '.join(filled)}.")
    with replacing(path, WrongInput) as fresh:
        _WRITERS[path.suffix.lower()](tables[name], fresh)
    others = [other for other in filled if other != name]
    if others and not args.table:
        more = " or ".join(f"--table {other}" for other in others)
        print(f"note: written were the {name}; there is more with {more}.", file=sys.stderr)
    return tables[name].rows


def _write_can_log(store: Store, number: int, path: Path, on_damage: Callable[[str], None]) -> int:
    from drivers.files.can_export import frames_of_log, write_log

    items = [item for _, item in store.items(number, on_damage)]
    blocks = _dated(store, number, [item for item in items if isinstance(item, FrameBlock)])
    original = b"".join(item for item in items if isinstance(item, bytes))
    with tempfile.TemporaryDirectory() as folder:
        if original:
            source = Path(folder) / store.recording(number).name
            source.write_bytes(original)
            try:
                blocks = list(frames_of_log(source))
            except FileRefused as error:
                raise WrongInput(
                    f"Recording {number} was imported from a file that gives no CAN log: "
                    f"{error.found}; expected {error.expected}. Its own bytes are to be had "
                    "with --original."
                ) from None
        if not blocks:
            raise WrongInput(f"Recording {number} holds no frames of a CAN bus.")
        with replacing(path, WrongInput) as fresh:
            return write_log(blocks, fresh)


def _dated(store: Store, number: int, blocks: Sequence[FrameBlock]) -> list[FrameBlock]:
    """Frames stamped by the host's monotonic clock, on the calendar instead."""
    entry = store.recording(number)
    start_s = datetime.fromisoformat(entry.started_utc).timestamp() - entry.started_host_s
    return [
        replace(block, time_s=block.time_s + start_s)
        if np.array_equal(block.time_s, block.host_s)
        else block
        for block in blocks
    ]


def _write_original(store: Store, number: int, path: Path) -> int:
    original = b"".join(item for _, item in store.items(number) if isinstance(item, bytes))
    if not original:
        raise WrongInput(f"Recording {number} was not imported from a file.")
    write_file(path, original, WrongInput)
    return len(original)

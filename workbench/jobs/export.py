"""A stored recording as files: its tables, its CAN frames as a log, or the file it came from.

Nothing is written over another file, and a file appears once it is whole. Of a damaged
recording what can be read is written.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from drivers.contract import FileRefused, FrameBlock
from workbench.base.errors import StoreError, WrongInput
from workbench.base.files import exists, replacing, safe_name
from workbench.base.steps import Told
from workbench.records.store import Store
from workbench.records.tables import TABLES, ColumnTable, write_csv, write_parquet

WRITERS: dict[str, Callable[[ColumnTable, Path], None]] = {
    ".csv": write_csv,
    ".parquet": write_parquet,
}


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written: the files, and how many rows, or of an original bytes.

    `damage` holds an error for each block that could not be read, `left` the names of the
    tables that hold something too and were not asked for.
    """

    recording: int
    files: tuple[Path, ...]
    rows: int
    simulated: bool
    damage: tuple[StoreError, ...] = ()
    left: tuple[str, ...] = ()


def export(
    store: Store, number: int, path: Path, table: str | None = None, *, original: bool = False
) -> Exported:
    """One file, of the kind its ending says; `table` names one of `TABLES`, None its first that
    holds anything. Raises WrongInput, StoreError."""
    from drivers.files.can_export import LOG_ENDINGS

    _refuse_existing([path])
    if original:
        return _original(store, number, path)
    ending = path.suffix.lower()
    if ending in WRITERS:
        return _one_table(store, number, path, table)
    if ending in LOG_ENDINGS:
        return _can_log(store, number, path)
    raise WrongInput(
        "{path}: the ending '{ending}' is not known; expected one of {known}.",
        path=path,
        ending=ending,
        known=" ".join((*WRITERS, *LOG_ENDINGS)),
    )


def export_tables(store: Store, number: int, path: Path, progress: Told) -> Exported:
    """Every table that holds anything, as 'NAME-edges.csv' and so on beside `path`, all or none.

    Raises WrongInput, StoreError.
    """
    damage: list[StoreError] = []
    tables = _tables(store, number, damage, progress)
    targets = {name: path.with_name(f"{path.stem}-{name}.csv") for name in tables}
    _refuse_existing(list(targets.values()))
    with ExitStack() as whole:
        for at, (name, table) in enumerate(tables.items()):
            progress(at / len(tables), "")
            write_csv(table, whole.enter_context(replacing(targets[name])))
        progress(1.0, "")
    rows = sum(table.rows for table in tables.values())
    return _exported(store, number, list(targets.values()), rows, damage)


def _refuse_existing(paths: Sequence[Path]) -> None:
    there = [str(path) for path in paths if exists(path)]
    if there:
        raise WrongInput(
            "{paths}: exists already and is not overwritten; name another file.",
            paths=", ".join(there),
        )


def _tables(
    store: Store, number: int, damage: list[StoreError], progress: Told | None = None
) -> Mapping[str, ColumnTable]:
    """The tables of a recording that hold anything."""
    recording = store.load_recording(number, damage.append, progress)
    tables = {name: make(recording) for name, make in TABLES.items()}
    filled = {name: table for name, table in tables.items() if table.rows}
    if not filled and damage:
        raise damage[0]
    if not filled:
        raise WrongInput("Recording {number} holds neither pulses nor values.", number=number)
    return filled


def _one_table(store: Store, number: int, path: Path, name: str | None) -> Exported:
    damage: list[StoreError] = []
    tables = _tables(store, number, damage)
    first, *rest = tables
    if name is not None and name not in tables:
        raise WrongInput(
            "Recording {number} holds no {table}; it holds {tables}.",
            number=number,
            table=name,
            tables=", ".join(tables),
        )
    table = tables[name or first]
    with replacing(path, WrongInput) as fresh:
        WRITERS[path.suffix.lower()](table, fresh)
    return _exported(store, number, [path], table.rows, damage, () if name else rest)


def _can_log(store: Store, number: int, path: Path) -> Exported:
    from drivers.files.can_export import frames_of_log, write_log

    damage: list[StoreError] = []
    frames: list[FrameBlock] = []
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / safe_name(store.recording(number).name)
        with source.open("wb") as original:
            for _, item in store.items(number, damage.append):
                if isinstance(item, FrameBlock):
                    frames.append(item)
                elif isinstance(item, bytes):
                    original.write(item)
        imported = source.stat().st_size > 0
        blocks = frames_of_log(source) if imported else _dated(store, number, frames)
        with replacing(path, WrongInput) as fresh:
            try:
                rows = write_log(blocks, fresh)
            except FileRefused as error:
                raise WrongInput(
                    "Recording {number} was imported from a file that gives no CAN log: {found}; "
                    "expected {expected}. Its own bytes are to be had with --original.",
                    number=number,
                    found=error.found,
                    expected=error.expected,
                ) from None
            if not rows:
                raise WrongInput("Recording {number} holds no frames of a CAN bus.", number=number)
    return _exported(store, number, [path], rows, damage)


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


def _original(store: Store, number: int, path: Path) -> Exported:
    with replacing(path, WrongInput) as fresh:
        with fresh.open("wb") as file:
            parts = (item for _, item in store.items(number) if isinstance(item, bytes))
            count = sum(map(file.write, parts))
        if not count:
            raise WrongInput("Recording {number} was not imported from a file.", number=number)
    return _exported(store, number, [path], count)


def _exported(
    store: Store,
    number: int,
    files: Sequence[Path],
    rows: int,
    damage: Sequence[StoreError] = (),
    left: Sequence[str] = (),
) -> Exported:
    simulated = store.recording(number).simulated
    return Exported(number, tuple(files), rows, simulated, tuple(damage), tuple(left))

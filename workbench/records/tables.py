"""A recording as plain tables: edges, speeds and other values, a row each, by time."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from drivers.contract import Floats, Recording
from workbench.base.errors import WrongInput

_CHUNK_ROWS = 50_000


@dataclass(frozen=True, slots=True, eq=False)
class ColumnTable:
    """Columns of one length; numbers as float64 (NaN: nothing there), names as text."""

    columns: dict[str, Sequence[str] | Floats]

    @property
    def rows(self) -> int:
        return len(next(iter(self.columns.values())))


def edge_table(recording: Recording) -> ColumnTable:
    """`time_s,channel`, and `fall_s,amplitude_v` where any channel has them."""
    tracks = list(recording.edges.values())
    columns: dict[str, list[Floats]] = {"time_s": [track.time_s for track in tracks]}
    for name in ("fall_s", "amplitude_v"):
        given = [getattr(track, name) for track in tracks]
        if any(values is not None for values in given):
            columns[name] = [
                np.full(track.time_s.size, np.nan) if values is None else values
                for track, values in zip(tracks, given, strict=True)
            ]
    return _by_time(columns, {"channel": [(t.channel, t.time_s.size) for t in tracks]})


def speed_table(recording: Recording) -> ColumnTable:
    """`time_s,source,speed_mps,u_mps`; an empty speed is 'no value'."""
    tracks = list(recording.speeds.values())
    columns = {
        "time_s": [track.time_s for track in tracks],
        "speed_mps": [track.speed_mps for track in tracks],
        "u_mps": [track.u_mps for track in tracks],
    }
    return _by_time(columns, {"source": [(t.source, t.time_s.size) for t in tracks]})


def value_table(recording: Recording) -> ColumnTable:
    """`time_s,source,quantity,value`."""
    tracks = list(recording.values.values())
    columns = {
        "time_s": [track.time_s for track in tracks],
        "value": [track.value for track in tracks],
    }
    names = {
        "source": [(t.source, t.time_s.size) for t in tracks],
        "quantity": [(t.quantity, t.time_s.size) for t in tracks],
    }
    return _by_time(columns, names)


TABLES: dict[str, Callable[[Recording], ColumnTable]] = {
    "edges": edge_table,
    "speeds": speed_table,
    "values": value_table,
}


def write_csv(table: ColumnTable, path: Path) -> None:
    """The table as CSV: times to the nanosecond, other numbers to their last digit."""
    columns = list(table.columns.items())
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([name for name, _ in columns])
        for start in range(0, table.rows, _CHUNK_ROWS):
            part = slice(start, start + _CHUNK_ROWS)
            cells = [_cells(name, values[part]) for name, values in columns]
            writer.writerows(zip(*cells, strict=True))


def write_parquet(table: ColumnTable, path: Path) -> None:
    """The table as Parquet. Raises WrongInput where pyarrow is not installed."""
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError:
        raise WrongInput(
            "Parquet needs the pyarrow library; install evenpace with its extra 'parquet'."
        ) from None
    arrays = {
        name: pa.array(values, from_pandas=True)
        if isinstance(values, np.ndarray)
        else pa.array(values).dictionary_encode()
        for name, values in table.columns.items()
    }
    pq.write_table(pa.table(arrays), path)


def _by_time(
    numbers: dict[str, list[Floats]], names: dict[str, list[tuple[str, int]]]
) -> ColumnTable:
    """One table of all tracks, by time; `time_s`, then the names, then the other numbers."""
    joined = {name: np.concatenate([*parts, np.empty(0)]) for name, parts in numbers.items()}
    order = np.argsort(joined["time_s"], kind="stable")
    texts: dict[str, Any] = {}
    for name, runs in names.items():
        labels = np.array([label for label, _ in runs], dtype=object)
        codes = np.repeat(np.arange(len(runs)), [count for _, count in runs])
        texts[name] = labels[codes[order]].tolist() if runs else []
    rest = {name: values[order] for name, values in joined.items()}
    return ColumnTable({"time_s": rest.pop("time_s"), **texts, **rest})


def _cells(name: str, values: Sequence[str] | Floats) -> Sequence[str]:
    if not isinstance(values, np.ndarray):
        return values
    if name in ("time_s", "fall_s"):
        return ["" if math.isnan(value) else f"{value:.9f}" for value in values.tolist()]
    return ["" if math.isnan(value) else repr(value) for value in values.tolist()]

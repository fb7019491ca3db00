"""Edge tables and speed tables: CSV in, blocks out, a few MB at a time.

Edge table: `time_s,channel`, optional `fall_s`, `amplitude_v`; a row a rising edge.
Speed table: `time_s,source,speed_mps`, optional `u_mps`; an empty speed is 'no value'.
A table is refused at its first wrong line: one that is half read gives half an answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from drivers.contract import EdgeBlock, FileRefused, Floats, Item, Note, Notes, SpeedBlock, Ticks
from drivers.files.table_rows import ColumnRule, RowBlock, TextTable
from drivers.source_file import MOST_EDGES, TICK_S, SourceFile

EDGE_HEADER = "time_s,channel"
SPEED_HEADER = "time_s,source,speed_mps"
_MOST_STREAMS = 64
_MOST_TIME_S = 4e9
"""Past any clock of seconds since 1970, and 4e18 ticks still fit an int64."""

_TIME = ColumnRule("time_s", "a time in seconds", -_MOST_TIME_S, _MOST_TIME_S)
EDGE_COLUMNS = (
    _TIME,
    ColumnRule("channel", "the channel's name, 1 to 64 letters", is_text=True),
    ColumnRule(
        "fall_s", "a time in seconds or nothing", -_MOST_TIME_S, _MOST_TIME_S, optional=True
    ),
    ColumnRule("amplitude_v", "0 to 1000 volts or nothing", 0.0, 1000.0, optional=True),
)
SPEED_COLUMNS = (
    _TIME,
    ColumnRule("source", "the source's name, 1 to 64 letters", is_text=True),
    ColumnRule(
        "speed_mps",
        "0 to 100 m/s, or nothing where there is no value",
        0.0,
        100.0,
        empty=True,
        is_rounded=True,
    ),
    ColumnRule("u_mps", "an uncertainty of 0 to 100 m/s or nothing", 0.0, 100.0, optional=True),
)


def read_edge_table(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of an edge table. Raises FileRefused at the first wrong line."""
    notes.kind, notes.origin_s = "edge table", 0.0
    table = TextTable(file, notes, EDGE_COLUMNS)
    last: dict[str, EdgeBlock] = {}
    total = 0
    for rows in table.rows():
        total += rows.line.size
        if total > MOST_EDGES:
            found = Note("there are more than {most_edges} edges", most_edges=MOST_EDGES)
            expected = "a shorter recording: cut the table in parts, each with the header"
            raise FileRefused(file.path, found, expected, f"line {rows.line[0]}")
        ticks = np.rint(rows.numbers["time_s"] / TICK_S).astype(np.int64)
        blocks: list[EdgeBlock] = []
        for channel, index in _by_name(table, rows, last):
            before = last.get(channel)
            _check_order(table, rows, index, ticks[index], before.ticks[-1:] if before else None)
            blocks.append(_edge_block(table, rows, index, ticks[index], before))
            last[channel] = blocks[-1]
        notes.messages = {
            Note("edges of {name}", name=name): block.count for name, block in last.items()
        }
        yield list(blocks)
    if not last:
        raise table.without_rows()


def read_speed_table(file: SourceFile, notes: Notes) -> Iterator[list[Item]]:
    """Blocks of a speed table. Raises FileRefused at the first wrong line.

    Where the table gives no uncertainty, or 0, it is that of the decimals written, d/√12.
    """
    notes.kind, notes.origin_s = "speed table", 0.0
    table = TextTable(file, notes, SPEED_COLUMNS)
    last_s: dict[str, Floats] = {}
    for rows in table.rows():
        items: list[Item] = []
        for source, index in _by_name(table, rows, last_s):
            time_s, speed_mps = rows.numbers["time_s"][index], rows.numbers["speed_mps"][index]
            _check_order(table, rows, index, time_s, last_s.get(source))
            u_mps = _u_mps(rows, index)
            u_mps[np.isnan(speed_mps)] = np.nan
            items.append(SpeedBlock(source, speed_mps, time_s, time_s, u_mps))
            last_s[source] = time_s[-1:]
            name = Note("speeds of {source}", source=source)
            notes.messages[name] = notes.messages.get(name, 0) + time_s.size
        yield items
    if not last_s:
        raise table.without_rows()


def _by_name(
    table: TextTable, rows: RowBlock, known: Mapping[str, object]
) -> Iterator[tuple[str, NDArray[np.intp]]]:
    """Each channel or source of these rows with the places of its rows."""
    if len(known.keys() | set(rows.names)) > _MOST_STREAMS:
        column = table.columns[1]
        found = Note(
            "more than {most_streams} different names in column '{name}'",
            most_streams=_MOST_STREAMS,
            name=column.name,
        )
        raise table.refusal(found, column.expected, int(rows.line[0]))
    for code, name in enumerate(rows.names):
        yield name, np.flatnonzero(rows.name_of == code)


def _check_order(
    table: TextTable,
    rows: RowBlock,
    index: NDArray[np.intp],
    times: Floats | Ticks,
    before: Floats | Ticks | None,
) -> None:
    start = times[:1] if before is None else before
    back = np.flatnonzero(np.diff(times, prepend=start) < 0)
    if back.size:
        row = index[back[0]]
        found = Note("the time goes back to {numbers:.9g} s", numbers=rows.numbers["time_s"][row])
        expected = Note(
            "times of '{names}' that never go back", names=rows.names[rows.name_of[row]]
        )
        raise table.refusal(found, expected, int(rows.line[row]))


def _edge_block(
    table: TextTable,
    rows: RowBlock,
    index: NDArray[np.intp],
    ticks: Ticks,
    before: EdgeBlock | None,
) -> EdgeBlock:
    fall_s = _column(rows, "fall_s", index)
    fall_ticks = None
    if fall_s is not None:
        seen = ~np.isnan(fall_s)
        fall_ticks = np.rint(np.where(seen, fall_s, 0.0) / TICK_S).astype(np.int64)
        early = np.flatnonzero(seen & (fall_ticks < ticks))
        if early.size:
            found = Note(
                "fall_s {fall_s:.9g} lies before time_s of the same edge", fall_s=fall_s[early[0]]
            )
            raise table.refusal(found, "a fall after the rise", int(rows.line[index[early[0]]]))
    return EdgeBlock(
        channel=rows.names[rows.name_of[index[0]]],
        sequence=before.sequence + 1 if before else 0,
        ticks=ticks,
        tick_s=TICK_S,
        host_s=float(ticks[-1] * TICK_S),
        count=(before.count if before else 0) + ticks.size,
        fall_ticks=fall_ticks,
        peak_v=_column(rows, "amplitude_v", index),
    )


def _u_mps(rows: RowBlock, index: NDArray[np.intp]) -> Floats:
    rounding_mps = 10.0 ** -rows.decimals["speed_mps"] / math.sqrt(12)
    given_mps = _column(rows, "u_mps", index)
    if given_mps is None:
        return np.full(index.size, rounding_mps)
    return np.where(given_mps > 0, given_mps, rounding_mps)


def _column(rows: RowBlock, name: str, index: NDArray[np.intp]) -> Floats | None:
    values = rows.numbers.get(name)
    return None if values is None else values[index]

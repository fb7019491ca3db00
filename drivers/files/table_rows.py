"""The rows of a CSV table, checked cell by cell; numpy where a few MB are all well.

Tables of a few lines that a person types are read by the bench. This reader is for those that
a device wrote: millions of rows, at the speed of the disk.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drivers.contract import FileRefused, Floats, Note, Notes
from drivers.files.plain_cells import Cells, PlainText
from drivers.source_file import SourceFile, shown

_MOST_LETTERS = 64
_PIECE_BYTES = 1 << 18
_MOST_NAMES = 256
"""More of them, and the cells are read one by one until a reader has enough."""


@dataclass(frozen=True, slots=True)
class ColumnRule:
    """A column: its name, what it holds in words, the least and the most it may hold.

    `empty`: a cell may be empty. `optional`: so may the whole column be missing.
    `is_rounded`: the decimals written tell how well the number is known.
    """

    name: str
    expected: str
    low: float = -math.inf
    high: float = math.inf
    empty: bool = False
    optional: bool = False
    is_text: bool = False
    is_rounded: bool = False

    @property
    def may_be_empty(self) -> bool:
        return self.empty or self.optional


@dataclass(slots=True)
class RowBlock:
    """Some rows of a table. `numbers` by column, NaN where a cell is empty; `names` are the
    different ones of the text column and `name_of` (n,) which of them each row has; `line`
    (n,) is where each row stands; `decimals` the most written so far by column."""

    numbers: dict[str, Floats]
    names: list[str]
    name_of: NDArray[np.int64]
    line: NDArray[np.int64]
    decimals: dict[str, int]


class TextTable:
    """A table whose first line names its columns, in any order; exactly one holds text.

    Columns that are not known are named in the notes and left out.
    """

    def __init__(self, file: SourceFile, notes: Notes, columns: Sequence[ColumnRule]) -> None:
        self.file, self.notes, self.columns = file, notes, columns
        self.wanted = ",".join(column.name for column in columns if not column.optional)
        self._present: list[tuple[int, ColumnRule]] = []
        self._width = 0
        self._decimals: dict[str, int] = {}

    def rows(self) -> Iterator[RowBlock]:
        """All rows, some MB at a time. Raises FileRefused at the first wrong line."""
        for number, chunk in self.file.lines():
            if b"\r" in chunk:
                chunk = chunk.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
            while not self._present and chunk:
                line, _, chunk = chunk.partition(b"\n")
                if line.strip():
                    self._read_header(line, number)
                number += 1
            rows = self._all_well(chunk, number) or self._cell_by_cell(chunk, number)
            if rows.line.size:
                yield rows

    def refusal(self, found: str, expected: str, line: int) -> FileRefused:
        return FileRefused(self.file.path, found, expected, f"line {line}")

    def without_rows(self) -> FileRefused:
        return FileRefused(
            self.file.path,
            "it has a header and no rows",
            Note("rows under '{wanted}'", wanted=self.wanted),
        )

    def _read_header(self, line: bytes, number: int) -> None:
        names = [cell.strip() for cell in self._cells(line, number)]
        known = {column.name: column for column in self.columns}
        for name in names:
            if name in known and names.count(name) > 1:
                found = Note(
                    "column '{name}' is there {name_2} times", name=name, name_2=names.count(name)
                )
                raise self.refusal(found, Note("the header '{wanted}'", wanted=self.wanted), number)
        missing = [c.name for c in self.columns if not c.optional and c.name not in names]
        if missing:
            found = Note(
                "column '{missing}' is missing from the header '{names}'",
                missing=missing[0],
                names=",".join(names),
            )
            raise self.refusal(found, Note("the header '{wanted}'", wanted=self.wanted), number)
        unknown = [name for name in names if name not in known]
        if unknown:
            self.notes.warnings.append(
                Note("Columns that are not used: {unknown}.", unknown=", ".join(unknown))
            )
        self._present = [(i, known[name]) for i, name in enumerate(names) if name in known]
        self._width = len(names)

    def _all_well(self, chunk: bytes, number: int) -> RowBlock | None:
        """Rows where every line is plain and right, else None."""
        if not chunk.endswith(b"\n"):
            chunk += b"\n"
        found: dict[str, list[NDArray[Any]]] = {column.name: [] for _, column in self._present}
        names: dict[bytes, int] = {}
        for text in _pieces(chunk):
            cells = PlainText(text).columns(self._width)
            if cells is None:
                return None
            for place, column in self._present:
                mine = cells[place]
                values = _names(mine, names) if column.is_text else _numbers(mine, column)
                if values is None:
                    return None
                found[column.name].append(values)
                if column.is_rounded:
                    self._count_decimals(column, mine.end - mine.points() - 1)
        whole = {name: np.concatenate(parts) for name, parts in found.items()}
        name_of = next(whole.pop(column.name) for _, column in self._present if column.is_text)
        line = np.arange(number, number + name_of.size)
        texts = [name.decode("ascii") for name in names]
        return RowBlock(whole, texts, name_of, line, dict(self._decimals))

    def _cell_by_cell(self, chunk: bytes, number: int) -> RowBlock:
        """Rows with blank lines, quotes or letters beyond ASCII; or the refusal."""
        kept: list[int] = []
        columns: dict[str, list[str]] = {column.name: [] for _, column in self._present}
        for at, line in enumerate(chunk.splitlines(), number):
            if not line.strip():
                continue
            cells = self._cells(line, at)
            if len(cells) != self._width:
                raise self.refusal(
                    Note(
                        "{count} cell{count_2} in '{line}'",
                        count=len(cells),
                        count_2="s" * (len(cells) != 1),
                        line=shown(line),
                    ),
                    Note(
                        "{width} cells as in the header, decimals with a point", width=self._width
                    ),
                    at,
                )
            for place, column in self._present:
                columns[column.name].append(self._checked(column, cells[place].strip(), at))
            kept.append(at)
        numbers: dict[str, Floats] = {}
        names: dict[str, int] = {}
        for _, column in self._present:
            mine = columns[column.name]
            if column.is_text:
                names = {name: code for code, name in enumerate(dict.fromkeys(mine))}
                name_of = np.array([names[name] for name in mine], np.int64)
            else:
                numbers[column.name] = np.array([float(c) if c else math.nan for c in mine])
                if column.is_rounded:
                    after = [len(cell) - 1 - cell.find(".") for cell in mine if "." in cell]
                    self._count_decimals(column, np.array(after, np.int64))
        line_of = np.array(kept, np.int64)
        return RowBlock(numbers, list(names), name_of, line_of, dict(self._decimals))

    def _cells(self, line: bytes, number: int) -> list[str]:
        try:
            text = line.decode("utf-8")
            return next(csv.reader([text], strict=True), [])
        except UnicodeDecodeError as error:
            found = Note("byte {start} of the line is not UTF-8 text", start=error.start + 1)
            raise self.refusal(found, "a CSV table saved as UTF-8", number) from None
        except csv.Error as error:
            raise self.refusal(f"{error} in '{shown(line)}'", "a line of CSV", number) from None

    def _checked(self, column: ColumnRule, cell: str, number: int) -> str:
        if column.is_text:
            right = 0 < len(cell) <= _MOST_LETTERS and cell.isprintable()
        elif not cell:
            right = column.may_be_empty
        else:
            right = _in_range(cell, column)
        if not right:
            found = f"'{shown(cell.encode())}'" if cell else "an empty cell"
            raise self.refusal(
                Note("{found} in column '{name}'", found=found, name=column.name),
                column.expected,
                number,
            )
        return cell

    def _count_decimals(self, column: ColumnRule, after: NDArray[np.int64]) -> None:
        """Take note of how many letters stand `after` the points."""
        known = self._decimals.get(column.name, 0)
        self._decimals[column.name] = int(np.max(after, initial=known))


def _pieces(chunk: bytes) -> Iterator[bytes]:
    """Lines, a quarter of a MB together, so that what is made of them stays in the cache."""
    low = 0
    while low < len(chunk):
        high = chunk.rfind(b"\n", low, low + _PIECE_BYTES) + 1 or chunk.find(b"\n", low) + 1
        yield chunk[low:high]
        low = high


def _names(cells: Cells, known: dict[bytes, int]) -> NDArray[np.int64] | None:
    """Which of the `known` names each cell is, new ones joining them; None where one is none."""
    names, name_of = cells.names(_MOST_NAMES, _MOST_LETTERS)
    if not names or not all(map(_plain_name, names)):
        return None
    return np.array([known.setdefault(name, len(known)) for name in names])[name_of]


def _numbers(cells: Cells, column: ColumnRule) -> Floats | None:
    """A column's cells as numbers; None where one is no number in range."""
    values, other = cells.numbers()
    try:
        for at in other.tolist():
            cell = cells[at]
            if cell or not column.may_be_empty:
                values[at] = float(cell)
                if b"_" in cell or math.isnan(values[at]):
                    return None
    except ValueError:
        return None
    filled = values[~np.isnan(values)]
    inside = filled.size == 0 or (filled.min() >= column.low and filled.max() <= column.high)
    return values if inside else None


def _in_range(cell: str, column: ColumnRule) -> bool:
    try:
        return "_" not in cell and column.low <= float(cell) <= column.high
    except ValueError:
        return False


def _plain_name(name: bytes) -> bool:
    return (
        name.isascii()
        and name.decode("ascii").isprintable()
        and name == name.strip()
        and b'"' not in name
        and 0 < len(name) <= _MOST_LETTERS
    )

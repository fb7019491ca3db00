"""The rows of a CSV table, checked cell by cell; numpy where a few MB are all well.

Tables of a few lines that a person types are read by the bench. This reader is for those that
a device wrote: millions of rows, at the speed of the disk.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivers.contract import FileRefused, Floats, Note, Notes
from drivers.source_file import SourceFile, shown

_MOST_LETTERS = 64
_COMMA, _LINE_END = b",\n"


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
        octets = np.frombuffer(chunk, np.uint8)
        marks = octets[(octets == _COMMA) | (octets == _LINE_END)]
        if marks.size % self._width:
            return None
        ends = marks.reshape(-1, self._width) == _LINE_END
        if not ends[:, -1].all() or ends[:, :-1].any():
            return None
        cells = chunk[:-1].replace(b"\n", b",").split(b",")
        numbers: dict[str, Floats] = {}
        names: dict[bytes, int] = {}
        for place, column in self._present:
            mine = cells[place :: self._width]
            if column.is_text:
                names = {name: code for code, name in enumerate(dict.fromkeys(mine))}
                if not all(map(_plain_name, names)):
                    return None
                name_of = np.fromiter(map(names.__getitem__, mine), np.int64, len(mine))
                continue
            values = _numbers(mine, column)
            if values is None:
                return None
            numbers[column.name] = values
            self._count_decimals(column, mine)
        line = np.arange(number, number + ends.shape[0])
        texts = [name.decode("ascii") for name in names]
        return RowBlock(numbers, texts, name_of, line, dict(self._decimals))

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
                self._count_decimals(column, [cell.encode() for cell in mine])
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

    def _count_decimals(self, column: ColumnRule, cells: Sequence[bytes]) -> None:
        if not column.is_rounded:
            return
        most = max((len(cell) - 1 - cell.find(b".") for cell in cells if b"." in cell), default=0)
        self._decimals[column.name] = max(most, self._decimals.get(column.name, 0))


def _numbers(cells: Sequence[bytes], column: ColumnRule) -> Floats | None:
    """A column's cells as numbers; None where one is not a plain number in range."""
    try:
        if column.may_be_empty:
            values = np.array([float(cell) if cell else math.nan for cell in cells])
        else:
            values = np.fromiter(map(float, cells), np.float64, len(cells))
    except ValueError:
        return None
    empty = np.isnan(values)
    if np.count_nonzero(empty) != (cells.count(b"") if column.may_be_empty else 0):
        return None
    filled = values[~empty]
    inside = filled.size == 0 or (filled.min() >= column.low and filled.max() <= column.high)
    return values if inside and b"_" not in b"".join(cells) else None


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

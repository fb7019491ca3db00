"""Tables as people type them: cells and numbers by column, and what was odd about a line."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum, auto

from workbench.base.errors import WrongInput
from workbench.base.statements import Statement, statement
from workbench.base.typed import LEAST, MOST

MOST_ROWS = 500
"""Nobody types as many. All runs of a table are judged together, and what that costs grows with
the third power of their number: 500 take seconds, 1 000 would take tens of them."""


class RowSays(StrEnum):
    """Where in a table something was found, what it was, and what was left out for it."""

    IN_TABLE = auto()
    AT_LINE = auto()
    AT_COLUMN = auto()
    COLUMNS_UNKNOWN = auto()
    LINE_UNREADABLE = auto()
    CELLS_TOO_MANY = auto()
    CELL_EMPTY = auto()
    CELL_NO_NUMBER = auto()


@dataclass(frozen=True, slots=True)
class TypedRow:
    """One line: its cells by column, '' where nothing stands; the numbers in those that should
    hold one, NaN where none does; and the unit typed behind a number, where one may be."""

    line: int
    cells: dict[str, str]
    numbers: dict[str, float]
    units: dict[str, str]

    def wrong(self, column: str) -> bool:
        """Whether something stands there that is no number."""
        return bool(self.cells.get(column)) and math.isnan(self.numbers[column])


@dataclass(frozen=True, slots=True)
class TypedRows:
    """The lines that hold data, the columns of the header, and what was odd."""

    header: list[str]
    rows: list[TypedRow]
    odd: list[Statement]


def at(table: str, line: int, found: Statement, column: str = "") -> Statement:
    """What was found in a line of a table, or in one of its cells."""
    if column:
        return statement(RowSays.AT_COLUMN, table=table, line=line, column=column, found=found)
    return statement(RowSays.AT_LINE, table=table, line=line, found=found)


def read_rows(
    text: str,
    name: str,
    *,
    needed: Sequence[str],
    known: Sequence[str],
    numbers: Mapping[str, Statement | None] | None = None,
    measured: Sequence[str] = (),
    most: int = MOST_ROWS,
    strict: bool = False,
) -> TypedRows:
    """Every line that holds data, by column.

    Commas, semicolons (with decimal commas) and tabs separate. `numbers` are the columns of
    numbers, each with what is left out for a cell that holds none (an empty one only of a
    `needed` column), None where the reader says so itself; `measured` those in which a unit may
    stand behind the number. Raises WrongInput for an
    empty table, one of more than `most` rows or a header without the `needed` columns; if
    `strict` for a line that is none, which is otherwise left out.
    """
    lines = [(n, line) for n, line in enumerate(text.lstrip("\ufeff").splitlines(), 1)]
    lines = [(n, line) for n, line in lines if holds_data(line)]
    wanted = ",".join(known)
    if not lines:
        raise WrongInput(
            "{table}: it is empty; expected a table with the header {header}.",
            table=name,
            header=wanted,
        )
    if len(lines) - 1 > most:
        raise WrongInput(
            "{table}: {count} rows; expected at most {most}.",
            table=name,
            count=len(lines) - 1,
            most=most,
        )
    (first, head), delimiter = lines[0], delimiter_of(lines[0][1])
    header = header_of(head, delimiter)
    empty = len(header) - len("|".join(header).rstrip("|").split("|"))
    header = header[: len(header) - empty]
    _check_header(name, first, head, header, needed, wanted)
    odd = []
    if unknown := [column for column in header if column not in known]:
        aside = statement(
            RowSays.COLUMNS_UNKNOWN, columns=tuple(unknown), count=len(unknown), known=wanted
        )
        odd.append(at(name, first, aside))
    rows: list[TypedRow] = []
    for n, line in lines[1:]:
        found = None
        try:
            cells = next(
                csv.reader([line], delimiter=delimiter, skipinitialspace=True, strict=strict)
            )
        except csv.Error:
            cells, found = [], statement(RowSays.LINE_UNREADABLE)
        surplus = cells[len(header) :]
        if any(cell.strip() for cell in surplus) or len(surplus) > empty + 1:
            found = statement(RowSays.CELLS_TOO_MANY, cells=len(cells), columns=len(header))
        if found is not None and strict:
            raise WrongInput(
                "{table}, line {line}: it is no line of a table with the header {header}.",
                table=name,
                line=n,
                header=wanted,
            )
        if found is not None:
            odd.append(at(name, n, found))
            continue
        if delimiter == ";":
            cells = [re.sub(r"^(\s*[+-]?\d*),(\d+)", r"\1.\2", cell) for cell in cells]
        cells += [""] * (len(header) - len(cells))
        named = dict(zip(header, (cell.strip() for cell in cells), strict=False))
        row = _row(n, named, numbers or {}, measured)
        odd += _no_numbers(name, row, numbers or {}, needed)
        rows.append(row)
    return TypedRows(header, rows, odd)


def _row(
    line: int, cells: dict[str, str], columns: Iterable[str], measured: Sequence[str]
) -> TypedRow:
    numbers, units = {}, {}
    for column in columns:
        cell = cells.get(column, "")
        if column in measured:
            cell, units[column] = _number_and_unit(cell)
        numbers[column] = number_or_nan(cell)
    return TypedRow(line, cells, numbers, units)


def _no_numbers(
    name: str, row: TypedRow, numbers: Mapping[str, Statement | None], needed: Sequence[str]
) -> list[Statement]:
    told = []
    for column, so in numbers.items():
        if so is None or not math.isnan(row.numbers[column]):
            continue
        if cell := row.cells.get(column, ""):
            found = statement(RowSays.CELL_NO_NUMBER, cell=cell, so=so)
            told.append(at(name, row.line, found, column))
        elif column in needed:
            told.append(at(name, row.line, statement(RowSays.CELL_EMPTY, so=so), column))
    return told


def _number_and_unit(cell: str) -> tuple[str, str]:
    """'2.5 mph' → ('2.5', 'mph'); a cell that does not begin with a number stays whole."""
    match = re.fullmatch(r"([+-]?[\d.]+(?:e[+-]?\d+)?)\s*([a-z/].*)", cell, re.IGNORECASE)
    return (match[1], match[2].strip()) if match else (cell, "")


def _check_header(
    name: str, line: int, head: str, header: Sequence[str], needed: Sequence[str], wanted: str
) -> None:
    for column in needed:
        if column not in header:
            raise WrongInput(
                "{table}, line {line}: no column '{column}' in '{found}'; expected the header "
                "{header}.",
                table=name,
                line=line,
                column=column,
                found=head.strip()[:80],
                header=wanted,
            )
    if len(set(header)) < len(header):
        raise WrongInput(
            "{table}, line {line}: a column stands twice in the header.", table=name, line=line
        )


def holds_data(line: str) -> bool:
    """Whether a line is neither empty nor a remark."""
    return bool(line.strip(" \t,;\ufeff")) and not line.lstrip().startswith("#")


def delimiter_of(head: str) -> str:
    """What separates the cells of a table that begins with `head`."""
    return max(",;\t", key=head.count)


def header_of(head: str, delimiter: str) -> list[str]:
    """The columns' names, in small letters."""
    return [cell.strip().strip('"').lower() for cell in head.lstrip("\ufeff").split(delimiter)]


def number(cell: str) -> float:
    """The number in a cell; NaN for none. Raises ValueError for anything else, and for what no
    measurement is, such as 1e98."""
    if not cell:
        return math.nan
    value = float(cell)
    if "_" in cell or not (value == 0 or LEAST <= abs(value) <= MOST):
        raise ValueError(cell)
    return value


def number_or_nan(cell: str) -> float:
    """The number in a cell, NaN where it holds anything else."""
    try:
        return number(cell)
    except ValueError:
        return math.nan

"""How a command speaks: one JSON object, or a table for a person."""

from __future__ import annotations

import math
import sys
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from workbench.records.jsonable import to_text


def print_json(answer: Mapping[str, Any]) -> None:
    """One JSON object on stdout."""
    print(to_text(answer))


def print_table(
    title: str, rows: Iterable[Sequence[str]], header: Sequence[str] | None = None
) -> None:
    """A table of text for a person on stdout."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(title=title, title_justify="left", show_header=header is not None, box=None)
    rows = [list(row) for row in rows]
    for column in header or [""] * max((len(row) for row in rows), default=1):
        table.add_column(column)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    Console(file=sys.stdout, highlight=False, soft_wrap=True).print(table)


def print_warnings(warnings: Iterable[str]) -> None:
    """Each warning as a line on stderr."""
    for warning in warnings:
        print(f"note: {warning}", file=sys.stderr)


def with_uncertainty(value: float, U: float, unit: str = "", k: float = 2.0) -> str:
    """'1.2034 ± 0.0021 m/s (k = 2)': two digits of the uncertainty, and no more of the value."""
    if not math.isfinite(value):
        return "no value"
    tail = f" {unit}" if unit else ""
    if not (math.isfinite(U) and U > 0):
        return f"{value:.4g}{tail}"
    digits = max(0, 1 - math.floor(math.log10(U)))
    return f"{value:z.{digits}f} ± {U:.{digits}f}{tail} (k = {k:.3g})"

"""One table of all that was measured: each figure, its limit or the peer it is held against."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # some benchmarks share cases


@dataclass(frozen=True)
class Row:
    """A figure that must be at most `limit`, or at least it; `peer` says what the limit is of."""

    what: str
    figure: float
    limit: float
    unit: str
    peer: str
    at_most: bool

    @property
    def holds(self) -> bool:
        return self.figure <= self.limit if self.at_most else self.figure >= self.limit


ROWS = pytest.StashKey[list[Row]]()


class Figures:
    """Holds a figure against its limit; whether it holds or not, it stands in the table."""

    def __init__(self, rows: list[Row]) -> None:
        self._rows = rows

    def at_most(self, what: str, figure: float, limit: float, unit: str, peer: str = "") -> None:
        self._hold(Row(what, float(figure), float(limit), unit, peer, at_most=True))

    def at_least(self, what: str, figure: float, limit: float, unit: str, peer: str = "") -> None:
        self._hold(Row(what, float(figure), float(limit), unit, peer, at_most=False))

    def _hold(self, row: Row) -> None:
        self._rows.append(row)
        assert row.holds, row


def pytest_configure(config):
    config.stash[ROWS] = []


@pytest.fixture
def figures(request):
    return Figures(request.config.stash[ROWS])


def pytest_terminal_summary(terminalreporter, config):
    rows = config.stash[ROWS]
    if not rows:
        return
    cells = [("figure", "", "limit", "of limit", "held against")]
    for row in rows:
        limit = f"{'≤' if row.at_most else '≥'} {row.limit:.3g}"
        share = row.figure / row.limit if row.limit else float("nan")
        mark = "" if row.holds else "  MISSED"
        cells.append(
            (row.what, f"{row.figure:.3g} {row.unit}", limit, f"{share:.2f}{mark}", row.peer)
        )
    widths = [max(len(line[at]) for line in cells) for at in range(5)]
    terminalreporter.section("figures")
    for line in cells:
        told = "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))
        terminalreporter.line(told.rstrip())

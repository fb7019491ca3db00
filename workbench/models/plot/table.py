"""The numbers of a plot as a table: a column of times (or speeds) and the values at them."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from itertools import zip_longest
from pathlib import Path

import numpy as np

from workbench.base.files import replacing
from workbench.models.progress import Progress
from workbench.words.pictures.picture import Column

ROWS = 20_000
"""Rows written between two looks at the progress."""


def write_table(
    columns: Sequence[Column],
    path: Path,
    progress: Progress | None = None,
    *,
    simulated: bool = False,
) -> Path:
    """Write lines as CSV; lines that share their places share that column, no value is blank.

    The heads of `simulated` values begin with 'Simulated'. Raises StoreError where the file
    cannot be written; nothing half written is left.
    """
    groups = _grouped(columns)
    heads = [
        text
        for group in groups
        for text in (
            group[0].x_head if len(groups) == 1 else f"{group[0].x_head} ({group[0].head})",
            *(f"Simulated {column.head}" if simulated else column.head for column in group),
        )
    ]
    longest = max((group[0].x.size for group in groups), default=0)
    with replacing(path) as fresh, fresh.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(heads)
        for start in range(0, longest, ROWS):
            if progress is not None:
                progress(start / longest)
            part = slice(start, start + ROWS)
            rows.writerows(zip_longest(*_texts(groups, part), fillvalue=""))
    return path


def _grouped(columns: Sequence[Column]) -> list[list[Column]]:
    groups: list[list[Column]] = []
    for column in columns:
        group = next((g for g in groups if np.array_equal(g[0].x, column.x)), None)
        if group is None:
            groups.append([column])
        else:
            group.append(column)
    return groups


def _texts(groups: Sequence[Sequence[Column]], part: slice) -> list[list[str]]:
    texts = []
    for group in groups:
        texts.append([f"{x:.6f}" for x in group[0].written[part].tolist()])
        for column in group:
            values = (column.y[part] * column.factor).tolist()
            texts.append(["" if value != value else f"{value:.7g}" for value in values])
    return texts

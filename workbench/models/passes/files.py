"""What can be saved of a judged pass: its report, its figures as a table, its way.

Slow: call these away from the screen. All raise BenchError.
"""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.base.errors import WrongInput
from workbench.base.files import write_file
from workbench.models.passes.judge import Judged
from workbench.words.language import _
from workbench.words.words import Words

if TYPE_CHECKING:
    from workbench.reports.document import Document

HEAD = ("time_s", "belt_mps", "ground_mps", "ratio", "separation_m")


def file_kinds() -> str:
    """What the file dialog offers."""
    return _(
        "Report (*.pdf *.html *.json);;Speeds as a table (*.csv);;Way over the field (*.geojson)"
    )


def save(judged: Judged, path: Path, words: Words) -> str:
    """Write what the name's ending says; the sentence of what was done."""
    ending = path.suffix.lower()
    if ending == ".csv":
        _write_table(judged, path)
    elif ending == ".geojson":
        from workbench.reports.passes.way import write_way

        write_way(judged.answer, path)
    else:
        from workbench.reports.document import render

        render(_document(judged, words), path)
    return _("Saved as {name}.").format(name=path.name)


def pages(judged: Judged, words: Words, ppi: float) -> list[bytes]:
    """The report's pages as pictures (PNG) with `ppi` pixels an inch."""
    from workbench.reports.document import render_pages

    return render_pages(_document(judged, words), ppi)


def _document(judged: Judged, words: Words) -> Document:
    from workbench.reports.made import made_in
    from workbench.reports.passes.report import pass_document
    from workbench.reports.testified import testified

    made = made_in(judged.store, () if judged.number is None else (judged.number,))
    paper = pass_document(judged.answer, judged.machine, words, made, judged.earlier)
    return testified(paper, judged.store, judged.number)


def _write_table(judged: Judged, path: Path) -> None:
    """What the drift plot shows, in SI; a blank where a moment was left out."""
    rows = judged.answer.series.rows().tolist()
    if not rows:
        raise WrongInput("This pass holds no speeds on one line of time, so there is no table.")
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(HEAD)
    for at_s, belt, ground, apart in rows:
        ratio = belt / ground if ground else math.nan
        table.writerow(
            [
                f"{value:.6g}" if math.isfinite(value) else ""
                for value in (at_s, belt, ground, ratio, apart)
            ]
        )
    write_file(path, text.getvalue(), WrongInput)

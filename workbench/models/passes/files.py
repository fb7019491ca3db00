"""What can be saved of a judged pass: its report, its figures as a table, its way.

Slow: call these away from the screen. All raise BenchError.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

from workbench.base.errors import WrongInput
from workbench.base.files import replacing
from workbench.models.passes.judge import Judged
from workbench.words.passes import pass_rows

FILTER = "Report (*.pdf *.html *.json);;Speeds as a table (*.csv);;Way over the field (*.geojson)"
HEAD = ("time_s", "belt_mps", "ground_mps", "ratio", "separation_m")


def save(judged: Judged, path: Path) -> str:
    """Write what the name's ending says; the sentence of what was done."""
    ending = path.suffix.lower()
    if ending == ".csv":
        _write_table(judged, path)
    elif ending == ".geojson":
        from workbench.cli.passes import write_track

        write_track(judged.answer, str(path))
    else:
        from workbench.reports.document import render
        from workbench.reports.passes.report import pass_document

        render(pass_document(judged.answer, judged.machine, judged.earlier), path)
    return f"Saved as {path.name}."


def pages(judged: Judged, ppi: float) -> list[bytes]:
    """The report's pages as pictures (PNG) with `ppi` pixels an inch."""
    from workbench.reports.document import render_pages
    from workbench.reports.passes.report import pass_document

    return render_pages(pass_document(judged.answer, judged.machine, judged.earlier), ppi)


def _write_table(judged: Judged, path: Path) -> None:
    """What the drift plot shows, in SI; a blank where a moment was left out."""
    rows = pass_rows(judged.answer)
    if not rows:
        raise WrongInput("This pass holds no speeds on one line of time, so there is no table.")
    with (
        replacing(path, WrongInput) as fresh,
        fresh.open("w", newline="", encoding="utf-8") as file,
    ):
        table = csv.writer(file)
        table.writerow(HEAD)
        for at_s, belt, ground, apart in rows:
            ratio = belt / ground if ground else math.nan
            values = (at_s, belt, ground, ratio, apart)
            table.writerow([f"{one:.6g}" if math.isfinite(one) else "" for one in values])

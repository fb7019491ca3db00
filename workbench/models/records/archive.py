"""What can be done with one thing that is kept: open, judge again, verify, export.

Every function opens the store for itself and may be slow: call it away from the screen.
All raise BenchError; those with `progress` end early, nothing half done, where it raises.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from workbench.base.errors import StoreError, WrongInput
from workbench.base.files import write_file
from workbench.models.progress import Progress
from workbench.models.records.speed_lines import damage_words
from workbench.records.entries import StoredResult
from workbench.records.jsonable import to_text
from workbench.records.store import open_store

REPORTED = ("pass", "calibrate", "gap")
"""Kinds of result that have a report."""


def result(store: str | None, number: int) -> StoredResult:
    """One result, its checksum looked at."""
    with open_store(store) as opened:
        return opened.result(number)


def results(store: str | None, numbers: Sequence[int]) -> list[StoredResult]:
    """Several results, each one's checksum looked at."""
    with open_store(store) as opened:
        return [opened.result(number) for number in numbers]


def judge_pass(store: str | None, number: int, belt: str, ground: str, progress: Progress) -> int:
    """Judge a recording as a pass and keep the answer; its number."""
    from workbench.cli.passes import compute

    options = {"belt": belt or None, "ground": ground or None}
    options |= dict.fromkeys(("oil_c", "moved", "course"))
    return _judge(store, number, "pass", compute, options, progress)


def measure_speed(store: str | None, number: int, channel: str, progress: Progress) -> int:
    """Measure a recording's belt speed and keep the answer; its number."""
    from workbench.jobs.keep import keep
    from workbench.jobs.source import stored_source
    from workbench.jobs.speed.answer import SpeedOptions
    from workbench.jobs.speed.compute import compute

    options = SpeedOptions(channel or None)
    progress(words="Reading the recording …")
    source = stored_source(number, None, store)
    progress(words="Computing …")
    answer = compute(source.recording, source.machine, options)
    progress(words="Keeping the result …")
    return keep("speed", answer, options, source).number or 0


def _judge(
    store: str | None,
    number: int,
    kind: str,
    compute: Any,
    options: dict[str, Any],
    progress: Progress,
) -> int:
    from workbench.jobs.source import finish, stored_source

    progress(words="Reading the recording …")
    source = stored_source(number, None, store)
    progress(words="Computing …")
    answer = compute(source.recording, source.machine, options)
    progress(words="Keeping the result …")
    return int(finish(kind, answer, source, options)["result"])


def verify_result(store: str | None, number: int, progress: Progress | None = None) -> str:
    """Compute a result again; a sentence on what was checked and whether it is the same."""
    from workbench.jobs.verify import verify

    with open_store(store) as opened:
        if progress is not None:
            progress(words=f"Computing result {number} again …")
        found = verify(opened, number)
    if found.recording:
        source = f"recording {found.recording}, whose every block is as it was written"
    else:
        source = f"the table '{found.table}' kept with it"
    if found.verified:
        return (
            f"Result {number} is verified: its seal is whole, and computed again from {source}, "
            "it is the same in every field."
        )
    fields = ", ".join(one.field for one in found.differences[:3])
    more = len(found.differences) - 3
    tail = f" and {more} more" if more > 0 else ""
    return f"Result {number} is NOT what its source gives today: {fields}{tail} differ."


def verify_recording(store: str | None, number: int, progress: Progress | None = None) -> str:
    """Check every block of a recording against its checksum, and the whole against its seal."""
    with open_store(store) as opened:
        sealed = opened.recording(number).sha256
        sha256 = opened.recording_sha256(number, progress)
    if not sealed:
        return (
            f"Recording {number} was never ended, so it has no seal; every block in it is as it "
            "was written."
        )
    return (
        f"Recording {number} is verified: every block matches its checksum and the whole its "
        f"seal {sha256[:12]}…"
    )


def verify_all(store: str | None, progress: Progress) -> str:
    """Check every recording and result; a sentence on all, or on what is wrong."""
    with open_store(store) as opened:
        wrong = list(opened.check(progress))
        recordings = len(opened.recordings())
        results = sum(not card.deleted_utc for card in opened.cards())
    if wrong:
        more = f" {len(wrong) - 1} more are not as written." if len(wrong) > 1 else ""
        return f"{wrong[0]}{more}"
    return (
        f"All is as it was written: {recordings} recordings by checksum and seal, {results} "
        "results by their seal."
    )


def export_result(store: str | None, number: int, path: Path, units: str) -> str:
    """Write a result's report as .pdf, .html or .json; a sentence on what was written.

    `units` 'us' or 'metric'. Raises WrongInput for another ending; a belt speed has no
    report and is written as .json alone.
    """
    from workbench.cli.report import document_of
    from workbench.reports.document import check_report_path, render

    check_report_path(path)
    stored = result(store, number)
    if path.suffix.casefold() == ".json" and stored.kind not in REPORTED:
        write_file(path, to_text({"result": number, **stored.answer}) + "\n")
        return f"Saved as {path.name}."
    document = document_of(stored, {**stored.options, "units": units})
    return f"Saved as {Path(render(document, path)).name}."


def export_recording(store: str | None, number: int, path: Path, progress: Progress) -> str:
    """Write a recording's tables beside `path`; a sentence on what was written.

    A damaged one gives what can be read. Tables appear once all of them are whole; none is
    written over another file.
    """
    from workbench.records.tables import TABLES, write_csv

    damage: list[str] = []
    with open_store(store) as opened:
        recording = opened.load_recording(number, damage.append, progress)
    tables = {name: make(recording) for name, make in TABLES.items()}
    filled = {name: table for name, table in tables.items() if table.rows}
    if not filled:
        raise WrongInput(f"Recording {number} holds neither pulses nor values.")
    targets = {name: path.with_name(f"{path.stem}-{name}.csv") for name in filled}
    there = [target.name for target in targets.values() if target.exists()]
    if there:
        raise WrongInput(
            f"{', '.join(there)} is there already and is not overwritten; choose another name."
        )
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=".evenpace-") as folder:
            for at, (name, table) in enumerate(filled.items()):
                progress(at / len(filled), f"Writing the {name} …")
                write_csv(table, Path(folder) / name)
            progress(1.0)
            for name, target in targets.items():
                (Path(folder) / name).replace(target)
    except OSError as error:
        raise StoreError(f"{path.parent} cannot be written to: {error.strerror}.") from None
    names = ", ".join(target.name for target in targets.values())
    return " ".join([f"Saved as {names}.", *damage_words(damage, "Written")])

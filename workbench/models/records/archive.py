"""What can be done with one thing that is kept: open, judge again, verify, export.

Every function opens the store for itself and may be slow: call it away from the screen.
All raise BenchError; those with `progress` end early, nothing half done, where it raises.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from workbench.base.errors import BenchError, Message
from workbench.base.files import write_file
from workbench.jobs.at_hand import judge_with_prepared
from workbench.jobs.export import export_tables
from workbench.jobs.keep import any_answer, judged_before
from workbench.jobs.particulars import particulars_in
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.source import stored_source
from workbench.jobs.speed.answer import SpeedOptions
from workbench.jobs.verify import verify
from workbench.models.progress import Progress
from workbench.records.backup import back_up, restore
from workbench.records.entries import StoredResult
from workbench.records.jsonable import to_text
from workbench.records.store import open_store
from workbench.reports.document import check_report_path, render
from workbench.reports.stored import REPORTED, document_of
from workbench.reports.testified import testified
from workbench.words.language import _, ngettext
from workbench.words.view import json_view
from workbench.words.words import Words


def result(store: str | None, number: int) -> StoredResult:
    """One result, its checksum looked at."""
    with open_store(store) as opened:
        return opened.result(number)


def judge_pass(store: str | None, number: int, options: PassOptions, progress: Progress) -> int:
    """Judge a recording as a pass and keep the answer; its number."""
    return _judge(store, number, "pass", options, progress)


def measure_speed(store: str | None, number: int, channel: str, progress: Progress) -> int:
    """Measure a recording's belt speed and keep the answer; its number."""
    return _judge(store, number, "speed", SpeedOptions(channel or None), progress)


def _judge(store: str | None, number: int, kind: str, options: Any, progress: Progress) -> int:
    progress(words=Message("Reading the recording …"))
    source = stored_source(number, None, store)
    said = judged_before(kind, number, store)[1]
    progress(words=Message("Computing …"))
    return judge_with_prepared(kind, source, options, said)[1].number or 0


def verify_result(store: str | None, number: int, progress: Progress | None = None) -> str:
    """Compute a result again; a sentence on what was checked and whether it is the same."""
    with open_store(store) as opened:
        if progress is not None:
            progress(words=Message("Computing result {number} again …", number=number))
        found = verify(opened, number)
    if not found.verified:
        fields = ", ".join(one.field for one in found.differences[:3])
        more = len(found.differences) - 3
        if more > 0:
            fields = _("{fields} and {more} more").format(fields=fields, more=more)
        return _("Result {number} is NOT what its source gives today: {fields} differ.").format(
            number=number, fields=fields
        )
    if found.recording:
        return _(
            "Result {number} is verified: its seal is whole, and computed again from recording "
            "{recording}, whose every block is as it was written, it is the same in every field."
        ).format(number=number, recording=found.recording)
    return _(
        "Result {number} is verified: its seal is whole, and computed again from the table "
        "'{table}' kept with it, it is the same in every field."
    ).format(number=number, table=found.table)


def verify_recording(store: str | None, number: int, progress: Progress | None = None) -> str:
    """Check every block of a recording against its checksum, and the whole against its seal."""
    with open_store(store) as opened:
        sealed = opened.recording(number).sha256
        sha256 = opened.recording_sha256(number, progress)
    if not sealed:
        return _(
            "Recording {number} was never ended, so it has no seal; every block in it is as it "
            "was written."
        ).format(number=number)
    return _(
        "Recording {number} is verified: every block matches its checksum and the whole its "
        "seal {seal}…"
    ).format(number=number, seal=sha256[:12])


def verify_all(store: str | None, progress: Progress) -> str:
    """Look through the whole store; sentences on all, or on what is wrong, and on what should be
    known besides."""
    with open_store(store) as opened:
        found = opened.check(progress)
    if wrong := found.problems:
        more = ngettext(
            "{count} more is not as written.", "{count} more are not as written.", len(wrong) - 1
        ).format(count=len(wrong) - 1)
        return " ".join([Words().say(wrong[0]), *([more] if len(wrong) > 1 else [])])
    said = _(
        "All is as it was written: {recordings} recordings by checksum and seal, {results} results "
        "by their seal and their card, and every one by the {entries} entries of the ledger."
    ).format(recordings=found.recordings, results=found.results, entries=found.entries)
    return " ".join([said, *Words().say_all(found.notes)])


def back_up_all(store: str | None, folder: Path, progress: Progress) -> str:
    """Copy the whole store to a file in a folder and read it back; a sentence on the copy."""
    made = back_up(store, folder, progress)
    size_mb = made.size_bytes / 1e6
    if wrong := made.found.problems:
        said = _("A copy is at {path} ({size:.1f} MB), as damaged as the store itself: {problem}")
        return said.format(path=made.path, size=size_mb, problem=Words().say(wrong[0]))
    return _(
        "A copy is at {path} ({size:.1f} MB), read back whole: {recordings} recordings and "
        "{results} results."
    ).format(
        path=made.path,
        size=size_mb,
        recordings=made.found.recordings,
        results=made.found.results,
    )


def restore_all(store: str | None, backup: Path, progress: Progress) -> str:
    """Put a copy in the store's place; a sentence on what stands there now and what stood."""
    made = restore(backup, store, progress)
    said = _("Restored from {name}: {recordings} recordings and {results} results.").format(
        name=backup.name, recordings=made.found.recordings, results=made.found.results
    )
    if made.set_aside is None:
        return said
    before = _("What was kept before is set aside in {path}.").format(path=made.set_aside)
    return f"{said} {before}"


def export_result(store: str | None, number: int, path: Path, words: Words) -> str:
    """Write a result's report as .pdf, .html or .json, of a calibration also as .xml; a sentence
    on what was written.

    Raises WrongInput for another ending; a belt speed has no report and is written as .json
    alone.
    """
    check_report_path(path, digital=True)
    stored = result(store, number)
    if path.suffix.casefold() == ".json" and stored.kind not in REPORTED:
        said = particulars_in(stored.said).view
        view = {"result": number, **json_view(any_answer(stored), words), **said}
        write_file(path, to_text(view) + "\n")
    else:
        render(testified(document_of(stored, words), store, number), path)
    return _("Saved as {name}.").format(name=path.name)


def export_recording(store: str | None, number: int, path: Path, progress: Progress) -> str:
    """Write a recording's tables beside `path`; a sentence on what was written.

    A damaged one gives what can be read. Tables appear once all of them are whole; none is
    written over another file.
    """
    with open_store(store) as opened:
        done = export_tables(opened, number, path, progress)
    names = ", ".join(file.name for file in done.files)
    return " ".join([_("Saved as {name}.").format(name=names), *damage_sentences(done.damage)])


def damage_sentences(found: Sequence[BenchError]) -> list[str]:
    """That only a part of a recording is there, however many blocks are damaged."""
    if not found:
        return []
    said = [_("What can still be read is here."), Words().say(found[0])]
    if more := len(found) - 1:
        so = ngettext("So is {count} more.", "So are {count} more.", more)
        said.append(so.format(count=more))
    return [" ".join(said)]

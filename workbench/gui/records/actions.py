"""Does what is asked for on the page Records with the lines chosen, away from the screen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from workbench.base.errors import Message
from workbench.gui.work_line import WorkLine
from workbench.jobs.passes.answer import PassOptions
from workbench.models.bench import Bench
from workbench.models.open_file import open_files
from workbench.models.progress import Progress
from workbench.models.records import archive, listing
from workbench.models.records.listing import RecordEntry
from workbench.words.language import _
from workbench.words.words import Words

Key = tuple[bool, int]


class RecordActions:
    """`chosen` tells the lines chosen, none while the list is read again: then nothing is done.

    `say` says a sentence; `reload` reads the list again and then chooses a line, or none in
    particular. `deleted` holds what was deleted and may come back.
    """

    def __init__(
        self,
        bench: Bench,
        works: WorkLine,
        chosen: Callable[[], list[RecordEntry]],
        say: Callable[[str], object],
        reload: Callable[[Key | None], object],
    ) -> None:
        self._bench, self._works = bench, works
        self._chosen, self._say, self._reload = chosen, say, reload
        self.deleted: list[list[RecordEntry]] = []

    def judge(self, options: PassOptions) -> None:
        """Judge the recording chosen, or that of the result chosen, and open the answer."""
        entry = self._first()
        if entry is None:
            return
        number = entry.recording if entry.is_result else entry.number
        if number is not None:
            work = partial(archive.judge_pass, self._bench.store, number, options)
            self._work(work, self._judged, Message("Judging the pass …"))

    def measure(self, channel: str) -> None:
        """Measure the recording's belt speed and open the answer."""
        entry = self._first()
        if entry is not None:
            work = partial(archive.measure_speed, self._bench.store, entry.number, channel)
            self._work(work, self._judged, Message("Measuring the belt's speed …"))

    def verify(self) -> None:
        """Check what is chosen against its seal, a result by computing it again."""
        entry = self._first()
        if entry is None:
            return
        verify = archive.verify_result if entry.is_result else archive.verify_recording
        self._work(
            partial(verify, self._bench.store, entry.number), self._say, Message("Verifying …")
        )

    def verify_all(self) -> None:
        """Check everything that is in sight."""
        work = partial(archive.verify_all, self._bench.store)
        self._work(work, self._say, Message("Verifying everything …"))

    def back_up(self, folder: Path) -> None:
        """Copy all that is kept to a file in a folder, and read it back."""
        work = partial(archive.back_up_all, self._bench.store, folder)
        self._work(work, self._say, Message("Copying everything …"))

    def restore(self, backup: Path) -> None:
        """Put a copy in the place of what is kept; that is set aside."""
        if self._bench.recording.running:
            self._bench.tell(_("A recording is under way; stop it on Signals first."))
            return

        def done(said: str) -> None:
            self._bench.tell(said)  # it stays until it is read
            self.deleted.clear()
            self._reload(None)

        work = partial(archive.restore_all, self._bench.store, backup)
        self._work(work, done, Message("Restoring …"))

    def describe(self, title: str, note: str) -> None:
        """Keep what the person calls the line chosen."""
        entry = self._first()
        if entry is not None:
            work = partial(listing.describe, self._bench.store, entry, title, note)
            self._works.add(work, lambda _done: self._reload(None), self._say)

    def delete(self) -> None:
        """Put what is chosen out of sight."""
        entries = self._chosen()
        if not entries:
            return

        def done(_done: None) -> None:
            self.deleted.append(entries)
            self._say("")
            self._reload(None)

        work = partial(listing.hide, self._bench.store, entries, hidden=True)
        self._works.add(work, done, self._say)

    def undo_delete(self) -> None:
        """Bring back what was deleted last."""
        if self.deleted:
            self.bring_back(self.deleted[-1])

    def bring_back(self, entries: Sequence[RecordEntry]) -> None:
        """Bring these back, and choose the first of them."""
        if not entries:
            return
        back = {entry.key for entry in entries}

        def done(_done: None) -> None:
            self.deleted = [
                some for some in self.deleted if not back & {entry.key for entry in some}
            ]
            self._reload(entries[0].key)

        work = partial(listing.hide, self._bench.store, entries, hidden=False)
        self._works.add(work, done, self._say)

    def export_to(self, path: Path) -> None:
        """Write what is chosen: a recording as tables, a result as a report."""
        entry, store = self._first(), self._bench.store
        if entry is None:
            return
        if entry.is_result:
            words = Words(self._bench.settings.units)
            report = partial(archive.export_result, store, entry.number, path, words)
            self._work(lambda _: report(), self._say, Message("Writing {name} …", name=path.name))
        else:
            tables = partial(archive.export_recording, store, entry.number, path)
            self._work(tables, self._say, Message("Exporting …"))

    def keep_files(self, paths: Sequence[Path]) -> None:
        """Import recorded files, those that are not kept yet."""
        store, machine = self._bench.store, self._bench.machine
        for path in paths:
            self._work(
                partial(open_files, "recording", [path], store, machine),
                lambda opened: self._reload((False, opened.number)),
                Message("Reading {name} …", name=path.name),
            )

    def _first(self) -> RecordEntry | None:
        return next(iter(self._chosen()), None)

    def _judged(self, number: int) -> None:
        self._reload((True, number))

    def _work(
        self, work: Callable[[Progress], Any], done: Callable[[Any], object], words: Message
    ) -> None:
        progress = Progress(words)
        self._say("")
        self._works.add(lambda: work(progress), done, self._say, progress)

"""Opens what is chosen on the page Records, away from the screen, and shows it in the panel."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

from workbench.base.errors import Message
from workbench.gui.records.panel import RecordPanel
from workbench.gui.work_line import WorkLine
from workbench.models.bench import Bench
from workbench.models.progress import Progress
from workbench.models.records import archive
from workbench.models.records.listing import RecordEntry
from workbench.models.records.speed_lines import SpeedLines, newest_lines, speed_lines
from workbench.records.entries import StoredResult
from workbench.words.language import N_, _

UNLIKE = N_("A recording is compared with a recording, and a result with a result.")
MANY = N_("Two lines can be compared. Any number can be deleted together.")
RUNS = N_("It is being recorded now; shown is what is kept so far.")
NEWEST = N_("These are its last minutes; the whole of it is being read.")
NO_SPEEDS = N_("This recording holds no speeds to draw.")


class RecordOpener:
    """What was being opened is given up as soon as something else is."""

    def __init__(
        self, bench: Bench, works: WorkLine, panel: RecordPanel, say: Callable[[str], object]
    ) -> None:
        self._bench, self._works, self._panel, self._say = bench, works, panel, say
        self._progress = Progress("")
        self._running = False

    def cancel(self) -> None:
        """Open nothing more."""
        self._progress.cancel()

    def open(self, chosen: Sequence[RecordEntry]) -> None:
        """Open one, or two side by side; say why where that cannot be."""
        self.cancel()
        self._say("")
        self._panel.head(chosen[0] if len(chosen) == 1 else None)
        if any(entry.deleted_utc for entry in chosen):
            self._panel.show_words(_gone(chosen))
        elif len(chosen) == 1:
            self._open_one(chosen[0])
        elif len(chosen) > 2:
            self._panel.show_words(MANY)
        elif chosen[0].is_result is not chosen[1].is_result:
            self._panel.show_words(UNLIKE)
        else:
            self._open_two(*sorted(chosen, key=lambda one: one.when_utc))

    def _open_one(self, entry: RecordEntry) -> None:
        store, number = self._bench.store, entry.number
        if entry.is_result:
            self._load(lambda _progress: archive.result(store, number), self._show_result)
            return
        self._running = entry.running
        progress = self._load(lambda _progress: newest_lines(store, number), self._show_newest)
        self._load(partial(speed_lines, store, number), self._show_speeds, progress)

    def _open_two(self, first: RecordEntry, second: RecordEntry) -> None:
        store, numbers = self._bench.store, (first.number, second.number)
        self._panel.compare.name(first, second)
        if first.is_result:
            self._load(
                lambda _progress: [archive.result(store, one) for one in numbers],
                self._show_results,
            )
        else:
            self._load(
                lambda progress: [speed_lines(store, one, progress) for one in numbers],
                self._show_recordings,
            )

    def _load(
        self,
        work: Callable[[Progress], Any],
        done: Callable[[Any], object],
        progress: Progress | None = None,
    ) -> Progress:
        """Show what comes of a work; its progress, that of the work before where it goes on."""
        progress = self._progress = progress or Progress(Message("Opening …"))

        def opened() -> Any:
            progress()
            return work(progress)

        def seen(outcome: Any) -> None:
            if not progress.cancelled:
                done(outcome)

        def failed(said: str) -> None:
            if progress is self._progress:
                self._panel.show_words(said)

        self._works.add(opened, seen, failed, progress)
        return progress

    def _show_result(self, stored: StoredResult) -> None:
        self._panel.show_result(stored, self._bench.settings.units)

    def _show_newest(self, lines: SpeedLines | None) -> None:
        if lines is not None and lines.lines:
            self._panel.show_speeds(lines, self._bench.settings.units)
            self._say(_(NEWEST))

    def _show_speeds(self, lines: SpeedLines) -> None:
        notes = "  ".join([_(RUNS), *lines.notes] if self._running else lines.notes)
        if lines.lines:
            units = self._bench.settings.units
            self._panel.show_speeds(lines, units)
            self._say(notes)
        else:
            self._panel.show_words(f"{_(NO_SPEEDS)} {notes}".strip())

    def _show_results(self, both: Sequence[StoredResult]) -> None:
        self._panel.compare.show_results(both[0], both[1], self._bench.settings.units)
        self._panel.show_compared()

    def _show_recordings(self, both: Sequence[SpeedLines]) -> None:
        self._panel.compare.show_recordings(both[0], both[1], self._bench.settings.units)
        self._panel.show_compared()


def _gone(entries: Sequence[RecordEntry]) -> str:
    if len(entries) > 1:
        return _("These are deleted. Bring them back to look at them.")
    if entries[0].with_recording:
        return _(
            "This went with recording {recording}, which is deleted. Bringing it back brings back "
            "the recording."
        ).format(recording=entries[0].recording)
    return _("This is deleted. Bring it back to look at it; nothing of it is lost.")

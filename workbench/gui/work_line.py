"""Slow works of one page, one after the other, none lost while another is busy.

How a page uses it:

    self._works = WorkLine(self)
    column.addWidget(WorkBar(self._works))  # workbench.gui.parts.work_bar

    progress = Progress("Exporting …")      # workbench.models.progress
    work = partial(archive.export, store, entry, path, progress)
    self._works.add(work, self._exported, self._say, progress)

The work calls `progress(0.4)` or `progress(0.4, "Writing page 3 …")` now and then; that
raises `Cancelled` once the person has pressed Cancel, and `failed` is then called with a
sentence. A work without `progress` is shown as going on, and cannot be cancelled.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Signal

from workbench.gui.worker import Worker
from workbench.models.progress import Progress

Work = Callable[[], Any]
Done = Callable[[Any], object]
Failed = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class _Job:
    work: Work
    done: Done
    failed: Failed
    progress: Progress | None


class WorkLine(QObject):
    """Runs works away from the screen in the order they were added."""

    changed = Signal()

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._waiting: deque[_Job] = deque()
        self._job: _Job | None = None
        self._worker: Worker | None = None

    @property
    def busy(self) -> bool:
        return self._worker is not None

    @property
    def progress(self) -> Progress | None:
        """Of the work under way; None where it tells none, or there is no work."""
        return self._job.progress if self._job else None

    def add(self, work: Work, done: Done, failed: Failed, progress: Progress | None = None) -> None:
        """Run `work` when its turn comes; then call `done` or `failed` on the screen's thread."""
        self._waiting.append(_Job(work, done, failed, progress))
        self._next()

    def wait(self) -> None:
        """End the work under way, at once where it can be, and start no other.

        For the end of the program: what waits is dropped, what cannot be cancelled is
        waited for.
        """
        self._waiting.clear()
        if self.progress is not None:
            self.progress.cancel()
        if self._worker is not None:
            self._worker.wait()

    def _next(self) -> None:
        if self._worker is None and self._waiting:
            self._job = job = self._waiting.popleft()
            self._worker = Worker(job.work, job.done, job.failed, self)
            self._worker.finished.connect(self._ended)
            self._worker.start()
        self.changed.emit()

    def _ended(self) -> None:
        if self._worker is not None:
            self._worker.deleteLater()
        self._worker = self._job = None
        self._next()

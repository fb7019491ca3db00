"""Slow works of one page, one after the other, none lost while another is busy.

How a page uses it:

    self._works = WorkLine(self)
    column.addWidget(WorkBar(self._works))  # workbench.gui.parts.work_bar

    progress = Progress("Exporting …")      # workbench.models.progress
    work = partial(archive.export, store, entry, path, progress)
    self._works.add(work, self._exported, self._say, progress)

The work calls `progress(0.4)` or `progress(0.4, "Writing page 3 …")` now and then, or
`workbench.base.steps.tell` with the same; that raises `Cancelled` once the person has pressed
Cancel, and `failed` is then called with a sentence. A work without `progress` is shown as going
on, and cannot be cancelled.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, QThread, Signal

from drivers.contract import InputError
from workbench.base.errors import BenchError
from workbench.base.steps import telling
from workbench.models.progress import Cancelled, Progress
from workbench.words.language import N_, _
from workbench.words.words import Words

CANCELLED = N_("Cancelled; nothing was changed.")


class Worker(QThread):
    """Runs `work`; then calls `done` with its outcome, or `failed` with a sentence.

    Both are called on the thread of `parent`. A page has a `WorkLine` of these.
    """

    _finished_with = Signal(object)
    _failed_with = Signal(str)

    def __init__(
        self,
        work: Callable[[], Any],
        done: Callable[[Any], object],
        failed: Callable[[str], object],
        parent: QObject,
    ) -> None:
        super().__init__(parent)
        self._work, self._done, self._failed = work, done, failed
        # By way of own methods: what belongs to no object may be called on any thread.
        self._finished_with.connect(self._tell)
        self._failed_with.connect(self._tell_failed)

    def run(self) -> None:
        try:
            outcome = self._work()
        except Cancelled:
            self._failed_with.emit(CANCELLED)
        except (BenchError, InputError) as error:
            self._failed_with.emit(Words().say(error))
        except Exception as error:  # a defect: a sentence for the person, the rest in the log
            logging.getLogger("evenpace").exception("unexpected error in the background")
            self._failed_with.emit(
                _("That did not work ({error}); the log tells more.").format(error=error)
            )
        else:
            self._finished_with.emit(outcome)

    def _tell(self, outcome: object) -> None:
        self._done(outcome)

    def _tell_failed(self, said: str) -> None:
        self._failed(said)


Work = Callable[[], Any]
Done = Callable[[Any], object]
Failed = Callable[[str], object]


@dataclass(frozen=True, slots=True)
class _Job:
    work: Work
    done: Done
    failed: Failed
    progress: Progress | None

    def told(self) -> Any:
        """The work, the steps in it told to its progress."""
        with telling(self.progress) if self.progress else nullcontext():
            return self.work()


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
            self._worker = Worker(job.told, job.done, job.failed, self)
            self._worker.finished.connect(self._ended)
            self._worker.start()
        self.changed.emit()

    def _ended(self) -> None:
        if self._worker is not None:
            self._worker.deleteLater()
        self._worker = self._job = None
        self._next()

"""Slow works of one page, one after the other, none lost while another is busy."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, Signal

from workbench.gui.worker import Worker

Work = Callable[[], Any]
Done = Callable[[Any], object]


class WorkLine(QObject):
    """Runs works away from the screen in the order they were added."""

    changed = Signal()

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._waiting: deque[tuple[Work, Done, Callable[[str], object]]] = deque()
        self._done: Done | None = None
        self._failed: Callable[[str], object] | None = None
        self._worker: Worker | None = None

    @property
    def busy(self) -> bool:
        return self._worker is not None

    def add(self, work: Work, done: Done, failed: Callable[[str], object]) -> None:
        """Run `work` when its turn comes; then call `done` or `failed` on the screen's thread."""
        self._waiting.append((work, done, failed))
        self._next()

    def wait(self) -> None:
        """Let the work under way end, and start no other; for the end of the program."""
        self._waiting.clear()
        if self._worker is not None:
            self._worker.wait()

    def _next(self) -> None:
        if self._worker is None and self._waiting:
            work, self._done, self._failed = self._waiting.popleft()
            self._worker = Worker(work, self._ended_well, self._ended_badly, self)
            self._worker.finished.connect(self._ended)
            self._worker.start()
        self.changed.emit()

    def _ended_well(self, outcome: object) -> None:
        if self._done is not None:
            self._done(outcome)

    def _ended_badly(self, said: str) -> None:
        if self._failed is not None:
            self._failed(said)

    def _ended(self) -> None:
        if self._worker is not None:
            self._worker.deleteLater()
        self._worker = None
        self._next()

"""Slow work away from the screen: one job a thread, its outcome back on the screen's own."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TypeVar

from PySide6.QtCore import QObject, QThread, Signal

from drivers.contract import InputError
from workbench.errors import BenchError

Outcome = TypeVar("Outcome")


class Worker(QThread):
    """Runs `work`; then calls `done` with its outcome, or `failed` with a sentence."""

    _finished_with = Signal(object)
    _failed_with = Signal(str)

    def __init__(
        self,
        work: Callable[[], Outcome],
        done: Callable[[Outcome], object],
        failed: Callable[[str], object],
        parent: QObject,
    ) -> None:
        super().__init__(parent)
        self._work = work
        self._finished_with.connect(done)
        self._failed_with.connect(failed)

    def run(self) -> None:
        try:
            outcome = self._work()
        except (BenchError, InputError) as error:
            self._failed_with.emit(str(error))
        except Exception as error:  # a defect: a sentence for the person, the rest in the log
            logging.getLogger("evenpace").exception("unexpected error in the background")
            self._failed_with.emit(f"That did not work ({error}); the log tells more.")
        else:
            self._finished_with.emit(outcome)

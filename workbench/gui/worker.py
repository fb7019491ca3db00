"""Slow work away from the screen: one job a thread, its outcome back on the screen's own."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, QThread, Signal

from drivers.contract import InputError
from workbench.base.errors import BenchError
from workbench.models.progress import Cancelled
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

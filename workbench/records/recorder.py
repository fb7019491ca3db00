"""The recorder: takes items from the reader threads and commits them twice a second.

It loses nothing. Where the store cannot keep up, it makes the readers wait for a moment;
where that does not help, or the store fails, the run ends with a sentence and everything
committed before stays.
"""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass

from drivers.contract import Item, Notes
from workbench.base.errors import StoreError
from workbench.records.database import StoreBusy
from workbench.records.writer import Writer

PERIOD_S = 0.5
"""Between two commits: half of the second that a crash may cost."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How much may wait for the store, and for how long."""

    most_items: int = 20_000
    """About 40 s of four counters, a GNSS receiver and a full CAN bus."""
    full_s: float = 5.0
    """A reader waits this long for room before the run ends."""
    closing_s: float = 10.0
    """A store held by another program is tried for this long at the end of a run."""


class Recorder:
    """Writes one recording from any number of threads. `put` raises once it has failed."""

    def __init__(
        self,
        writer: Writer,
        notes: Callable[[], Notes],
        *,
        period_s: float = PERIOD_S,
        patience: Patience | None = None,
    ) -> None:
        self._writer, self._notes = writer, notes
        self._period_s, self._patience = period_s, patience or Patience()
        self._waiting: deque[tuple[str, Item]] = deque()
        self._changed = threading.Condition()
        self._closing = threading.Event()
        self._error: StoreError | None = None
        self._thread = threading.Thread(target=self._work, name="recorder", daemon=True)

    @property
    def number(self) -> int:
        """The recording's number."""
        return self._writer.number

    @property
    def error(self) -> StoreError | None:
        """Why the recorder failed, None while it has not."""
        return self._error

    def start(self) -> None:
        self._thread.start()

    def put(self, address: str, item: Item) -> None:
        """Take one item. Raises StoreError where the run must end, or has ended."""
        with self._changed:
            if self._closing.is_set():
                raise StoreError(
                    "Recording {number} has ended and takes no more.", number=self.number
                )
            room = self._changed.wait_for(self._has_room, self._patience.full_s)
            if self._error is None and not room:
                self._error = StoreError(
                    "The disk does not keep up: {count} blocks wait to be stored. "
                    "Recording {number} ends here and keeps all before.",
                    count=len(self._waiting),
                    number=self.number,
                )
            if self._error is not None:
                raise self._error
            self._waiting.append((address, item))
            if len(self._waiting) >= self._patience.most_items // 2:
                self._changed.notify_all()

    def close(self, reason: str = "") -> str:
        """Commit what waits and seal the recording; returns its hash. Raises StoreError."""
        self._closing.set()
        with self._changed:
            self._changed.notify_all()
        self._thread.join()
        if self._error is None:
            return self._writer.end(self._notes(), reason)
        # Where it is the store that failed, this fails too and the recording counts as
        # interrupted.
        with suppress(StoreError):
            self._writer.end(self._notes(), str(self._error))
        raise self._error

    def _has_room(self) -> bool:
        return self._error is not None or len(self._waiting) < self._patience.most_items

    def _due(self) -> bool:
        return self._closing.is_set() or len(self._waiting) >= self._patience.most_items // 2

    def _work(self) -> None:
        while self._error is None:
            with self._changed:
                self._changed.wait_for(self._due, self._period_s)
                closing = self._closing.is_set()
                batch = list(self._waiting)
            try:
                self._commit(batch)
            except StoreError as error:
                self._fail(error)
            except Exception as error:  # a defect must end the run aloud, not the thread in silence
                self._fail(
                    StoreError(
                        "The recorder failed: {kind}: {error}.",
                        kind=type(error).__name__,
                        error=error,
                    )
                )
            if closing:
                return

    def _commit(self, batch: Sequence[tuple[str, Item]]) -> None:
        give_up_s = math.inf
        while True:
            try:
                self._writer.write(batch, self._notes())
                break
            except StoreBusy:
                if self._error is not None or time.monotonic() > give_up_s:
                    raise
                if self._closing.wait(self._period_s) and give_up_s == math.inf:
                    give_up_s = time.monotonic() + self._patience.closing_s
        with self._changed:
            for _ in batch:
                self._waiting.popleft()
            self._changed.notify_all()

    def _fail(self, error: StoreError) -> None:
        with self._changed:
            self._error = self._error or StoreError(
                "{error} Recording {number} ends here and keeps all that was stored before.",
                error=error,
                number=self.number,
            )
            self._changed.notify_all()

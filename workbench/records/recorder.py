"""The recorder: takes items from the reader threads and commits them twice a second.

It loses nothing. Where another program holds the store, or its server is away, it tries again
and `delayed` says so; where too much waits, it makes the readers wait for a moment. Where that
does not help, or the store fails, the run ends with a sentence that says how much is not
stored, and everything committed before stays.
"""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from drivers.contract import EdgeBlock, Item, Lost, Notes
from workbench.base.errors import StoreError
from workbench.records.database import StoreBusy, StoreGone
from workbench.records.writer import Writer

Outcome = TypeVar("Outcome")

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
    """A store that is held or away is tried for this long at the end of a run."""


@dataclass(slots=True)
class KeptOfInput:
    """What the store holds of one input; `lost` counts what its `holes` are known to have cost.

    `last_host_s` is when its newest item came.
    """

    items: int = 0
    edges: int = 0
    holes: int = 0
    lost: int = 0
    last_host_s: float = -math.inf

    def add(self, item: Item) -> None:
        """One item more."""
        self.items += 1
        if isinstance(item, EdgeBlock):
            self.edges += item.ticks.size
        if isinstance(item, Lost):
            self.holes += 1
            self.lost += item.count or 0
        came_s = item.to_s if isinstance(item, Lost) else float(np.max(item.host_s, initial=0.0))
        self.last_host_s = max(self.last_host_s, came_s)


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
        self._kept: dict[str, KeptOfInput] = {}
        self._waiting: deque[tuple[str, Item]] = deque()
        self._changed = threading.Condition()
        self._closing = threading.Event()
        self._give_up_s = math.inf
        self._delayed: StoreError | None = None
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

    @property
    def delayed(self) -> StoreError | None:
        """Why nothing can be stored just now and all waits; None while the store takes it."""
        return self._delayed

    @property
    def kept(self) -> dict[str, KeptOfInput]:
        """What the store holds, by the input's address: only what is committed."""
        return self._kept

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
            if not room:
                self._fail(self._delayed or StoreError("The disk does not keep up."))
            if self._error is not None:
                raise self._error
            self._waiting.append((address, item))
            if len(self._waiting) >= self._patience.most_items // 2:
                self._changed.notify_all()

    def close(self, reason: str = "") -> str:
        """Commit what waits and seal the recording; returns its hash. Raises StoreError."""
        self._give_up_s = time.monotonic() + self._patience.closing_s
        self._closing.set()
        with self._changed:
            self._changed.notify_all()
        self._thread.join()
        notes = self._notes()
        if self._error is None:
            try:
                return self._until_it_may(lambda: self._writer.end(notes, reason))
            except StoreError as error:
                self._fail(error)
        elif self._delayed is None:
            # Where it is the store that failed, this fails too and the recording counts as
            # interrupted; so it does where the last commit may have come through unheard.
            with suppress(StoreError):
                self._writer.end(notes, str(self._error))
        assert self._error is not None
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
        self._until_it_may(lambda: self._writer.write(batch, self._notes()))
        for address, item in batch:
            self._kept.setdefault(address, KeptOfInput()).add(item)
        with self._changed:
            for _ in batch:
                self._waiting.popleft()
            self._changed.notify_all()

    def _until_it_may(self, use_the_store: Callable[[], Outcome]) -> Outcome:
        """Try again while the store is busy, until the run has failed or its end has waited
        long enough."""
        while True:
            try:
                outcome = use_the_store()
            except StoreBusy as error:
                self._delayed = error
                if self._error is not None or time.monotonic() > self._give_up_s:
                    raise
                if self._closing.wait(self._period_s):
                    time.sleep(self._period_s)
            else:
                self._delayed = None
                return outcome

    def _fail(self, error: StoreError) -> None:
        if isinstance(error, StoreGone):
            self._kept = {}
            told = StoreError(
                "{error} Recording {number} is lost with it.", error=error, number=self.number
            )
        else:
            told = StoreError(
                "{error} Recording {number} ends here and keeps all that was stored before; "
                "blocks not stored: {count}.",
                error=error,
                number=self.number,
                count=len(self._waiting),
            )
        with self._changed:
            self._error = self._error or told
            self._changed.notify_all()

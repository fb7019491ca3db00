"""One recording from its begin to its seal; the store is touched on a thread of its own.

A store on a slow disk may take seconds for any step. Items that come before it is open
wait in memory; none is lost.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Protocol

from drivers.contract import Item
from workbench.base.errors import BenchError, StoreError

MOST_EARLY = 20_000
"""Items that may wait for the store to open: about 40 s of all inputs a bench can have."""


class ItemSink(Protocol):
    """What takes the items of one recording into a store: see `records.recorder`."""

    @property
    def number(self) -> int: ...
    @property
    def error(self) -> StoreError | None: ...
    @property
    def delayed(self) -> StoreError | None: ...
    def put(self, address: str, item: Item) -> None: ...
    def close(self, reason: str = "") -> str: ...


Begin = Callable[[], AbstractContextManager[ItemSink]]
"""Opens the store, for as long as the context lasts, and begins a recording in it. Raises
BenchError."""


class RecordingRun:
    """Takes items from any thread until `end`; `error` says why it failed, if it did."""

    def __init__(self, begin: Begin) -> None:
        self._begin = begin
        self._early: list[tuple[str, Item]] = []
        self._recorder: ItemSink | None = None
        self._lock = threading.Lock()
        self._ending = threading.Event()
        self._reason = ""
        self._error: BenchError | None = None
        self._thread = threading.Thread(target=self._work, name="recording", daemon=True)
        self._thread.start()

    @property
    def number(self) -> int | None:
        """The recording's number; None until the store is open."""
        return self._recorder.number if self._recorder else None

    @property
    def error(self) -> BenchError | None:
        return self._error or (self._recorder.error if self._recorder else None)

    @property
    def delayed(self) -> StoreError | None:
        """Why all that comes in waits just now; None while the store takes it."""
        return self._recorder.delayed if self._recorder else None

    @property
    def over(self) -> bool:
        """Whether all is sealed, or has failed."""
        return not self._thread.is_alive()

    def put(self, address: str, item: Item) -> None:
        """Take one item; where the run has failed it is dropped, and `error` tells."""
        with self._lock:
            if self._recorder is None:
                self._wait_for_the_store(address, item)
                return
        if self.error is None and not self._ending.is_set():
            try:
                self._recorder.put(address, item)
            except StoreError:
                return  # `error` has it, or the end came between

    def end(self, reason: str) -> None:
        """Take nothing more and seal what was taken, without waiting for it."""
        self._reason = reason
        self._ending.set()

    def wait(self) -> None:
        """Until all is sealed, or has failed; only after `end`."""
        self._thread.join()

    def _wait_for_the_store(self, address: str, item: Item) -> None:
        if self._error is None and not self._ending.is_set():
            self._early.append((address, item))
            if len(self._early) >= MOST_EARLY:
                self._error = StoreError(
                    "The store does not open: {count} blocks wait to be stored. Nothing of this "
                    "recording is kept.",
                    count=len(self._early),
                )

    def _work(self) -> None:
        try:
            with self._begin() as recorder:
                with self._lock:
                    for address, item in self._early:
                        recorder.put(address, item)
                    self._early.clear()
                    self._recorder = recorder
                self._ending.wait()
                recorder.close(self._reason)
        except BenchError as error:
            self._error = self._error or error
        except Exception as error:  # a defect: no thread dies in silence
            logging.getLogger("evenpace").exception("unexpected error while recording")
            self._error = StoreError(
                "The recording failed ({error}); the log tells more.", error=error
            )

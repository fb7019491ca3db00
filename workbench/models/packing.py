"""Packs sealed recordings into columns on a thread of its own, so that the next to open one does
not wait; nobody waits for the packing either."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from contextlib import suppress

from workbench.base.errors import BenchError, Message, StoreError


class _Enough(Exception):
    """The program is being closed."""


class Packing:
    """One thread at a time; what it leaves undone it does after the next `start`."""

    def __init__(self, store: Callable[[], str | None]) -> None:
        self._store = store
        self._again, self._cancelled = threading.Event(), threading.Event()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Pack what has been sealed since; harmless where it is at that already."""
        with self._lock:
            self._again.set()
            if self._thread is None and not self._cancelled.is_set():
                self._thread = threading.Thread(target=self._work, name="packing", daemon=True)
                self._thread.start()

    def wait(self) -> None:
        """Until all is packed."""
        with self._lock:
            thread = self._thread
        if thread is not None:
            thread.join()

    def cancel(self) -> None:
        """Pack nothing more; a recording that is half packed stays the journal that it was."""
        self._cancelled.set()
        self.wait()

    def _work(self) -> None:
        while True:
            self._again.clear()
            try:
                self._pack_all()
            except (BenchError, _Enough):  # the recordings are there all the same
                self._again.clear()
            except Exception:  # a defect: no thread dies in silence
                logging.getLogger("evenpace").exception("unexpected error while packing")
                self._again.clear()
            with self._lock:
                if not self._again.is_set() or self._cancelled.is_set():
                    self._thread = None
                    return

    def _pack_all(self) -> None:
        # Here, beside the screen: the database's library takes half a second to import.
        from workbench.records.store import open_store

        with open_store(self._store(), make=False) as store:
            store.recover()
            for number in store.unpacked():
                with suppress(StoreError):  # a damaged one stays a journal
                    store.pack(number, self._progress)

    def _progress(self, _share: float, _step: Message | str) -> None:
        if self._cancelled.is_set():
            raise _Enough

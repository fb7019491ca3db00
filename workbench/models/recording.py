"""Start and stop of a recording of the inputs in use; what it has kept so far."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drivers.contract import Item
from workbench.errors import BenchError, StoreError
from workbench.models.observable import Observable
from workbench.records.recorder import Recorder, merged_notes
from workbench.records.store import Store, open_store

if TYPE_CHECKING:
    from workbench.models.bench import Bench


class RecordingModel(Observable):
    """One recording at a time. `said` is the last sentence for the person."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self._store: Store | None = None
        self._recorder: Recorder | None = None
        self._started_s = 0.0
        self.said = ""
        self.last_number: int | None = None

    @property
    def running(self) -> bool:
        return self._recorder is not None

    @property
    def duration_s(self) -> float:
        """Seconds since the start, 0 where none runs."""
        return self._bench.clock() - self._started_s if self.running else 0.0

    @property
    def number(self) -> int | None:
        return self._recorder.number if self._recorder else None

    def start(self, name: str = "") -> None:
        """Record the inputs in use; they are opened anew so that nothing is missed."""
        addresses = [driver.address for driver in self._bench.live.drivers]
        if self.running or not addresses:
            self.said = "" if self.running else "There is no input to record; choose one first."
            self.changed()
            return
        try:
            self._store = open_store(self._bench.store)
            self._started_s = self._bench.clock()
            writer = self._store.begin_recording(
                name or ", ".join(addresses),
                started_host_s=self._started_s,
                simulated=self._bench.live.simulated,
                machine=self._bench.machine,
            )
        except BenchError as error:
            self.said = f"Not recording: {error}"
            self._close_store()
            self.changed()
            return
        self._recorder = Recorder(writer, lambda: merged_notes(self._bench.live.drivers))
        self._recorder.start()
        self._bench.live.start(addresses, self._keep)
        self._bench.live.use_machine(self._bench.machine)
        self.said = f"Recording {writer.number} runs."
        self.changed()

    def stop(self, reason: str = "stopped by the person") -> None:
        """End and seal the recording; the inputs go on."""
        if self._recorder is None:
            return
        recorder, addresses = self._recorder, [d.address for d in self._bench.live.drivers]
        self._bench.live.stop()
        self._recorder = None
        try:
            recorder.close(reason)
            self.said = f"Recording {recorder.number} is kept."
        except StoreError as error:
            self.said = str(error)
        self.last_number = recorder.number
        self._close_store()
        self._bench.live.start(addresses)
        self._bench.live.use_machine(self._bench.machine)
        self.changed()

    def watch(self) -> None:
        """End the recording where the store has failed; called every frame."""
        if self._recorder is not None and self._recorder.error is not None:
            self.stop("the store failed")

    def _keep(self, address: str, item: Item) -> None:
        if self._recorder is not None:
            self._recorder.put(address, item)

    def _close_store(self) -> None:
        if self._store is not None:
            self._store.close()
            self._store = None

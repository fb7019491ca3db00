"""Start and stop of a recording of the inputs in use; what it has kept so far.

Nothing here waits for the store, so the screen may call it: see `RecordingRun`.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from drivers.contract import Clock, Driver, Lost, Notes
from workbench.base.ends import EndSays
from workbench.live.recording_run import ItemSink, RecordingRun
from workbench.models.observable import Observable
from workbench.models.packing import Packing
from workbench.records.notes import merged_notes
from workbench.words.language import _
from workbench.words.words import recording_goes_on

if TYPE_CHECKING:
    from workbench.base.machine import Machine
    from workbench.models.live import LiveInputs

Outcome = TypeVar("Outcome")


class RecordingModel(Observable):
    """One recording at a time. `said` is the last sentence for the person."""

    def __init__(
        self,
        live: LiveInputs,
        clock: Clock,
        store: Callable[[], str | None],
        machine_in_use: Callable[[], Machine | None],
        tell: Callable[[str], object],
    ) -> None:
        super().__init__()
        self._live, self._clock, self._store = live, clock, store
        self._machine_in_use, self._tell = machine_in_use, tell
        self._run: RecordingRun | None = None
        self._last: RecordingRun | None = None
        self._ended: list[RecordingRun] = []
        self._packing = Packing(store)
        self._number_said = self._delay_said = False
        self._started_s = 0.0
        self.said = ""

    @property
    def running(self) -> bool:
        return self._run is not None

    @property
    def duration_s(self) -> float:
        """Seconds since the start, 0 where none runs."""
        return self._clock() - self._started_s if self.running else 0.0

    @property
    def number(self) -> int | None:
        """Of the recording that runs; None where none does, or the store is not yet open."""
        return self._run.number if self._run else None

    @property
    def under_way(self) -> frozenset[int]:
        """Numbers of the recordings that run or are being sealed."""
        runs = [*self._ended, *([self._run] if self._run else [])]
        return frozenset(run.number for run in runs if run.number is not None and not run.over)

    @property
    def failed(self) -> bool:
        """Whether the one that runs can take no more; `look` ends it."""
        return self._run is not None and self._run.error is not None

    @property
    def delayed(self) -> bool:
        """Whether all that comes in waits for the store just now."""
        return self._run is not None and self._run.delayed is not None

    @property
    def last_number(self) -> int | None:
        """Of the recording stopped last; None where there is none, or it was not kept."""
        return self._last.number if self._last else None

    def start(self, name: str = "") -> None:
        """Record the inputs in use from now on; an input that has ended is opened anew.

        So is a simulated one, whose scenario then begins with the recording.
        """
        live = self._live
        addresses = [driver.address for driver in live.drivers]
        if self.running or not addresses:
            self.said = "" if self.running else _("There is no input to record; choose one first.")
            self.changed()
            return
        self._started_s = self._clock()
        drivers: list[Driver] = []
        before = merged_notes(live.drivers) if live.all_read and not live.simulated else None
        self._run = RecordingRun(
            partial(
                self._begin,
                name or ", ".join(addresses),
                live.simulated,
                lambda: _since(before, merged_notes(drivers)),
            )
        )
        if before is None:
            live.start(addresses, self._run.put)
            live.use_machine(self._machine_in_use())
        else:
            live.keep(self._run.put)
        drivers += live.drivers
        self._number_said = self._delay_said = False
        self.said = _("The recording runs.")
        self.changed()

    def stop(self, reason: EndSays = EndSays.STOPPED_BY_PERSON) -> None:
        """End the recording; it is sealed while the inputs go on. See `wait`."""
        if self._run is None:
            return
        self._live.keep(None)
        self._run.end(reason)
        self._ended.append(self._run)
        self._last, self._run = self._run, None
        self.said = _("The recording is being sealed …")
        self.changed()

    def look(self) -> None:
        """Take note of what became of a recording; called every frame.

        One whose store has failed ends, and the bench tells why.
        """
        if self.failed:
            self.stop(EndSays.STORE_FAILED)
        elif self._run is not None and self.delayed != self._delay_said:
            self._delay_said = self.delayed
            self._tell(recording_goes_on(self._run.delayed))
        elif self._run is not None and self._run.number is not None and not self._number_said:
            self._number_said = True
            self.said = f"Recording {self._run.number} runs."
            self.changed()
        for run in [run for run in self._ended if run.over]:
            self._ended.remove(run)
            self.pack()
            self.said = _("Recording {number} is kept.").format(number=run.number)
            if run.error is not None:
                self.said = (
                    str(run.error)
                    if run.number
                    else _("Not recording: {error}").format(error=run.error)
                )
                self._tell(self.said)
            self.changed()

    def wait(self) -> None:
        """Until every recording that was stopped is sealed. Raises BenchError where the last
        one failed.
        """
        for run in (*self._ended, *([self._last] if self._last else [])):
            run.wait()
        if self._last is not None and self._last.error is not None:
            raise self._last.error

    def pack(self) -> None:
        """Pack what was sealed and is not packed yet, away from the screen."""
        self._packing.start()

    def close(self) -> None:
        """Pack no more."""
        self._packing.cancel()

    def sealed(self, work: Callable[[], Outcome]) -> Callable[[], Outcome]:
        """Slow work on the recording stopped last, which waits until that is sealed."""

        def wait_and_work() -> Outcome:
            self.wait()
            return work()

        return wait_and_work

    def note_hole(self, from_s: float, to_s: float, reason: str) -> None:
        """Put a hole in all inputs on record."""
        run, addresses = self._run, [driver.address for driver in self._live.drivers]
        if run is None:
            return

        def put() -> None:
            for address in addresses:
                run.put(address, Lost("", None, from_s, to_s, reason))

        # A recorder whose disk is behind makes whoever puts wait for it.
        threading.Thread(target=put, name="hole on record", daemon=True).start()

    @contextmanager
    def _begin(self, name: str, simulated: bool, notes: Callable[[], Notes]) -> Iterator[ItemSink]:
        # Here, beside the screen: the database's library takes half a second to import.
        from workbench.records.recorder import Recorder
        from workbench.records.store import open_store

        with open_store(self._store()) as store:
            writer = store.begin_recording(
                name,
                started_host_s=self._started_s,
                simulated=simulated,
                machine=self._machine_in_use(),
            )
            recorder = Recorder(writer, notes)
            recorder.start()
            yield recorder


def _since(before: Notes | None, now: Notes) -> Notes:
    """What inputs have said since the recording began, of those that ran `before`."""
    if before is None:
        return now
    return replace(
        now,
        messages=_more(before.messages, now.messages),
        rejects=_more(before.rejects, now.rejects),
    )


def _more(before: dict[str, int], now: dict[str, int]) -> dict[str, int]:
    counts = {name: count - before.get(name, 0) for name, count in now.items()}
    return {name: count for name, count in counts.items() if count}

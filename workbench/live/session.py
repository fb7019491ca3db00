"""One run of the bench: a reader thread an input, and where each item goes.

Every item goes two ways: to the recorder, which loses nothing, and to whoever shows what is
live, who keeps the newest. An input whose plug is pulled is opened again and
goes on as the same channels, with the hole on record as `Lost`. Whatever an input does,
`stop` returns within its time.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import chain, repeat

from drivers.contract import (
    DeviceError,
    DeviceLost,
    Driver,
    EdgeBlock,
    InputError,
    Item,
    Lost,
    Note,
)
from workbench.base.errors import BenchError, StoreError, WrongInput

POLL_S = 0.1
STOP_S = 1.8
BACK_OFF_S = (0.25, 0.5, 1.0, 2.0)
"""Pauses before an input is tried again; the last is repeated."""


class NotBack(DeviceLost):
    """A device was unplugged and not back by the end of the run."""


Wait = Callable[[threading.Event, float], bool]
"""Waits for an event at most some seconds; True where it was set. Handed in for tests."""
Keep = Callable[[str, Item], None]
"""Takes (input address, item) for good; raises StoreError where the run must end."""
Show = Callable[[str, Sequence[Item]], object]
"""Takes (input address, items) for the screen, without waiting for anything."""


class InputState(StrEnum):
    IDLE = "idle"
    OPENING = "opening"
    RUNNING = "running"
    RECONNECTING = "reconnecting"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class InputStatus:
    """One input at one moment. `reason` says why it is in its state, '' where that is plain.

    `error` is what ended it, None where it ended as asked. `lost` counts what is known to
    be missing, `holes` the `Lost` items.
    """

    address: str
    state: InputState = InputState.IDLE
    reason: str = ""
    error: BenchError | InputError | None = None
    items: int = 0
    edges: int = 0
    lost: int = 0
    holes: int = 0
    reconnects: int = 0
    last_host_s: float = float("nan")


class Session:
    """Reads some inputs until they end, `for_s` seconds are over, or `stop` is called.

    `for_s` counts by each driver's own clock. Raises WrongInput where inputs do not share
    one clock (a simulated machine that runs ahead of time cannot be recorded beside a
    real input), since their times would not lie on one line.
    """

    def __init__(
        self,
        drivers: Sequence[Driver],
        *,
        for_s: float = float("inf"),
        back_off_s: Sequence[float] = BACK_OFF_S,
        wait: Wait = threading.Event.wait,
        show: Show = lambda _address, _items: None,
    ) -> None:
        if not drivers:
            raise WrongInput("There is no input to read; name at least one.")
        if len({driver.clock for driver in drivers}) > 1:
            named = ", ".join(driver.address for driver in drivers)
            raise WrongInput(
                "The inputs {named} do not run by one clock; record them one at a time, or a "
                "simulated one with pace=real.",
                named=named,
            )
        self._show = show
        self._stopping = threading.Event()
        self._inputs = [
            _Input(driver, self._hand_on, self._stopping, for_s, back_off_s, wait)
            for driver in drivers
        ]
        self._keep: Keep | None = None
        self._fault: StoreError | None = None

    def start(self, keep: Keep | None = None, after: threading.Event | None = None) -> None:
        """Start a thread an input; every item is given to `keep`.

        The inputs are opened once `after` is set: whoever held them before has let go.
        """
        self._keep = keep
        for entry in self._inputs:
            entry.after = after
            entry.thread.start()

    def keep(self, keep: Keep | None) -> None:
        """Give every item from now on to `keep`, or to nobody."""
        self._keep = keep

    @property
    def statuses(self) -> list[InputStatus]:
        """The inputs as they are now, in the order given."""
        return [entry.status for entry in self._inputs]

    @property
    def fault(self) -> StoreError | None:
        """Why the recorder ended the run, None where it did not."""
        return self._fault

    def wait(self, timeout_s: float) -> bool:
        """Wait for the inputs to end; True where all have."""
        end_s = time.monotonic() + timeout_s
        return all(entry.ended.wait(max(0.0, end_s - time.monotonic())) for entry in self._inputs)

    def stop(self, within_s: float = STOP_S) -> list[str]:
        """End every input within `within_s` seconds, whatever the devices do.

        Returns the addresses of inputs that did not let go: their threads are left behind
        and nothing they still bring is taken.
        """
        self._stopping.set()
        if not self.wait(within_s / 2):
            # A read that does not return: closing the device under it mostly ends it. The
            # close may hang as well, so it has a thread of its own.
            for entry in self._inputs:
                if not entry.ended.is_set():
                    threading.Thread(target=entry.close, name="closer", daemon=True).start()
            self.wait(within_s / 2)
        stuck = [entry for entry in self._inputs if not entry.ended.is_set()]
        for entry in stuck:
            entry.abandon()
        return [entry.status.address for entry in stuck]

    def _hand_on(self, address: str, items: Sequence[Item]) -> None:
        keep = self._keep  # once: it may be changed under way
        if keep is not None:
            try:
                for item in items:
                    keep(address, item)
            except StoreError as error:
                self._fault = self._fault or error
                self._stopping.set()
                raise
        try:
            self._show(address, items)
        except Exception:  # a defect of what is shown must not end what is recorded
            logging.getLogger("evenpace").exception("unexpected error in what is shown live")


class _Input:
    """One input, its thread and its status."""

    def __init__(
        self,
        driver: Driver,
        hand_on: Callable[[str, Sequence[Item]], None],
        stopping: threading.Event,
        for_s: float,
        back_off_s: Sequence[float],
        wait: Wait,
    ) -> None:
        self._driver, self._hand_on, self._stopping = driver, hand_on, stopping
        self._for_s, self._back_off_s, self._wait = for_s, back_off_s, wait
        self._end_s = float("inf")
        self._abandoned = False
        self.status = InputStatus(driver.address)
        self.ended = threading.Event()
        self.after: threading.Event | None = None
        self.thread = threading.Thread(target=self._run, name=driver.address, daemon=True)

    def close(self) -> None:
        """Close the driver, whatever it says to that."""
        with suppress(Exception):
            self._driver.close()

    def abandon(self) -> None:
        """Take nothing more from this input."""
        self._set(InputState.ENDED, Note("the device did not let go and was left behind"))
        self._abandoned = True
        self.ended.set()

    def _run(self) -> None:
        error: BenchError | InputError | None = None
        try:
            reason = self._read_to_the_end()
        except (InputError, BenchError) as problem:
            reason, error = str(problem), problem
        except Exception as problem:  # a driver's defect: no thread dies in silence
            error = DeviceError(
                "The driver of {address} failed: {kind}: {problem}.",
                address=self.status.address,
                kind=type(problem).__name__,
                problem=problem,
            )
            reason = str(error)
        self.close()
        said_at_closing = isinstance(error, InputError) and not isinstance(error, NotBack)
        if self._stopping.is_set() and said_at_closing:
            reason, error = "stopped", None
        self._set(InputState.ENDED, reason, error)
        self.ended.set()

    def _read_to_the_end(self) -> str:
        if self.after is not None:
            self.after.wait()
        self._set(InputState.OPENING)
        self._driver.open()
        start_s = self._driver.clock()
        self._end_s = start_s + self._for_s
        self.status = replace(self.status, state=InputState.RUNNING, last_host_s=start_s)
        while not self._stopping.is_set():
            if self._driver.ended:
                return Note("all was read")
            if self._left_s() <= 0:
                return Note("the time is over")
            try:
                items = self._driver.read(min(POLL_S, self._left_s()))
            except DeviceLost as error:
                if not self._stopping.is_set():
                    self._reconnect(error)
            else:
                self._take(items)
        return "stopped"

    def _left_s(self) -> float:
        return self._end_s - self._driver.clock()

    def _reconnect(self, lost: DeviceLost) -> None:
        """Open the device again, however long it takes, and put the hole on record."""
        from_s = self.status.last_host_s
        self._set(InputState.RECONNECTING, str(lost))
        back = False
        for pause_s in chain(self._back_off_s, repeat(self._back_off_s[-1])):
            self.close()
            if self._wait(self._stopping, min(pause_s, max(0.0, self._left_s()))):
                break
            if self._left_s() <= 0:
                break
            try:
                self._driver.open()
            except DeviceError as error:
                self._set(InputState.RECONNECTING, str(error))
            else:
                back = True
                break
        now_s = self._driver.clock()
        if back:
            told = Note("{lost} It was plugged in again.", lost=lost)
        else:
            told = Note("{lost} It was not back by the end of the run.", lost=lost)
        self._take([Lost("", None, from_s, now_s, told)])
        if not back:
            raise NotBack(told)
        self.status = replace(self.status, reconnects=self.status.reconnects + 1)
        self._set(InputState.RUNNING)

    def _take(self, items: Sequence[Item]) -> None:
        if not items or self._abandoned:
            return
        self._hand_on(self.status.address, items)
        holes = [item for item in items if isinstance(item, Lost)]
        self.status = replace(
            self.status,
            items=self.status.items + len(items),
            edges=self.status.edges + _edges(items),
            lost=self.status.lost + sum(hole.count or 0 for hole in holes),
            holes=self.status.holes + len(holes),
            last_host_s=self._driver.clock(),
        )

    def _set(
        self,
        state: InputState,
        reason: str = "",
        error: BenchError | InputError | None = None,
    ) -> None:
        if not self._abandoned:
            self.status = replace(self.status, state=state, reason=reason, error=error)


def _edges(items: Iterable[Item]) -> int:
    return sum(item.ticks.size for item in items if isinstance(item, EdgeBlock))

"""The inputs in use: opened, closed, followed; what they bring stands in `streams`."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from drivers.catalogue import open_input
from drivers.contract import Clock, Driver, InputError
from workbench.base.errors import BenchError
from workbench.base.machine import Machine, parse_machine
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.live.session import InputState, InputStatus, Keep, Session
from workbench.live.streams import Stream, Streams
from workbench.models.observable import Observable
from workbench.words.language import _
from workbench.words.words import Words

Opener = Callable[[str, Clock], Driver]


class LiveInputs(Observable):
    """The inputs in use. `taken` is what they have brought since they were opened."""

    def __init__(self, clock: Clock = time.monotonic, opener: Opener = open_input) -> None:
        super().__init__()
        self.clock, self._opener = clock, opener
        self.taken = Streams()
        self.simulated = False
        self.machine_text = self.prepare_text = ""
        self.problems: list[str] = []
        self._session: Session | None = None
        self._drivers: list[Driver] = []
        self._seen = 0
        self._scale = (math.nan, 0)
        self._rehearsed: Machine | None = None

    @property
    def streams(self) -> Mapping[str, Stream]:
        """Pulse channels and speed sources by name."""
        return self.taken.by_name

    @property
    def values(self) -> Mapping[tuple[str, str], float]:
        """The newest of all other values by (source, quantity)."""
        return self.taken.values

    @property
    def running(self) -> bool:
        return self._session is not None

    @property
    def drivers(self) -> Sequence[Driver]:
        return self._drivers

    def use_machine(self, machine: Machine | None) -> None:
        """Turn pulses into metres by this machine's drive line from now on; a simulated readout
        has the setting that its machine has."""
        rehearsed = self._rehearsed
        if machine is not None and rehearsed is not None and _same_but_setting(machine, rehearsed):
            share = machine.readout.setting / rehearsed.readout.setting
            for driver in self._simulators():
                driver.enter_setting(share)
        metre_per_pulse_m = metres_per_pulse(machine).value_m if machine else math.nan
        self._scale = (metre_per_pulse_m, machine.drive.target_teeth if machine else 0)
        self.taken.use_scale(*self._scale)

    def rehearses_another(self, machine: Machine | None) -> bool:
        """Whether the simulator runs on another drive line or readout than this machine's."""
        rehearsed = self._rehearsed
        return (
            bool(self._simulators())
            and machine is not None
            and machine.text not in ("", self.machine_text)
            and not (rehearsed is not None and _same_but_setting(machine, rehearsed))
        )

    def _simulators(self) -> list[Any]:
        return [driver for driver in self._drivers if hasattr(driver, "rehearse_on")]

    def _rehearse_on(self, machine: Machine | None) -> None:
        """Have the simulator take on the machine in use, where it is not the scenario's own."""
        self._rehearsed = machine
        if machine is None and self.machine_text:
            self._rehearsed = parse_machine(self.machine_text)
        if machine is None or machine.text in ("", self.machine_text):
            return
        for driver in self._simulators():
            try:
                driver.rehearse_on(machine.text)
            except InputError as error:
                self.problems.append(Words().say(error))

    @property
    def all_read(self) -> bool:
        """Whether every input is being read, or will be once its device is back."""
        return self.running and all(s.state is not InputState.ENDED for s in self.statuses())

    def make(self, address: str) -> Driver:
        """The driver of an address, not opened. Raises AddressError where it is wrong."""
        return self._opener(address, self.clock)

    def start(
        self, addresses: Sequence[str], keep: Keep | None = None, machine: Machine | None = None
    ) -> None:
        """Open the inputs, in place of those open now. A wrong one becomes a problem.

        Does not wait for a device: the old inputs end, and the new ones are opened, on
        threads of their own. For `keep` see there. The simulator takes on the `machine`.
        """
        self.taken, self._seen = Streams(*self._scale), 0
        self.problems, self._drivers = [], []
        closed = self._let_go()
        for address in addresses:
            try:
                self._drivers.append(self._opener(address, self.clock))
            except InputError as error:
                self.problems.append(str(error))
        texts = [getattr(driver, "machine_text", "") for driver in self._drivers]
        self.machine_text = next((text for text in texts if text), "")
        sheets = [getattr(driver, "prepare_text", "") for driver in self._drivers]
        self.prepare_text = next((text for text in sheets if text), "")
        self._rehearse_on(machine)
        if self._drivers:
            try:
                self._session = Session(self._drivers, show=self.taken.take)
            except BenchError as error:
                self.problems.append(str(error))
            else:
                self._session.start(keep, after=closed)
        self.simulated = any(driver.simulated for driver in self._drivers)
        self.changed()

    def stop(self) -> None:
        """Close the inputs, and wait until they are: at most a moment, whatever they do."""
        if self._session is not None:
            self._let_go().wait()
            self.changed()

    def keep(self, keep: Keep | None) -> None:
        """Give every item from now on to `keep`, on the reader's own thread."""
        if self._session is not None:
            self._session.keep(keep)

    def _let_go(self) -> threading.Event:
        """Have the inputs closed; the event is set once they are."""
        closed, session, problems = threading.Event(), self._session, self.problems
        self._session = None
        if session is None:
            closed.set()
            return closed

        def close() -> None:
            try:
                stuck = session.stop()
                problems.extend(
                    _("{address} did not let go of its device.").format(address=address)
                    for address in stuck
                )
            finally:
                closed.set()  # the next inputs wait for it

        threading.Thread(target=close, name="inputs being closed", daemon=True).start()
        return closed

    def statuses(self) -> list[InputStatus]:
        return self._session.statuses if self._session else []

    def update(self) -> None:
        """Tell whoever is interested where anything has come since the last call."""
        if self._session is None:
            return
        for driver in self._drivers:
            self.taken.expect(driver.address, getattr(driver, "channels", {}))
        news = self.taken.news
        if news != self._seen:
            self._seen = news
            self.changed()


def _same_but_setting(one: Machine, other: Machine) -> bool:
    """Whether both have one drive line, pickup and readout, whatever is set in it."""
    readout = replace(one.readout, setting=other.readout.setting)
    return (one.belt, one.drive, one.pickup.kind, readout) == (
        other.belt,
        other.drive,
        other.pickup.kind,
        other.readout,
    )

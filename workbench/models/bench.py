"""The bench as a whole: the machine in use, the inputs, the settings, the cautions read."""

from __future__ import annotations

import time
from collections import deque
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from drivers.catalogue import open_input
from drivers.contract import Clock
from workbench.base.ends import EndSays
from workbench.base.errors import BenchError, MachineFileError
from workbench.base.files import write_file
from workbench.base.machine import Machine, load_machine, parse_machine, with_readout_setting
from workbench.models.for_whom import ForWhom
from workbench.models.live import LiveInputs, Opener
from workbench.models.observable import Observable
from workbench.models.recording import RecordingModel
from workbench.models.settings import Settings
from workbench.words.language import _
from workbench.words.words import Words


def clock_of_the_computer() -> float:
    """Monotonic seconds that go on while the computer sleeps, where it has such a clock."""
    # time.monotonic stands still in sleep on Linux and macOS; on Windows it goes on.
    for name in ("CLOCK_BOOTTIME", "CLOCK_MONOTONIC"):
        if hasattr(time, name):
            return time.clock_gettime(getattr(time, name))
    return time.monotonic()


DEMO_INPUT = "sim:healthy"


class Bench(Observable):
    """What every page shares. `store` is the store's address, None for the usual place.

    `belt_source` and `ground_source` name the streams a person chose for belt and ground;
    '' leaves the choice to `PaceModel`.
    """

    def __init__(
        self,
        settings: Settings,
        clock: Clock = time.monotonic,
        store: str | None = None,
        opener: Opener = open_input,
        computer_clock: Clock = clock_of_the_computer,
    ) -> None:
        super().__init__()
        self.settings, self.clock, self.store = settings, clock, store
        self.for_whom = ForWhom(settings)
        self.computer_clock = computer_clock
        self.live = LiveInputs(clock, opener)
        self.machine: Machine | None = None
        self.machine_path: Path | None = None
        self.recording = RecordingModel(
            self.live, clock, lambda: self.store, lambda: self.machine, self.tell
        )
        self.cautions_read: set[str] = set()
        """Texts of `cautions` that were read since the start: on one page is on all."""
        self.told: deque[str] = deque(maxlen=8)
        self.belt_source = self.ground_source = ""

    def use_machine(self, machine: Machine | None, path: Path | None = None) -> None:
        """Work on this machine from now on."""
        self.machine, self.machine_path = machine, path
        self.live.use_machine(machine)
        if self.live.rehearses_another(machine):
            self.use_inputs([driver.address for driver in self.live.drivers])
        self.changed()

    def change_setting(self, setting: float) -> None:
        """The readout of the machine in use has another setting now: its file says so too."""
        if self.machine is None:
            return
        readout, path = replace(self.machine.readout, setting=setting), self.machine_path
        machine = replace(self.machine, readout=readout, text="")
        try:
            machine = with_readout_setting(self.machine, setting)
            if path is not None:
                write_file(path, machine.text)
        except BenchError as error:
            told = _("The setting {setting:g} is not in the machine's file: {why}")
            self.tell(told.format(setting=setting, why=Words().say(error)))
        self.use_machine(machine, path)

    def start(self) -> None:
        """As it was left last time; the first time, the demo machine on the simulator."""
        remembered = self.settings.now
        if self.settings.aside is not None:
            told = _(
                "The settings hold what this version of the program does not know. They are kept "
                "as {path} before it changes any."
            )
            self.tell(told.format(path=self.settings.aside))
        if remembered.machine_file:
            try:
                self.use_machine(load_machine(remembered.machine_file))
                self.machine_path = Path(remembered.machine_file)
            except MachineFileError as error:
                self.tell(str(error))
        self.use_inputs(remembered.inputs or [DEMO_INPUT])

    def tell(self, sentence: str) -> None:
        """Something the person should read wherever they are; the window shows it."""
        self.told.append(sentence)

    def use_inputs(self, addresses: list[str]) -> None:
        """Read these inputs from now on; a scenario brings its machine where none is in use.

        A recording of those before ends.
        """
        self.recording.stop(EndSays.OTHER_INPUTS_CHOSEN)
        self.live.start(addresses, machine=self.machine)
        if self.live.machine_text and self.machine is None:
            self.use_machine(
                parse_machine(self.live.machine_text, _("the scenario's machine file"))
            )
        self.live.use_machine(self.machine)
        self.changed()

    def close(self) -> None:
        """End what runs: a recording is sealed, the inputs are closed.

        What went wrong in that stands in `told`.
        """
        self.told.clear()
        self.recording.stop(EndSays.PROGRAM_CLOSED)
        self.live.stop()
        with suppress(BenchError):  # which `look` tells
            self.recording.wait()
        self.recording.look()
        self.recording.close()

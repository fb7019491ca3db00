"""The inputs in use: add one, take one away, try them again; each change is remembered."""

from __future__ import annotations

from typing import TYPE_CHECKING

from drivers.contract import Driver, InputError
from workbench.models.observable import Observable
from workbench.words.language import N_, _

if TYPE_CHECKING:
    from workbench.models.bench import Bench

RECORDING = N_("A recording runs: stop it before the inputs are changed.")


class InputsModel(Observable):
    """What the person does with the inputs. `said` is the last refusal, '' where none."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self.said = ""

    @property
    def in_use(self) -> list[str]:
        """Addresses of the inputs in use."""
        return [driver.address for driver in self._bench.live.drivers]

    def uses(self, address: str) -> bool:
        """Whether an offer is in use; a scenario is, whatever its seed."""
        if address.startswith("sim:"):
            return address in [used.partition("?")[0] for used in self.in_use]
        return address in self.in_use

    def add(self, address: str) -> bool:
        """Use an input beside those in use; False and a sentence where that cannot be.

        Nothing changes where the address is wrong. A simulated machine is never mixed with
        a real one: it takes the place of all others, and a real input that of it.
        """
        try:
            driver = self._bench.live.make(address.strip())
        except InputError as error:
            return self._refuse(str(error))
        if driver.address in self.in_use:
            return self._refuse(_("{address} is in use already.").format(address=driver.address))
        return self._use([*self._kept_beside(driver), driver.address])

    def remove(self, address: str) -> bool:
        """Use an input no longer; a scenario goes whatever its seed."""
        whole = "?" in address or not address.startswith("sim:")
        return self._use(
            [used for used in self.in_use if (used if whole else used.partition("?")[0]) != address]
        )

    def again(self) -> bool:
        """Open the inputs in use anew, for example once a plug is back."""
        return self._use(self.in_use)

    def _kept_beside(self, driver: Driver) -> list[str]:
        if driver.simulated:
            return []
        return [one.address for one in self._bench.live.drivers if not one.simulated]

    def _use(self, addresses: list[str]) -> bool:
        bench = self._bench
        if bench.recording.running:
            return self._refuse(_(RECORDING))
        # A scenario's machine goes with it: real pulses must not be read by its drive line.
        machine, brought = bench.machine, bench.live.machine_text
        if addresses != self.in_use and machine is not None and machine.text == brought:
            bench.use_machine(None)
        self.said = ""
        bench.use_inputs(addresses)
        bench.settings.change(inputs=addresses)
        self.changed()
        return True

    def _refuse(self, sentence: str) -> bool:
        self.said = sentence
        self.changed()
        return False

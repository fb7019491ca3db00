"""A rehearsal: what would be read at the machine of a scenario."""

from __future__ import annotations

from workbench.base.errors import Message, WrongInput
from workbench.base.machine import Machine, parse_machine


def simulated_sheet(address: str, machine: Machine | None) -> tuple[str, Machine | None]:
    """The prepare table of 'sim:SCENARIO', and `machine` or the one that the scenario brings.

    Raises WrongInput, InputError.
    """
    from drivers.catalogue import open_input

    driver = open_input(address)
    text: str = getattr(driver, "prepare_text", "")
    if not text:
        raise WrongInput("{address} brings nothing to measure.", address=address)
    own: str = getattr(driver, "machine_text", "")
    name = Message("machine file of {address}", address=address)
    return text, machine or (parse_machine(own, name) if own else None)

"""What a command computes on: a file, a stored recording's number, or the simulator."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from drivers.contract import Recording
from workbench.base.errors import Message, WrongInput
from workbench.base.files import exists
from workbench.base.machine import Machine, parse_machine
from workbench.base.steps import tell

DEFAULT_SIMULATED_S = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A recording and, where it lies in a store, its number there, the store's address, and
    the name of the machine it was `made_of` and when it began."""

    recording: Recording
    machine: Machine | None
    number: int | None = None
    store: str | None = None
    made_of: str = ""
    started_utc: str = ""


def load_source(
    word: str,
    machine: Machine | None,
    store: str | None,
    *,
    seed: int | None = None,
    for_s: float | None = None,
    progress: Callable[[float], object] | None = None,
) -> Source:
    """Read what `word` names: a file, a stored recording's number, or 'sim:SCENARIO'.

    `progress` is told the share of a file that has been read. Raises WrongInput, InputError,
    StoreError.
    """
    if word.startswith("sim:"):
        recording, typed = _simulate(word, seed, for_s)
        return Source(recording, machine or typed)
    if seed is not None or for_s is not None:
        raise WrongInput("--seed and --for go with sim:SCENARIO, not with '{word}'", word=word)
    if word.isascii() and word.isdigit() and not exists(word):
        return stored_source(int(word), machine, store)
    from drivers.files.reading import read_recording

    return Source(read_recording(word, progress), machine)


def _simulate(
    address: str, seed: int | None, for_s: float | None
) -> tuple[Recording, Machine | None]:
    """A simulated recording, and the machine file that the scenario brings along."""
    from drivers.catalogue import open_input
    from workbench.records.rebuild import collect

    options = [] if "pace=" in address else ["pace=fast"]
    if seed is not None:
        options.append(f"seed={seed}")
    if options:
        address += ("&" if "?" in address else "?") + "&".join(options)
    driver = open_input(address)
    recording = collect(driver, for_s or DEFAULT_SIMULATED_S)
    text: str = getattr(driver, "machine_text", "")
    name = Message("machine file of {address}", address=address)
    return recording, parse_machine(text, name) if text else None


def stored_source(
    number: int, machine: Machine | None = None, address: str | None = None
) -> Source:
    """A stored recording with the machine it was made on, or `machine`. Raises StoreError."""
    from workbench.records.store import open_store

    with open_store(address, make=False) as store:
        recording = store.load_recording(number, progress=tell)
        row = store.recording(number)
    made_on = machine or row.machine()
    return Source(recording, made_on, number, address, row.machine_name, row.started_utc)

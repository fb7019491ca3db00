"""What earlier preparations of a machine say: kept with their tables, found by its name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from workbench.base.machine import Machine
from workbench.calibration.prepare.due import Done
from workbench.jobs.keep import Kept, answer_of, keep_table
from workbench.jobs.particulars import NOTHING_SAID, Particulars
from workbench.jobs.prepare.answer import PrepareAnswer, PrepareOptions
from workbench.jobs.prepare.compute import compute


@dataclass(frozen=True, slots=True)
class Earlier:
    """One stored preparation, its number and when it was made."""

    number: int
    created_utc: str
    answer: PrepareAnswer


def judge_table(
    text: str,
    machine: Machine | None,
    options: PrepareOptions,
    store: str | None,
    said: Particulars = NOTHING_SAID,
) -> tuple[PrepareAnswer, Kept]:
    """The answer of a prepare table, kept with what is `said` of it, and with what was looked
    after at this machine before.

    Raises WrongInput with the line; StoreError where the store cannot be read.
    """
    if machine is not None:
        done = done_before(store, machine.name, simulated=options.simulated)
        options = replace(options, done_before=done)
    answer = compute(text, machine, options)
    kept = keep_table(
        "prepare",
        answer,
        options,
        text=text,
        machine=machine,
        address=store,
        said=said,
    )
    return answer, kept


def done_before(store: str | None, machine: str, *, simulated: bool) -> tuple[Done, ...]:
    """All that was looked after at a machine, the newest first. Raises StoreError."""
    found = earlier(store, machine, simulated=simulated)
    return tuple(done for one in found for done in one.answer.done)


def earlier(address: str | None, machine: str, *, simulated: bool) -> Iterator[Earlier]:
    """The stored preparations of a machine, the newest first. Rehearsals count for a rehearsal
    only. Raises StoreError."""
    from workbench.records.database import NoStore
    from workbench.records.store import open_store

    try:
        with open_store(address, make=False) as store:
            cards = [
                card
                for card in store.cards()
                if card.kind == "prepare" and card.machine_name == machine and not card.deleted_utc
            ]
            found = [store.result(card.number) for card in cards]
    except NoStore:  # the first of a shop
        found = []
    for stored in found:
        answer = answer_of(stored, PrepareAnswer)
        if simulated or not answer.simulated:
            yield Earlier(stored.number, stored.created_utc, answer)

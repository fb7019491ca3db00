"""An answer into the store, with all that is needed to compute it again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.jobs.codec import Answer, from_plain, to_plain
from workbench.jobs.job import job
from workbench.jobs.source import Source
from workbench.records.entries import StoredResult


@dataclass(frozen=True, slots=True)
class Kept:
    """The number an answer has in the store; None where it was not kept, with the `trouble`
    where it should have been."""

    number: int | None = None
    trouble: StoreError | None = None


def keep(kind: str, answer: object, options: object, source: Source) -> Kept:
    """Keep the answer where its source is a stored recording. Raises StoreError."""
    if source.number is None:
        return Kept()
    from workbench.records.store import open_store

    with open_store(source.store) as store:
        number = store.add_result(
            kind,
            to_plain(answer),
            options=to_plain(options),
            recording=source.number,
            machine=source.machine,
        )
    return Kept(number)


def keep_table(
    kind: str,
    answer: object,
    options: object,
    *,
    text: str,
    name: str,
    machine: Machine | None,
    address: str | None,
) -> Kept:
    """Keep a table's answer; `text` is the table, `name` its name.

    The answer is there all the same where the store cannot be used: its trouble is handed back.
    """
    from workbench.records.store import open_store

    try:
        with open_store(address) as store:
            number = store.add_result(
                kind,
                to_plain(answer),
                options=to_plain(options),
                table=text,
                table_name=name,
                machine=machine,
            )
    except StoreError as error:
        return Kept(trouble=error)
    return Kept(number)


def judge(kind: str, source: Source, options: object) -> tuple[Any, Kept]:
    """A source judged, and the answer kept if it is stored. Raises WrongInput, StoreError."""
    answer = job(kind).compute(source.recording, source.machine, options)
    return answer, keep(kind, answer, options, source)


def options_before(kind: str, number: int, address: str | None) -> Any:
    """The options by which a stored recording was judged last, those of its job where it never
    was. Raises StoreError."""
    from workbench.records.store import open_store

    with open_store(address) as store:
        before = [one for one in store.results(number) if one.kind == kind]
    options: type[Any] = job(kind).options
    return from_plain(before[0].options, options) if before else options()


def any_answer(stored: StoredResult) -> Any:
    """A stored result's answer, of the type its job gives. Raises StoreError."""
    return from_plain(stored.answer, job(stored.kind).answer)


def answer_of(stored: StoredResult, kind: type[Answer]) -> Answer:
    """A stored result's answer, which must be of that type. Raises StoreError."""
    return from_plain(stored.answer, kind)

"""An answer into the store, with all that is needed to compute it again, and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.jobs.codec import Answer, from_text, to_text
from workbench.jobs.job import job
from workbench.jobs.particulars import NOTHING_SAID, Particulars, particulars_in
from workbench.jobs.source import Source
from workbench.records.entries import StoredResult
from workbench.records.store import Store, open_store


@dataclass(frozen=True, slots=True)
class Kept:
    """The number an answer has in the store; None where it was not kept, with the `trouble`
    where it should have been. `new_store` is the address of a store that was made for it, `said`
    what was said of the answer."""

    number: int | None = None
    trouble: StoreError | None = None
    new_store: str = ""
    said: Particulars = NOTHING_SAID


def add(store: Store, kind: str, answer: object, options: object, **source: Any) -> int:
    """Put an answer into an open store; its number. Raises StoreError.

    `source` are `recording`, or `table` and `table_name`, `machine` and `said`: see
    `Store.add_result`.
    """
    return store.add_result(kind, to_text(answer), to_text(options), **source)


def keep(
    kind: str,
    answer: object,
    options: object,
    source: Source,
    said: Particulars = NOTHING_SAID,
) -> Kept:
    """Keep the answer where its source is a stored recording, with what is `said` of it; it is
    there all the same where the store takes no more: its trouble is handed back."""
    if source.number is None:
        return Kept(said=said)
    try:
        with open_store(source.store, make=False) as store:
            of = {"recording": source.number, "machine": source.machine, "said": said.text}
            return Kept(add(store, kind, answer, options, **of), said=said)
    except StoreError as error:
        return Kept(trouble=error, said=said)


def keep_table(
    kind: str,
    answer: object,
    options: Any,
    *,
    text: str,
    machine: Machine | None,
    address: str | None,
    said: Particulars = NOTHING_SAID,
) -> Kept:
    """Keep a table's answer with what is `said` of it; `text` is the table, whose name
    the options hold.

    The first one makes the store. The answer is there all the same where the store cannot be
    used: its trouble is handed back.
    """
    try:
        with open_store(address) as store:
            table = {"table": text, "table_name": options.table_name}
            number = add(store, kind, answer, options, **table, machine=machine, said=said.text)
            return Kept(number, new_store=store.address if store.is_new else "", said=said)
    except StoreError as error:
        return Kept(trouble=error, said=said)


def judge(
    kind: str, source: Source, options: object, said: Particulars = NOTHING_SAID
) -> tuple[Any, Kept]:
    """A source judged, and the answer kept if it is stored. Raises WrongInput, StoreError."""
    answer = job(kind).compute(source.recording, source.machine, options)
    kept = keep(kind, answer, options, source, said)
    if kept.trouble is not None:
        raise kept.trouble
    return answer, kept


def judged_before(
    kind: str, number: int, address: str | None, said: Particulars = NOTHING_SAID
) -> tuple[Any, Particulars]:
    """The options by which a stored recording was judged last and what was said of that; its
    job's own and `said` where it never was. Raises StoreError."""
    with open_store(address, make=False) as store:
        before = [one for one in store.results(number) if one.kind == kind]
    if not before:
        return job(kind).options(), said
    return options_of(before[0]), particulars_in(before[0].said)


def answer_of(stored: StoredResult, kind: type[Answer]) -> Answer:
    """A stored result's answer, which must be of that type. Raises StoreError."""
    return from_text(stored.answer_json, kind)


def any_answer(stored: StoredResult) -> Any:
    """A stored result's answer, of the type its job gives. Raises StoreError."""
    return from_text(stored.answer_json, job(stored.kind).answer)


def options_of(stored: StoredResult) -> Any:
    """A stored result's options, of the type its job takes. Raises StoreError."""
    return from_text(stored.options_json, job(stored.kind).options)

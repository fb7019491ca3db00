"""Where a report's answer comes from: whom it is for, who made it and when; the same on each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from workbench.base.machine import Machine
from workbench.base.version import program_version
from workbench.jobs.keep import Kept
from workbench.jobs.particulars import NOTHING_SAID, Particulars, particulars_in
from workbench.records.entries import StoredResult
from workbench.records.store import open_store
from workbench.reports.document import Block, Facts, Signature, under
from workbench.words.language import _
from workbench.words.view import json_view
from workbench.words.words import Words


@dataclass(frozen=True, slots=True)
class Made:
    """When an answer was made and by which program ('' where that is not known), the `numbers`
    it is kept under, and what was said of it."""

    numbers: Sequence[int] = ()
    created_utc: str = ""
    program_version: str = ""
    said: Particulars = NOTHING_SAID

    @property
    def number(self) -> str:
        """'Result 4' or 'Results 4, 5 and 6', '' where nothing is stored."""
        if len(self.numbers) > 1:
            numbers = Words().joined([str(one) for one in self.numbers])
            return _("Results {numbers}").format(numbers=numbers)
        return _("Result {number}").format(number=self.numbers[0]) if self.numbers else ""

    def data(self, answer: object, machine: Machine | None, words: Words) -> dict[str, Any]:
        """What a report's JSON has: the answer with its number, and what was said of it."""
        number = {"result": self.numbers[0]} if self.numbers else {}
        serial = {"serial": machine.serial} if machine and machine.serial else {}
        said = serial | {"made_utc": self.created_utc} | self.said.view
        return number | json_view(answer, words) | said


NOT_KEPT = Made()


def made_of(stored: StoredResult) -> Made:
    """Of a stored result. Raises StoreError."""
    said = particulars_in(stored.said)
    return Made((stored.number,), stored.created_utc, stored.program_version, said)


def made_in(store: str | None, numbers: Sequence[int]) -> Made:
    """Of answers kept in a store, by the newest of them; nothing is known where none is kept.
    Raises WrongInput, StoreError."""
    if not numbers:
        return NOT_KEPT
    with open_store(store, make=False) as opened:
        return replace(made_of(opened.result(max(numbers))), numbers=numbers)


def made_now(kept: Kept) -> Made:
    """Of an answer that has just been made, whether it could be kept or not."""
    numbers = () if kept.number is None else (kept.number,)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    return Made(numbers, now, program_version(), kept.said)


def said_rows(made: Made, machine: Machine | None, words: Words) -> list[tuple[str, str]]:
    """For whom, of which machine, when, by whom and how; what nobody said is left out."""
    said = made.said
    rows = [
        (_("Customer"), said.customer),
        (_("Field"), said.field),
        (_("Job"), said.job),
        (_("Serial number"), machine.serial if machine else ""),
        (_("Made on"), words.moment(made.created_utc, "zone")),
        (_("By"), said.by),
        (_("Conditions"), said.conditions),
    ]
    return [(name, text) for name, text in rows if text]


def head_blocks(made: Made, machine: Machine | None, words: Words, role: str) -> list[Block]:
    """What stands on page one of every report below its answer: for whom, and to be signed."""
    rows = said_rows(made, machine, words)
    facts: list[Block] = [Facts(rows, 2)] if rows else []
    return [*facts, Signature(((role, made.said.by), (_("Date and signature"), "")))]


def said_blocks(made: Made) -> list[Block]:
    """References and remarks, where there are any."""
    said = made.said
    return [*under(_("References"), said.references), *under(_("Remarks"), [said.remarks])]

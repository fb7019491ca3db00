"""Is a stored result still what its recording or table gives, field by field?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from drivers.contract import Recording
from workbench.base.statements import is_as_written
from workbench.base.steps import tell
from workbench.base.version import program_version
from workbench.jobs.codec import statement_of, to_plain
from workbench.jobs.job import job
from workbench.jobs.keep import any_answer, options_of
from workbench.jobs.particulars import Particulars, particulars_in
from workbench.records.entries import StoredResult
from workbench.records.ledger import EntryKind
from workbench.records.store import Store

_SAME_REL, _SAME_ABS = 1e-6, 1e-9
"""Numbers this close are the same: another processor's or library's rounding moves slopes by a
few 1e-7 of themselves, and what is nearly 0 at will. In SI no quantity here has a meaning below
1e-9. Chosen."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A field that is not the same: what is stored, and what comes out now, as JSON's types."""

    field: str
    stored: Any
    now: Any


@dataclass(frozen=True, slots=True)
class Verification:
    """What computing a stored result again has shown.

    `not_compared` names the fields that hold finished sentences of an earlier program, which
    said in words what is data now.
    """

    result: int
    kind: str
    verified: bool
    differences: tuple[Difference, ...]
    not_compared: tuple[str, ...]
    recording: int | None
    table: str
    recording_sha256: str
    made_by: str
    verified_by: str
    created_utc: str
    particulars: Particulars | None = None


def verify(store: Store, number: int) -> Verification:
    """Compute result `number` again and compare, one out of sight too, or of a recording that
    is. Raises WrongInput, StoreError."""
    stored = store.result(number, hidden=True)
    source, changed = _source(store, stored)
    of_kind = job(stored.kind)
    again = to_plain(of_kind.compute(source, stored.machine(), options_of(stored)))
    before = to_plain(any_answer(stored))
    skipped: list[str] = []
    found = [*changed, *_differences("", before, again, skipped)]
    return Verification(
        result=number,
        kind=stored.kind,
        verified=not found,
        differences=tuple(found),
        not_compared=tuple(skipped),
        recording=stored.recording,
        table=stored.table_name,
        recording_sha256=stored.recording_sha256,
        made_by=stored.program_version,
        verified_by=program_version(),
        created_utc=stored.created_utc,
        particulars=particulars_in(stored.said) if stored.said else None,
    )


def _source(store: Store, stored: StoredResult) -> tuple[Recording | str | None, list[Difference]]:
    """What the result was computed from, and what of the two is not as it was left."""
    kinds = (EntryKind.RESULT, EntryKind.SAID)
    changed = [one for kind in kinds for one in _entered(store, kind, stored.number)]
    if stored.recording is None:
        return stored.table, changed
    changed += _entered(store, EntryKind.RECORDING, stored.recording)
    now = store.recording_sha256(stored.recording, tell, hidden=True)
    if now != stored.recording_sha256:
        changed.append(Difference("recording_sha256", stored.recording_sha256, now))
    return store.load_recording(stored.recording, progress=tell, hidden=True), changed


def _entered(store: Store, kind: EntryKind, number: int) -> list[Difference]:
    """Whether a thing is as the ledger says that it was left."""
    before, now = store.entered(kind, number)
    return [] if before == now else [Difference(f"ledger.{kind}", before, now)]


def _differences(field: str, before: Any, now: Any, skipped: list[str]) -> Iterator[Difference]:
    """Everything in two answers that is not the same; `skipped` takes what cannot be compared."""
    if _holds_words(before):
        skipped.append(field)
    elif isinstance(before, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*before, *now]):
            inner = f"{field}.{key}" if field else key
            yield from _differences(inner, before.get(key), now.get(key), skipped)
    elif isinstance(before, list) and isinstance(now, list) and len(before) == len(now):
        for place, (one, other) in enumerate(zip(before, now, strict=True)):
            yield from _differences(f"{field}[{place}]", one, other, skipped)
    elif not _same(before, now):
        yield Difference(field, before, now)


def _holds_words(before: Any) -> bool:
    """Whether it is a finished sentence, or a list with one in it."""
    if isinstance(before, list):
        return any(_holds_words(one) for one in before if not isinstance(one, list))
    said = statement_of(before)
    return said is not None and is_as_written(said)


def _same(before: Any, now: Any) -> bool:
    if isinstance(before, bool) or isinstance(now, bool):
        return before is now
    if isinstance(before, int | float) and isinstance(now, int | float):
        return math.isclose(before, now, rel_tol=_SAME_REL, abs_tol=_SAME_ABS)
    return bool(before == now)

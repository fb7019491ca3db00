"""What the store knows of a recording or a result, read from its row."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from drivers.contract import Note, Notes
from workbench.base.ends import EndSays, ends_of
from workbench.base.errors import Message, StoreError
from workbench.base.machine import Machine, parse_machine
from workbench.records.jsonable import from_text, to_text

_STALE_S = 10.0
"""A writer comes by every half second; one unseen for this long has died."""

_SEALED = (
    "kind",
    "answer",
    "options",
    "recording",
    "recording_sha256",
    "table_text",
    "table_name",
    "machine_text",
    "program_version",
    "created_utc",
)


@dataclass(frozen=True, slots=True)
class StoredRecording:
    """What the store knows of one recording without reading its blocks.

    `state` is 'ended', 'recording', 'interrupted' (its writer died; everything up to its
    last second is there) or 'damaged' (its own row is not as written). `name` was given at
    its start, `title` and `note` by a person later; `deleted_utc` is '' for one in sight.
    `started_host_s` is the monotonic time at `started_utc`. `sha256` is '' until it has ended or
    was recovered, `source_sha256` that of the file it was imported from.
    `machine_text` is the machine file as it was when recorded, '' where none was given.
    """

    number: int
    name: str
    kind: str
    state: str
    end_reason: str
    simulated: bool
    started_utc: str
    started_host_s: float
    last_utc: str
    program_version: str
    machine_name: str
    machine_text: str
    source_sha256: str
    sha256: str
    title: str
    note: str
    deleted_utc: str

    @property
    def ended_by(self) -> tuple[EndSays | str, ...]:
        """Why it ended: words of ours, or what a device said."""
        return ends_of(self.end_reason)

    def machine(self) -> Machine | None:
        """The machine it was recorded on, None where none was given. Raises MachineFileError."""
        if not self.machine_text:
            return None
        name = Message("machine of recording {number}", number=self.number)
        return parse_machine(self.machine_text, name)


@dataclass(frozen=True, slots=True)
class StoredResult:
    """One answer with all that is needed to compute it again.

    `answer_json`, `options_json` and `said` (for whom and by whom it was made, '' for nothing)
    are text of which the store knows nothing. `recording` or
    `table` is what it was computed from; `recording_sha256` is the recording's hash at that
    moment.
    """

    number: int
    kind: str
    answer_json: str
    options_json: str
    recording: int | None
    recording_sha256: str
    table: str | None
    table_name: str
    machine_text: str
    program_version: str
    created_utc: str
    said: str

    def machine(self) -> Machine | None:
        """The machine it was computed for, None where for none. Raises MachineFileError."""
        if not self.machine_text:
            return None
        name = Message("machine of result {number}", number=self.number)
        return parse_machine(self.machine_text, name)


def recording_entry(row: Mapping[str, Any], now: datetime) -> StoredRecording:
    """A recording's entry from its row; a damaged row gives what can be read of it."""
    last_utc = row["ended_utc"] or row["heartbeat_utc"]
    try:
        notes, state = notes_of(row["summary"]), _state(row, last_utc, now)
    except StoreError:
        notes, state = Notes(), "damaged"
    found = {
        "kind": notes.kind,
        "state": state,
        "last_utc": last_utc,
        "source_sha256": notes.sha256,
        "sha256": row["sha256"] or "",
        "deleted_utc": row["deleted_utc"] or "",
    }
    own = {one.name: row[one.name] for one in fields(StoredRecording) if one.name not in found}
    return StoredRecording(**found, **own)


def _state(row: Mapping[str, Any], last_utc: str, now: datetime) -> str:
    if row["sha256"]:
        return "ended" if row["ended_utc"] else "interrupted"
    try:
        age_s = (now - datetime.fromisoformat(last_utc)).total_seconds()
    except (TypeError, ValueError):
        return "damaged"
    return "recording" if abs(age_s) < _STALE_S else "interrupted"


def result_entry(row: Mapping[str, Any]) -> StoredResult:
    """A result from its row and what its card adds."""
    columns = {"answer_json": "answer", "options_json": "options", "table": "table_text"}
    names = [one.name for one in fields(StoredResult)]
    found = {name: row[columns.get(name, name)] for name in names}
    return StoredResult(**found | {"said": row["said"] or ""})


def result_sha256(row: Mapping[str, Any]) -> str:
    """The seal of a result: the hash over everything it says."""
    text = to_text([row[name] for name in _SEALED])
    return hashlib.sha256(text.encode()).hexdigest()


def check_seal(row: Mapping[str, Any], address: str) -> None:
    """Raises StoreError where a result's row is not what was sealed in the store `address`."""
    if result_sha256(row) != row["sha256"]:
        raise StoreError(
            "Result {number} in the store {address} was altered after it was made: "
            "its checksum does not match.",
            number=row["number"],
            address=address,
        )


def notes_of(summary: str) -> Notes:
    """What the inputs said of themselves, from the stored text. Raises StoreError."""
    try:
        plain = from_text(summary)
        told = [
            Note(n["template"], **n["values"]) if isinstance(n, dict) else n
            for n in plain.get("warnings", ())
        ]
        return Notes(**plain | {"warnings": told})
    except (TypeError, KeyError, ValueError, IndexError):
        raise StoreError("A row of the store is damaged: it says nothing of its inputs.") from None

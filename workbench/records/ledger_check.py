"""Is the ledger whole, and is all that is stored as it was left? An error for each that is not."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from workbench.base.errors import Message, StoreError
from workbench.records.deeds import read_head
from workbench.records.ledger import Entry, EntryKind, Head

_GONE = {
    EntryKind.RECORDING: Message(
        "Recording {number} is gone: entry {entry} of the ledger ({when_utc}) speaks of it, the "
        "store no longer holds it."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} are gone: entry {entry} of the ledger ({when_utc}) "
        "speaks of them, the store no longer holds them."
    ),
    EntryKind.RESULT: Message(
        "Result {number} is gone: entry {entry} of the ledger ({when_utc}) speaks of it, the store "
        "no longer holds it."
    ),
}
_CHANGED = {
    EntryKind.RECORDING: Message(
        "Recording {number} is not as entry {entry} of the ledger ({when_utc}) left it: its name, "
        "seal, end, machine, version, title or note, or whether it is hidden, was changed by "
        "another hand."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} are not as entry {entry} of the ledger ({when_utc}) "
        "left them: they were changed by another hand."
    ),
    EntryKind.RESULT: Message(
        "Result {number} is not as entry {entry} of the ledger ({when_utc}) left it: it was "
        "exchanged, or its title, its note, what lists show of it or whether it is hidden was "
        "changed by another hand."
    ),
}
_CHANGED_BEFORE = {
    EntryKind.RECORDING: Message(
        "Recording {number} was changed by another hand before entry {entry} of the ledger "
        "({when_utc}): that one did not find what the entry before had left."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} were changed by another hand before entry {entry} of "
        "the ledger ({when_utc}): that one did not find what the entry before had left."
    ),
    EntryKind.RESULT: Message(
        "Result {number} was changed by another hand before entry {entry} of the ledger "
        "({when_utc}): that one did not find what the entry before had left."
    ),
}
_UNKNOWN = {
    EntryKind.RECORDING: Message(
        "Recording {number} was put into the store by another hand: no entry of the ledger speaks "
        "of it."
    ),
    EntryKind.COLUMNS: Message(
        "The columns of recording {number} were put into the store by another hand: no entry of "
        "the ledger speaks of them."
    ),
    EntryKind.RESULT: Message(
        "Result {number} was put into the store by another hand: no entry of the ledger speaks of "
        "it."
    ),
}


def chain_problems(entries: Sequence[Entry]) -> Iterator[StoreError]:
    """What is missing in the chain, altered, or does not follow on what stands before it."""
    last = Head(0, "")
    if not entries:
        yield StoreError("The ledger is empty: every entry was taken away.")
    for entry in entries:
        if entry.number != last.number + 1:
            yield StoreError(
                "Entries {first} to {end} of the ledger are missing.",
                first=last.number + 1,
                end=entry.number - 1,
            )
        elif entry.previous != last.sha256:
            yield StoreError(
                "Entry {entry} of the ledger ({when_utc}) does not follow on the one before: one "
                "of the two was exchanged or written anew.",
                entry=entry.number,
                when_utc=entry.when_utc,
            )
        if entry.right != entry.sha256:
            yield StoreError(
                "Entry {entry} of the ledger ({when_utc}) was altered: its hash is not that of "
                "what it says.",
                entry=entry.number,
                when_utc=entry.when_utc,
            )
        last = Head(entry.number, entry.sha256)


def content_problems(
    entries: Sequence[Entry], kind: EntryKind, now: Mapping[int, str]
) -> Iterator[StoreError]:
    """What is stored of a kind and what the ledger says of it: `now` as of `contents`."""
    left: dict[int, Entry] = {}
    for entry in entries:
        if entry.kind != kind:
            continue
        before = left.get(entry.subject)
        if entry.found != (before.content if before else ""):
            yield StoreError(
                (_CHANGED_BEFORE if before else _UNKNOWN)[kind].template,
                number=entry.subject,
                entry=entry.number,
                when_utc=entry.when_utc,
            )
        left[entry.subject] = entry
    for number, entry in sorted(left.items()):
        if now.get(number) != entry.content:
            yield StoreError(
                (_CHANGED if number in now else _GONE)[kind].template,
                number=number,
                entry=entry.number,
                when_utc=entry.when_utc,
            )
    for number in sorted(now.keys() - left.keys()):
        yield StoreError(_UNKNOWN[kind].template, number=number)


def head_finding(path: Path, entries: Sequence[Entry]) -> Message | None:
    """What the head beside the store says: an error where the chain does not hold it, a note
    where it says too little, None where it is the chain's own."""
    told = read_head(path)
    if told is None:
        return Message(
            "{file} is missing or cannot be read: whether the end of the ledger was cut away only "
            "papers can tell. It is written anew with the next thing done.",
            file=path,
        )
    known = {entry.number: entry.sha256 for entry in entries}
    if known.get(told.number) != told.sha256:
        return StoreError(
            "{file} holds entry {entry} of a ledger that goes on or reads otherwise: the end of "
            "this one was cut away, it was written anew, or an older copy of the store was put "
            "in its place. If you put it there yourself, delete that file.",
            file=path,
            entry=told.number,
        )
    if told.number < len(entries):
        return Message(
            "{file} holds entry {entry} of {count}: the program ended before it could write the "
            "newest there. It is written anew with the next thing done.",
            file=path,
            entry=told.number,
            count=len(entries),
        )
    return None

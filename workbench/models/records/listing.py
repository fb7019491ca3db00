"""Everything that is kept, as a list to look through: its words, its filter, its order.

`all_entries` and what changes the store open it for themselves and may be slow: call them away
from the screen. All raise BenchError.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from enum import StrEnum

from workbench.base.ends import EndSays
from workbench.base.errors import StoreError
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.particulars import particulars_in
from workbench.records.cards import Card
from workbench.records.entries import StoredRecording
from workbench.records.store import open_store
from workbench.words.language import N_, _
from workbench.words.moments import moment_text
from workbench.words.words import Words

KINDS = {
    "recording": (N_("Recording"), N_("Recordings")),
    "pass": (N_("Pass"), N_("Passes")),
    "calibrate": (N_("Calibration"), N_("Calibrations")),
    "gap": (N_("Gap check"), N_("Gap checks")),
    "prepare": (N_("Preparation"), N_("Preparations")),
    "speed": (N_("Belt speed"), N_("Belt speeds")),
}
"""Kind of an entry -> its word for one and for several."""


class Order(StrEnum):
    """How the list is sorted; each value is the choice's words."""

    NEWEST = N_("Newest first")
    OLDEST = N_("Oldest first")
    NAME = N_("By name")
    MACHINE = N_("By machine")
    WORST = N_("Worst first")


_WORST_FIRST = (
    Verdict.FAIL,
    Verdict.CONDITIONAL_FAIL,
    Verdict.CANNOT_TELL,
    Verdict.CONDITIONAL_PASS,
    Verdict.PASS,
    None,
)
_STATES = {
    "recording": N_("recording now"),
    "interrupted": N_("broken off"),
    "damaged": N_("damaged"),
}
"""What must be known of a recording's state."""


@dataclass(frozen=True, slots=True)
class RecordEntry:
    """One line of the list: a recording, or a result.

    `state` is a recording's ('' for a result), `ended_by` why it ended; `recording` is the
    number of the one a result was computed from. `deleted_utc` is '' for what is in sight;
    `with_recording` says that a result is out of sight only because its recording is.
    `verdict` is the one that holds now; of a calibration that was proved with a new setting, or
    a pickup that was adjusted, `found` is that before. `said` tells for whom and by whom it was
    made. `text` is everything a filter may find, in small letters.
    """

    number: int
    kind: str
    name: str
    when_utc: str
    when: str
    machine: str
    verdict: Verdict | None = None
    found: Verdict | None = None
    simulated: bool = False
    state: str = ""
    ended_by: tuple[EndSays | str, ...] = ()
    title: str = ""
    note: str = ""
    recording: int | None = None
    deleted_utc: str = ""
    with_recording: bool = False
    said: str = ""
    text: str = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        # Once and for all: a filter looks through thousands at each key.
        object.__setattr__(self, "text", self._searched())

    @property
    def is_result(self) -> bool:
        return self.kind != "recording"

    @property
    def key(self) -> tuple[bool, int]:
        """What tells this entry from every other."""
        return self.is_result, self.number

    @property
    def kind_word(self) -> str:
        return _(KINDS.get(self.kind, (self.kind.capitalize(), ""))[0])

    @property
    def words(self) -> str:
        """'Pass: north field'; what the person called it where they did."""
        return f"{self.kind_word}: {self.title or self.name}"

    @property
    def running(self) -> bool:
        """Whether it is a recording under way."""
        return self.state == "recording"

    @property
    def state_words(self) -> str:
        """What must be known of its state, '' where nothing must."""
        return _(_STATES.get(self.state, ""))

    @property
    def end_words(self) -> str:
        """Why a recording ended, '' where nobody told."""
        return "; ".join(map(Words().say, self.ended_by))

    @property
    def verdict_word(self) -> str:
        """'pass', 'pass as left'; '' where there is none."""
        said = Words().say(self.verdict) if self.verdict else ""
        return _("{verdict} as left").format(verdict=said) if said and self.found else said

    @property
    def found_word(self) -> str:
        """'fail as found'; '' where nothing was changed since."""
        said = Words().say(self.found) if self.found else ""
        return _("{verdict} as found").format(verdict=said) if said else ""

    def _searched(self) -> str:
        parts = (
            _("result") if self.is_result else _("recording"),
            str(self.number),
            self.words,
            self.name,
            self.note,
            self.said,
            self.when,
            self.when_utc,
            self.machine,
            self.verdict_word,
            self.found_word,
            self.state_words,
            _("simulated") if self.simulated else "",
            _("deleted") if self.deleted_utc else "",
        )
        return " ".join(parts).casefold()


@dataclass(frozen=True, slots=True)
class Filter:
    """What of the list is looked for; '' wants everything."""

    words: str = ""
    kind: str = ""
    machine: str = ""
    deleted: bool = False
    order: Order = Order.NEWEST

    @property
    def everything(self) -> bool:
        """Whether nothing that is in sight is left out."""
        return not (self.words.strip() or self.kind or self.machine or self.deleted)


def all_entries(
    store: str | None, zone: tzinfo | None = None, under_way: Collection[int] = ()
) -> list[RecordEntry]:
    """Recordings and results, those out of sight too, the newest first.

    Times of day are those of `zone`, None for the computer's own. Recordings `under_way` are
    known to be: a disk that is busy for long makes the store take them for broken off.
    """
    with open_store(store) as opened:
        with suppress(StoreError):  # where the store may only be read
            opened.recover()
        recordings, cards = opened.recordings(deleted=True), opened.cards()
    by_number = {one.number: one for one in recordings}
    found = [_of_recording(one, zone) for one in recordings]
    found = [replace(one, state="recording") if one.number in under_way else one for one in found]
    found += [_of_card(card, by_number.get(card.recording or 0), zone) for card in cards]
    return sorted(found, key=lambda one: one.when_utc, reverse=True)


def ended_recordings(store: str | None) -> list[RecordEntry]:
    """The recordings in sight that can be judged again, the newest first."""
    with open_store(store) as opened:
        found = opened.recordings()
    return [_of_recording(one, None) for one in found if one.state != "recording"]


def filtered(entries: Iterable[RecordEntry], wanted: Filter) -> list[RecordEntry]:
    """The entries that are wanted, in the order wanted; every word typed must be found."""
    words = wanted.words.casefold().split()
    found = [
        entry
        for entry in entries
        if bool(entry.deleted_utc) is wanted.deleted
        and wanted.kind in ("", entry.kind)
        and wanted.machine in ("", entry.machine)
        and (not words or all(word in entry.text for word in words))
    ]
    found.sort(key=lambda one: one.when_utc, reverse=wanted.order is not Order.OLDEST)
    keys: dict[Order, Callable[[RecordEntry], object]] = {
        Order.NAME: lambda one: (one.title or one.name).casefold(),
        Order.MACHINE: lambda one: one.machine.casefold(),
        Order.WORST: lambda one: _WORST_FIRST.index(one.verdict),
    }
    if wanted.order in keys:
        found.sort(key=keys[wanted.order])  # type: ignore[arg-type]
    return found


def hide(store: str | None, entries: Iterable[RecordEntry], *, hidden: bool) -> None:
    """Delete entries, or bring them back; nothing is erased. Raises WrongInput, StoreError."""
    with open_store(store) as opened:
        for entry in entries:
            if not entry.is_result:
                opened.hide(entry.number, hidden=hidden)
            elif entry.with_recording and not hidden:
                opened.hide(entry.recording or 0, hidden=False)
            else:
                opened.hide_result(entry.number, hidden=hidden)


def describe(store: str | None, entry: RecordEntry, title: str, note: str) -> None:
    """Keep what the person calls an entry and says of it. Raises WrongInput, StoreError."""
    with open_store(store) as opened:
        keep = opened.describe_result if entry.is_result else opened.describe
        keep(entry.number, title.strip(), note.strip())


def _of_recording(one: StoredRecording, zone: tzinfo | None) -> RecordEntry:
    return RecordEntry(
        one.number,
        kind="recording",
        name=one.name,
        when_utc=one.started_utc,
        when=moment_text(one.started_utc, zone),
        machine=one.machine_name,
        simulated=one.simulated,
        state=one.state,
        ended_by=one.ended_by,
        title=one.title,
        note=one.note,
        deleted_utc=one.deleted_utc,
    )


def _of_card(card: Card, recording: StoredRecording | None, zone: tzinfo | None) -> RecordEntry:
    gone_with = recording.deleted_utc if recording else ""
    source = recording.title or recording.name if recording else card.table_name
    found, left = _verdict(card.head.get("verdict")), _verdict(card.as_left)
    return RecordEntry(
        card.number,
        kind=card.kind,
        name=source,
        when_utc=card.created_utc,
        when=moment_text(card.created_utc, zone),
        machine=card.machine_name,
        verdict=left or found,
        found=found if left else None,
        simulated=bool(card.head.get("simulated") or (recording and recording.simulated)),
        title=card.title,
        note=card.note,
        recording=card.recording,
        deleted_utc=card.deleted_utc or gone_with,
        with_recording=bool(gone_with and not card.deleted_utc),
        said=_said(card),
    )


def _said(card: Card) -> str:
    """For whom and by whom, to be found; '' where nobody said, or what is stored is damaged."""
    with suppress(StoreError):
        said = particulars_in(card.said)
        return " ".join((said.customer, said.field, said.job, said.by))
    return ""


def _verdict(word: object) -> Verdict | None:
    """None for a kind that has none, and for a card that is damaged."""
    return next((verdict for verdict in Verdict if verdict == word), None)

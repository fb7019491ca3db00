"""Prepare as a job: what is typed, judged at once, topic by topic, and kept as one sheet."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.base.cautions import Caution
from workbench.base.errors import Message, WrongInput
from workbench.base.files import name_for
from workbench.base.units import UNITS
from workbench.calibration.prepare.due import done_in, services
from workbench.calibration.prepare.judge import judge
from workbench.calibration.prepare.measures import CHECKS, SPECS, ReadingKind, Topic
from workbench.calibration.prepare.sheet import CheckLine, PrepareSheet
from workbench.calibration.prepare.table import (
    PreparedReading,
    is_bare,
    is_number,
    parse_prepare_table,
    value_of,
    write_prepare_table,
)
from workbench.calibration.statistics.decision import Verdict, badness
from workbench.jobs.prepare.answer import PrepareAnswer, PrepareOptions
from workbench.jobs.prepare.compute import course
from workbench.jobs.prepare.stored import judge_table
from workbench.models.bench import Bench
from workbench.models.draft_file import DraftFile
from workbench.models.observable import Observable
from workbench.models.prepare.fields import RUNS, FieldRow, Slot, rows_of, unit_of
from workbench.models.prepare.flags import Flags
from workbench.words.language import _
from workbench.words.prepare import part_words, source_rows
from workbench.words.words import Words

if TYPE_CHECKING:
    from workbench.reports.document import Document

Typed = dict[str, dict[str, list[str]]]
"""Machine's name -> 'reading|place' -> what was typed, and the unit of a bare number."""

TABLE_NAME = "readings at the machine"

CAUTIONS = {
    Topic.FLOW: Caution.AT_THE_HYDRAULICS,
    Topic.COURSE: Caution.BEFORE_A_PASS,
}
"""What is heeded first; at all other topics `AT_THE_MACHINE`."""


@dataclass(frozen=True, slots=True)
class KeptSheet:
    """A sheet in the store."""

    number: int
    answer: PrepareAnswer


class PrepareJob(Observable):
    """What was typed for the machine in use. `today` is the day as text, such as 2026-11-29."""

    def __init__(
        self, bench: Bench, today: Callable[[], str] = lambda: date.today().isoformat()
    ) -> None:
        super().__init__()
        self._bench, self.today = bench, today
        what = Message("What was typed on Prepare")
        self._draft = DraftFile(bench.settings.path, "prepare-sheet.json", what)
        self._typed: Typed = {}
        self.topic = next(iter(Topic))
        self.flags = Flags(bench)
        self.errors: dict[Slot, str] = {}
        self.sheet = PrepareSheet({}, None)
        self.kept: KeptSheet | None = None
        self.said = ""
        self._revision = 0
        self._read: list[PreparedReading] = []
        self._resume()
        self.look_at_machine()

    @property
    def caution(self) -> Caution:
        """What is read before anything of the topic at hand is measured."""
        return CAUTIONS.get(self.topic, Caution.AT_THE_MACHINE)

    @property
    def rows(self) -> tuple[FieldRow, ...]:
        """The fields of the topic at hand."""
        return rows_of(self.topic, self._bench.machine)

    @property
    def has_readings(self) -> bool:
        return bool(self._read)

    @property
    def at_last(self) -> bool:
        """Whether the topic at hand is the last."""
        return self.topic is list(Topic)[-1]

    def text(self, slot: Slot) -> str:
        """What stands in a field: as typed, or the same in the person's units where it was typed
        in others and without a word of its unit."""
        text, unit = self._mine.get(_key(slot), ["", ""])
        return _in_unit(slot[0], text, unit, self.unit(slot))

    def unit(self, slot: Slot) -> str:
        """The unit of a bare number in a field."""
        return unit_of(slot[0], self._bench.settings.units)

    def type(self, slot: Slot, text: str) -> None:
        """Take what was typed; '' empties the field. What is wrong stays and gets a sentence."""
        if text.strip():
            if slot[0] is ReadingKind.DONE and text.strip().lower() in ("today", _("today")):
                text = self.today()
            self._mine[_key(slot)] = [text, unit_of(slot[0], self._bench.settings.units)]
        else:
            self._mine.pop(_key(slot), None)
        self._changed_by_hand()

    def clear(self) -> None:
        """An empty sheet for this machine."""
        self._mine.clear()
        self._changed_by_hand()

    def open_table(self, text: str, name: str) -> None:
        """Put a prepare table's rows into the fields. Raises WrongInput with its line."""
        for one in parse_prepare_table(text, name):
            self._mine[_key((one.measure, one.place))] = list(one.typed)
        self._changed_by_hand()
        self.said = _("Read from {name}.").format(name=name)
        self.changed()

    @property
    def can_rehearse(self) -> bool:
        """Whether the simulator's machine is in use, and tells what would be read at it."""
        return self.simulated and bool(self._bench.live.prepare_text)

    def rehearse(self) -> None:
        """Read what the simulator's machine would show."""
        self.open_table(self._bench.live.prepare_text, _("the simulator"))

    def flag(self) -> None:
        """A flag of the taped course is passed: at the second the next free run gets its time,
        and what radar, wheels and satellites showed meanwhile."""
        run = next((one for one in RUNS if not self.text((ReadingKind.COURSE_TIME, one))), "")
        if not run:
            self.said = _("All runs have their times: empty one to drive it again.")
            self.changed()
            return
        found = self.flags.passed()
        if found is not None:
            self.type((ReadingKind.COURSE_TIME, run), f"{found.duration_s:.2f}")
            for kind, speed_mps in found.shown_mps.items():
                one_mps = UNITS["speed"][self.unit((kind, run))]
                self.type((kind, run), f"{speed_mps / one_mps:.3f}")
        told = _("Run {run}: press again at the second flag.") if found is None else ""
        self.said = told.format(run=run)
        self.changed()

    def go_to(self, topic: Topic) -> None:
        """Take a topic in hand."""
        self.topic = topic
        self.changed()

    def go_by(self, steps: int) -> None:
        """To a topic before or after this one."""
        topics = list(Topic)
        at = topics.index(self.topic) + steps
        if 0 <= at < len(topics):
            self.go_to(topics[at])

    def look_at_machine(self) -> None:
        """Another machine is in use: its own sheet is shown."""
        self.kept = None
        self._judge()

    def look_at_units(self) -> None:
        """The person reads in other units: what is wrong is said in them."""
        self._judge()

    def lines(self, topic: Topic) -> list[CheckLine]:
        """What of a topic was judged, the worst first."""
        mine = [one for one in self.sheet.checks if CHECKS[one.check].topic is topic]
        return sorted(mine, key=lambda one: -badness(one.verdict))

    def verdict(self, topic: Topic) -> Verdict | None:
        """The worst of a topic; None where nothing of it can be judged yet."""
        lines = self.lines(topic)
        return lines[0].verdict if lines else None

    def is_begun(self, topic: Topic) -> bool:
        """Whether something of it was read."""
        return any(SPECS[one.measure].topic is topic for one in self._read)

    def findings(self, topic: Topic, words: Words) -> str:
        """What of a topic is no check: sources over the course, parts that are due, as far as
        this sheet knows; '' where there is nothing."""
        if topic is Topic.COURSE:
            sources, missing = course(self._read, self.sheet)
            told = "; ".join(", ".join(row) for row in source_rows(sources, words))
            return " ".join([f"{told}."] * bool(told) + words.say_all(missing))
        if topic is not Topic.WEAR:
            return ""
        done, hours = done_in(self._read, ""), self.sheet.one(ReadingKind.HOURS)
        listed = services(self._bench.machine, done, self.today(), hours)
        due = ", ".join(part_words(one.part, words) for one in listed if one.is_due)
        return _("Due, as far as this sheet knows: {parts}.").format(parts=due) if due else ""

    def table(self) -> str:
        """The readings as the table that is kept."""
        return write_prepare_table(self._read)

    def keep_work(self) -> Callable[[], KeptSheet]:
        """The slow work that keeps the sheet. Raises WrongInput where nothing was read, or
        something typed is wrong."""
        if self.errors:
            (kind, place), said = next(iter(self.errors.items()))
            what = ", ".join(filter(None, (Words().say(kind), place)))
            raise WrongInput("{what}: {said}", what=what, said=said)
        if not self._read:
            raise WrongInput("Nothing was measured yet: type a value first.")
        text, options = self.table(), self._options()
        machine, store = self._bench.machine, self._bench.store
        for_whom = self._bench.for_whom.of(machine)

        def work() -> KeptSheet:
            answer, kept = judge_table(text, machine, options, store, for_whom)
            if kept.trouble is not None:
                raise kept.trouble
            return KeptSheet(kept.number or 0, answer)

        return work

    def was_kept(self, kept: KeptSheet) -> None:
        """The sheet is in the store; it stays typed until it is cleared."""
        self.kept = kept
        told = _("Kept as result {number}; passes and calibrations of this machine know it.")
        self.said = told.format(number=kept.number)
        self.changed()

    def draft_work(self) -> Callable[[], None] | None:
        """The slow work that writes down what was typed; None where nothing changed."""
        return self._draft.work(
            self._revision,
            lambda: {machine: dict(slots) for machine, slots in self._typed.items() if slots},
        )

    def keep_draft(self) -> None:
        """The same at once."""
        work = self.draft_work()
        if work is not None:
            work()

    def _resume(self) -> None:
        """What was typed last time, as far as it can be read."""
        try:
            found = self._draft.read()
        except WrongInput as error:
            self.said = self._draft.put_aside(error, _("A new sheet begins."))
            return
        self._typed = {
            machine: {
                slot: [str(one) for one in typed]
                for slot, typed in slots.items()
                if isinstance(typed, list) and len(typed) == 2
            }
            for machine, slots in found.items()
            if isinstance(slots, dict)
        }

    @property
    def _mine(self) -> dict[str, list[str]]:
        machine = self._bench.machine
        return self._typed.setdefault(machine.name if machine else "", {})

    @property
    def simulated(self) -> bool:
        """Whether the machine is the simulator's own: nothing real is read on it."""
        return self._bench.live.simulated and self._bench.machine_path is None

    def _options(self) -> PrepareOptions:
        by = self._bench.for_whom.of(self._bench.machine).by
        return PrepareOptions(TABLE_NAME, today=self.today(), simulated=self.simulated, by=by)

    def _wrong(self, slot: Slot) -> WrongInput | None:
        """What is wrong with a field as it reads now."""
        text = self.text(slot)
        try:
            value_of(slot[0], text, self.unit(slot) if is_number(text) else "")
        except WrongInput as error:
            return error
        return None

    def _changed_by_hand(self) -> None:
        self._revision += 1
        self.said, self.kept = "", None
        self._judge()

    def _judge(self) -> None:
        """Read every field, and judge what can be read."""
        self.errors, self._read = {}, []
        words = Words(self._bench.settings.units)
        for key, (text, default) in self._mine.items():
            word, _bar, place = key.partition("|")
            if word not in SPECS:
                continue
            kind = ReadingKind(word)
            unit = default if is_number(text) or SPECS[kind].kind == "count" else ""
            try:
                value = value_of(kind, text, unit)
            except WrongInput as error:
                self.errors[kind, place] = words.say(self._wrong((kind, place)) or error)
            else:
                self._read.append(PreparedReading(kind, place, value, typed=(text.strip(), unit)))
        self.sheet = judge(self._read, self._bench.machine)
        self.changed()


def _in_unit(kind: ReadingKind, text: str, unit: str, now: str) -> str:
    """A bare number that was typed in a unit, as it reads in another; any other text as it is."""
    of_kind = SPECS[kind].kind
    if unit == now or not is_bare(text):
        return text
    try:
        if of_kind == "temperature":
            value = value_of(kind, text, unit)
            return f"{value * 1.8 + 32 if 'F' in now else value:.4g}"
        units = UNITS[of_kind]
        if not is_number(text):
            return f"{value_of(kind, text, '') / units[now]:.4g}"
        return f"{float(text.replace(',', '.')) * units[unit] / units[now]:.4g}"
    except (WrongInput, KeyError, ValueError):
        return text


def _key(slot: Slot) -> str:
    return f"{slot[0]}|{slot[1]}"


@dataclass(frozen=True, slots=True)
class SheetPaper:
    """The report of a kept sheet, see `gui.parts.paper.Paper`."""

    kept: KeptSheet
    store: str | None
    words: Words

    @property
    def file_name(self) -> str:
        """What it is called where it is saved."""
        return name_for(self.kept.answer.machine, "prepare", ".pdf")

    def pages(self, ppi: float) -> list[bytes]:
        """Its pages as pictures."""
        from workbench.reports.document import render_pages

        return render_pages(self._document(), ppi)

    def save(self, path: Path) -> Path:
        """Write it as the name's ending says."""
        from workbench.reports.document import render

        return render(self._document(), path)

    def _document(self) -> Document:
        from workbench.records.store import open_store
        from workbench.reports.stored import document_of
        from workbench.reports.testified import testified

        with open_store(self.store, make=False) as store:
            stored = store.result(self.kept.number)
        return testified(document_of(stored, self.words), self.store, stored.number)

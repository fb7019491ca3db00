"""The gap check as a job: feeler readings of a list of pickups, one number after the other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from enum import StrEnum

from workbench.base.errors import Message, WrongInput
from workbench.base.machine import Pickup
from workbench.calibration.gap.table import parse_gap_table, write_gap_table
from workbench.jobs.gap.sheet import run_says
from workbench.models.bench import Bench
from workbench.models.draft_file import DraftFile
from workbench.models.gap import entry as gap_entry
from workbench.models.gap.machines import Held, parsed
from workbench.models.gap.pickups import GapList, KeptRun, PickupEntry
from workbench.models.gap.run import WheelRun
from workbench.models.gap.store import GapBatch, JudgedRun, KeptAnswer, keep_batches, one_pickup
from workbench.models.gap.words import kept_words
from workbench.models.observable import Observable
from workbench.words.language import _, ngettext

ROUNDS = (4, 6, 8, 12)
"""Readings a round that may be asked for, evenly spaced."""


class Step(StrEnum):
    """What is to be done next with the feeler."""

    READ = "read"
    NEXT_PICKUP = "next pickup"
    KEEP = "keep"
    REPORT = "report"


class GapJob(Observable):
    """Feeler readings typed one after the other; `run` is the wheel by its pulses.

    `round_of` readings make a round, `by_tooth` counts places by teeth from the mark, from 1.
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench = bench
        self.run = WheelRun(bench)
        what = Message("The list of last time")
        self._draft = DraftFile(bench.settings.path, "gap-list.json", what)
        self.list = GapList(self._in_use)
        self.round_of, self.by_tooth = ROUNDS[0], False
        self._kept: list[KeptAnswer] = []
        self.said = ""
        self._kept_at = 0
        self._run_of = -1
        self._given_name = ""
        self._begin()
        self._resume()
        self.list.subscribe(self._list_changed)

    @property
    def kept_as(self) -> list[KeptAnswer]:
        """The answers the list is kept as in the store, a machine each; none where anything
        changed since."""
        return self._kept if self._kept_at == self.list.revision else []

    @property
    def held(self) -> Held:
        """The machine that the pickup at hand is judged by."""
        return self.list.current.held

    @property
    def limits(self) -> Pickup:
        return self.held.limits

    @property
    def other_in_use(self) -> Held | None:
        """The machine in use where the pickup at hand is judged by another."""
        in_use = self._in_use()
        return None if in_use.machine is None or in_use.same_as(self.held) else in_use

    @property
    def teeth(self) -> int:
        """Teeth of the target wheel, 0 where no machine tells."""
        machine = self.held.machine
        return machine.drive.target_teeth if machine else 0

    def go_on(self) -> None:
        """Take the next pickup in hand that has no verdict yet."""
        at = self.list.next_undone()
        if at is not None:
            self.list.go_to(at)

    def open_table(self, text: str, name: str) -> None:
        """Put a gap table's readings into the list. Raises WrongInput with its line."""
        pickups = parse_gap_table(text, name)
        self.list.use_readings(pickups)
        many = len(pickups)
        told = ngettext("{count} pickup from {name}.", "{count} pickups from {name}.", many)
        self.said = told.format(count=many, name=name)
        self.changed()

    def angle_of(self, typed: str) -> float:
        """The angle of a place as typed: degrees, or a tooth's number. Raises WrongInput."""
        if self.by_tooth:
            return gap_entry.tooth_deg(typed, self.teeth)
        return gap_entry.angle_deg(typed)

    def gap_of(self, typed: str) -> float:
        """A gap as typed, m; see `gap_entry`. Raises WrongInput."""
        return gap_entry.gap_m(typed, self._bench.settings.units)

    def undo(self) -> None:
        """Take back the last change, whatever it was."""
        what = self.list.undo()
        self.said = _("Taken back: {what}.").format(what=what) if what else ""
        self.changed()

    def use_places(self, *, round_of: int | None = None, by_tooth: bool | None = None) -> None:
        """How many readings make a round, and whether places are counted by teeth."""
        self.round_of = self.round_of if round_of is None else round_of
        self.by_tooth = self.by_tooth if by_tooth is None else by_tooth
        self.changed()

    def next_angle_deg(self) -> float:
        """Where to read next: the next place of the round that was not read yet."""
        read_deg = self.list.current.angle_deg
        if not read_deg:
            return 0.0
        last = read_deg[-1] % 360.0
        ahead = sorted(self._planned_deg(), key=lambda angle: (angle - last - 1e-6) % 360.0)
        unread = (angle for angle in ahead if not self._was_read(angle))
        return next(unread, ahead[0])

    def place_text(self, angle_deg: float) -> str:
        """A place as it is typed: '90', or the nearest tooth's number."""
        if self.counts_teeth:
            return str(round(angle_deg / 360.0 * self.teeth) % self.teeth + 1)
        return f"{angle_deg:.4g}"

    @property
    def counts_teeth(self) -> bool:
        """Whether places are counted by teeth: asked for, and possible."""
        return self.by_tooth and self.teeth > 0

    @property
    def places(self) -> int:
        """Places in a round."""
        return len(self._planned_deg())

    @property
    def places_read(self) -> int:
        """Places of the round that were read at the pickup at hand."""
        return sum(map(self._was_read, self._planned_deg()))

    @property
    def round_is_read(self) -> bool:
        return all(self._was_read(angle) for angle in self._planned_deg())

    @property
    def step(self) -> Step:
        """The one next step of the feeler check."""
        if not self.round_is_read:
            return Step.READ
        if self.list.next_undone() is not None:
            return Step.NEXT_PICKUP
        return Step.REPORT if self.kept_as else Step.KEEP

    @property
    def has_readings(self) -> bool:
        return any(entry.readings or entry.found for entry in self.list.entries)

    def keep_work(self) -> Callable[[], list[KeptAnswer]]:
        """The slow work that judges all readings and stores them, a result for each machine.

        Raises WrongInput.
        """
        if not self.has_readings:
            raise WrongInput("There is no reading yet: type an angle and a gap first.")
        batches, store, said = self._batches(), self._bench.store, self._bench.for_whom.of
        self._kept_at = self.list.revision
        return lambda: keep_batches(batches, store, said)

    def kept(self, answers: list[KeptAnswer]) -> None:
        """The list is in the store as these answers."""
        self._kept, self.said = answers, kept_words(answers)
        if self._kept_at != self.list.revision:
            self.said = f"{self.said} {_('What was read since is not in it yet.')}"
        self.changed()

    def shown_answer(self) -> KeptAnswer | None:
        """The stored answer of the pickup at hand alone, None where it is not kept."""
        return one_pickup(self.kept_as, self.list.current.name)

    def channel_of(self, channels: Sequence[str]) -> str:
        """Which of these is the channel of the pickup at hand, '' where it must be chosen."""
        return self.list.its_channel(self.list.current, channels)

    @property
    def run_of(self) -> str:
        """The name of the pickup that the run is made for, '' where there is none."""
        entry = self.list.entry(self._run_of)
        return entry.name if entry else ""

    def choose_channel(self, channel: str) -> None:
        """The person says by which channel the pulses of the pickup at hand come in. Of a
        recording of several it is the one that counts. Raises WrongInput."""
        key = self.list.current.key
        self.list.bind(key, channel)
        found = [one.pickup for one in self.run.pickups()]
        if channel in found and self._run_of == key:
            self.run.choose(channel)
            self._note_run()
        elif found:
            self.run.forget()

    def start_run(self, *, drop_out: bool) -> None:
        """A run for the pickup at hand by its own channel; see `WheelRun.start`.

        What comes in is the machine's in use, so a pickup of another machine is refused.
        """
        self.list.hold_first()
        other = self.other_in_use
        if other is not None:
            told = _(
                "This pickup has the limits of {mine}, but {other} is in use: choose the pickup's "
                "machine on Machine, or press 'Use machine in use' on Feeler."
            )
            mine = self.held.name or _("no machine")
            self.run.failed(told.format(mine=mine, other=other.name))
            return
        channels = self.run.channels()
        channel = self.channel_of(channels)
        if channels and not channel:
            told = _("Choose first by which channel the pulses of {pickup} come in.")
            self.run.failed(told.format(pickup=self.list.current.name))
            return
        if channel:
            self.list.bind(self.list.current.key, channel)
        self._run_of = self.list.current.key
        self.run.start(drop_out=drop_out, channel=channel)

    def judge_old_work(self, number: int, *, drop_out: bool) -> Callable[[], JudgedRun]:
        """The slow work that judges a stored recording for the pickup at hand."""
        self.list.hold_first()
        self._run_of = self.list.current.key
        return self.run.judge_old_work(number, self.held.machine, drop_out=drop_out)

    def run_judged(self, judged: JudgedRun) -> None:
        """A run has its answer: it is noted with the pickup it was made for, and shown while
        that is at hand. Of a recording in which nothing tells its channel, nothing is noted
        until the person has chosen it."""
        entry = self.list.entry(self._run_of)
        if entry is None:
            return
        channel = self.list.its_channel(entry, [one.pickup for one in judged.kept.answer.pickups])
        self.run.show(judged, channel)
        if channel:
            self.list.bind(entry.key, channel)
            self._note_run()
        self._list_changed()

    def keep_draft(self) -> None:
        """Write the list down for the next start, if it changed."""
        work = self.draft_work()
        if work is not None:
            work()

    def draft_work(self) -> Callable[[], None] | None:
        """The same as slow work; None where nothing changed."""
        return self._draft.work(self.list.revision, self.list.to_data)

    def look_at_machine(self) -> None:
        """Another machine is in use: pickups keep theirs; a list not begun begins with it."""
        only = self.list.states()[0]
        if self.list.revision == 0 and only.name == self._given_name and not only.readings:
            self._begin()
        self.changed()

    def _note_run(self) -> None:
        pickup, judged = self.run.pickup, self.run.judged
        if pickup is None or judged is None:
            return
        run = KeptRun(
            drop_out=judged.drop_out,
            result=judged.kept.number,
            channel=pickup.pickup,
            verdict=pickup.verdict,
            simulated=judged.kept.answer.simulated,
            said=run_says(pickup),
        )
        self.list.keep_run(self._run_of, run)

    def _begin(self) -> None:
        """A list of one pickup, called after the machine in use until the person names it."""
        self._given_name = self._in_use().name or _("Pickup {number}").format(number=1)
        self.list.start_with(self._given_name)

    def _resume(self) -> None:
        try:
            if data := self._draft.read():
                self.list.resume(data)
        except WrongInput as error:
            self.said = self._draft.put_aside(error, _("A new list begins."))

    def _list_changed(self) -> None:
        self.said = ""
        if self._run_of != self.list.current.key and not self.run.running:
            self.run.forget()  # what is shown is never another pickup's
        self.changed()

    def _planned_deg(self) -> list[float]:
        if self.counts_teeth:
            count = min(self.round_of, self.teeth)
            teeth = [round(at * self.teeth / count) for at in range(count)]
            return [tooth * 360.0 / self.teeth for tooth in teeth]
        return [at * 360.0 / self.round_of for at in range(self.round_of)]

    def _was_read(self, angle_deg: float) -> bool:
        """Whether a reading of the pickup at hand is nearer to this place than to the next."""
        near = 360.0 / self.round_of / 3
        return any(
            abs((angle - angle_deg + 180.0) % 360.0 - 180.0) <= near
            for angle in self.list.current.angle_deg
        )

    def _in_use(self) -> Held:
        """The machine in use, and whether it is the simulator's own: nothing real is read on it."""
        live, machine = self._bench.live, self._bench.machine
        made_up = parsed(live.machine_text).name if live.machine_text else ""
        simulated = live.simulated and machine is not None and machine.name == made_up
        return Held(machine, simulated)

    def _batches(self) -> list[GapBatch]:
        """The readings of each machine, in the list's order; made-up ones never with real ones."""
        groups: dict[tuple[str, bool], list[PickupEntry]] = {}
        for entry in self.list.entries:
            if entry.readings or entry.found:
                key = (entry.held.text, self.list.state(entry).practice)
                groups.setdefault(key, []).append(entry)
        return [
            GapBatch(
                write_gap_table(
                    [entry.table_of(entry.found or entry.readings) for entry in entries]
                ),
                entries[0].held.machine,
                practice,
                _as_left(entries),
            )
            for (_text, practice), entries in groups.items()
        ]


def _as_left(entries: list[PickupEntry]) -> str:
    """The readings of the pickups that were adjusted and read again, as a gap table; '' for
    none."""
    again = [one.table_of(one.readings) for one in entries if one.found and one.readings]
    return write_gap_table(again) if again else ""

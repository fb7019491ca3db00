"""The shop's list of pickups as the screen works on it: readings, runs, states, undo, resume."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Any

import numpy as np

from workbench.base.errors import BenchError, WrongInput
from workbench.base.statements import Statement
from workbench.calibration.gap.answer import SEPARATOR, FeelerAnswer, parts_of
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.table import GapReadings, check_angle_deg, check_gap_m
from workbench.calibration.gap.unread import USUAL_TEETH
from workbench.calibration.statistics.decision import Verdict, badness
from workbench.jobs.codec import from_plain, to_plain
from workbench.jobs.gap.sheet import Standing
from workbench.models.gap.machines import NONE_HELD, Held, parsed
from workbench.models.observable import Observable
from workbench.words.language import _

MOST_STEPS_BACK = 200
MOST_LETTERS = 100
SIDES = ("left", "right")
"""What channels of a machine with two pickups are called."""
_keys = count()


@dataclass(frozen=True, slots=True)
class KeptRun:
    """A tooth run or a drop-out run that was judged and stored for a pickup."""

    drop_out: bool
    result: int
    channel: str
    verdict: Verdict
    simulated: bool
    said: Statement


Reading = tuple[float, float, int]
"""Angle in degrees, gap in m, and its line in a table, 0 where it was typed."""


@dataclass(frozen=True, slots=True)
class PickupEntry:
    """One pickup of the list: the machine it is judged by, the readings taken so far, at most
    one run of a kind, and the `channel` its pulses come in by, '' until it is chosen.

    Once it was adjusted, `found` holds the readings from before; none where it was not.

    `key` stays whatever is changed, its name too.
    """

    name: str
    held: Held = NONE_HELD
    readings: tuple[Reading, ...] = ()
    runs: tuple[KeptRun, ...] = ()
    channel: str = ""
    found: tuple[Reading, ...] = ()
    key: int = field(default_factory=_keys.__next__, compare=False)

    @property
    def angle_deg(self) -> list[float]:
        return [angle_deg for angle_deg, _gap_m, _line in self.readings]

    @property
    def gap_m(self) -> list[float]:
        return [gap_m for _angle_deg, gap_m, _line in self.readings]

    def table_of(self, readings: Sequence[Reading]) -> GapReadings:
        """Some of its readings, one at least, as arrays."""
        angle_deg, gap_m, line = zip(*readings, strict=True)
        lines = np.array(line, dtype=np.int64)
        return GapReadings(self.name, np.array(angle_deg), np.array(gap_m), lines)


@dataclass(frozen=True, slots=True)
class _Written:
    """A pickup as it is written down, its machine by its place among the machines."""

    name: str
    readings: tuple[Reading, ...]
    runs: tuple[KeptRun, ...]
    machine: int | None = None
    channel: str = ""
    found: tuple[Reading, ...] = ()


@dataclass(frozen=True, slots=True)
class _Draft:
    """The list as it is written down: machines by their file and whether they are made up."""

    at: int
    pickups: tuple[_Written, ...]
    machines: tuple[tuple[str, bool], ...] = ()


@dataclass(frozen=True, slots=True)
class PickupState:
    """Where one pickup of the list stands: its verdict, or how far its readings have come.

    `practice`: it was read on a machine that the simulator made up. `held` is the machine
    whose limits it is judged by, `as_found` what its readings said before it was adjusted.
    """

    name: str
    standing: Verdict | Standing
    readings: int
    gap: FeelerAnswer | None
    runs: Sequence[KeptRun] = ()
    practice: bool = False
    held: Held = NONE_HELD
    as_found: FeelerAnswer | None = None

    @property
    def simulated(self) -> bool:
        return self.practice or any(run.simulated for run in self.runs)

    @property
    def done(self) -> bool:
        return isinstance(self.standing, Verdict)


class GapList(Observable):
    """One or more pickups in the order they are worked through; every change can be taken back.

    `revision` grows with every change of readings, names, runs and machines. `in_use` tells
    the machine in use: a pickup takes it when it is added, or at its first reading where it
    has none yet, and keeps it until it is given another.
    """

    def __init__(self, in_use: Callable[[], Held] = lambda: NONE_HELD) -> None:
        super().__init__()
        self._in_use = in_use
        self.entries: tuple[PickupEntry, ...] = (PickupEntry(""),)
        self.at = self.revision = 0
        self._back: list[tuple[str, tuple[PickupEntry, ...], int]] = []
        self._judged: dict[tuple[str, bool], tuple[object, FeelerAnswer | None]] = {}

    @property
    def current(self) -> PickupEntry:
        """The pickup at hand."""
        return self.entries[self.at]

    @property
    def undoes(self) -> str:
        """What `undo` would take back, in words; '' where there is nothing."""
        return self._back[-1][0] if self._back else ""

    def use_machine_in_use(self) -> None:
        """Judge the pickup at hand by the machine in use from now on."""
        if not self.current.held.same_as(self._in_use()):
            entry = replace(self.current, held=self._in_use())
            self._put(entry, _("giving the pickup another machine"))

    def add(self, name: str = "") -> None:
        """Put a pickup at the end and take it in hand; without a name, a free one.

        Raises WrongInput.
        """
        entry = PickupEntry(self._checked_name(name or self._free_name(), None), self._in_use())
        self._change(_("adding a pickup"), (*self.entries, entry), len(self.entries))

    def start_with(self, name: str) -> None:
        """One pickup, of which nothing is known yet; nothing to be taken back."""
        self.entries, self.at = (PickupEntry(tidy(name), self._in_use()),), 0

    def rename(self, name: str) -> None:
        """Give the pickup at hand another name. Raises WrongInput."""
        name = self._checked_name(name, self.current)
        if name != self.current.name:
            self._put(replace(self.current, name=name), _("the new name"))

    def remove(self) -> None:
        """Take the pickup at hand off the list; one always stays."""
        what = _("removing {pickup}").format(pickup=self.current.name)
        rest = (*self.entries[: self.at], *self.entries[self.at + 1 :])
        fresh = PickupEntry(_("Pickup {number}").format(number=1), self._in_use())
        self._change(what, rest or (fresh,), max(0, min(self.at, len(rest) - 1)))

    def read(self, angle_deg: float, gap_m: float) -> None:
        """A reading of the pickup at hand."""
        entry = self._holding(self.current)
        readings = (*entry.readings, (angle_deg, gap_m, 0))
        self._put(replace(entry, readings=readings), _("the last reading"))

    def adjusted(self) -> None:
        """The pickup at hand was adjusted: what was read so far is as found, what comes is as
        left."""
        entry = self.current
        if entry.readings and not entry.found:
            as_found = replace(entry, found=entry.readings, readings=())
            self._put(as_found, _("the adjusting"))

    def drop_reading(self, at: int) -> None:
        """Take one reading of the pickup at hand out again."""
        readings = self.current.readings
        entry = replace(self.current, readings=readings[:at] + readings[at + 1 :])
        self._put(entry, _("removing a reading"))

    def use_readings(self, pickups: Sequence[GapReadings]) -> None:
        """Put a table's readings into the list: over pickups of the same name, else behind.

        A list that holds nothing yet is replaced.
        """
        begun = any(entry.readings or entry.found or entry.runs for entry in self.entries)
        by_name = {entry.name: entry for entry in self.entries} if begun else {}
        for one in pickups:
            name = tidy(one.pickup)
            columns = (one.angle_deg.tolist(), one.gap_m.tolist(), one.line.tolist())
            entry = by_name.get(name, PickupEntry(name, self._in_use()))
            by_name[name] = replace(entry, readings=tuple(zip(*columns, strict=True)))
        at = list(by_name).index(tidy(pickups[0].pickup))
        self._change(_("opening the table"), tuple(by_name.values()), at)

    def entry(self, key: int) -> PickupEntry | None:
        """The pickup of this key, None where it is on the list no more."""
        return next((entry for entry in self.entries if entry.key == key), None)

    def its_channel(self, entry: PickupEntry, channels: Sequence[str]) -> str:
        """Which of these channels brings the pulses of a pickup, '' where only the person knows.

        The one that was chosen; else, of those that no other pickup of its machine has, the one
        called as its side, or the only one unless that is called as another side.
        """
        if entry.channel in channels:
            return entry.channel
        channels = [one for one in channels if self._bound_to(entry, one) is None]
        side = parts_of(entry.name)[1]
        if side in channels:
            return side
        sides = {*SIDES, *(parts_of(other.name)[1] for other in self.entries)}
        only = len(channels) == 1 and not (side and channels[0] in sides)
        return channels[0] if only and not entry.channel else ""

    def bind(self, key: int, channel: str) -> None:
        """The pulses of a pickup come in by this channel; a run judged by another goes.

        Raises WrongInput where another pickup of the same machine has it.
        """
        entry = self.entry(key)
        if entry is None or entry.channel == channel:
            return
        other = self._bound_to(entry, channel)
        if other is not None:
            raise WrongInput(
                "The pulses of '{channel}' are those of {other}: choose another channel for "
                "{pickup}.",
                channel=channel,
                other=other.name,
                pickup=entry.name,
            )
        runs = tuple(run for run in entry.runs if run.channel == channel)
        bound = replace(entry, channel=channel, runs=runs)
        self._put(bound, _("the choice of its channel"), entry)

    def _bound_to(self, entry: PickupEntry, channel: str) -> PickupEntry | None:
        """Which other pickup of the same machine has this channel; None where none has."""
        machine = parts_of(entry.name)[0]
        others = (one for one in self.entries if one.key != entry.key and one.channel == channel)
        return next((one for one in others if parts_of(one.name)[0] == machine), None)

    def keep_run(self, key: int, run: KeptRun) -> None:
        """Note a judged run of a pickup, in place of an earlier one of its kind."""
        entry = self.entry(key)
        if entry is not None:
            others = (one for one in entry.runs if one.drop_out is not run.drop_out)
            self._put(replace(entry, runs=(*others, run)), _("the run"), entry)

    def hold_first(self) -> None:
        """Before a run of the pickup at hand; see `in_use`."""
        entry = self._holding(self.current)
        self.entries = tuple(entry if one is self.current else one for one in self.entries)

    def _holding(self, entry: PickupEntry) -> PickupEntry:
        """A pickup before its first reading or a run takes the machine in use, if it has none
        yet. Of its own machine it learns whether the simulator plays it now."""
        in_use = self._in_use()
        free = entry.held.machine is None or entry.held.same_as(in_use)
        begun = entry.readings or entry.found
        return replace(entry, held=in_use) if free and not begun else entry

    def go_to(self, at: int) -> None:
        """Take the pickup at this place in hand; past an end the one at the end."""
        self.at = max(0, min(at, len(self.entries) - 1))
        self.changed()

    def next_undone(self) -> int | None:
        """Place of the next pickup without a verdict, from the one at hand on; None if none."""
        many = len(self.entries)
        places = [(self.at + step) % many for step in range(1, many)]
        return next((at for at in places if not self.state(self.entries[at]).done), None)

    def state(self, entry: PickupEntry) -> PickupState:
        """Where a pickup stands: the worst of its readings and its runs."""
        gap, held = self._judge(entry), entry.held
        as_found = self._judge(entry, before=True)
        verdicts = [run.verdict for run in entry.runs]
        if gap is not None:
            verdicts.append(gap.verdict)
        standing: Verdict | Standing = max(verdicts, key=badness, default=Standing.NOT_YET)
        again = as_found is not None and gap is None
        unfinished = again or (gap is not None and gap.swing_m is None)
        if again and standing is Standing.NOT_YET:
            standing = Standing.BEGUN
        if unfinished and isinstance(standing, Verdict) and not standing.is_fail:
            standing = Standing.BEGUN
        # A pickup with another name is a real one, also on the simulator's machine: feelers
        # need no signal.
        read = gap is not None or as_found is not None
        practice = read and held.simulated and held.name == parts_of(entry.name)[0]
        count = len(entry.readings)
        return PickupState(entry.name, standing, count, gap, entry.runs, practice, held, as_found)

    def states(self) -> list[PickupState]:
        """Where every pickup stands, in the list's order."""
        return [self.state(entry) for entry in self.entries]

    def undo(self) -> str:
        """Take the last change back; what that was, '' where there is none."""
        if not self._back:
            return ""
        what, self.entries, self.at = self._back.pop()
        self.revision += 1
        self.changed()
        return what

    def to_data(self) -> dict[str, Any]:
        """The whole list as JSON's own types, each machine once."""
        known = {(entry.held.text, entry.held.simulated) for entry in self.entries}
        machines = sorted(row for row in known if row[0])
        written = []
        for one in self.entries:
            row = (one.held.text, one.held.simulated)
            at = machines.index(row) if one.held.machine else None
            written.append(_Written(one.name, one.readings, one.runs, at, one.channel, one.found))
        return to_plain(_Draft(self.at, tuple(written), tuple(machines)))

    def resume(self, data: dict[str, Any]) -> None:
        """The list of `to_data`, as it was left. Raises WrongInput where it is damaged."""
        try:
            draft = from_plain(data, _Draft)
            machines = [Held(parsed(text), made_up) for text, made_up in draft.machines]
            entries = []
            for one in draft.pickups:
                for angle_deg, gap_m, _line in (*one.readings, *one.found):
                    check_angle_deg(angle_deg, one.name)
                    check_gap_m(gap_m, one.name)
                held = NONE_HELD if one.machine is None else machines[one.machine]
                rest = (one.readings, one.runs, one.channel, one.found)
                entries.append(PickupEntry(tidy(one.name), held, *rest))
            if not entries or len({entry.name for entry in entries}) < len(entries):
                raise ValueError("no pickups, or two of one name")
        except (LookupError, TypeError, ValueError, BenchError) as error:
            raise WrongInput(
                "The list of last time is damaged ({problem}).", problem=error
            ) from None
        self.entries, self.at = tuple(entries), max(0, min(draft.at, len(entries) - 1))

    def _judge(self, entry: PickupEntry, *, before: bool = False) -> FeelerAnswer | None:
        """Its readings judged once; None where it has none yet. `before`: as found."""
        readings, limits = entry.found if before else entry.readings, entry.held.limits
        machine = entry.held.machine
        teeth = machine.drive.target_teeth if machine else USUAL_TEETH
        key = (readings, limits, teeth)
        known, gap = self._judged.get((entry.name, before), (None, None))
        if known != key:
            gap = None
            if readings:
                gap = feeler_gap(entry.table_of(readings), limits, teeth=teeth)
            self._judged[entry.name, before] = (key, gap)
        return gap

    def _checked_name(self, name: str, mine: PickupEntry | None) -> str:
        name = tidy(name)
        if not name:
            raise WrongInput("Type the pickup's name, such as 'Digger 4 / left'.")
        if len(name) > MOST_LETTERS or not name.isprintable():
            raise WrongInput(
                "A pickup's name has at most {most} letters, on one line.", most=MOST_LETTERS
            )
        if any(entry.name == name for entry in self.entries if entry is not mine):
            raise WrongInput("'{name}' is in the list already; give each its own name.", name=name)
        return name

    def _free_name(self) -> str:
        taken = {entry.name for entry in self.entries}
        names = (_("Pickup {number}").format(number=number) for number in count(len(taken) + 1))
        return next(name for name in names if name not in taken)

    def _put(self, entry: PickupEntry, what: str, in_place_of: PickupEntry | None = None) -> None:
        """Another state of a pickup, of the one at hand where none is named."""
        old = in_place_of or self.current
        self._change(what, tuple(entry if one is old else one for one in self.entries), self.at)

    def _change(self, what: str, entries: tuple[PickupEntry, ...], at: int) -> None:
        """A change that can be taken back; `what` it is in words."""
        self._back.append((what, self.entries, self.at))
        del self._back[:-MOST_STEPS_BACK]
        self.entries, self.at = entries, at
        self.revision += 1
        self.changed()


def tidy(name: str) -> str:
    """A pickup's name with one blank around each slash, as it stands in a gap table."""
    return SEPARATOR.join(part for part in parts_of(name) if part)

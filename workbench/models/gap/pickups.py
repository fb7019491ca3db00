"""The shop's list of pickups as the screen works on it: readings, runs, states, undo, resume."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from workbench.base.errors import WrongInput
from workbench.base.statements import as_written
from workbench.calibration.gap.batch import Entry, PickupId, PickupList
from workbench.calibration.gap.feeler import FeelerGap
from workbench.calibration.gap.judgement import worst
from workbench.calibration.gap.table import GapReadings, check_angle_deg, check_gap_m
from workbench.calibration.statistics.decision import Decision, Verdict
from workbench.models.gap.machines import NONE_HELD, Held, from_rows, to_rows

NOT_YET, BEGUN = "not yet", "begun"
MOST_STEPS_BACK = 200
MOST_LETTERS = 100
_NAME_WANTED = "Type the pickup's name, such as 'Digger 4 / left'."


@dataclass(frozen=True, slots=True)
class KeptRun:
    """A tooth run or a drop-out run that was judged and stored for a pickup."""

    drop_out: bool
    result: int
    channel: str
    verdict: str
    simulated: bool
    said: str


@dataclass(frozen=True, slots=True)
class PickupState:
    """Where one pickup of the list stands: `word` is a verdict, 'not yet' or 'begun'.

    `practice`: it was read on a machine that the simulator made up. `held` is the machine
    whose limits it is judged by.
    """

    name: str
    word: str
    readings: int
    gap: FeelerGap | None
    runs: Sequence[KeptRun] = ()
    practice: bool = False
    held: Held = NONE_HELD

    @property
    def simulated(self) -> bool:
        return self.practice or any(run.simulated for run in self.runs)

    @property
    def done(self) -> bool:
        return self.word not in (NOT_YET, BEGUN)


@dataclass(slots=True)
class _Judged:
    """A judgement with what it was made from, so that it is made once."""

    key: tuple[object, ...]
    gap: FeelerGap | None = field(default=None)


class GapList:
    """Pickups in the order they are worked through; every change can be taken back.

    `revision` grows with every change of readings, names, runs and machines. `in_use` tells
    the machine in use: a pickup takes it when it is added, or at its first reading where it
    has none yet, and keeps it until it is given another.
    """

    def __init__(self, in_use: Callable[[], Held] = lambda: NONE_HELD) -> None:
        self._in_use = in_use
        self._held: dict[str, Held] = {}
        self.pickups = PickupList()
        self.revision = 0
        self._runs: dict[str, dict[bool, KeptRun]] = {}
        self._back: list[tuple[str, dict[str, Any]]] = []
        self._judged: dict[str, _Judged] = {}

    @property
    def current(self) -> Entry | None:
        return self.pickups.current

    @property
    def entries(self) -> list[Entry]:
        return self.pickups.entries

    @property
    def at(self) -> int:
        return self.pickups.at

    @property
    def undoes(self) -> str:
        """What `undo` would take back, in words; '' where there is nothing."""
        return self._back[-1][0] if self._back else ""

    def held(self, entry: Entry) -> Held:
        """The machine a pickup is judged by."""
        return self._held.get(entry.pickup.name, NONE_HELD)

    def use_machine_in_use(self) -> None:
        """Judge the pickup at hand by the machine in use from now on."""
        entry = self._at_hand()
        if not self.held(entry).same_as(self._in_use()):
            self._remember("giving the pickup another machine")
            self._hold(entry, self._in_use())

    def add(self, name: str) -> None:
        """Put a pickup at the end and take it in hand. Raises WrongInput."""
        pickup = self._free_name(name, None)
        self._remember("adding a pickup")
        self._hold(self.pickups.add(pickup, self._in_use().limits), self._in_use())
        self.pickups.at = len(self.entries) - 1

    def start_with(self, name: str) -> None:
        """One pickup, of which nothing is known yet; nothing to be taken back."""
        self._held = {}
        self.pickups = PickupList([Entry(PickupId.parse(name))])
        self._hold(self._at_hand(), self._in_use())

    def rename(self, name: str) -> None:
        """Give the pickup at hand another name. Raises WrongInput."""
        entry = self._at_hand()
        pickup = self._free_name(name, entry)
        if pickup.name == entry.pickup.name:
            return
        self._remember("the new name")
        runs = self._runs.pop(entry.pickup.name, None)
        if runs is not None:
            self._runs[pickup.name] = runs
        held = self._held.pop(entry.pickup.name)
        entry.pickup = pickup
        self._hold(entry, held)

    def remove(self) -> None:
        """Take the pickup at hand off the list; one always stays."""
        entry = self._at_hand()
        self._remember(f"removing {entry.pickup.name}")
        self._runs.pop(entry.pickup.name, None)
        del self._held[entry.pickup.name]
        self.entries.remove(entry)
        self.pickups.at = max(0, min(self.at, len(self.entries) - 1))
        if not self.entries:
            self.start_with("Pickup 1")

    def read(self, angle_deg: float, gap_m: float) -> None:
        """A reading of the pickup at hand."""
        entry = self._at_hand()
        self._remember("the last reading")
        if not entry.gap_m:
            self.hold_first(entry)
        entry.angle_deg.append(angle_deg)
        entry.gap_m.append(gap_m)
        entry.line.append(0)

    def drop_reading(self, at: int) -> None:
        """Take one reading of the pickup at hand out again."""
        entry = self._at_hand()
        self._remember("removing a reading")
        for column in (entry.angle_deg, entry.gap_m, entry.line):
            del column[at]

    def use_readings(self, pickups: Sequence[GapReadings]) -> None:
        """Put a table's readings into the list: over pickups of the same name, else behind.

        A list that holds nothing yet is replaced.
        """
        self._remember("opening the table")
        if not any(state.readings or state.runs for state in self.states()):
            self.pickups, self._held = PickupList(), {}
        by_name = {entry.pickup.name: entry for entry in self.entries}
        fresh = PickupList.from_table(pickups, self._in_use().limits).entries
        for entry in fresh:
            known = by_name.get(entry.pickup.name)
            if known is None:
                self.entries.append(entry)
                self._hold(entry, self._in_use())
            else:
                known.angle_deg, known.gap_m, known.line = (
                    entry.angle_deg,
                    entry.gap_m,
                    entry.line,
                )
        names = [entry.pickup.name for entry in self.entries]
        self.pickups.at = names.index(fresh[0].pickup.name)

    def keep_run(self, name: str, run: KeptRun) -> None:
        """Note a judged run of the pickup `name`, in place of an earlier one of its kind."""
        if name in {entry.pickup.name for entry in self.entries}:
            self._remember("the run")
            self._runs.setdefault(name, {})[run.drop_out] = run

    def hold_first(self, entry: Entry) -> None:
        """Before a pickup's first reading: it takes the machine in use if it has none yet.

        Of its own machine it learns whether the simulator plays it now.
        """
        in_use, held = self._in_use(), self.held(entry)
        if held.machine is None or held.same_as(in_use):
            self._hold(entry, in_use)

    def go_to(self, at: int) -> None:
        """Take the pickup at this place of the list in hand."""
        self.pickups.at = max(0, min(at, len(self.entries) - 1))

    def next_undone(self) -> int | None:
        """Place of the next pickup without a verdict, from the one at hand on; None if none."""
        count = len(self.entries)
        places = [(self.at + step) % count for step in range(1, count)]
        return next((at for at in places if not self.state(self.entries[at]).done), None)

    def state(self, entry: Entry) -> PickupState:
        """Where a pickup stands: the worst of its readings and its runs."""
        gap = self._judge(entry)
        runs = tuple(self._runs.get(entry.pickup.name, {}).values())
        decisions = [
            Decision(Verdict(run.verdict), float("nan"), as_written(run.said)) for run in runs
        ]
        if gap is not None:
            decisions.append(gap.decision)
        unfinished = gap is not None and gap.swing_m is None and not gap.verdict.is_fail
        word = str(worst(decisions).verdict) if decisions else NOT_YET
        if unfinished and not worst(decisions).verdict.is_fail:
            word = BEGUN
        held = self.held(entry)
        # A pickup with another name is a real one, also on the simulator's machine: feelers
        # need no signal.
        practice = gap is not None and held.simulated and held.name == entry.pickup.machine
        return PickupState(entry.pickup.name, word, len(entry.gap_m), gap, runs, practice, held)

    def states(self) -> list[PickupState]:
        """Where every pickup stands, in the list's order."""
        return [self.state(entry) for entry in self.entries]

    def undo(self) -> str:
        """Take the last change back; what that was, '' where there is none."""
        if not self._back:
            return ""
        what, data = self._back.pop()
        self._restore(data)
        self.revision += 1
        return what

    def to_data(self) -> dict[str, Any]:
        """The whole list as JSON's own types."""
        machines = to_rows(self.held(entry) for entry in self.entries)
        return {
            "at": self.at,
            "machines": machines,
            "pickups": [
                {
                    "name": entry.pickup.name,
                    "machine": self._row_of(entry, machines),
                    "readings": [
                        list(row)
                        for row in zip(entry.angle_deg, entry.gap_m, entry.line, strict=True)
                    ],
                    "runs": [asdict(run) for run in self._runs.get(entry.pickup.name, {}).values()],
                }
                for entry in self.entries
            ],
        }

    def resume(self, data: Mapping[str, Any]) -> None:
        """The list of `to_data`, as it was left. Raises WrongInput where it is damaged."""
        before = self.to_data()
        try:
            self._restore(data)
        except (LookupError, TypeError, ValueError, AttributeError, WrongInput) as error:
            self._restore(before)
            raise WrongInput(f"The list of last time is damaged ({error}).") from None

    def _restore(self, data: Mapping[str, Any]) -> None:
        entries, runs, held = [], {}, {}
        machines = from_rows(data.get("machines", []))
        for one in data["pickups"]:
            entry = Entry(PickupId.parse(one["name"]))
            at = one.get("machine")
            held[entry.pickup.name] = NONE_HELD if at is None else machines[at]
            entry.limits = held[entry.pickup.name].limits
            for angle_deg, gap_m, line in one["readings"]:
                entry.angle_deg.append(check_angle_deg(float(angle_deg), one["name"]))
                entry.gap_m.append(check_gap_m(float(gap_m), one["name"]))
                entry.line.append(int(line))
            kept = [KeptRun(**run) for run in one["runs"]]
            if kept:
                runs[entry.pickup.name] = {run.drop_out: run for run in kept}
                [Verdict(run.verdict) for run in kept]
            entries.append(entry)
        if not entries or len({entry.pickup.name for entry in entries}) < len(entries):
            raise ValueError("no pickups, or two of one name")
        self.pickups = PickupList(entries)
        self._runs, self._held = runs, held
        self.go_to(int(data["at"]))

    def _judge(self, entry: Entry) -> FeelerGap | None:
        name = entry.pickup.name
        key = (tuple(entry.angle_deg), tuple(entry.gap_m), entry.limits)
        known = self._judged.get(name)
        if known is None or known.key != key:
            known = self._judged[name] = _Judged(key, self.pickups.judge(entry))
        return known.gap

    def _hold(self, entry: Entry, held: Held) -> None:
        self._held[entry.pickup.name] = held
        entry.limits = held.limits

    def _row_of(self, entry: Entry, machines: list[list[Any]]) -> int | None:
        held = self.held(entry)
        return machines.index([held.text, held.simulated]) if held.machine else None

    def _at_hand(self) -> Entry:
        entry = self.current
        if entry is None:
            raise WrongInput("There is no pickup in the list.")
        return entry

    def _free_name(self, name: str, mine: Entry | None) -> PickupId:
        pickup = PickupId.parse(name)
        if not pickup.name:
            raise WrongInput(_NAME_WANTED)
        if len(pickup.name) > MOST_LETTERS or not pickup.name.isprintable():
            raise WrongInput(f"A pickup's name has at most {MOST_LETTERS} letters, on one line.")
        if any(e.pickup.name == pickup.name for e in self.entries if e is not mine):
            raise WrongInput(f"'{pickup.name}' is in the list already; give each its own name.")
        return pickup

    def _remember(self, what: str) -> None:
        self._back.append((what, self.to_data()))
        del self._back[:-MOST_STEPS_BACK]
        self.revision += 1

"""The shop's list of pickups as the screen works on it: readings, runs, states, undo, resume."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count
from typing import Any

import numpy as np

from workbench.base.errors import BenchError, WrongInput
from workbench.base.statements import Statement
from workbench.calibration.gap.answer import SEPARATOR, FeelerAnswer, parts_of
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.judgement import badness
from workbench.calibration.gap.places import BLADE_STEP_M
from workbench.calibration.gap.table import GapReadings, check_angle_deg, check_gap_m
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.codec import from_plain, to_plain
from workbench.jobs.gap.sheet import Standing
from workbench.models.gap.machines import NONE_HELD, Held, from_rows, to_rows
from workbench.models.observable import Observable
from workbench.words.language import _

MOST_STEPS_BACK = 200
MOST_LETTERS = 100


@dataclass(frozen=True, slots=True)
class KeptRun:
    """A tooth run or a drop-out run that was judged and stored for a pickup."""

    drop_out: bool
    result: int
    channel: str
    verdict: Verdict
    simulated: bool
    said: Statement


@dataclass(slots=True)
class Entry:
    """One pickup of the list: the readings taken so far, its runs by whether it was a drop-out
    run, and the machine it is judged by."""

    name: str
    held: Held = NONE_HELD
    angle_deg: list[float] = field(default_factory=list)
    gap_m: list[float] = field(default_factory=list)
    line: list[int] = field(default_factory=list)
    runs: dict[bool, KeptRun] = field(default_factory=dict)

    @property
    def columns(self) -> tuple[list[Any], ...]:
        """Angle, gap and line of each reading."""
        return self.angle_deg, self.gap_m, self.line

    def readings(self) -> GapReadings:
        """The readings as arrays."""
        line = np.array(self.line, dtype=np.int64)
        return GapReadings(self.name, np.array(self.angle_deg), np.array(self.gap_m), line)


@dataclass(frozen=True, slots=True)
class PickupState:
    """Where one pickup of the list stands: its verdict, or how far its readings have come.

    `practice`: it was read on a machine that the simulator made up. `held` is the machine
    whose limits it is judged by.
    """

    name: str
    standing: Verdict | Standing
    readings: int
    gap: FeelerAnswer | None
    runs: Sequence[KeptRun] = ()
    practice: bool = False
    held: Held = NONE_HELD

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
        self.entries = [Entry("")]
        self.at = self.revision = 0
        self._back: list[tuple[str, dict[str, Any]]] = []
        self._judged: dict[str, tuple[object, FeelerAnswer | None]] = {}

    @property
    def current(self) -> Entry:
        """The pickup at hand."""
        return self.entries[self.at]

    @property
    def undoes(self) -> str:
        """What `undo` would take back, in words; '' where there is nothing."""
        return self._back[-1][0] if self._back else ""

    def use_machine_in_use(self) -> None:
        """Judge the pickup at hand by the machine in use from now on."""
        if not self.current.held.same_as(self._in_use()):
            with self._change(_("giving the pickup another machine")):
                self.current.held = self._in_use()

    def add(self, name: str = "") -> None:
        """Put a pickup at the end and take it in hand; without a name, a free one.

        Raises WrongInput.
        """
        name = self._checked_name(name or self._free_name(), None)
        with self._change(_("adding a pickup")):
            self.entries.append(Entry(name, self._in_use()))
            self.at = len(self.entries) - 1

    def start_with(self, name: str) -> None:
        """One pickup, of which nothing is known yet; nothing to be taken back."""
        self.entries, self.at = [Entry(tidy(name), self._in_use())], 0

    def rename(self, name: str) -> None:
        """Give the pickup at hand another name. Raises WrongInput."""
        name = self._checked_name(name, self.current)
        if name != self.current.name:
            with self._change(_("the new name")):
                self.current.name = name

    def remove(self) -> None:
        """Take the pickup at hand off the list; one always stays."""
        with self._change(_("removing {pickup}").format(pickup=self.current.name)):
            del self.entries[self.at]
            if not self.entries:
                self.start_with(self._free_name())
            self.at = min(self.at, len(self.entries) - 1)

    def read(self, angle_deg: float, gap_m: float) -> None:
        """A reading of the pickup at hand."""
        with self._change(_("the last reading")):
            self.hold_first()
            for column, value in zip(self.current.columns, (angle_deg, gap_m, 0), strict=True):
                column.append(value)

    def drop_reading(self, at: int) -> None:
        """Take one reading of the pickup at hand out again."""
        with self._change(_("removing a reading")):
            for column in self.current.columns:
                del column[at]

    def use_readings(self, pickups: Sequence[GapReadings]) -> None:
        """Put a table's readings into the list: over pickups of the same name, else behind.

        A list that holds nothing yet is replaced.
        """
        with self._change(_("opening the table")):
            if not any(entry.gap_m or entry.runs for entry in self.entries):
                self.entries = []
            by_name = {entry.name: entry for entry in self.entries}
            for readings in pickups:
                name = tidy(readings.pickup)
                if name not in by_name:
                    by_name[name] = Entry(name, self._in_use())
                    self.entries.append(by_name[name])
                entry = by_name[name]
                entry.angle_deg = readings.angle_deg.tolist()
                entry.gap_m, entry.line = readings.gap_m.tolist(), readings.line.tolist()
            self.at = self.entries.index(by_name[tidy(pickups[0].pickup)])

    def keep_run(self, name: str, run: KeptRun) -> None:
        """Note a judged run of the pickup `name`, in place of an earlier one of its kind."""
        for entry in self.entries:
            if entry.name == name:
                with self._change(_("the run")):
                    entry.runs[run.drop_out] = run

    def hold_first(self) -> None:
        """Before its first reading or a run the pickup at hand takes the machine in use, if it
        has none yet. Of its own machine it learns whether the simulator plays it now."""
        entry, in_use = self.current, self._in_use()
        if not entry.gap_m and (entry.held.machine is None or entry.held.same_as(in_use)):
            entry.held = in_use

    def go_to(self, at: int) -> None:
        """Take the pickup at this place in hand; past an end the one at the end."""
        self.at = max(0, min(at, len(self.entries) - 1))
        self.changed()

    def next_undone(self) -> int | None:
        """Place of the next pickup without a verdict, from the one at hand on; None if none."""
        many = len(self.entries)
        places = [(self.at + step) % many for step in range(1, many)]
        return next((at for at in places if not self.state(self.entries[at]).done), None)

    def state(self, entry: Entry) -> PickupState:
        """Where a pickup stands: the worst of its readings and its runs."""
        gap, runs, held = self._judge(entry), tuple(entry.runs.values()), entry.held
        verdicts = [run.verdict for run in runs]
        if gap is not None:
            verdicts.append(gap.verdict)
        standing: Verdict | Standing = max(verdicts, key=badness, default=Standing.NOT_YET)
        unfinished = gap is not None and gap.swing_m is None
        if unfinished and isinstance(standing, Verdict) and not standing.is_fail:
            standing = Standing.BEGUN
        # A pickup with another name is a real one, also on the simulator's machine: feelers
        # need no signal.
        practice = gap is not None and held.simulated and held.name == parts_of(entry.name)[0]
        return PickupState(entry.name, standing, len(entry.gap_m), gap, runs, practice, held)

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
        self.changed()
        return what

    def to_data(self) -> dict[str, Any]:
        """The whole list as JSON's own types."""
        machines = to_rows(entry.held for entry in self.entries)
        return {
            "at": self.at,
            "machines": machines,
            "pickups": [
                {
                    "name": entry.name,
                    "machine": machines.index([entry.held.text, entry.held.simulated])
                    if entry.held.machine
                    else None,
                    "readings": [list(row) for row in zip(*entry.columns, strict=True)],
                    "runs": [to_plain(run) for run in entry.runs.values()],
                }
                for entry in self.entries
            ],
        }

    def resume(self, data: Mapping[str, Any]) -> None:
        """The list of `to_data`, as it was left. Raises WrongInput where it is damaged."""
        before = self.to_data()
        try:
            self._restore(data)
        except (LookupError, TypeError, ValueError, AttributeError, BenchError) as error:
            self._restore(before)
            raise WrongInput(
                "The list of last time is damaged ({problem}).", problem=error
            ) from None

    def _restore(self, data: Mapping[str, Any]) -> None:
        entries: list[Entry] = []
        machines = from_rows(data.get("machines", []))
        for one in data["pickups"]:
            at = one.get("machine")
            entry = Entry(tidy(one["name"]), NONE_HELD if at is None else machines[at])
            for angle_deg, gap_m, line in one["readings"]:
                entry.angle_deg.append(check_angle_deg(float(angle_deg), one["name"]))
                entry.gap_m.append(check_gap_m(float(gap_m), one["name"]))
                entry.line.append(int(line))
            kept = [from_plain(run, KeptRun) for run in one["runs"]]
            entry.runs = {run.drop_out: run for run in kept}
            entries.append(entry)
        if not entries or len({entry.name for entry in entries}) < len(entries):
            raise ValueError("no pickups, or two of one name")
        at = int(data["at"])
        self.entries, self.at = entries, max(0, min(at, len(entries) - 1))

    def _judge(self, entry: Entry) -> FeelerAnswer | None:
        """Its readings judged once; None where it has none yet."""
        limits = entry.held.limits
        key = (tuple(entry.angle_deg), tuple(entry.gap_m), limits)
        known, gap = self._judged.get(entry.name, (None, None))
        if known != key:
            gap = (
                feeler_gap(entry.readings(), limits, blade_step_m=BLADE_STEP_M)
                if entry.gap_m
                else None
            )
            self._judged[entry.name] = (key, gap)
        return gap

    def _checked_name(self, name: str, mine: Entry | None) -> str:
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

    @contextmanager
    def _change(self, what: str) -> Iterator[None]:
        """A change that can be taken back; `what` it is in words."""
        self._back.append((what, self.to_data()))
        del self._back[:-MOST_STEPS_BACK]
        self.revision += 1
        yield
        self.changed()


def tidy(name: str) -> str:
    """A pickup's name with one blank around each slash, as it stands in a gap table."""
    return SEPARATOR.join(part for part in parts_of(name) if part)

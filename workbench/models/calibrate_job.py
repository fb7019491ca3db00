"""The calibration as a job: runs against a reference, the answer after each, the result kept.

Every run ends as a line of a run table, so that what is stored can be computed again. A
slow ramp is recorded instead, and its digit flips are judged from the recording.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

from drivers.contract import EdgeBlock, Item
from workbench.calibration.recorded_runs import STEADY_REL
from workbench.calibration.reference import LapTimer
from workbench.errors import WrongInput
from workbench.machine import Machine
from workbench.models.bench import Bench
from workbench.models.calibrate_store import flips_table, keep_ramp, keep_runs, preview, run_table
from workbench.models.edge_counter import EdgeCounter
from workbench.models.entry import typed_number
from workbench.models.live import Stream
from workbench.models.observable import Observable
from workbench.models.pace import PaceModel
from workbench.units import to_mps

STEADY_S = 6.0
"""The speed counts as steady once it has kept within 1 % for so long. Chosen."""

FEWEST_FLIPS = 4
"""Flips below which a ramp tells nothing; chosen."""

LAP_CHANNEL = "lap"
LAMP_S = 0.6
"""How long the mark's lamp stays lit after the lap pickup has seen it."""


class Reference(StrEnum):
    """What the belt's true speed is taken from."""

    LAPS = "laps of the belt, timed by hand"
    FLIPS = "digit flips on a slow ramp, recorded"
    READING = "another instrument's reading"


@dataclass(frozen=True, slots=True)
class TakenRun:
    """One run as it goes into the run table; NaN for a pair it does not have."""

    shown: float
    laps: int = 0
    laps_time_s: float = math.nan
    pulses: int = 0
    reference_mps: float = math.nan
    u_reference_mps: float = math.nan


class CalibrateJob(Observable):
    """One calibration at a time. `said` is the last sentence for the person."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench, self._pace = bench, PaceModel(bench)
        self._pulses, self._marks = EdgeCounter(), EdgeCounter()
        self._unlisten = bench.live.listen(self._take)
        self.reference = Reference.LAPS
        self.wanted_U_rel = 0.005
        self.runs: list[TakenRun] = []
        self.left_runs: list[TakenRun] = []
        self.flips: list[tuple[float, float, bool]] = []
        self.timer: LapTimer | None = None
        self.ramping = False
        self.answer: dict[str, Any] | None = None
        self.new_setting_used = False
        self.said = ""

    def close(self) -> None:
        """Listen no more."""
        self._unlisten()

    @property
    def machine(self) -> Machine | None:
        return self._bench.machine

    @property
    def running(self) -> bool:
        """A run is under way: its first mark was made, or a ramp is recorded."""
        return self.ramping or (self.timer is not None and bool(self.timer.marks_s))

    @property
    def series(self) -> list[TakenRun]:
        """The runs that the next one joins: as found, or as left with the new setting."""
        return self.left_runs if self.new_setting_used else self.runs

    def use_reference(self, reference: Reference) -> None:
        """Take the true speed from this from now on; a run under way is dropped."""
        self.drop_run()
        self.reference = reference
        self.changed()

    def belt_mps(self) -> float:
        """The belt's speed by its pulses now, NaN where there is none or it is lost."""
        belt = self._pace.belt()
        if belt is None or belt.silent(self._bench.clock()):
            return math.nan
        return belt.speed_mps

    def steady(self) -> bool | None:
        """Whether the belt has kept its speed for a while; None where there is no signal."""
        belt = self._pace.belt()
        if belt is None or belt.silent(self._bench.clock()):
            return None
        return _kept_speed(belt, self._bench.clock())

    def shown_now(self) -> float:
        """What a readout that is itself an input shows, NaN where none is."""
        values = self._bench.live.values.items()
        return next((v for (_, what), v in values if what == "readout_shown"), math.nan)

    def mark_seen(self) -> bool | None:
        """Whether the lap pickup has just seen the mark; None where there is no lap pickup."""
        if self._marks.last_s is None:
            return None
        return self._bench.clock() - self._marks.last_s < LAMP_S

    def mark(self) -> None:
        """The mark on the belt passed now; the first starts the run."""
        machine = self.machine
        if machine is None or math.isnan(machine.belt.lap_length_m):
            self.said = "The length of one lap is needed first; see Machine."
            self.changed()
            return
        if self.timer is None:
            belt = machine.belt
            self.timer = LapTimer(belt.lap_length_m, belt.u_lap_length_m, self.wanted_U_rel / 2)
        now_s = self._bench.clock()
        if self.timer.marks_s and now_s <= self.timer.marks_s[-1]:
            return
        self.timer.mark(now_s)
        missed = self.timer.missed()
        self.said = ""
        if missed:
            self.said = (
                f"Lap {missed[-1]} took about twice as long as the others: was a mark missed? "
                "Then drop the run and take it again."
            )
        self.changed()

    def undo_mark(self) -> None:
        """Take back the last mark."""
        if self.timer is not None:
            self.timer.undo()
            self.changed()

    def drop_run(self) -> None:
        """Forget the run under way; those kept stay."""
        if self.ramping:
            self._bench.recording.stop("the ramp was dropped")
        self.timer, self.ramping, self.said = None, False, ""
        self.flips.clear()
        self.changed()

    def keep_run(self, shown: str, reading: str = "", expanded: str = "") -> None:
        """Keep the run with what the readout showed, in its own unit; and, for another
        instrument, its reading and expanded uncertainty (k = 2) in the person's unit.

        Raises WrongInput with a sentence for the field.
        """
        number = typed_number(shown, "what the readout showed")
        if self.reference is Reference.READING:
            unit = self._bench.settings.units.speed
            speed_mps = to_mps(typed_number(reading, "the instrument's reading"), unit)
            U_mps = to_mps(typed_number(expanded, "its uncertainty"), unit)
            if not U_mps < speed_mps:
                raise WrongInput("The uncertainty is larger than the reading itself.")
            run = TakenRun(number, reference_mps=speed_mps, u_reference_mps=U_mps / 2)
        else:
            run = self._lap_run(number)
        self.series.append(run)
        self.timer, self.said = None, ""
        self.changed()

    def remove_run(self) -> None:
        """Take back the last run kept."""
        del self.series[-1:]
        self.changed()

    def start_ramp(self) -> None:
        """Record the inputs while the belt's speed is changed slowly."""
        if self._bench.recording.running:
            self.said = "A recording runs already; stop it on Signals first."
        elif self.machine is None:
            self.said = "The machine is needed first; see Machine."
        else:
            self._bench.recording.start("calibration ramp")
            self.ramping = self._bench.recording.running
            self.said = "" if self.ramping else self._bench.recording.said
            self.flips.clear()
        self.changed()

    def flip(self, shown: str, *, up: bool) -> float:
        """The last digit changed now, from `shown`; what it shows since. Raises WrongInput."""
        machine = self.machine
        if not self.ramping or machine is None:
            raise WrongInput("Start the ramp first.")
        step = machine.readout.step
        before = self.flips[-1][1] if self.flips else typed_number(shown, "what is shown now")
        after = round((before + (step if up else -step)) / step) * step
        if after <= 0:
            raise WrongInput("The readout cannot fall below its first step.")
        self.flips.append((self._recorded_s(), after, up))
        self.changed()
        return after

    def stop_ramp(self) -> int | None:
        """End the ramp; its recording's number, None where it tells nothing."""
        if not self.ramping:
            return None
        self.ramping = False
        self._bench.recording.stop("the ramp is over")
        if len(self.flips) < FEWEST_FLIPS:
            self.said = f"{len(self.flips)} flips are too few; a ramp needs {FEWEST_FLIPS} or more."
            self.changed()
            return None
        self.changed()
        return self._bench.recording.last_number

    def preview_work(self) -> Callable[[], dict[str, Any]] | None:
        """The slow work that gives the answer so far, None while there is no run."""
        machine = self.machine
        if machine is None or not self.runs:
            return None
        text, left = run_table(self.runs), run_table(self.left_runs)
        return lambda: preview(text, left, machine)

    def keep_work(self) -> Callable[[], dict[str, Any]]:
        """The slow work that computes the answer and stores it. Raises WrongInput."""
        machine, store = self.machine, self._bench.store
        if machine is None or not self.runs:
            raise WrongInput("There is no run yet.")
        text, left = run_table(self.runs), run_table(self.left_runs)
        return lambda: keep_runs(text, left, machine, store, simulated=self._bench.live.simulated)

    def ramp_work(self, number: int) -> Callable[[], dict[str, Any]]:
        """The slow work that judges the ramp of that recording and stores the answer."""
        text, store = flips_table(self.flips), self._bench.store
        return lambda: keep_ramp(number, text, store)

    def use_new_setting(self) -> None:
        """The new setting was entered in the readout: runs from now on are as left."""
        if self.answer is not None and self.machine is not None:
            self.new_setting_used = True
            self.said = (
                "Enter the new setting in the readout, then run again: the next runs are as left."
            )
            self.changed()

    def start_anew(self) -> None:
        """Begin another calibration; a new setting that was used is now the machine's."""
        self.drop_run()
        if self.new_setting_used and self.machine is not None and self.answer is not None:
            readout = replace(self.machine.readout, setting=float(self.answer["setting_new"]))
            self._bench.use_machine(replace(self.machine, readout=readout, text=""))
        self.runs, self.left_runs, self.answer = [], [], None
        self.new_setting_used = False
        self.changed()

    def _lap_run(self, shown: float) -> TakenRun:
        timer = self.timer
        if timer is None or not timer.laps:
            raise WrongInput("The run has no whole lap yet: mark each passing of the belt's mark.")
        pulses = self._pulses.between(timer.marks_s[0], timer.marks_s[-1])
        return TakenRun(shown, timer.laps, timer.time_s, pulses)

    def _recorded_s(self) -> float:
        """Now on the recording's time line."""
        origins = [driver.notes.origin_s for driver in self._bench.live.drivers]
        origin_s = next((at_s for at_s in origins if at_s is not None), None)
        if origin_s is None:
            return self._bench.recording.duration_s
        return self._bench.clock() - origin_s

    def _take(self, item: Item) -> None:
        if not isinstance(item, EdgeBlock):
            return
        belt = self._pace.belt()
        if item.channel == LAP_CHANNEL:
            self._marks.add(item)
        elif belt is None or item.channel == belt.name:
            self._pulses.add(item)


def _kept_speed(belt: Stream, now_s: float) -> bool:
    """Whether the means of the first and the last third of the last seconds agree."""
    recent = [(at, mps) for at, mps in belt.history if now_s - at <= STEADY_S and mps == mps]
    if len(recent) < 6 or now_s - recent[0][0] < 0.8 * STEADY_S:
        return False
    third = len(recent) // 3
    first = sum(mps for _, mps in recent[:third]) / third
    last = sum(mps for _, mps in recent[-third:]) / third
    return abs(last - first) <= STEADY_REL * first

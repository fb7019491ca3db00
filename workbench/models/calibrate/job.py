"""The calibration as a job: runs against a reference, the answer after each, the result kept.

Every run ends as a line of a run table, so that what is stored can be computed again. A
slow ramp is recorded instead, and its digit flips are judged from the recording.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np

from drivers.contract import ChannelKind
from workbench.base.ends import EndSays
from workbench.base.errors import Message, WrongInput
from workbench.base.units import from_mps, to_mps
from workbench.calibration.readout.calibrate import MOST_ERROR
from workbench.calibration.readout.change_overs import LEAST_FLIPS
from workbench.calibration.readout.lap_timer import LapTimer
from workbench.calibration.readout.recorded_runs import (
    DRIFTED_REL,
    STEADY_REL,
    u_marks_s,
    wander_rel,
)
from workbench.calibration.readout.runs import HAND_INTERVAL_U_S
from workbench.jobs.channels import mark
from workbench.live.health import DoubtSays
from workbench.live.streams import HISTORY_S, Floats, Stream, Streams
from workbench.models.bench import Bench
from workbench.models.calibrate.lap_marks import LapMarks, change_rel
from workbench.models.calibrate.runs import Reference, State, TakenRun
from workbench.models.calibrate.steps import CalibrateSteps, Later
from workbench.models.calibrate.store import Worked, compute_work
from workbench.models.entry import typed_number
from workbench.models.pace import PaceModel
from workbench.words.language import _

STEADY_S = 6.0
"""The speed counts as steady once it has kept within 1 % for so long. Chosen."""
FEW_LAPS_CHANGED_REL = 0.1
"""Change between two laps by hand that its start and stop do not explain. Chosen."""

WANTED_U_REL = 0.005
LEAST_WANTED_REL, MOST_WANTED_REL = 0.0005, 0.1


class CalibrateJob(CalibrateSteps):
    """One calibration at a time: what the person does, and what the inputs bring."""

    def __init__(self, bench: Bench, later: Later = lambda work: work()) -> None:
        self._pace = PaceModel(bench)
        self._marks = LapMarks(self._passing)
        self._taken: Streams | None = None
        self.wanted_U_rel = WANTED_U_REL
        self.by_hand = False
        self._asked: TakenRun | None = None
        super().__init__(bench, later)
        self._stops.append(bench.live.subscribe(self._follow))

    # What stands now.

    @property
    def runs(self) -> tuple[TakenRun, ...]:
        return self.state.runs

    @property
    def left_runs(self) -> tuple[TakenRun, ...]:
        return self.state.left_runs

    @property
    def series(self) -> tuple[TakenRun, ...]:
        """The runs that the next one joins: as found, or as left with the new setting."""
        return self.left_runs if self.state.setting_used else self.runs

    @property
    def running(self) -> bool:
        """A run is under way: its first mark was made or is waited for, or a ramp is recorded."""
        return self.ramping or self.state.counting or bool(self.state.marks_s)

    @property
    def timer(self) -> LapTimer | None:
        """The laps of the run under way; None where the machine's lap is not known."""
        if self.machine is None or math.isnan(self.machine.belt.lap_length_m):
            return None
        belt, u_s = self.machine.belt, HAND_INTERVAL_U_S
        if self.by_pickup and math.isfinite(speed_mps := self.belt_mps()):
            u_s = u_marks_s(speed_mps)
        wanted, marks_s = self.wanted_U_rel / 2, self.state.marks_s
        return LapTimer(belt.lap_length_m, belt.u_lap_length_m, wanted, u_s, marks_s)

    @property
    def by_pickup(self) -> bool:
        """Whether the lap pickup counts the laps of the run under way, or of the next."""
        return self.state.counting or (self.counts_itself and not self.state.marks_s)

    def belt_mps(self) -> float:
        """The belt's speed by its pulses now, NaN where there is none or it is lost."""
        belt = self._pace.belt()
        if belt is None or belt.silent(self._bench.clock()):
            return math.nan
        return belt.speed_mps

    def belt_history(self) -> tuple[Floats, Floats]:
        """Seconds ago (n,), as negative numbers, and speeds (m/s) of the belt's last minutes."""
        belt, now_s = self._pace.belt(), self._bench.clock()
        if belt is None:
            return np.empty(0), np.empty(0)
        time_s, speed_mps = belt.history(now_s - HISTORY_S)
        return time_s - now_s, speed_mps

    def steady(self) -> bool | None:
        """Whether the belt has kept its speed for a while; None where there is no signal."""
        belt = self._pace.belt()
        if belt is None or belt.silent(self._bench.clock()):
            return None
        return belt.keeps_speed(self._bench.clock(), STEADY_S, STEADY_REL)

    def doubt(self) -> DoubtSays | None:
        """Why the belt's speed is not to be taken as its pulses tell it."""
        return self._pace.now().belt_doubt

    def lap_s(self) -> float:
        """The time of a lap at the belt's speed now, NaN where that is not known."""
        length_m = self.machine.belt.lap_length_m if self.machine else math.nan
        speed_mps = self.belt_mps()
        return length_m / speed_mps if speed_mps > 0 else math.nan

    def pickup_sees(self) -> bool:
        """Whether a lap pickup is there and sees the mark on the belt."""
        return not self._marks.blind(self._bench.clock(), self.lap_s())

    @property
    def counts_itself(self) -> bool:
        """Whether the next run's laps are counted by the lap pickup, not by hand."""
        return not self.by_hand and self.pickup_sees()

    def shown_now(self) -> float:
        """What a readout that is itself an input shows, NaN where none is."""
        values = self._bench.live.values.items()
        return next((v for (_, what), v in values if what == "readout_shown"), math.nan)

    # What the person does.

    def ask_for(self, text: str) -> None:
        """The expanded uncertainty (k = 2) wanted of each true speed, typed in per cent."""
        what = Message("the uncertainty wanted, in %")
        wanted = typed_number(text.replace("%", ""), what) / 100
        if not LEAST_WANTED_REL <= wanted <= MOST_WANTED_REL:
            raise WrongInput(
                "'{typed}': type a number from {low:g} to {high:g} %.",
                typed=text.strip(),
                low=100 * LEAST_WANTED_REL,
                high=100 * MOST_WANTED_REL,
            )
        self.wanted_U_rel = wanted
        self.changed()

    def use_reference(self, reference: Reference) -> None:
        """Take the true speed from this from now on; a run under way is dropped."""
        if reference is self.state.reference:
            return
        self._end_ramp(EndSays.RAMP_DROPPED)
        self._set(_("change of reference"), reference=reference, **_no_run())

    def count_by_hand(self, by_hand: bool) -> None:
        """Mark laps by hand though a lap pickup is there, or let it count again."""
        if by_hand is self.by_hand:
            return
        self.by_hand = by_hand
        if self.running:
            self._set(_("change of counting"), **_no_run())
        self.changed()

    def start_counting(self) -> None:
        """The lap pickup's next passing starts the run, and it counts from there."""
        if self._lap_is_known():
            self._set(_("start of the run"), counting=True, marks_s=())

    def mark(self) -> None:
        """The mark on the belt passed now, as a hand says; the first starts the run."""
        now_s, marks_s = self._bench.clock(), self.state.marks_s
        if self.state.closed:
            self.said = _("This run is over: keep it with what was shown, or drop it.")
            self.changed()
            return
        if not self._lap_is_known() or (marks_s and now_s <= marks_s[-1]):
            return
        step = _("mark {number}").format(number=len(marks_s) + 1)
        self._set(step, marks_s=(*marks_s, now_s))
        self._say_of_marks()

    def drop_run(self) -> None:
        """Forget the run under way; those kept stay."""
        self._end_ramp(EndSays.RAMP_DROPPED)
        self._set(_("drop of the run"), **_no_run())

    def keep_run(self, shown: str, reading: str = "", expanded: str = "") -> None:
        """Keep the run with what the readout showed, in its own unit; and, for another
        instrument, its reading and expanded uncertainty (k = 2) in the person's unit.

        Raises WrongInput with a sentence for the field; of a run that looks like a slip of
        the finger or was not steady, the first time only: the second time it is meant.
        """
        number = typed_number(shown, Message("what the readout showed"))
        reads = self.state.reference is Reference.READING
        run = self._read_run(number, reading, expanded) if reads else self._lap_run(number)
        doubt = self._doubt(run)
        if doubt is not None and run != self._asked:
            self._asked = run
            raise doubt
        self.add_run(replace(run, simulated=self._bench.live.simulated))

    def add_run(self, run: TakenRun) -> None:
        """Put a run at the end of the series in hand."""
        which = "left_runs" if self.state.setting_used else "runs"
        runs = (*self.series, run)
        changes: dict[str, Any] = {which: runs} | _no_run()
        self._asked = None
        self._set(_("run {number}").format(number=len(runs)), **changes)

    def drop_kept(self, number: int, *, left: bool = False, dropped: bool = True) -> None:
        """Let a kept run, counted from 1, count no more, or count again."""
        which = "left_runs" if left else "runs"
        runs = list(getattr(self.state, which))
        runs[number - 1] = replace(runs[number - 1], dropped=dropped)
        step = _("drop of run {number}") if dropped else _("restore of run {number}")
        changes: dict[str, Any] = {which: tuple(runs)}
        self._set(step.format(number=number), **changes)

    def start_ramp(self) -> None:
        """Record the inputs while the belt's speed is changed slowly."""
        if self._bench.recording.running:
            self.said = _("A recording runs already; stop it on Signals first.")
            self.changed()
        elif self.machine is None:
            self.said = _("The machine is needed first; see Machine.")
            self.changed()
        else:
            self._begin_ramp()

    def _begin_ramp(self) -> None:
        recording = self._bench.recording
        recording.start(_("calibration ramp"))
        if recording.running:
            self._set(_("start of the ramp"), flips=(), ramp=None, **_no_run())
            self.ramping = True
        else:
            self.said = recording.said
        self.changed()

    def flip(self, shown: str, *, up: bool) -> float:
        """The last digit changed now, from `shown`; what it shows since. Raises WrongInput."""
        machine, flips = self.machine, self.state.flips
        if not self.ramping or machine is None:
            raise WrongInput("Start the ramp first.")
        step = machine.readout.step
        before = flips[-1][1] if flips else typed_number(shown, Message("what is shown now"))
        after = round((before + (step if up else -step)) / step) * step
        if after <= 0:
            raise WrongInput("The readout cannot fall below its first step.")
        flip = (self._recorded_s(), after, up)
        self._set(_("flip {number}").format(number=len(flips) + 1), flips=(*flips, flip))
        return after

    def stop_ramp(self) -> None:
        """End the ramp; its flips and recording are what the answer is worked out from."""
        if not self.ramping:
            return
        self._end_ramp(EndSays.RAMP_OVER)
        flips = self.state.flips
        if len(flips) < LEAST_FLIPS:
            said = _("{count} flips are too few; a ramp needs {least} or more.")
            self.said = said.format(count=len(flips), least=LEAST_FLIPS)
            self.changed()
            return
        number = self._bench.recording.last_number
        lost = _("The recording of the ramp was not kept: take the ramp again.")
        self._set(_("end of the ramp"), ramp=number, said="" if number else lost)

    def use_new_setting(self) -> None:
        """The new setting was entered in the readout: runs from now on are as left."""
        if self.answer is not None and self.answer.has_new_setting:
            new = self.answer.setting_new
            entered = _("With {setting:g} in the readout, run again: the next runs are as left.")
            said = entered.format(setting=new)
            found = self.answer.setting_now
            changes = {"new_setting": new, "found_setting": found} | _no_run()
            self._set(_("new setting"), **changes, said=said)
            if self.state.reference is Reference.FLIPS:
                self.state = replace(self.state, reference=Reference.LAPS)
            self._bench.change_setting(new)
            self.said = said
            self.changed()

    def start_anew(self) -> None:
        """Begin another calibration."""
        self._end_ramp(EndSays.RAMP_DROPPED)
        fresh = State(reference=self.state.reference)
        self._set(
            _("start anew"), **{entry.name: getattr(fresh, entry.name) for entry in fields(fresh)}
        )

    # The slow work.

    def answer_work(self, *, keep: bool) -> Callable[[], Worked] | None:
        """The work that gives the answer from what stands, stored if `keep`; None where there
        is nothing yet."""
        machine, state = self.machine, self.state
        if machine is None or not (state.ramp or any(not run.dropped for run in state.runs)):
            return None
        said = self._bench.for_whom.of(machine)
        work = compute_work(state, machine, self._bench.store, said, keep=keep)
        return self._bench.recording.sealed(work) if state.ramp else work

    # Inside.

    def _lap_is_known(self) -> bool:
        if self.timer is not None:
            return True
        self.said = _("The length of one lap is needed first; see Machine.")
        self.changed()
        return False

    def _read_run(self, shown: float, reading: str, expanded: str) -> TakenRun:
        unit = self._bench.settings.units.speed
        speed_mps = to_mps(typed_number(reading, Message("the instrument's reading")), unit)
        U_mps = to_mps(typed_number(expanded, Message("its uncertainty")), unit)
        if not U_mps < speed_mps:
            raise WrongInput("The uncertainty is larger than the reading itself.")
        return TakenRun(shown, reference_mps=speed_mps, u_reference_mps=U_mps / 2)

    def _lap_run(self, shown: float) -> TakenRun:
        timer, marks_s = self.timer, self.state.marks_s
        if timer is None or not timer.laps:
            if self.state.counting:
                raise WrongInput(
                    "The run has no whole lap yet: wait until the pickup has seen the mark twice."
                )
            raise WrongInput("The run has no whole lap yet: mark each passing of the belt's mark.")
        belt = self._pace.belt()
        pulses = belt.pulses.teeth_between(marks_s[0], marks_s[-1]) if belt else 0
        wander = math.nan
        if belt is not None and pulses and self.machine is not None:
            edges = belt.pulses.edges_between(marks_s[0], marks_s[-1])
            wander = wander_rel(edges, self.machine.drive.target_teeth)
        by_pickup = self.state.counting
        u_s = u_marks_s(timer.speed_mps) if by_pickup else HAND_INTERVAL_U_S
        return TakenRun(
            shown,
            timer.laps,
            timer.time_s,
            pulses,
            u_laps_time_s=u_s,
            by_pickup=by_pickup,
            u_wander_rel=wander,
        )

    def _doubt(self, run: TakenRun) -> WrongInput | None:
        """What speaks against keeping a run as it stands; None for nothing."""
        machine, known = self.machine, math.isfinite(run.reference_mps)
        timer = self.timer
        true_mps = run.reference_mps if known else timer.speed_mps if timer else math.nan
        if machine is not None and true_mps > 0:
            unit = machine.readout.unit
            if abs(to_mps(run.shown, unit) / true_mps - 1) > MOST_ERROR:
                return WrongInput(
                    "The readout showed {shown:g} {unit}, but the belt ran at {true:.3g} {unit}: "
                    "is a digit or the point wrong? If it is not, keep the run once more.",
                    shown=run.shown,
                    unit=unit,
                    true=from_mps(true_mps, unit),
                )
        if known and self.steady() is False:
            return WrongInput(
                "The belt's speed is not steady yet: wait, or keep the run once more if it must "
                "count."
            )
        changed, most = (0.0, DRIFTED_REL) if known else self._changed_rel()
        if abs(changed) > most:
            return WrongInput(
                "The belt's speed changed by {change_rel:+percent1} during this run: drop it and "
                "take it again at a steady speed, or keep it once more if it must count.",
                change_rel=changed,
            )
        return None

    def _changed_rel(self) -> tuple[float, float]:
        """How much the belt's speed changed during the run under way, by its pulses or its
        laps, and how much of that is nothing yet."""
        marks_s, belt = self.state.marks_s, self._pace.belt()
        laps = len(marks_s) - 1
        by_laps, most = change_rel(marks_s), DRIFTED_REL
        if 2 <= laps < 4:
            by_laps = (marks_s[1] - marks_s[0]) / (marks_s[-1] - marks_s[-2]) - 1
            most = FEW_LAPS_CHANGED_REL
        if belt is not None and laps >= 1:
            time_s, speed_mps = belt.history(marks_s[0])
            speed_mps = speed_mps[(time_s <= marks_s[-1]) & np.isfinite(speed_mps)]
            third = speed_mps.size // 3
            if third >= 2:
                by_pulses = float(speed_mps[-third:].mean() / speed_mps[:third].mean()) - 1
                if abs(by_pulses) > DRIFTED_REL:
                    return by_pulses, DRIFTED_REL
        return by_laps, most

    def _passing(self, at_s: float) -> None:
        """The lap pickup saw the mark."""
        if self.state.counting and not self.state.closed:
            self.state = replace(self.state, marks_s=(*self.state.marks_s, at_s))
            self._say_of_marks()

    def _say_of_marks(self) -> None:
        timer = self.timer
        missed = timer.missed() if timer else []
        self.said = ""
        if missed:
            said = _(
                "Lap {lap} took about twice as long as the others: was a mark missed? Then drop "
                "the run and take it again."
            )
            self.said = said.format(lap=missed[-1])
        self.changed()

    def _recorded_s(self) -> float:
        """Now on the recording's time line."""
        origins = [driver.notes.origin_s for driver in self._bench.live.drivers]
        origin_s = next((at_s for at_s in origins if at_s is not None), None)
        if origin_s is None:
            return self._bench.recording.duration_s
        return self._bench.clock() - origin_s

    def _follow(self) -> None:
        live = self._bench.live
        if live.taken is not self._taken:
            self._taken = live.taken
            self._marks.forget()
            if self.state.marks_s or self.state.counting:
                self.state = replace(self.state, marks_s=(), counting=False)
                self.said = _("The inputs were opened anew: the run under way is gone.")
                self.changed()
        laps = mark(live.streams.values(), Stream.has_been_heard, (ChannelKind.LAP_MARK,))
        if laps is not None:
            self._marks.follow(laps, self.lap_s())


def _no_run() -> dict[str, Any]:
    return {"marks_s": (), "counting": False, "closed": False}

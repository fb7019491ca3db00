"""The test pass as a job: driven live, recorded, and judged once more from the record."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from drivers.contract import Floats
from workbench.base.ends import EndSays
from workbench.base.machine import Limits
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.jobs.channels import ground_kind
from workbench.jobs.passes.answer import PassOptions
from workbench.live.driven_pass import DrivenPass
from workbench.live.streams import Stream
from workbench.match.live import LiveMatch, Snapshot
from workbench.match.live_seconds import TractorState
from workbench.match.ratio import PaceLimits
from workbench.models.bench import Bench
from workbench.models.observable import Observable
from workbench.models.pace import PaceModel, PaceNow
from workbench.models.passes.auto import AutoPass, AutoStep
from workbench.models.passes.cues import Cue, CueWatch
from workbench.models.passes.judge import Judged, judge_with_history
from workbench.words.language import N_, _

LOOK_S = 0.1
"""The answer is looked at ten times a second."""

HISTORY = 1024
"""Looks kept for the plot, at most; beyond that every other one goes. A screen shows no more."""


@dataclass(frozen=True, slots=True)
class Obstacle:
    """What stands in the way of a pass, a message of the catalogues, and the page that helps."""

    message: str
    page: str

    @property
    def sentence(self) -> str:
        return _(self.message)


NO_INPUT = Obstacle(
    N_("No input is in use. Choose the belt's pickup and a ground speed on the Signals page."),
    "Signals",
)
NO_BELT = Obstacle(
    N_(
        "There is no belt signal yet. Plug in the pickup's counter and let the belt turn, or "
        "choose its input on the Signals page."
    ),
    "Signals",
)
NO_MACHINE = Obstacle(
    N_("The belt's pulses need a machine to become a speed. Choose it on the Machine page."),
    "Machine",
)
NO_GROUND = Obstacle(
    N_(
        "There is no ground speed to compare the belt with. Plug one in and choose it on the "
        "Signals page."
    ),
    "Signals",
)
RECORDING_RUNS = Obstacle(
    N_("A recording runs. Stop it on the Signals page first: a pass makes its own."), "Signals"
)


class PassJob(Observable):
    """One pass at a time. `history` holds (time_s, belt, ground, separation, counts) of each look;
    `counts` is 1 where the digger worked at a steady speed, else 0."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench, self.pace = bench, PaceModel(bench)
        self._driven: DrivenPass | None = None
        self._unsubscribe: Callable[[], None] = lambda: None
        self._belt, self._ground = "", ""
        self._looked_s = -math.inf
        self._cues = CueWatch(self.limits)
        self._due: Cue | None = None
        self.auto = AutoPass()
        self.started_s = math.nan
        self.now: Snapshot | None = None
        self.history: list[tuple[float, ...]] = []
        self._kept_each_s = LOOK_S
        self.said = ""

    @property
    def running(self) -> bool:
        return self._driven is not None

    @property
    def limits(self) -> PaceLimits:
        limits = self._bench.machine.limits if self._bench.machine else Limits()
        return PaceLimits(limits.ratio_low, limits.ratio_high)

    @property
    def belt(self) -> Stream | None:
        """The belt's stream; while a pass runs, that of the pass, whatever becomes of it."""
        if self.running:
            return self._bench.live.streams.get(self._belt)
        return self.pace.belt()

    @property
    def ground(self) -> Stream | None:
        """The ground's stream, as `belt`."""
        if self.running:
            return self._bench.live.streams.get(self._ground)
        return self.pace.ground()

    def pace_now(self) -> PaceNow:
        """Both at this moment."""
        return self.pace.of(self.belt, self.ground)

    def obstacle(self) -> Obstacle | None:
        """Why no pass can begin, None where one can."""
        belt, recording = self.pace.belt(), self._bench.recording
        if not self._bench.live.drivers:
            return NO_INPUT
        if recording.running:
            return RECORDING_RUNS
        if belt is None:
            return NO_BELT
        if belt.is_pulses and self._bench.machine is None:
            return NO_MACHINE
        return NO_GROUND if self.pace.ground() is None else None

    def start(self) -> None:
        """Begin a pass: record, listen, judge."""
        belt, ground = self.pace.belt(), self.pace.ground()
        if self.running:
            return
        obstacle = self.obstacle()
        if obstacle is not None or belt is None or ground is None:
            self.said = obstacle.sentence if obstacle else ""
            self.changed()
            return
        self._belt, self._ground = belt.name, ground.name
        match = self._new_match(belt.is_pulses, ground_kind(ground).u_scale_rel)
        self._cues, self._due = CueWatch(self.limits), None
        self.now, self.said = None, ""
        self.history, self._kept_each_s = [], LOOK_S
        self.started_s, self._looked_s = self._bench.clock(), -math.inf
        self._bench.recording.start("pass")
        self._driven = DrivenPass(match, belt.name, ground.name)
        self._driven.follow(self._bench.live.streams, begin=True)
        self._unsubscribe = self._bench.live.subscribe(self._follow)
        self.changed()

    def stop(self) -> None:
        """End the pass; `judge` then judges it from its record."""
        if not self.running:
            return
        self._unsubscribe()
        self.look()
        self._driven = None
        self._bench.recording.stop(EndSays.PASS_OVER)
        self.changed()

    def judge(self, progress: Callable[[], object] = lambda: None) -> Judged:
        """The pass that has just ended, judged from its record once that is sealed.

        Slow: call it away from the screen. Raises BenchError, also where it was not kept.
        """
        recording = self._bench.recording
        recording.wait()
        return judge_with_history(
            recording.last_number,
            PassOptions(self._belt, self._ground),
            self._bench.store,
            self._bench.machine,
            progress,
            self._bench.for_whom.of(self._bench.machine),
        )

    def look_by_itself(self, *, may_start: bool) -> AutoStep | None:
        """What is due by the rule of `AutoPass`; the caller does it."""
        pace = self.pace_now()
        step = self.auto.look(
            self._bench.clock(), pace.belt_mps, pace.ground_mps, running=self.running
        )
        if step is AutoStep.START and not (may_start and self.obstacle() is None):
            return None
        return step

    def look(self) -> None:
        """Take a fresh look at the pass, at most every tenth of a second."""
        now_s = self._bench.clock()
        if self._driven is None or now_s - self._looked_s < LOOK_S:
            return
        self._looked_s = now_s
        self.now = self._driven.match.snapshot(now_s)
        self._due = self._cues.look(self.now) or self._due
        at_s = now_s - self.started_s
        counts = float(self.now.state is TractorState.STEADY)
        row = (at_s, self.now.belt_mps, self.now.ground_mps, self.now.separation_m, counts)
        self._remember(row)
        self.changed()

    def _remember(self, row: tuple[float, ...]) -> None:
        """Keep a look for the plot, from the first to the last of a pass of any length."""
        if self.history and row[0] - self.history[-1][0] < self._kept_each_s - 0.5 * LOOK_S:
            return
        self.history.append(row)
        if len(self.history) > HISTORY:
            self.history = self.history[::2]
            self._kept_each_s *= 2

    def rows(self) -> Floats:
        """(n, 4) time, belt, ground and separation for a plot; once some of it counts, what does
        not is left blank."""
        table = np.array(self.history, dtype=np.float64).reshape(-1, 5)
        left_out = table[:, 4] == 0
        if not left_out.all():
            table[left_out, 1:4] = math.nan
        return table[:, :4]

    def take_cue(self) -> Cue | None:
        """The cue that is to be heard now, once."""
        due, self._due = self._due, None
        return due if self.running else None

    def _new_match(self, pulses: bool, u_ground_rel: float) -> LiveMatch:
        machine = self._bench.machine
        if not pulses or machine is None:
            return LiveMatch(self.limits, u_ground_rel=u_ground_rel)
        per_pulse = metres_per_pulse(machine)
        return LiveMatch(
            self.limits,
            teeth=machine.drive.target_teeth,
            metre_per_pulse_m=per_pulse.value_m,
            u_belt_rel=per_pulse.u_rel,
            u_ground_rel=u_ground_rel,
        )

    def _follow(self) -> None:
        if self._driven is not None:
            self._driven.follow(self._bench.live.streams)

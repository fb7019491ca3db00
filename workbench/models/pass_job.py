"""The test pass as a job: driven live, recorded, and judged once more from the record."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from enum import StrEnum
from typing import Any

from drivers.contract import EdgeBlock, Item, SpeedBlock
from workbench.calibration.driveline import metres_per_pulse
from workbench.machine import Limits
from workbench.match.live import LiveMatch, Snapshot
from workbench.match.ratio import PaceLimits
from workbench.match.sources import kind_of
from workbench.models.bench import Bench
from workbench.models.observable import Observable
from workbench.models.pace import PaceModel
from workbench.models.wording import speed_number

LOOK_S = 0.1
"""The answer is looked at ten times a second."""

HISTORY = 36_000
"""Looks kept for the plot: an hour."""


class Cue(StrEnum):
    """What the operator should hear without looking."""

    IN_BAND = "in band"
    OUT_OF_BAND = "out of band"
    LOST = "lost signal"


class PassJob(Observable):
    """One pass at a time. `history` holds (time_s, belt, ground, separation) for the plot."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench, self._pace = bench, PaceModel(bench)
        self._match: LiveMatch | None = None
        self._unlisten: Callable[[], None] = lambda: None
        self._belt, self._ground = "", ""
        self._looked_s = -math.inf
        self.started_s = math.nan
        self.now: Snapshot | None = None
        self.history: deque[tuple[float, float, float, float]] = deque(maxlen=HISTORY)
        self.said = ""
        self.answer: dict[str, Any] | None = None

    @property
    def running(self) -> bool:
        return self._match is not None

    @property
    def limits(self) -> PaceLimits:
        limits = self._bench.machine.limits if self._bench.machine else Limits()
        return PaceLimits(limits.ratio_low, limits.ratio_high)

    def start(self) -> None:
        """Begin a pass: record, listen, judge."""
        belt, ground = self._pace.belt(), self._pace.ground()
        if self.running or self._bench.recording.running:
            return
        if belt is None or ground is None:
            missing = "belt" if belt is None else "ground"
            self.said = f"There is no {missing} signal yet; see Signals."
            self.changed()
            return
        if belt.is_pulses and self._bench.machine is None:
            self.said = "The belt's pulses need a machine to become a speed; see Machine."
            self.changed()
            return
        self._belt, self._ground = belt.name, ground.name
        self._match = self._new_match(belt.is_pulses, kind_of(ground.name).u_scale_rel)
        self.answer, self.now, self.said = None, None, ""
        self.history.clear()
        self.started_s, self._looked_s = self._bench.clock(), -math.inf
        self._bench.recording.start("pass")
        if not self._bench.recording.running:
            self.said = self._bench.recording.said
        self._unlisten = self._bench.live.listen(self._take)
        self.changed()

    def judge(self, number: int) -> dict[str, Any]:
        """The pass of that recording judged from the record; see `judge_recording`."""
        self._bench.recording.wait()
        return judge_recording(number, self._belt, self._ground, self._bench.store)

    def stop(self) -> int | None:
        """End the pass; the number of its recording, None where none could be kept."""
        if not self.running:
            return None
        self._unlisten()
        self.look()
        self._match = None
        kept = self._bench.recording.running
        self._bench.recording.stop("the pass is over")
        self.changed()
        return self._bench.recording.last_number if kept else None

    def look(self) -> None:
        """Take a fresh look at the pass, at most every tenth of a second."""
        now_s = self._bench.clock()
        if self._match is None or now_s - self._looked_s < LOOK_S:
            return
        self._looked_s = now_s
        self.now = self._match.snapshot(now_s)
        at_s = now_s - self.started_s
        row = (at_s, self.now.belt_mps, self.now.ground_mps, self.now.separation_m)
        self.history.append(row)
        self.changed()

    def cue(self) -> Cue | None:
        """The cue of this moment, None where there is nothing to hear."""
        if self.now is None or not self.running:
            return None
        if self.now.lost:
            return Cue.LOST
        ratio = self.now.belt_mps / self.now.ground_mps if self.now.ground_mps else math.nan
        if not math.isfinite(ratio):
            return None
        inside = self.limits.low <= ratio <= self.limits.high
        return Cue.IN_BAND if inside else Cue.OUT_OF_BAND

    def sentence(self) -> str:
        """The pass so far in one sentence."""
        now = self.now
        if now is None:
            return self.said
        if now.lost:
            return f"No signal from the {now.lost}."
        if not math.isfinite(now.ratio):
            return f"{now.state.value.capitalize()}."
        percent = 100 * (now.ratio - 1)
        speed = "in step" if abs(percent) < 0.05 else ("fast" if percent > 0 else "slow")
        size = "" if speed == "in step" else f"{abs(percent):.1f} % "
        text = f"Belt is {size}{speed} (± {100 * now.U_ratio:.1f} %)."
        if now.answer.verdict.value in ("pass", "fail"):
            return f"{text} That is a {now.answer.verdict.value}."
        if math.isfinite(now.more_s):
            return f"{text} {now.more_s:.0f} s more would settle it."
        return f"{text} More of the same would not settle it."

    def numbers(self) -> tuple[str, str, str]:
        """Belt, ground and difference as the cab shows them."""
        units, pace = self._bench.settings.units, self._pace.now()
        apart = pace.belt_mps - pace.ground_mps
        values = (pace.belt_mps, pace.ground_mps, apart)
        belt, ground, difference = (speed_number(value, units) for value in values)
        return belt, ground, f"+{difference}" if apart > 0 and difference[0] != "0" else difference

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

    def _take(self, item: Item) -> None:
        if self._match is None:
            return
        if isinstance(item, EdgeBlock) and item.channel == self._belt:
            self._match.add_edges(item.ticks, item.tick_s, item.host_s)
        elif isinstance(item, SpeedBlock) and item.speed_mps.size:
            host_s = float(item.host_s[-1])
            if item.source == self._belt:
                self._match.add_belt(item.time_s, item.speed_mps, host_s, item.u_mps)
            elif item.source == self._ground:
                self._match.add_ground(item.time_s, item.speed_mps, host_s, item.u_mps)


def judge_recording(number: int, belt: str, ground: str, store: str | None) -> dict[str, Any]:
    """The pass computed from its recording, and stored; the answer as the command gives it.

    Slow: call it away from the screen. Raises BenchError.
    """
    from workbench.cli.pass_ import compute
    from workbench.cli.source import finish, stored_source

    source = stored_source(number, None, store)
    options = {"belt": belt, "ground": ground, "oil_c": None, "moved": None, "course": None}
    answer = compute(source.recording, source.machine, options)
    return finish("pass", answer, source, options)

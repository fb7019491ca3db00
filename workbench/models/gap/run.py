"""The wheel by its pulses: a tooth run or a drop-out run, live or from an old recording."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.base.ends import EndSays
from workbench.base.errors import StoreError
from workbench.base.machine import Machine
from workbench.calibration.gap.answer import WheelAnswer, suspect_teeth
from workbench.calibration.gap.faults import FaultKind
from workbench.calibration.pulses.drive_line import metres_per_pulse
from workbench.calibration.pulses.edges import clean
from workbench.calibration.pulses.target_wheel import tooth_signature
from workbench.live.streams import Stream
from workbench.models.bench import Bench
from workbench.models.gap.store import Curve, JudgedRun, KeptAnswer, judge_wheel, one_pickup
from workbench.models.observable import Observable
from workbench.models.pace import PaceModel
from workbench.words.language import _

Floats = NDArray[np.float64]

SIGNATURE_TURNS = 40
"""Turns of the wheel that the live signature is folded from."""
WANTED_TURNS = 30
"""Turns from which the faults named in the handbook of the check are found."""
MOST_EDGES = 200_000
"""Edges of a run that are looked at while it lasts: five minutes of a fast wheel, however long
the run. Its answer comes from the recording, which has them all."""
MOST_TRACE = 20_000
"""Points of the speed's trace: about an hour."""
FEWEST_LOST = 3
"""Teeth that must go missing for a drop-out speed."""


@dataclass(frozen=True, slots=True, eq=False)
class SoFar:
    """A run as far as it has come: each tooth's lateness in pitches, turns, teeth missed."""

    late_rel: Floats
    turns: float
    missed: int


class WheelRun(Observable):
    """One run at a time, of one live pickup; or a stored recording with all its pickups.

    `judged` is the answer that is shown, None where there is none.
    """

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self._bench, self._pace = bench, PaceModel(bench)
        self._begun = self._teeth = 0
        self._chosen = ""
        self.channel = ""
        self.running = self.drop_out = False
        self.trace: deque[tuple[float, float]] = deque(maxlen=MOST_TRACE)
        self.so_far: SoFar | None = None
        self.judged: JudgedRun | None = None
        self.said = ""

    @property
    def teeth(self) -> int:
        return self._bench.machine.drive.target_teeth if self._bench.machine else 0

    def channels(self) -> list[str]:
        """The pickups whose pulses come in, the one the belt's speed is taken from first."""
        belt = self._pace.belt()
        pickups = [stream for stream in self._pace.belts() if stream.is_pulses]
        return [stream.name for stream in sorted(pickups, key=lambda one: one is not belt)]

    def start(self, *, drop_out: bool, channel: str) -> None:
        """Record the pulses: a steady run for the teeth, or one slowed until they go missing."""
        self.drop_out, self.said = drop_out, ""
        if self._bench.recording.running:
            self.said = _("A recording runs already; stop it on Signals first.")
        elif channel not in self.channels():
            self.said = _("No pulses come in; see Signals.")
        elif not self.teeth:
            self.said = _("The teeth can be counted once a machine is in use; see Machine.")
        else:
            self.channel, self.so_far, self.judged = channel, None, None
            self._teeth = self.teeth
            self.trace.clear()
            name = _("drop-out run") if drop_out else _("tooth by tooth")
            self._bench.recording.start(name)
            self.running = self._bench.recording.running
            stream = self._stream  # of inputs that were opened anew there is none yet
            self._begun = stream.edges if stream else 0
            self.said = "" if self.running else self._bench.recording.said
        self.changed()

    def stop(self) -> bool:
        """End the run; whether there was one."""
        was = self.running
        self.running = False
        if was:
            self._bench.recording.stop(EndSays.RUN_OVER)
            self.changed()
        return was

    def look(self) -> None:
        """Notice a recording that ended without us: the store failed, or it was stopped."""
        if self.running and not self._bench.recording.running:
            self.running = False
            told = _("The run has ended: {why}")
            self.said = told.format(why=self._bench.recording.said)
            self.changed()

    def speed_mps(self) -> float:
        """The belt's speed by this pickup right now; NaN where its pulses have stopped."""
        stream = self._stream
        if stream is None or stream.silent(self._bench.clock()):
            return math.nan
        return stream.speed_mps

    def seconds_left(self) -> float:
        """Seconds until enough turns have gone by at the present rate; NaN where none comes."""
        per_pulse = metres_per_pulse(self._bench.machine).value_m if self._bench.machine else 0.0
        speed = self.speed_mps()
        if not (speed > 0 and per_pulse > 0):
            return math.nan
        return max(0.0, (WANTED_TURNS * self._teeth - self._edges) * per_pulse / speed)

    def fold_work(self) -> Callable[[], SoFar]:
        """The slow work that says how far the run has come."""
        stream, teeth, drop_out = self._stream, self._teeth, self.drop_out
        turns, skipped = self._edges / teeth, max(0, self._edges - MOST_EDGES)
        edge_s = stream.pulses.after(self._begun + skipped).time_s if stream else np.empty(0)
        return lambda: _fold(edge_s, teeth, turns, drop_out=drop_out)

    def folded(self, so_far: SoFar) -> None:
        """Show how far the run has come."""
        if self.running:
            self.so_far = so_far
            self.changed()

    def note_speed(self) -> None:
        """One more point of the speed's trace."""
        speed = self.speed_mps()
        if self.running and math.isfinite(speed):
            self.trace.append((self._bench.recording.duration_s, speed))

    def judge_work(self) -> Callable[[], JudgedRun]:
        """The slow work that judges the run that has just been stopped, and stores the answer."""
        recording, channel, drop_out = self._bench.recording, self.channel, self.drop_out
        store, machine = self._bench.store, self._bench.machine
        said = self._bench.for_whom.of(machine)

        def judge() -> JudgedRun:
            number = recording.last_number
            if number is None:
                raise StoreError("The run was not recorded, so there is nothing to judge.")
            return judge_wheel(number, channel, store, machine, said, drop_out=drop_out)

        return recording.sealed(judge)

    def judge_old_work(
        self, number: int, machine: Machine | None, *, drop_out: bool
    ) -> Callable[[], JudgedRun]:
        """The slow work that judges all wheels of a stored recording, and stores the answer.

        `machine` is used where the recording was made without one.
        """
        store, said = self._bench.store, self._bench.for_whom.of(machine)
        return lambda: judge_wheel(number, None, store, machine, said, drop_out=drop_out)

    def show(self, judged: JudgedRun, channel: str) -> None:
        """Show what `judge_work` has found at this channel; at the worst one for ''."""
        self.judged, self.said = judged, ""
        answer = judged.kept.answer
        worst = (one.pickup for one in answer.pickups if one.verdict is answer.verdict)
        self._chosen = channel or next(worst, "")
        self.changed()

    def forget(self) -> None:
        """Show no answer any more; it stays in the store."""
        self.judged, self.so_far, self.said = None, None, ""
        self.changed()

    def failed(self, said: str) -> None:
        """A run that could not be judged, and why."""
        self.judged, self.said = None, said
        self.changed()

    def choose(self, name: str) -> None:
        """Show this pickup of a run of several."""
        self._chosen = name
        self.changed()

    def pickups(self) -> list[WheelAnswer]:
        """What was found at each pickup of the run."""
        found = self.judged.kept.answer.pickups if self.judged else ()
        return [one for one in found if isinstance(one, WheelAnswer)]

    @property
    def pickup(self) -> WheelAnswer | None:
        """What was found at the pickup that is shown; None where there is no answer."""
        return next((one for one in self.pickups() if one.pickup == self._chosen), None)

    def shown_answer(self) -> KeptAnswer | None:
        """The stored answer of the pickup shown alone, None where there is none."""
        return one_pickup([self.judged.kept], self._chosen) if self.judged else None

    @property
    def curve(self) -> Curve:
        """Share of teeth seen by speed of the pickup shown; empty where it has none."""
        return self.judged.curves.get(self._chosen, []) if self.judged else []

    def faults(self) -> dict[int, FaultKind]:
        """Suspect teeth of the pickup shown, from 1 at the mark, with their fault."""
        return suspect_teeth(self.pickup) if self.pickup else {}

    @property
    def _stream(self) -> Stream | None:
        return self._bench.live.streams.get(self.channel)

    @property
    def _edges(self) -> int:
        """Pulses of the run so far."""
        return self._stream.edges - self._begun if self._stream else 0


def _fold(edge_s: Floats, teeth: int, turns: float, *, drop_out: bool) -> SoFar:
    if turns < 3:
        return SoFar(np.empty(0), turns, 0)
    try:
        edges = clean(edge_s if drop_out else edge_s[-SIGNATURE_TURNS * teeth :])
        late = np.empty(0) if drop_out else tooth_signature(edges, teeth).offset_rel
    except ValueError:
        return SoFar(np.empty(0), turns, 0)
    return SoFar(late, turns, int(edges.missed))

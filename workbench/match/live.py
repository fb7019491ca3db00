"""The pass while it is driven: belt against ground, and the answer as soon as there is one.

Fed with what two channels bring, it keeps one row a second: the sums of both speeds over
its tenths. Which seconds count is judged by the same rule as after the pass, over the last
three minutes anew each second; older ones stand. Work for each update is bounded, whatever
the length of the pass.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.match.live_seconds import NO_ANSWER, Answers, LiveAnswer, Seconds, TractorState
from workbench.match.ratio import PaceLimits
from workbench.match.streams import STEP_S, PulseStream, Tenths, ValueStream

Floats = NDArray[np.float64]

LOST_S = 2.0
"""Silence after which a signal is lost."""


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The pass at one moment; NaN where nothing can be said yet.

    `standing` is the answer over the steady part, `separation_m` belt minus ground distance
    over it. `belt_lost` and `ground_lost` tell which signal is away.
    """

    time_s: float
    state: TractorState
    belt_mps: float
    ground_mps: float
    separation_m: float
    standing: LiveAnswer = NO_ANSWER
    belt_lost: bool = False
    ground_lost: bool = False


class LiveMatch:
    """One pass. Hand it what comes with `add_edges`, `add_belt`, `add_ground`; ask `snapshot`.

    The belt comes as pulses (`teeth` and `metre_per_pulse_m` given) or as speeds.
    `u_belt_rel` and `u_ground_rel` are what all values of a source share.
    """

    def __init__(
        self,
        limits: PaceLimits,
        *,
        teeth: int = 0,
        metre_per_pulse_m: float = math.nan,
        u_belt_rel: float = 0.0,
        u_ground_rel: float = 0.0,
    ) -> None:
        self._limits = limits
        self._pulses = PulseStream(teeth, metre_per_pulse_m) if teeth else None
        self._belt, self._ground = ValueStream(), ValueStream()
        self._heard = {"belt": -math.inf, "ground": -math.inf}
        self._tenths = Tenths(self._belt, self._ground)
        self._seconds = Seconds()
        self._answers = Answers(limits, (u_belt_rel, u_ground_rel))
        self._standing = NO_ANSWER

    @property
    def edges_again(self) -> int:
        """How many edges, of those given before, `add_edges` needs to see again."""
        return self._pulses.edges_again if self._pulses else 0

    def add_edges(self, edges_s: Floats, fresh: int, host_s: float) -> None:
        """Rising edges (n,) of the belt's pickup, ascending on the host's line; the last `fresh`
        of them are new and came by `host_s`."""
        if self._pulses is None or edges_s.size == 0:
            return
        self._heard["belt"] = max(self._heard["belt"], host_s)
        new = self._pulses.add(edges_s, fresh)
        self._belt.add(new.time_s, new.speed_mps, None)
        self._advance()

    def add_belt(
        self, time_s: Floats, speed_mps: Floats, host_s: float, u_mps: Floats | None = None
    ) -> None:
        """Belt speeds (n,) on the host's line, which came by `host_s`."""
        self._add("belt", self._belt, time_s, speed_mps, host_s, u_mps)

    def add_ground(
        self, time_s: Floats, speed_mps: Floats, host_s: float, u_mps: Floats | None = None
    ) -> None:
        """Ground speeds, as `add_belt`."""
        self._add("ground", self._ground, time_s, speed_mps, host_s, u_mps)

    def snapshot(self, host_s: float) -> Snapshot:
        """Everything as it stands at `host_s`."""
        belt_lost, ground_lost = (host_s - heard_s > LOST_S for heard_s in self._heard.values())
        totals = self._seconds.totals
        return Snapshot(
            time_s=host_s,
            state=self._state(belt_lost or ground_lost),
            belt_mps=math.nan if belt_lost else self._belt.last_value,
            ground_mps=math.nan if ground_lost else self._ground.last_value,
            separation_m=(totals.belt - totals.ground) * STEP_S,
            standing=self._standing,
            belt_lost=belt_lost,
            ground_lost=ground_lost,
        )

    def _state(self, lost: bool) -> TractorState:
        if lost:
            heard = min(self._heard.values()) > -math.inf
            return TractorState.LOST if heard else TractorState.WAITING
        return self._seconds.state

    def _add(
        self,
        name: str,
        stream: ValueStream,
        time_s: Floats,
        speed_mps: Floats,
        host_s: float,
        u_mps: Floats | None,
    ) -> None:
        if time_s.size == 0:
            return
        if np.isfinite(speed_mps).any():
            self._heard[name] = max(self._heard[name], host_s)
        stream.add(time_s, speed_mps, u_mps)
        self._advance()

    def _advance(self) -> None:
        """Judge every second that both sources have filled since."""
        new = self._tenths.new_seconds()
        for row in new:
            self._seconds.add(row)
        if new:
            self._standing = self._answers.answer(self._seconds, self._belt, self._ground)

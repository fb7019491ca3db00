"""A pass second by second: which seconds count, their sums, and the answer they allow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.statistics.decision import Verdict, decide, times_as_many
from workbench.match.mean import scatter_of
from workbench.match.ratio import ACCURACY_MEMORY_S, LONGEST_MORE_S, PaceLimits
from workbench.match.steady import steady_part
from workbench.match.streams import STEP_S, ValueStream

Floats = NDArray[np.float64]

WINDOW_S = 180
"""Seconds kept; the older ones are only looked back at."""
OPEN_S = 120
"""Seconds that are judged anew as the pass goes on; an older one stands as it was judged."""
BATCHES = 128
"""Batches of steady seconds from which the scatter is taken; full, they are joined in pairs."""
LEAST_STEADY_S = 20.0
"""No answer is given from less; chosen."""
STILL_STEADY = 0.8
"""Share of the last working speed below which the tractor is slowing down to turn. Chosen."""
SURELY_STEADY_S = 3
"""Steady seconds before the approach is called over; while speeding up one or two look so."""
WRONG = 0.05
"""How often a driven pass may be told what is not so, though it is looked at every second."""
HALF_WAY_S = 40.0
"""How long a pass is for which the boundary is tightest; chosen."""


def widening(steady_s: float) -> float:
    """What U (95.45 %) is multiplied by so that it holds at every second at once.

    Robbins' normal mixture (Ann. Math. Statist. 41(5), 1970; Howard et al., Ann. Statist.
    49(2), 2021, eq. 14): |mean| ≤ u·√((1 + r/t)·ln((t + r)/(r·α²))) at all t with 1 − α.
    """
    r = HALF_WAY_S
    return math.sqrt((1 + r / steady_s) * math.log((steady_s + r) / (r * WRONG**2))) / 2


class TractorState(StrEnum):
    """What the tractor is doing, as far as the two signals tell."""

    WAITING = auto()
    LOST = auto()
    STOPPED = auto()
    APPROACH = auto()
    STEADY = auto()
    HEADLAND = auto()


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over steady seconds: tenths, Σ belt and Σ ground (m/s), seconds."""

    tenths: float = 0.0
    belt: float = 0.0
    ground: float = 0.0
    seconds: float = 0.0


class Seconds:
    """The rows of a pass, [time, tenths, Σ belt, Σ ground], and which of them count."""

    def __init__(self) -> None:
        self._rows = np.empty((0, 4))
        self._steady = np.empty(0, dtype=np.bool_)
        self._settled = 0
        self._stood = Totals()
        self._batches = np.empty((0, 3))
        self._batch_s, self._filling = 1, np.empty((0, 3))
        self.totals = Totals()
        self.state = TractorState.WAITING

    def add(self, row: Floats) -> None:
        """One more second, (4,)."""
        self._rows = np.concatenate((self._rows, row[None]))
        if self._rows.shape[0] > WINDOW_S:
            self._rows, self._steady = self._rows[1:], self._steady[1:]
            self._settled -= 1
        self._judge()
        while self._rows.shape[0] - self._settled > OPEN_S:
            self._settle(self._settled)
            self._settled += 1
        self.totals = self._sum(self._stood, self._counted())
        self.state = self._now()

    def batches(self) -> Floats:
        """(m, 3) means over equal stretches of steady time: seconds' worth, belt, ground."""
        rest = np.concatenate((self._filling, self._counted()[:, 1:]))
        whole = rest.shape[0] // self._batch_s * self._batch_s
        joined = rest[:whole].reshape(-1, self._batch_s, 3).sum(axis=1)
        return np.concatenate((self._batches, joined))

    def _judge(self) -> None:
        tenths = self._rows[:, 1]
        with np.errstate(invalid="ignore", divide="ignore"):
            ground_mps = self._rows[:, 3] / tenths
        steady = steady_part(ground_mps, 1.0, tenths > 0)
        steady[: self._settled] = self._steady[: self._settled]
        self._steady = steady

    def _settle(self, at: int) -> None:
        """The second `at` stands from now on."""
        if not self._steady[at]:
            return
        row = self._rows[at : at + 1]
        self._stood = self._sum(self._stood, row)
        self._filling = np.concatenate((self._filling, row[:, 1:]))
        if self._filling.shape[0] >= self._batch_s:
            self._batches = np.concatenate((self._batches, self._filling.sum(axis=0)[None]))
            self._filling = self._filling[:0]
        if self._batches.shape[0] >= BATCHES:
            self._batches = self._batches.reshape(-1, 2, 3).sum(axis=1)
            self._batch_s *= 2

    def _counted(self) -> Floats:
        """The open seconds that count."""
        open_rows = self._rows[self._settled :]
        return np.asarray(open_rows[self._steady[self._settled :]])

    def _sum(self, so_far: Totals, rows: Floats) -> Totals:
        _, tenths, belt, ground = rows.sum(axis=0)
        return Totals(
            so_far.tenths + float(tenths),
            so_far.belt + float(belt),
            so_far.ground + float(ground),
            so_far.seconds + rows.shape[0],
        )

    def _now(self) -> TractorState:
        tenths, ground = self._rows[-1, 1], self._rows[-1, 3]
        if tenths == 0:
            return TractorState.STOPPED
        if self.totals.seconds < SURELY_STEADY_S:
            return TractorState.APPROACH
        if self._steady[-1]:
            return TractorState.STEADY
        before = self._rows[self._steady][-10:]
        working = before[:, 3].sum() / before[:, 1].sum() if before.size else math.inf
        return (
            TractorState.STEADY
            if ground / tenths >= STILL_STEADY * working
            else TractorState.HEADLAND
        )


@dataclass(frozen=True, slots=True)
class LiveAnswer:
    """The answer as it stands; NaN where there is none.

    The verdict is 'pass' or 'fail' as soon as the uncertainty allows, else 'cannot tell';
    `more_s` is what it then needs at the present spread, inf where more would not settle it.
    """

    ratio: float = math.nan
    u_ratio: float = math.nan
    U_ratio: float = math.nan
    verdict: Verdict = Verdict.CANNOT_TELL
    more_s: float = math.nan


NO_ANSWER = LiveAnswer()


class Answers:
    """From the sums to an answer. `u_rel` is what all values of belt and ground share."""

    def __init__(self, limits: PaceLimits, u_rel: tuple[float, float]) -> None:
        self._limits, self._u_rel = limits, u_rel

    def answer(self, seconds: Seconds, belt: ValueStream, ground: ValueStream) -> LiveAnswer:
        """What the seconds so far allow to say."""
        totals, batches = seconds.totals, seconds.batches()
        if totals.ground <= 0 or batches.shape[0] < 3:
            return NO_ANSWER
        ratio, ground_mps = totals.belt / totals.ground, totals.ground / totals.tenths
        error_mps = (batches[:, 1] - ratio * batches[:, 2]) / batches[:, 0]
        steady_s = totals.tenths * STEP_S
        found = scatter_of(error_mps - error_mps.mean(), steady_s / batches.shape[0])
        _, U_mps = found.of_mean(batches.shape[0])
        scatter, fixed = U_mps / 2 / ground_mps / ratio, math.hypot(*self._u_rel)
        seen_mps = math.sqrt(float(found.weight @ found.variance))
        for stream, mean_mps in ((belt, ratio * ground_mps), (ground, ground_mps)):
            own = _own(stream, mean_mps, steady_s, seen_mps)
            if stream.moving:  # it averages out with time, as the scatter does
                scatter = math.hypot(scatter, own)
            else:
                fixed = math.hypot(fixed, own)
        u_rel = math.hypot(scatter, fixed)
        standing = LiveAnswer(ratio, ratio * u_rel, 2 * ratio * u_rel)
        return self._decided(standing, 2 * scatter, 2 * fixed, steady_s)

    def _decided(
        self, standing: LiveAnswer, scatter: float, fixed: float, steady_s: float
    ) -> LiveAnswer:
        """The standing with its verdict, and how much longer one would take."""
        low, high, ratio = self._limits.low, self._limits.high, standing.ratio
        wide = widening(max(steady_s, 1.0)) * scatter
        U = ratio * math.hypot(wide, fixed)
        verdict = decide(ratio, standing.u_ratio, low, high, U=U).verdict
        if verdict in (Verdict.PASS, Verdict.FAIL) and steady_s >= LEAST_STEADY_S:
            return replace(standing, verdict=verdict, more_s=0.0)
        room = min(abs(ratio - low), abs(ratio - high)) / ratio
        times = times_as_many(room, fixed, wide)
        more_s = max(steady_s * (times - 1), LEAST_STEADY_S - steady_s)
        return replace(standing, more_s=more_s if more_s <= LONGEST_MORE_S else math.inf)


def _own(stream: ValueStream, mean_mps: float, steady_s: float, seen_mps: float) -> float:
    """Relative u of a source's mean from the accuracy it claims for each value."""
    if not stream.moving:
        return stream.u_mps / mean_mps
    unseen_mps = math.sqrt(max(stream.u_mps**2 - 2 * seen_mps**2, 0.0))
    return unseen_mps * math.sqrt(min(1.0, 2 * ACCURACY_MEMORY_S / max(steady_s, 1.0))) / mean_mps

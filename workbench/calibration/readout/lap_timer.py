"""Laps as they are marked: what is known so far, and how many more are needed."""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.calibration.readout.runs import HAND_INTERVAL_U_S

MOST_LAPS = 200


def laps_needed(
    u_rel: float,
    speed_mps: float,
    lap_length_m: float,
    u_lap_length_m: float,
    u_interval_s: float = HAND_INTERVAL_U_S,
) -> int | None:
    """Whole laps in one start and stop for a relative standard uncertainty of the speed.

    u² = (u_L/L)² + (u_t·v/(n·L))² solved for n; None where the length of the lap alone is
    not known well enough, or where it would take more than `MOST_LAPS`.
    """
    room = u_rel**2 - (u_lap_length_m / lap_length_m) ** 2
    if room <= 0:
        return None
    laps = math.ceil(u_interval_s * speed_mps / lap_length_m / math.sqrt(room) - 1e-9)
    return max(1, laps) if laps <= MOST_LAPS else None


@dataclass(frozen=True, slots=True)
class LapTimer:
    """Laps marked at `marks_s`, by a key or by a lap pickup; the first mark starts the run.

    `wanted_u_rel` is the relative standard uncertainty asked for, `u_interval_s` that of the
    time between two marks. Any monotonic clock will do.
    """

    lap_length_m: float
    u_lap_length_m: float
    wanted_u_rel: float
    u_interval_s: float = HAND_INTERVAL_U_S
    marks_s: tuple[float, ...] = ()

    @property
    def laps(self) -> int:
        return max(0, len(self.marks_s) - 1)

    @property
    def time_s(self) -> float:
        """From the first mark to the last."""
        return self.marks_s[-1] - self.marks_s[0] if self.marks_s else 0.0

    @property
    def speed_mps(self) -> float:
        """NaN before the first lap is complete."""
        return self.laps * self.lap_length_m / self.time_s if self.laps else math.nan

    @property
    def u_rel(self) -> float:
        """Of the speed so far; NaN before the first lap is complete."""
        if not self.laps:
            return math.nan
        return math.hypot(self.u_lap_rel, self.u_interval_s / self.time_s)

    @property
    def u_lap_rel(self) -> float:
        """Of the lap's length alone, which no number of laps mends."""
        return self.u_lap_length_m / self.lap_length_m

    def needed_at(self, speed_mps: float) -> int | None:
        """Laps that will do at a speed; None where no number will, or it is not known."""
        if not speed_mps > 0:
            return None
        length_m, u_m = self.lap_length_m, self.u_lap_length_m
        return laps_needed(self.wanted_u_rel, speed_mps, length_m, u_m, self.u_interval_s)

    @property
    def laps_wanted(self) -> int | None:
        """Laps that will do at the speed so far; None where no number will, or none is known."""
        return self.needed_at(self.speed_mps)

    @property
    def laps_left(self) -> int | None:
        wanted = self.laps_wanted
        return None if wanted is None else max(0, wanted - self.laps)

    @property
    def done(self) -> bool:
        return self.laps_left == 0

    def missed(self) -> list[int]:
        """Numbers of laps (from 1) that took about a whole number of others: a mark not pressed."""
        took = [b - a for a, b in zip(self.marks_s, self.marks_s[1:], strict=False)]
        if len(took) < 3:
            return []
        usual = sorted(took)[len(took) // 2]
        return [i + 1 for i, lap_s in enumerate(took) if lap_s > 1.6 * usual]

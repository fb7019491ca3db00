"""References for the true speed, how much of each is needed, and a count-down while it runs.

Plain classes and functions without a clock of their own: moments are handed in, so the
same model serves a screen, a test and a table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from workbench.base.units import FOOT_M
from workbench.calibration.readout.runs import COUNT_U, HAND_INTERVAL_U_S

COURSES_M = {"88 ft": 88 * FOOT_M, "50 m": 50.0}
"""Lengths proposed for a taped course: 88 ft are run in 60 s at 1 mph (5280 ft in 60 min);
the metric one is common practice, no source. Any length can be taped."""

MOST_LAPS = 200


@dataclass(frozen=True, slots=True)
class ReferenceSpeed:
    """A true speed with its standard uncertainty.

    `u_shared_mps` is the part of `u_mps` that is the same in every reading with this
    reference; `method` and `traceability` are for the certificate.
    """

    speed_mps: float
    u_mps: float
    u_shared_mps: float
    method: str
    traceability: str


def timed_laps(
    laps: int, laps_time_s: float, lap_length_m: float, u_lap_length_m: float, traceability: str
) -> ReferenceSpeed:
    """`laps` turns of the belt in one start and stop of a watch by hand.

    The hand errs once, N(0, (0.10 s)²), however many laps: 0.10/n s a lap.
    """
    _positive(laps=laps, laps_time_s=laps_time_s, lap_length_m=lap_length_m)
    speed = laps * lap_length_m / laps_time_s
    shared = u_lap_length_m / lap_length_m
    u = math.hypot(shared, HAND_INTERVAL_U_S / laps_time_s)
    method = f"{laps} laps of the belt, timed by hand"
    return ReferenceSpeed(speed, speed * u, speed * shared, method, traceability)


def hand_tachometer(
    shaft_hz: float,
    u_shaft_hz: float,
    metres_per_turn: float,
    u_metres_per_turn: float,
    traceability: str,
) -> ReferenceSpeed:
    """A shaft's turns a second with a hand tachometer, times the belt's metres a turn.

    `u_shaft_hz` as the tachometer's own certificate says (U ÷ k). Slip is not seen.
    """
    _positive(shaft_hz=shaft_hz, metres_per_turn=metres_per_turn)
    speed = shaft_hz * metres_per_turn
    u = speed * math.hypot(u_shaft_hz / shaft_hz, u_metres_per_turn / metres_per_turn)
    return ReferenceSpeed(speed, u, u, "hand tachometer on the shaft", traceability)


def calibrated_source(
    speed_mps: float, U_mps: float, k: float, name: str, traceability: str
) -> ReferenceSpeed:
    """A reading of another source whose certificate states U with its factor k."""
    _positive(speed_mps=speed_mps, U_mps=U_mps, k=k)
    return ReferenceSpeed(speed_mps, U_mps / k, U_mps / k, name, traceability)


def taped_course(
    length_m: float, u_length_m: float, times_s: Sequence[float], traceability: str
) -> ReferenceSpeed:
    """Ground speed over a taped course, the mean of runs both ways, timed by hand.

    Slope and wind cancel between the directions; the tape is one error for all runs. The
    mean is that of the times, as for one long run there and back. Raises ValueError for
    times that are no times, or a length that is none.
    """
    _positive(length_m=length_m, **{f"times_s[{i}]": t for i, t in enumerate(times_s)})
    if not times_s:
        raise ValueError("a course needs at least one run with its time")
    total_s = math.fsum(times_s)
    speed = length_m * len(times_s) / total_s
    shared = u_length_m / length_m
    watch = HAND_INTERVAL_U_S * math.sqrt(len(times_s)) / total_s
    method = f"taped course of {length_m:g} m, {len(times_s)} runs timed by hand"
    return ReferenceSpeed(
        speed, speed * math.hypot(shared, watch), speed * shared, method, traceability
    )


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} is {value:g}; expected a number above 0")


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


def counting_s_needed(u_rel: float, pulse_rate_hz: float, u_scale_rel: float) -> float | None:
    """Seconds of counting pulses for a relative standard uncertainty of the speed.

    u² = u_scale² + (u_N/(f·T))²; None where the metres a pulse alone are not known well
    enough.
    """
    room = u_rel**2 - u_scale_rel**2
    return COUNT_U / pulse_rate_hz / math.sqrt(room) if room > 0 else None


@dataclass(slots=True)
class LapTimer:
    """Laps as they are marked, by a key or by a lap pickup: what is known, what is missing.

    `mark` takes the moment at which the mark on the belt passed; the first starts the run.
    Any monotonic clock will do. `wanted_u_rel` is the relative standard uncertainty asked
    for.
    """

    lap_length_m: float
    u_lap_length_m: float
    wanted_u_rel: float
    u_interval_s: float = HAND_INTERVAL_U_S
    marks_s: list[float] = field(default_factory=list)

    def mark(self, time_s: float) -> None:
        """The mark passed. Raises ValueError where time runs backwards."""
        if self.marks_s and time_s <= self.marks_s[-1]:
            raise ValueError("a mark cannot come before the last one")
        self.marks_s.append(time_s)

    def undo(self) -> None:
        """Take back the last mark; harmless where there is none."""
        if self.marks_s:
            self.marks_s.pop()

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
        return math.hypot(self.u_lap_length_m / self.lap_length_m, self.u_interval_s / self.time_s)

    @property
    def laps_wanted(self) -> int | None:
        """Laps that will do at the speed so far; None where no number will, or none is known."""
        if not self.laps:
            return None
        return laps_needed(
            self.wanted_u_rel,
            self.speed_mps,
            self.lap_length_m,
            self.u_lap_length_m,
            self.u_interval_s,
        )

    @property
    def laps_left(self) -> int | None:
        wanted = self.laps_wanted
        return None if wanted is None else max(0, wanted - self.laps)

    @property
    def done(self) -> bool:
        return self.laps_left == 0

    def left_s(self, now_s: float) -> float | None:
        """Seconds from `now_s` until enough laps will have passed, at the speed so far."""
        wanted = self.laps_wanted
        if wanted is None:
            return None
        end_s = self.marks_s[0] + wanted * self.time_s / self.laps
        return max(0.0, end_s - now_s)

    def missed(self) -> list[int]:
        """Numbers of laps (from 1) that took about a whole number of others: a mark not pressed."""
        took = [b - a for a, b in zip(self.marks_s, self.marks_s[1:], strict=False)]
        if len(took) < 3:
            return []
        usual = sorted(took)[len(took) // 2]
        return [i + 1 for i, lap_s in enumerate(took) if lap_s > 1.6 * usual]

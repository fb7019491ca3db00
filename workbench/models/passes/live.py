"""The pass as the cab sees it while it is driven: three numbers, one sentence, one band word."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from workbench.base.units import UnitSystem, from_mps
from workbench.match.live import Snapshot
from workbench.match.live_seconds import State
from workbench.models.live import Stream
from workbench.models.passes.auto import STAND_MPS
from workbench.models.passes.job import PassJob
from workbench.models.passes.pace import PaceNow
from workbench.words.numbers import speed_number

MINUTES_FROM_S = 120.0
PULL, JUMP_M = 0.05, 1.0
"""Share of a difference taken out at each frame, and the difference from which it is a jump."""


class Health(StrEnum):
    """What may be read off a number."""

    LIVE = "live"
    LOST = "lost"
    MISSING = "none"


@dataclass(frozen=True, slots=True)
class Reading:
    """One of the cab's numbers. `note` names the source, or says how the difference lies."""

    text: str
    health: Health
    note: str


@dataclass(frozen=True, slots=True)
class Line:
    """The pass in a few words to be read at a glance, and the rest of the sentence."""

    headline: str
    rest: str = ""

    @property
    def sentence(self) -> str:
        return f"{self.headline}. {self.rest}".strip()


class Tapes:
    """How far belt and ground have come, for the pace strip, carried on smoothly.

    While a pass is driven the tapes are as far apart as its steady part has come apart;
    before it they stand in line until the digger moves.
    """

    def __init__(self) -> None:
        self._shift_m = self._apart_m = math.nan

    def look(self, job: PassJob) -> PaceNow:
        """Both at this moment; call it every frame."""
        pace, now = job.pace_now(), job.now
        apart_m = pace.belt_m - pace.ground_m
        if abs(apart_m - self._apart_m) > JUMP_M:  # inputs opened anew count from 0 again
            self._shift_m += apart_m - self._apart_m
        self._apart_m = apart_m
        if job.running and now is not None:
            wanted_m = apart_m - now.separation_m
            away_m = wanted_m - self._shift_m
            # The engine's separation comes a second late: it pulls gently, so that nothing jumps.
            if now.state is State.STEADY and abs(away_m) < JUMP_M:
                wanted_m = self._shift_m + PULL * away_m
            self._shift_m = wanted_m
        elif math.isnan(self._shift_m) or not abs(pace.ground_mps) > STAND_MPS:
            self._shift_m = apart_m
        return replace(pace, belt_m=pace.belt_m - self._shift_m)


def readings(job: PassJob, units: UnitSystem) -> tuple[Reading, Reading, Reading]:
    """Belt, ground and difference; what is lost says so instead of a number."""
    pace = job.pace_now()
    belt = _reading(job.belt, pace.belt_mps, pace.belt_lost, units)
    ground = _reading(job.ground, pace.ground_mps, pace.ground_lost, units)
    worst = next(
        (h for h in (Health.MISSING, Health.LOST) if h in (belt.health, ground.health)), None
    )
    if worst is not None:
        return belt, ground, Reading(worst.value, worst, "")
    apart = pace.belt_mps - pace.ground_mps
    text = _number(apart, units)
    signed = f"+{text}" if apart > 0 and float(text) > 0 else text
    note = _band(job, pace.belt_mps, pace.ground_mps)
    return belt, ground, Reading(signed, Health.LIVE, note)


def line(job: PassJob) -> Line:
    """Where the running pass stands."""
    now = job.now
    if now is None:
        return Line("Waiting for the first values")
    if now.lost:
        return _lost(job, now)
    quiet = {
        State.WAITING: Line("Waiting for the first values"),
        State.STOPPED: Line("The digger stands", "Standing is left out of the answer."),
        State.APPROACH: Line("Speeding up", "Judged once the speed is steady."),
        State.HEADLAND: Line("Slowing down or turning", "Left out until the speed is steady."),
    }
    if now.state in quiet:
        return quiet[now.state]
    if not math.isfinite(now.ratio):
        return Line("Steady", "The first seconds are being judged.")
    percent = 100 * (now.ratio - 1)
    way = "in step" if abs(percent) < 0.05 else "fast" if percent > 0 else "slow"
    size = "" if way == "in step" else f"{abs(percent):.1f} % "
    return Line(f"Belt is {size}{way} (± {100 * now.U_ratio:.1f} %)", _outlook(now))


def separation_counts(job: PassJob) -> bool:
    """Whether a steady part has begun: before it belt and ground are apart by nothing yet."""
    now = job.now
    return now is not None and (now.state is State.STEADY or math.isfinite(now.ratio))


def source_words(stream: Stream, now_s: float) -> str:
    """A source as a person chooses it: its name, and whether it is live."""
    what = "pulses" if stream.is_pulses else "speed"
    state = "lost" if stream.silent(now_s) else "live"
    return f"{stream.name} ({what}, {state})"


def _outlook(now: Snapshot) -> str:
    verdict = now.answer.verdict.value
    if verdict in ("pass", "fail"):
        return f"That is a {verdict}: stop when it suits."
    if not math.isfinite(now.more_s):
        return "More of the same would not settle it."
    if now.more_s > MINUTES_FROM_S:
        return f"{now.more_s / 60:.0f} min more would settle it."
    return f"{max(now.more_s, 1):.0f} s more would settle it."


def _lost(job: PassJob, now: Snapshot) -> Line:
    back = "The pass goes on once it is back."
    if now.lost == "belt":
        pulses = job.belt is not None and job.belt.is_pulses
        words = "The belt stands, or its pickup is lost." if pulses else back
        return Line("No belt pulses" if pulses else "Belt speed is lost", words)
    if now.lost == "ground":
        live = _another_ground(job, now.time_s)
        if live:
            back = f"{live} is still live: choose it before the next pass."
        return Line("Ground speed is lost", back)
    return Line("Belt and ground are lost", "The pass goes on once they are back.")


def _another_ground(job: PassJob, now_s: float) -> str:
    used = job.ground.name if job.ground else ""
    live = (one.name for one in job.pace.grounds() if one.name != used and not one.silent(now_s))
    return next(live, "")


def _reading(stream: Stream | None, speed_mps: float, lost: bool, units: UnitSystem) -> Reading:
    if stream is None:
        return Reading(Health.MISSING.value, Health.MISSING, "")
    if lost:
        return Reading(Health.LOST.value, Health.LOST, stream.name)
    return Reading(_number(speed_mps, units), Health.LIVE, stream.name)


def _number(speed_mps: float, units: UnitSystem) -> str:
    """Three figures: a fourth would not fit, and is not needed at a glance."""
    wide = abs(from_mps(speed_mps, units.speed)) >= 9.995
    return speed_number(speed_mps, units, 1 if wide else 2)


def _band(job: PassJob, belt_mps: float, ground_mps: float) -> str:
    if not ground_mps > STAND_MPS:
        return "standing"
    ratio = belt_mps / ground_mps
    if job.limits.low <= ratio <= job.limits.high:
        return "● in band"
    return "▲ belt fast" if ratio > job.limits.high else "▼ belt slow"

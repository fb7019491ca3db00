"""The pass as the cab sees it while it is driven: three numbers, one sentence, one band word."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import Enum, auto

from workbench.base.numbers import plain
from workbench.base.units import UnitSystem, from_mps
from workbench.calibration.statistics.decision import Verdict
from workbench.live.health import DoubtSays
from workbench.live.streams import Stream
from workbench.match.live import Snapshot
from workbench.match.live_seconds import LiveAnswer, TractorState
from workbench.match.ratio import BandSays
from workbench.models.pace import PaceNow, doubt_sentence, doubt_words
from workbench.models.passes.auto import STAND_MPS
from workbench.models.passes.job import PassJob
from workbench.words.language import N_, _
from workbench.words.words import Words

SIGNS = {BandSays.IN_BAND: "●", BandSays.BELT_FAST: "▲", BandSays.BELT_SLOW: "▼"}
"""What stands before the word, for who cannot tell the colours apart."""
MINUTES_FROM_S = 120.0
PULL, JUMP_M = 0.05, 1.0
"""Share of a difference taken out at each frame, and the difference from which it is a jump."""


class Health(Enum):
    """What may be read off a number."""

    LIVE = auto()
    DOUBTFUL = auto()
    LOST = auto()
    MISSING = auto()


@dataclass(frozen=True, slots=True)
class Reading:
    """One of the cab's numbers. `note` names the source, or says how the difference lies, which
    is also told by `band`, None where it cannot be said."""

    text: str
    health: Health
    note: str = ""
    band: BandSays | None = None


@dataclass(frozen=True, slots=True)
class Glance:
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
            if now.state is TractorState.STEADY and abs(away_m) < JUMP_M:
                wanted_m = self._shift_m + PULL * away_m
            self._shift_m = wanted_m
        elif math.isnan(self._shift_m) or not abs(pace.ground_mps) > STAND_MPS:
            self._shift_m = apart_m
        return replace(pace, belt_m=pace.belt_m - self._shift_m)


def readings(job: PassJob, units: UnitSystem) -> tuple[Reading, Reading, Reading]:
    """Belt, ground and difference; what is lost says so instead of a number."""
    pace = job.pace_now()
    belt = _reading(job.belt, pace.belt_mps, units, lost=pace.belt_lost, doubt=pace.belt_doubt)
    ground = _reading(
        job.ground, pace.ground_mps, units, lost=pace.ground_lost, doubt=pace.ground_doubt
    )
    for health in (Health.MISSING, Health.LOST):
        if health in (belt.health, ground.health):
            return belt, ground, Reading(_without_number(health), health)
    apart = pace.belt_mps - pace.ground_mps
    text = _number(apart, units, signed=True)
    if not pace.ground_mps > STAND_MPS:
        return belt, ground, Reading(text, Health.LIVE, _("standing"))
    if pace.doubtful:
        return belt, ground, Reading(text, Health.DOUBTFUL, _("▲ doubtful"))
    band = job.limits.band(pace.belt_mps / pace.ground_mps)
    return belt, ground, Reading(text, Health.LIVE, f"{SIGNS[band]} {Words().say(band)}", band)


def line(job: PassJob) -> Glance:
    """Where the running pass stands."""
    now = job.now
    if now is None:
        return Glance(_("Waiting for the first values"))
    if now.belt_lost or now.ground_lost:
        return _lost(job, now)
    quiet = {
        TractorState.WAITING: Glance(_("Waiting for the first values")),
        TractorState.STOPPED: Glance(
            _("The digger stands"), _("Standing is left out of the answer.")
        ),
        TractorState.APPROACH: Glance(_("Speeding up"), _("Judged once the speed is steady.")),
        TractorState.HEADLAND: Glance(
            _("Slowing down or turning"), _("Left out until the speed is steady.")
        ),
    }
    if now.state in quiet:
        return quiet[now.state]
    if not math.isfinite(now.standing.ratio):
        return Glance(_("Steady"), _("The first seconds are being judged."))
    doubt = doubt_sentence(job.pace_now())
    if doubt:
        return Glance(_("Doubtful: {said}").format(said=_standing(now.standing)), doubt)
    return Glance(_standing(now.standing), _outlook(now))


def _standing(now: LiveAnswer) -> str:
    away_rel, U_rel = now.ratio - 1, now.U_ratio
    if abs(away_rel) < 0.0005:
        return Words().fill(N_("Belt is in step (± {U_rel:percent1})"), {"U_rel": U_rel})
    return Words().fill(
        N_("Belt is {away_rel:percent1} fast (± {U_rel:percent1})")
        if away_rel > 0
        else N_("Belt is {away_rel:percent1} slow (± {U_rel:percent1})"),
        {"away_rel": abs(away_rel), "U_rel": U_rel},
    )


def separation_counts(job: PassJob) -> bool:
    """Whether a steady part has begun: before it belt and ground are apart by nothing yet."""
    now = job.now
    return now is not None and (
        now.state is TractorState.STEADY or math.isfinite(now.standing.ratio)
    )


def source_words(stream: Stream, now_s: float) -> str:
    """A source as a person chooses it: its name, and whether it is live or doubtful."""
    kind = _("pulses") if stream.is_pulses else _("speed")
    state = _("lost") if stream.silent(now_s) else _("live")
    if state == _("live") and stream.doubt is not None:
        state = doubt_words(stream.doubt)
    return f"{stream.name} ({kind}, {state})"


def _outlook(now: Snapshot) -> str:
    if now.standing.verdict is Verdict.PASS:
        return _("That is a pass: stop when it suits.")
    if now.standing.verdict is Verdict.FAIL:
        return _("That is a fail: stop when it suits.")
    if not math.isfinite(now.standing.more_s):
        return _("More of the same would not settle it.")
    if now.standing.more_s > MINUTES_FROM_S:
        return _("{minutes:.0f} min more would settle it.").format(minutes=now.standing.more_s / 60)
    return _("{seconds:.0f} s more would settle it.").format(seconds=max(now.standing.more_s, 1))


def _lost(job: PassJob, now: Snapshot) -> Glance:
    back = _("The pass goes on once it is back.")
    if now.belt_lost and now.ground_lost:
        return Glance(_("Belt and ground are lost"), _("The pass goes on once they are back."))
    if now.belt_lost:
        if job.belt is not None and job.belt.is_pulses:
            return Glance(_("No belt pulses"), _("The belt stands, or its pickup is lost."))
        return Glance(_("Belt speed is lost"), back)
    live = _another_ground(job, now.time_s)
    if live:
        said = _("{source} is still live: choose it before the next pass.")
        back = said.format(source=live)
    return Glance(_("Ground speed is lost"), back)


def _another_ground(job: PassJob, now_s: float) -> str:
    used = job.ground.name if job.ground else ""
    live = (one.name for one in job.pace.grounds() if one.name != used and not one.silent(now_s))
    return next(live, "")


def _reading(
    stream: Stream | None,
    speed_mps: float,
    units: UnitSystem,
    *,
    lost: bool,
    doubt: DoubtSays | None,
) -> Reading:
    if stream is None:
        return Reading(_without_number(Health.MISSING), Health.MISSING)
    if lost:
        return Reading(_without_number(Health.LOST), Health.LOST, stream.name)
    if doubt is not None:
        return Reading(_number(speed_mps, units), Health.DOUBTFUL, doubt_words(doubt))
    return Reading(_number(speed_mps, units), Health.LIVE, stream.name)


def _without_number(health: Health) -> str:
    return _("lost") if health is Health.LOST else _("none")


def _number(speed_mps: float, units: UnitSystem, *, signed: bool = False) -> str:
    """Three figures: a fourth would not fit, and is not needed at a glance."""
    shown = from_mps(speed_mps, units.speed)
    return plain(shown, 1 if abs(shown) >= 9.995 else 2, signed=signed)

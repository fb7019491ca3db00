"""How often the intervals of a pass hold the truth, and how often it says what is not so.

The passes come from the generator below, which shares no code with what judges them: a driver's
swings, a belt that follows them by a set ratio, and a receiver that is behind, noisy with or
without a memory, coarse, or away for a while. Truth is the ratio of the two distances over the
steady part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from drivers.contract import ChannelKind, Recording, SpeedTrack
from workbench.calibration.statistics.decision import Verdict
from workbench.jobs.passes.answer import PassAnswer, PassOptions
from workbench.jobs.passes.compute import compute
from workbench.match.live import LiveMatch
from workbench.match.ratio import PaceLimits

Floats = NDArray[np.float64]
TRIALS = 300
FINE_HZ = 50


@dataclass(frozen=True)
class Case:
    """One kind of pass. `memory_s` 0 is white noise; `claims` whether the receiver states its
    accuracy; `away` the share of the time it is away; `wander_rel` the belt's own, 4 s long."""

    for_s: float
    noise_mps: float = 0.04
    memory_s: float = 0.0
    rate_hz: float = 10.0
    claims: bool = False
    away: float = 0.0
    wander_rel: float = 0.0
    swing_rel: float = 0.02
    ratio: float = 0.985
    change_rel: float = 0.0
    speed_mps: float = 1.25


WHITE = {
    "white 10 Hz, 25 s": Case(25),
    "white 10 Hz, 60 s": Case(60),
    "white 5 Hz, 60 s": Case(60, rate_hz=5),
    "white 1 Hz, 60 s": Case(60, rate_hz=1),
    "white 10 Hz, 180 s": Case(180),
}
MEMORY = {
    "memory 1 s, 25 s": Case(25, memory_s=1),
    "memory 2 s, 25 s": Case(25, memory_s=2),
    "memory 3 s, 25 s": Case(25, memory_s=3),
    "memory 1 s, 60 s": Case(60, memory_s=1),
    "memory 3 s, 60 s": Case(60, memory_s=3),
    "memory 3 s, noise 0.10, 25 s": Case(25, noise_mps=0.10, memory_s=3),
    "memory 2 s, 1 Hz, 60 s": Case(60, memory_s=2, rate_hz=1),
    "memory 3 s, 180 s": Case(180, memory_s=3),
}
CLAIMS = {
    "white, accuracy claimed, 60 s": Case(60, claims=True),
    "memory 2 s, accuracy claimed, 60 s": Case(60, memory_s=2, claims=True),
}
AWAY = {
    "away 30 %, 90 s": Case(90, away=0.3),
    "away 30 %, memory 2 s, 90 s": Case(90, away=0.3, memory_s=2),
}
WANDER = {"belt wanders 0.7 %, 60 s": Case(60, wander_rel=0.007)}
CASES = {**WHITE, **MEMORY, **CLAIMS, **AWAY, **WANDER}


@dataclass(frozen=True)
class Driven:
    """A pass as it was recorded, and what was true: time, belt and ground in m and the ratio
    that was set, finely."""

    recording: Recording
    time_s: Floats
    belt_m: Floats
    ground_m: Floats

    def at(self, which: Floats, from_s: float, to_s: float) -> float:
        return float(np.diff(np.interp([from_s, to_s], self.time_s, which))[0])

    def ratio(self, from_s: float, to_s: float) -> float:
        return self.at(self.belt_m, from_s, to_s) / self.at(self.ground_m, from_s, to_s)


def hanging(rng: np.random.Generator, count: int, step_s: float, memory_s: float) -> Floats:
    """(count,) unit noise whose autocorrelation falls as exp(−t ÷ memory_s); white for 0."""
    drawn = rng.normal(0, 1, count)
    if memory_s <= 0:
        return drawn
    kept = math.exp(-step_s / memory_s)
    fresh = math.sqrt(1 - kept**2)
    for at in range(1, count):
        drawn[at] = kept * drawn[at - 1] + fresh * drawn[at]
    return drawn


def drive(case: Case, seed: int, lag_s: float = 0.3) -> Driven:
    """One pass of a case."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(-5, case.for_s + 5, 1 / FINE_HZ)
    swing = sum(
        math.sqrt(2 / 3) * np.sin(2 * math.pi * (time_s / rng.uniform(6, 30) + rng.uniform()))
        for _ in range(3)
    )
    ground = case.speed_mps * (1 + case.swing_rel * swing)
    own = case.wander_rel * hanging(rng, time_s.size, 1 / FINE_HZ, 4.0)
    away_from_s = case.for_s * rng.uniform(0.2, 0.8 - case.away)
    away_to_s = away_from_s + case.away * case.for_s
    changed = case.change_rel * (time_s > case.for_s * rng.uniform(0.3, 0.7))
    belt = case.ratio * ground * (1 + own + changed)
    at_s = np.arange(0, case.for_s, 1 / case.rate_hz) + rng.uniform(0, 1 / case.rate_hz)
    noise = case.noise_mps * hanging(rng, at_s.size, 1 / case.rate_hz, case.memory_s)
    read = np.interp(at_s - lag_s, time_s, ground) + noise
    read[(at_s >= away_from_s) & (at_s < away_to_s)] = math.nan
    claimed = np.full(at_s.size, case.noise_mps if case.claims else math.nan)
    belt_s = np.arange(0, case.for_s, 0.1)
    belt_read = np.interp(belt_s, time_s, belt) + rng.normal(0, 0.004, belt_s.size)
    speeds = {
        "belt": SpeedTrack(
            "belt", "", belt_s, belt_read, np.full(belt_s.size, math.nan), kind=ChannelKind.BELT
        ),
        "gnss": SpeedTrack("gnss", "", at_s, read, claimed, kind=ChannelKind.SATELLITE),
    }
    far = [np.concatenate(([0.0], np.cumsum(one[:-1]))) / FINE_HZ for one in (belt, ground)]
    return Driven(Recording("pass", "made up", speeds=speeds), time_s, *far)


@dataclass
class Tally:
    """What came of the trials of a case."""

    held: dict[str, list[bool]] = field(default_factory=dict)
    sizes: dict[str, list[float]] = field(default_factory=dict)

    def note(self, name: str, held: bool) -> None:
        self.held.setdefault(name, []).append(held)

    def share(self, name: str) -> float:
        return 100 * float(np.mean(self.held[name])) if name in self.held else math.nan

    def median(self, name: str) -> float:
        return float(np.median(self.sizes[name])) if name in self.sizes else math.nan


def tally(case: Case, seeds: range) -> Tally:
    """Judge a pass a seed."""
    found = Tally()
    for seed in seeds:
        driven = drive(case, seed)
        look(found, driven, compute(driven.recording, None, PassOptions()))
    return found


def look(found: Tally, driven: Driven, answer: PassAnswer) -> None:
    """Hold one answer against the truth."""
    if not math.isfinite(answer.ratio):
        found.note("none", True)
        return
    counts = answer.segments
    from_s, to_s = counts[0].from_s, counts[-1].to_s
    true = driven.ratio(from_s, to_s)
    found.sizes.setdefault("U", []).append(answer.U_ratio)
    found.note("ratio", abs(answer.ratio - true) <= answer.U_ratio)
    for part in counts:
        part_true = driven.ratio(part.from_s, part.to_s)
        found.note("segments", abs(part.ratio - part_true) <= 2 * part.u_ratio)
    found.note("drift", abs(answer.drift_per_hour) <= 2 * answer.u_drift_per_hour)
    found.note("trend", answer.trend_per_hour_low <= 0 <= answer.trend_per_hour_high)
    apart = driven.at(driven.belt_m, from_s, to_s) - driven.at(driven.ground_m, from_s, to_s)
    found.note("separation", abs(answer.separation_m - apart) <= 2 * answer.u_separation_m)
    found.note("changed", bool(answer.change_points))
    found.note("cusum", math.isfinite(answer.cusum_alarm_s))
    if math.isfinite(answer.lag_s):
        found.note("lag", abs(answer.lag_s - 0.3) <= 2 * answer.u_lag_s)


HELD = ("ratio", "segments", "drift", "trend", "separation", "lag")
FALSE = ("changed", "cusum")


def line(name: str, found: Tally) -> str:
    held = " ".join(f"{found.share(one):6.1f}" for one in (*HELD, *FALSE))
    return f"{name:42} {found.median('U'):8.4f} {held}"


def heading(trials: int) -> str:
    error = 100 * math.sqrt(0.95 * 0.05 / trials)
    names = " ".join(f"{one[:6]:>6}" for one in (*HELD, *FALSE))
    return (
        f"\nper cent held; {trials} trials a case, standard error {error:.1f} at 95\n"
        f"{'':42} {'median U':>8} {names}"
    )


def false_accept(case: Case, seeds: range, limit: float = 0.95) -> float:
    """Per cent of passes with the ratio exactly at the lower limit that pass."""
    at_limit = replace(case, ratio=limit)
    said = [compute(drive(at_limit, seed).recording, None, PassOptions()).verdict for seed in seeds]
    return 100 * float(np.mean([one is Verdict.PASS for one in said]))


def live_wrong(case: Case, seeds: range, ratio: float) -> tuple[float, float]:
    """Per cent of driven passes that were told pass, and fail, at any of their seconds."""
    told = []
    for seed in seeds:
        driven = drive(replace(case, ratio=ratio), seed)
        belt, ground = (driven.recording.speeds[name] for name in ("belt", "gnss"))
        live, verdicts = LiveMatch(PaceLimits(0.95, 1.05)), set()
        for second in range(1, int(case.for_s) + 1):
            for one, add in ((belt, live.add_belt), (ground, live.add_ground)):
                new = (one.time_s >= second - 1) & (one.time_s < second)
                add(one.time_s[new], one.speed_mps[new], float(second), one.u_mps[new])
            verdicts.add(live.snapshot(float(second)).standing.verdict)
        told.append([Verdict.PASS in verdicts, Verdict.FAIL in verdicts])
    shares = 100 * np.mean(np.array(told, dtype=float), axis=0)
    return float(shares[0]), float(shares[1])


def test_the_intervals_of_a_pass_hold_the_truth():
    """93 to 98 % of the ratios wanted; what lies outside is seen in the table."""
    print(heading(TRIALS))
    error = 100 * math.sqrt(0.95 * 0.05 / TRIALS)
    for name, case in CASES.items():
        found = tally(case, range(5000, 5000 + TRIALS))
        print(line(name, found), flush=True)
        for what in ("ratio", "separation"):
            assert 93 - 2 * error <= found.share(what) <= 99.5, (name, what)
        assert found.share("changed") <= 3 + 2 * math.sqrt(3 * 97 / TRIALS), name


def test_a_ratio_at_the_limit_seldom_passes():
    print()
    for name in ("white 10 Hz, 60 s", "memory 2 s, 25 s", "memory 3 s, 60 s"):
        accepted = false_accept(CASES[name], range(9000, 9000 + TRIALS))
        print(f"{name:42} passes at the limit {accepted:.1f} % (at most 2.5)")
        assert accepted <= 2.5 + 2 * math.sqrt(2.5 * 97.5 / TRIALS)


def test_the_answer_while_driving_is_seldom_wrong():
    """Both verdicts at the limit, at any of 120 looks: 5 % in all wanted."""
    print()
    for memory_s in (0.0, 1.0, 3.0):
        passed, failed = live_wrong(Case(120, memory_s=memory_s), range(7000, 7200), 0.95)
        print(f"memory {memory_s:g} s: pass {passed:.1f} %, fail {failed:.1f} % of 200")
        assert passed + failed <= 5 + 2 * math.sqrt(5 * 95 / 200)

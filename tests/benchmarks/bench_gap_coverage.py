"""How often the stated gaps hold the true ones where a wheel is no circle and a hand no gauge.

A wheel of this file alone: its centre off its axis, itself oval, each tooth off by its own form.
Read is with blades of 0.05 mm steps, by a hand that scatters. Truth is the gap at every tooth, read
or not. The seeds were set before anything ran.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from workbench.base.machine import Pickup
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.table import GapReadings
from workbench.calibration.statistics.decision import Verdict

SEEDS = (11, 12, 13, 14)
NAMES = ("gap", "runout", "widest", "closest")


@dataclass(frozen=True)
class World:
    """A wheel and who reads it, mm."""

    places: int = 8
    repeats: int = 2
    hand: float = 0.03
    form: float = 0.0
    oval: float = 0.0
    teeth: int = 24
    swing: tuple[float, float] = (0.05, 0.4)
    step: float = 0.05
    blade: float = 0.0

    def drawn(self, rng):
        """(angles (n,), readings (n,) mm, the true gap of every tooth (teeth,) mm)."""
        at = 2 * math.pi * np.arange(self.teeth) / self.teeth
        e, turn, turn2 = rng.uniform(*self.swing), *rng.uniform(0, 2 * math.pi, 2)
        true = rng.uniform(1.2, 2.4) + e * np.cos(at - turn) + self.oval * np.cos(2 * (at - turn2))
        true = true + rng.normal(0, self.form, self.teeth)
        read = np.repeat(np.arange(self.places) * self.teeth // self.places, self.repeats)
        seen = true[read] + rng.normal(0, self.hand, read.size) + rng.uniform(-1, 1) * self.blade
        return np.degrees(at[read]), np.round(seen / self.step) * self.step, true


def judged(angle, seen_mm, limit_mm=3.2):
    line = np.zeros(angle.size, dtype=np.int64)
    return feeler_gap(
        GapReadings("left", angle, seen_mm / 1000, line), Pickup(gap_max_m=limit_mm / 1000)
    )


def trial(world, rng):
    """(4,) errors over U and (4,) U in mm of mean, run-out, widest and closest."""
    angle, seen, true = world.drawn(rng)
    gap = judged(angle, seen)
    truth = (true.mean(), np.ptp(true), true.max(), true.min())
    U = np.array([getattr(gap, f"U_{name}_m") for name in NAMES]) * 1000
    error = np.array([getattr(gap, f"{name}_m") for name in NAMES]) * 1000 - truth
    return error / U, U


def study(world, trials, seeds=SEEDS):
    """((4,) coverage, (4,) median U in mm)."""
    rows = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        rows += [trial(world, rng) for _ in range(trials // len(seeds))]
    error, width = (np.array(part) for part in zip(*rows, strict=True))
    return np.mean(np.abs(error) <= 1, axis=0), np.median(width, axis=0)


def accepted(world, trials, seed=21):
    """Share of wheels whose widest tooth lies exactly at the limit and that pass."""
    rng, passes = np.random.default_rng(seed), 0
    for _ in range(trials):
        angle, seen, true = world.drawn(rng)
        shift = 3.2 - true.max()
        again = np.round((seen + shift) / world.step) * world.step
        passes += judged(angle, again).verdict is Verdict.PASS
    return passes / trials


EASY = {
    "4 places x 2": World(places=4),
    "6 places x 2, hand 0.06": World(places=6, hand=0.06),
    "8 places x 1": World(repeats=1),
    "8 places x 2": World(),
    "12 places x 2": World(places=12),
}
HARD = {
    "form 0.05, 8 x 1": World(repeats=1, form=0.05),
    "form 0.05, 8 x 2": World(form=0.05),
    "form 0.05, 8 x 3": World(form=0.05, repeats=3),
    "form 0.05, 12 x 2": World(places=12, form=0.05),
    "form 0.05, 24 x 1": World(places=24, form=0.05, repeats=1),
    "form 0.05, 24 x 2": World(places=24, form=0.05),
    "form 0.10, 8 x 2": World(form=0.10),
    "form 0.05, 6 x 2": World(form=0.05, places=6),
    "oval 0.1, 8 x 1": World(oval=0.1, repeats=1),
    "oval 0.1, 8 x 2": World(oval=0.1),
    "oval 0.1, 12 x 2": World(oval=0.1, places=12),
    "oval 0.2, 8 x 2": World(oval=0.2),
    "hand 0.1, 6 x 1": World(hand=0.1, repeats=1, places=6),
    "hand 0.1, 8 x 1": World(hand=0.1, repeats=1),
    "hand 0.1, 8 x 2": World(hand=0.1),
    "hand 0.1, 8 x 3": World(hand=0.1, repeats=3),
    "blade 0.025, 8 x 2": World(blade=0.025),
}

TRIALS = 400
NAMED = {
    "form 0.05, 8 x 1": 0.90,  # nothing repeated: form and the hand's scatter look alike
    "form 0.05, 24 x 1": 0.85,  # the same
    "form 0.05, 8 x 2": 0.84,  # form that five residuals did not show
    "form 0.05, 8 x 3": 0.85,  # the same
    "form 0.05, 12 x 2": 0.90,  # the same
    "form 0.10, 8 x 2": 0.89,  # the same
    "form 0.05, 6 x 2": 0.70,  # fewer than eight places tell form only where it is large
    "hand 0.1, 6 x 1": 0.89,  # three residuals tell the hand's scatter
}
"""Cases in which not all four hold 93 %, why, and what the worst of them holds (the run-out, most
times). Those above 98 % have the blades' step in them, or single readings that may be either."""
MOST_ACCEPTED = 0.025
"""Wheels exactly at their limit that pass plainly, at most (ILAC-G8, from memory)."""


def test_the_stated_gaps_hold_the_wheel(capsys):
    with capsys.disabled():
        print(f"\n% held of {TRIALS} (standard error 1.1), median U in mm, % passed at the limit")
        for name, world in {**EASY, **HARD}.items():
            held, width = study(world, TRIALS)
            passed = accepted(world, TRIALS)
            shares = " ".join(f"{100 * share:5.1f}" for share in held)
            widths = " ".join(f"{one:.3f}" for one in width)
            print(f"{name:26} {shares}   {widths}   {100 * passed:4.1f}", flush=True)
            assert held.min() >= NAMED.get(name, 0.93) - 0.025, name
            assert passed <= MOST_ACCEPTED + 3 * math.sqrt(MOST_ACCEPTED / TRIALS), name

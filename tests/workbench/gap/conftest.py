"""A small pulse generator of our own, apart from the simulator: wheels with a known truth."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Wheel:
    """A wheel, its belt's wander, its pickup's noise; shares of a pitch, of the radius."""

    teeth: int = 24
    turns: int = 60
    turn_hz: float = 3.0
    spacing: float = 0.006  # 1 sigma, of a pitch
    runout: float = 0.002  # e/r
    jitter_s: float = 20e-6
    wander: float = 0.005  # of the speed, 1 sigma
    wander_s: float = 1.0
    drift: float = 0.03  # of the speed, from the first to the last turn
    bent: dict[int, float] = field(default_factory=dict)  # tooth (from 0) -> shift, of a pitch
    missing: tuple[int, ...] = ()
    weak: dict[int, float] = field(default_factory=dict)  # tooth -> share of turns not seen
    play: float = 0.0  # of the radius, 1 sigma in each direction, new each turn
    bounce: float = 0.0  # share of teeth that trigger twice
    bounce_s: float = 0.0008  # mean delay of the second edge
    second_at: float = 0.0  # where the second edge stands, of a pitch; 0: by bounce_s
    hum_hz: float = 0.0
    sparks_hz: float = 0.0  # within bursts of 0.25 s, one a second
    hum_shift_s: float = 0.0  # hum that moves the edges instead of making new ones

    def __call__(self, rng: np.random.Generator) -> Floats:
        """Rising edges, ascending seconds; the first is tooth 0 where it is there."""
        index = np.arange(self.teeth * self.turns)
        tooth, turn = index % self.teeth, index // self.teeth
        theta = 2 * np.pi * tooth / self.teeth
        pitch = 2 * np.pi / self.teeth
        offset = rng.normal(0, self.spacing, self.teeth)[tooth]
        offset += self.runout / pitch * np.cos(theta - rng.uniform(0, 2 * np.pi))
        centre = rng.normal(0, self.play, (self.turns, 2))[turn]
        offset += (centre[:, 0] * np.cos(theta) + centre[:, 1] * np.sin(theta)) / pitch
        for which, shift in self.bent.items():
            offset[tooth == which] += shift
        time_s = self._reached_s(index + offset, rng) + rng.normal(0, self.jitter_s, index.size)
        if self.hum_shift_s:
            phase = rng.uniform(0, 2 * np.pi)
            time_s += self.hum_shift_s * np.sin(2 * np.pi * 50.0 * time_s + phase)
        gone = np.isin(tooth, self.missing)
        for which, share in self.weak.items():
            gone |= (tooth == which) & (rng.random(index.size) < share)
        time_s = time_s[~gone]
        return np.sort(np.concatenate([time_s, *self._extras(time_s, rng)]))

    def _reached_s(self, pitches: Floats, rng: np.random.Generator) -> Floats:
        """When the belt has moved so many pitches: a first-order wander about a slow drift."""
        step_s = 1 / (self.turn_hz * 8)
        steps = int(self.turns * 8 * 1.3) + 50
        keep = np.exp(-step_s / self.wander_s)
        noise = rng.normal(0, self.wander * np.sqrt(1 - keep**2), steps)
        noise[0] = rng.normal(0, self.wander)
        wander = lfilter([1.0], [1.0, -keep], noise)
        rate = self.turn_hz * self.teeth * (1 + wander + self.drift * np.arange(steps) / steps)
        reached = np.concatenate(
            [[-2.0 * self.teeth], -2.0 * self.teeth + np.cumsum(rate) * step_s]
        )
        return np.interp(pitches, reached, np.arange(steps + 1) * step_s)

    def _extras(self, time_s: Floats, rng: np.random.Generator) -> list[Floats]:
        extras = []
        if self.bounce:
            twice = time_s[rng.random(time_s.size) < self.bounce]
            if self.second_at:
                delay = self.second_at / (self.turn_hz * self.teeth)
                extras.append(twice + delay * rng.normal(1, 0.01, twice.size))
            else:
                extras.append(twice + rng.exponential(self.bounce_s, twice.size))
        first_s, last_s = time_s[0], time_s[-1]
        if self.hum_hz:
            extras.append(np.arange(first_s + rng.random() / self.hum_hz, last_s, 1 / self.hum_hz))
        if self.sparks_hz:
            starts = np.arange(first_s, last_s - 0.8, 1.0)
            starts += rng.uniform(0, 0.5, starts.size)
            burst = np.arange(int(0.25 * self.sparks_hz)) / self.sparks_hz
            extras.append((starts[:, None] + burst + rng.normal(0, 2e-4, burst.size)).ravel())
        return extras


@pytest.fixture(scope="session")
def wheel() -> Callable[..., Wheel]:
    """`wheel(teeth=24, bent={6: 0.08})(rng)`: the edges of one such wheel."""
    return Wheel

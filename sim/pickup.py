"""The target wheel and the pickup that faces it: from a turning shaft to edges in time.

Angles of the target wheel are in turns. Tooth k of Z begins at (k + offset_k)/Z of a turn
and ends one pitch on; its middle faces the pickup half a pitch after its beginning.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drivers.contract import Floats
from sim import spec
from sim.streams import stream

REFERENCE_GAP_M = 0.0016
"""Gap at which `spec.PickupPlan.volts_per_mps` holds."""


@dataclass(frozen=True, slots=True, eq=False)
class TargetWheel:
    """One seed's wheel, by tooth counted from the mark: (Z,) arrays.

    `offset_rel` in tooth pitches, `gap_m` to the pickup, `present` False where the tooth
    is missing.
    """

    offset_rel: Floats
    gap_m: Floats
    present: NDArray[np.bool_]
    pitch_m: float
    radius_m: float

    @property
    def teeth(self) -> int:
        return self.offset_rel.size


def make_wheel(pickup: spec.PickupPlan, teeth: int, rng: np.random.Generator) -> TargetWheel:
    """Draw the spacing error and the run-out's direction.

    A wheel whose tip circle lies `e` off its axis shifts tooth k by (e/r)·sin of its
    angle and changes its gap by −e·cos (first order in e/r).
    """
    radius_m = pickup.tip_radius_m
    pitch_m = 2 * math.pi * radius_m / teeth
    spacing = rng.standard_normal(teeth) * pickup.spacing_rel
    angle = 2 * math.pi * (np.arange(teeth) / teeth + rng.random())
    offset_rel = spacing - spacing.mean() + pickup.runout_m / pitch_m * np.sin(angle)
    gap_m = pickup.gap_m - pickup.runout_m * np.cos(angle)
    present = np.ones(teeth, dtype=np.bool_)
    if pickup.bent_tooth:
        offset_rel[pickup.bent_tooth - 1] += pickup.bent_shift_rel
        gap_m[pickup.bent_tooth - 1] += pickup.bent_gap_m
    if pickup.worn_tooth:
        gap_m[pickup.worn_tooth - 1] += pickup.worn_gap_m
    if pickup.missing_tooth:
        present[pickup.missing_tooth - 1] = False
    return TargetWheel(offset_rel, np.maximum(gap_m, 1e-5), present, pitch_m, radius_m)


def decay_m(pickup: spec.PickupPlan, pitch_m: float) -> float:
    """The e-folding length of the gap: given, or λ/2π by Wallace's law (BSTJ 30(4) 1951)."""
    return pickup.decay_m or pitch_m / (2 * math.pi)


def reluctance_amplitude_v(
    surface_mps: Floats, gap_m: Floats, volts_per_mps: float, decay_length_m: float
) -> Floats:
    """Peak voltage of a variable-reluctance pickup: ∝ surface speed × exp(−gap/decay)."""
    return volts_per_mps * surface_mps * np.exp((REFERENCE_GAP_M - gap_m) / decay_length_m)


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Edges of one channel in true time, ascending; `tooth` −1 where no tooth made it.

    `fall_s` and `peak_v` are NaN where there is none.
    """

    rise_s: Floats
    fall_s: Floats
    peak_v: Floats
    tooth: NDArray[np.int64]

    def __getitem__(self, where: slice | NDArray[np.bool_] | NDArray[np.intp]) -> Edges:
        return Edges(self.rise_s[where], self.fall_s[where], self.peak_v[where], self.tooth[where])


def join(parts: list[Edges]) -> Edges:
    """Edges of several parts in order of time."""
    if len(parts) == 1:
        return parts[0]
    rise, fall, peak = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("rise_s", "fall_s", "peak_v")
    )
    tooth = np.concatenate([part.tooth for part in parts])
    return Edges(rise, fall, peak, tooth)[np.argsort(rise, kind="stable")]


NO_EDGES = Edges(np.empty(0), np.empty(0), np.empty(0), np.empty(0, dtype=np.int64))


@dataclass(frozen=True, slots=True, eq=False)
class Passing:
    """Teeth that have gone by whole, each with its beginning and the speed there.

    `wheel_turns` is the running angle of the beginning as it lies on an ideal wheel.
    """

    tooth: NDArray[np.int64]
    turn: NDArray[np.int64]
    start_turns: Floats
    turns_per_s: Floats


class RunningPickup:
    """One pickup, continued from call to call; every tooth costs the same draws.

    `start_turns` is where its wheel stands when the run begins, tooth 1 at 0.
    """

    def __init__(
        self, plan: spec.PickupPlan, teeth: int, seed: int, channel: str, start_turns: float = 0.0
    ) -> None:
        self.plan = plan
        self.wheel = make_wheel(plan, teeth, stream(seed, f"{channel}.wheel"))
        self._rng = stream(seed, f"{channel}.teeth")
        self._play_rng = stream(seed, f"{channel}.play")
        self._play_turn, self._place = 0, np.zeros((1, 2))
        self.start_turns = start_turns
        self._next_tooth = math.ceil(self.start_turns * teeth) + 1

    def sense(self, time_s: Floats, turns: Floats) -> tuple[Edges, Edges]:
        """(edges, lost teeth) of all teeth that have gone by at the end of `turns`.

        `time_s` evenly spaced, `turns` (same shape) the target wheel's angle since the
        run began, reaching back at least two pitches before what was sensed last.
        """
        turns = turns + self.start_turns
        passing = self._passing(time_s, turns)
        if not passing.tooth.size:
            return NO_EDGES, NO_EDGES
        sensed = self._reluctance if self.plan.kind == "variable-reluctance" else self._field
        seen, rise, fall, peak = sensed(passing)
        rise_s = np.interp(passing.start_turns + rise / self.wheel.teeth, turns, time_s)
        fall_s = np.interp(passing.start_turns + fall / self.wheel.teeth, turns, time_s)
        edges = Edges(rise_s, np.maximum(fall_s, rise_s + 2e-6), peak, passing.tooth)
        present = self.wheel.present[passing.tooth]
        return edges[seen & present], edges[~seen & present]

    def _passing(self, time_s: Floats, turns: Floats) -> Passing:
        teeth = self.wheel.teeth
        last = math.floor((turns[-1]) * teeth) - 2  # the pitch after it is past as well
        numbers = np.arange(self._next_tooth, max(last + 1, self._next_tooth), dtype=np.int64)
        self._next_tooth = max(last + 1, self._next_tooth)
        turn, tooth = np.divmod(numbers, teeth)
        offset = self.wheel.offset_rel[tooth]
        if self.plan.play_m > 0:
            offset = offset + self._play_shift_rel(turn, tooth)
        start = (numbers + offset) / teeth
        at_s = np.interp(start, turns, time_s)
        step_s = (time_s[-1] - time_s[0]) / (time_s.size - 1)
        node = np.clip(((at_s - time_s[0]) / step_s).astype(np.intp), 0, time_s.size - 2)
        speed = (turns[node + 1] - turns[node]) / step_s
        return Passing(tooth, turn, start, speed)

    def _play_shift_rel(self, turn: NDArray[np.int64], tooth: NDArray[np.int64]) -> Floats:
        """Shift in pitches where the shaft lies elsewhere in its bearing at each turn."""
        if not turn.size:
            return np.empty(0)
        turns = int(turn[-1]) - self._play_turn
        fresh = self._play_rng.standard_normal((turns, 2)) * (self.plan.play_m / self.wheel.pitch_m)
        places = np.concatenate((self._place, fresh))
        place = places[turn - self._play_turn]
        self._play_turn, self._place = int(turn[-1]), places[-1:]
        angle = 2 * np.pi * tooth / self.wheel.teeth
        return np.asarray(place[:, 0] * np.sin(angle) + place[:, 1] * np.cos(angle))

    def _reluctance(self, passing: Passing) -> tuple[NDArray[np.bool_], Floats, Floats, Floats]:
        """(seen, rise, fall in pitches after the tooth's beginning, peak voltage).

        The voltage is one sine a tooth that begins at 0. The comparator turns on where it
        climbs over the threshold and off where it falls below threshold − hysteresis.
        """
        plan, wheel = self.plan, self.wheel
        surface_mps = 2 * np.pi * wheel.radius_m * passing.turns_per_s
        amplitude = reluctance_amplitude_v(
            surface_mps,
            wheel.gap_m[passing.tooth],
            plan.volts_per_mps,
            decay_m(plan, wheel.pitch_m),
        )
        noise = self._rng.standard_normal((passing.tooth.size, 2)) * plan.noise_v
        peak = np.maximum(amplitude + noise[:, 0], 1e-9)
        seen = peak > plan.threshold_v
        on = np.arcsin(np.minimum(plan.threshold_v / peak, 1.0))
        off = np.arcsin(np.clip((plan.threshold_v - plan.hysteresis_v) / peak, -1.0, 1.0))
        # Noise moves the crossing by noise ÷ slope; near the peak there is hardly a slope.
        jitter = noise[:, 1] / (peak * np.maximum(np.cos(on), 0.3))
        return seen, (on + jitter) / (2 * np.pi), (np.pi - off) / (2 * np.pi), peak

    def _field(self, passing: Passing) -> tuple[NDArray[np.bool_], Floats, Floats, Floats]:
        """The same for a Hall or inductive pickup, which works to standstill.

        The field is exp(−gap/decay)·(1 + cos φ)/2, φ counted from the tooth's middle; it
        operates above one level and releases below another. An inductive one cannot
        follow teeth faster than its switching rate.
        """
        plan, wheel = self.plan, self.wheel
        weaker = np.exp(wheel.gap_m[passing.tooth] / decay_m(plan, wheel.pitch_m))
        noise = self._rng.standard_normal((passing.tooth.size, 2))
        on_cos = 2 * plan.operate_rel * weaker - 1
        seen = on_cos < 1
        if plan.kind == "inductive":
            seen &= passing.turns_per_s * wheel.teeth < plan.most_hz * (1 + 0.01 * noise[:, 1])
        on = np.arccos(np.minimum(on_cos, 1.0)) / (2 * np.pi)
        off = np.arccos(np.clip(2 * plan.release_rel * weaker - 1, -1.0, 1.0)) / (2 * np.pi)
        jitter = noise[:, 0] * plan.angle_noise_rel
        return seen, 0.5 - on + jitter, 0.5 + off, np.full(seen.size, np.nan)

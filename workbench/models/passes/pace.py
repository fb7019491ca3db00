"""Belt and ground distance at this very moment, for the pace strip.

Between two values a distance goes on at the last speed, for as long as values usually
take to come; once a signal counts as lost it stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.match.sources import UNNAMED, kind_of
from workbench.models.bench import Bench
from workbench.models.live import NO_BELT, Stream

GROUND_FIRST = ("radar", "gnss", "nav-pvt", "rmc", "vtg", "65097", "129026", "wheel", "65096")
"""Ground sources in the order they are trusted without being asked."""


@dataclass(frozen=True, slots=True)
class PaceNow:
    """Distances since the inputs were opened, in metres, and speeds now."""

    belt_m: float
    ground_m: float
    belt_mps: float
    ground_mps: float
    belt_lost: bool
    ground_lost: bool


class PaceModel:
    """Chooses the belt's and the ground's stream, and carries them on between values."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def belts(self) -> list[Stream]:
        """Streams that may tell the belt's speed: pickups, and speeds not known as the ground's."""
        streams = self._bench.live.streams.values()
        pulses = [one for one in streams if one.is_pulses and one.name not in NO_BELT]
        speeds = [one for one in streams if not one.is_pulses and kind_of(one.name) is UNNAMED]
        return pulses + sorted(speeds, key=lambda one: one.name != "belt")

    def grounds(self) -> list[Stream]:
        """Streams that may tell the ground's speed, the most trusted first."""
        streams = self._bench.live.streams.values()
        taken = ("belt", self._bench.belt_source)
        speeds = [one for one in streams if not one.is_pulses and one.name not in taken]
        return sorted(speeds, key=_rank)

    def belt(self) -> Stream | None:
        """The stream that tells the belt's speed: the chosen one, or the first there is."""
        belts = {one.name: one for one in self.belts()}
        chosen = belts.get(self._bench.belt_source)
        if chosen is not None:
            return chosen
        known = [one for one in belts.values() if one.is_pulses or one.name == "belt"]
        return known[0] if known else None

    def ground(self) -> Stream | None:
        """The chosen stream of the ground's speed, or the most trusted that is not lost."""
        now_s = self._bench.clock()
        speeds = self.grounds()
        chosen = [one for one in speeds if one.name == self._bench.ground_source]
        live = [one for one in speeds if not one.silent(now_s)]
        return next(iter(chosen or live or speeds), None)

    def now(self) -> PaceNow:
        """Both, carried on to this moment."""
        return self.of(self.belt(), self.ground())

    def of(self, belt: Stream | None, ground: Stream | None) -> PaceNow:
        """These two, carried on to this moment."""
        now_s = self._bench.clock()
        belt_m, belt_mps, belt_lost = _carried(belt, now_s)
        ground_m, ground_mps, ground_lost = _carried(ground, now_s)
        return PaceNow(belt_m, ground_m, belt_mps, ground_mps, belt_lost, ground_lost)


def _rank(stream: Stream) -> int:
    name = stream.name.split("/")[0]
    return GROUND_FIRST.index(name) if name in GROUND_FIRST else len(GROUND_FIRST)


def _carried(stream: Stream | None, now_s: float) -> tuple[float, float, bool]:
    if stream is None or stream.silent(now_s) or not math.isfinite(stream.speed_mps):
        return (stream.distance_m if stream else 0.0), math.nan, True
    on_s = min(max(stream.age_s(now_s), 0.0), 2 * stream.pause_s)
    return stream.distance_m + on_s * stream.speed_mps, stream.speed_mps, False

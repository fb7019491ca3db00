"""Belt and ground distance at this very moment, for the pace strip.

Between two values a distance goes on at the last speed, for as long as values usually
take to come; once a signal counts as lost it stands.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from workbench.models.bench import Bench
from workbench.models.live import Stream

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

    def belt(self) -> Stream | None:
        """The stream that tells the belt's speed."""
        pulses = [s for s in self._bench.live.streams.values() if s.is_pulses and s.name != "lap"]
        return pulses[0] if pulses else self._bench.live.streams.get("belt")

    def ground(self) -> Stream | None:
        """The most trusted stream that tells the ground's speed and is not lost."""
        now_s = self._bench.clock()
        speeds = [s for s in self._bench.live.streams.values() if not s.is_pulses]
        live = [s for s in speeds if not s.silent(now_s)] or speeds
        return min(live, key=_rank, default=None)

    def now(self) -> PaceNow:
        """Both, carried on to this moment."""
        now_s = self._bench.clock()
        belt_m, belt_mps, belt_lost = _carried(self.belt(), now_s)
        ground_m, ground_mps, ground_lost = _carried(self.ground(), now_s)
        return PaceNow(belt_m, ground_m, belt_mps, ground_mps, belt_lost, ground_lost)


def _rank(stream: Stream) -> int:
    name = stream.name.split("/")[0]
    return GROUND_FIRST.index(name) if name in GROUND_FIRST else len(GROUND_FIRST)


def _carried(stream: Stream | None, now_s: float) -> tuple[float, float, bool]:
    if stream is None or stream.silent(now_s) or not math.isfinite(stream.speed_mps):
        return (stream.distance_m if stream else 0.0), math.nan, True
    on_s = min(max(stream.age_s(now_s), 0.0), 2 * stream.pause_s)
    return stream.distance_m + on_s * stream.speed_mps, stream.speed_mps, False

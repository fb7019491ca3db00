"""A run over the taped course as it is driven: a press at each flag, what came in between."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from workbench.calibration.prepare.measures import ReadingKind
from workbench.jobs.channels import ground_kind
from workbench.jobs.prepare.compute import SOURCES
from workbench.models.bench import Bench

SHOWN: dict[str, ReadingKind] = {kind: reading for reading, kind in SOURCES.items()}
"""Kind of a source -> the reading that it fills."""


@dataclass(frozen=True, slots=True)
class FlagRun:
    """How long it took, and the mean of each source that came in, m/s."""

    duration_s: float
    shown_mps: dict[ReadingKind, float]


class Flags:
    """Watch and ears of one run: `passed` is called at the first flag and at the second."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._from_s = math.nan
        self._heard: dict[str, int] = {}

    @property
    def under_way(self) -> bool:
        return math.isfinite(self._from_s)

    def passed(self) -> FlagRun | None:
        """None at the first flag, the run at the second."""
        now_s = self._bench.clock()
        streams = {n: one for n, one in self._bench.live.streams.items() if not one.is_pulses}
        if not self.under_way:
            self._from_s = now_s
            self._heard = {name: one.speeds_after(0)[0] for name, one in streams.items()}
            return None
        shown: dict[ReadingKind, float] = {}
        for name, stream in streams.items():
            reading = SHOWN.get(ground_kind(stream).name)
            _seen, (_time_s, speed_mps, _u_mps) = stream.speeds_after(self._heard.get(name, 0))
            known = speed_mps[np.isfinite(speed_mps)]
            if reading is not None and known.size > 2:
                shown.setdefault(reading, float(known.mean()))
        duration_s, self._from_s = now_s - self._from_s, math.nan
        return FlagRun(duration_s, shown)

"""The channels of a waveform, side by side: samples in, edges out, and what is to be said."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

import numpy as np

from drivers.contract import EdgeBlock, FileRefused, Floats, Note, Notes
from drivers.source_file import MOST_EDGES, TICK_S
from drivers.wave.crossings import Crossings, TurningFinder
from drivers.wave.level import LevelWatch

SIDES = ("left", "right")
"""What the two channels of a sound are called, and the options that name them anew."""
_MOST_LEVEL = 1e6


def named(path: Path, count: int, names: Mapping[str, str]) -> list[str]:
    """What the `count` channels of a sound are called. Raises FileRefused where one is named that
    is not there."""
    for side in names:
        if SIDES.index(side) >= count:
            found = Note("it has one channel only, and its {side} one is named", side=side)
            raise FileRefused(path, found, "a recording in stereo")
    called = [names.get(side, side) for side in SIDES[:count]]
    return called + [f"input {number}" for number in range(len(SIDES) + 1, count + 1)]


class WaveChannels:
    """Some channels of one waveform; `place` tells from samples after the first (n,) the times.

    `least` is the level below which no tooth is told, `full_scale` where the recorder cuts off.
    """

    def __init__(
        self,
        names: Sequence[str],
        rate_hz: float,
        place: Callable[[Floats], Floats],
        least: Sequence[float],
        full_scale: float,
    ) -> None:
        self._names, self._place = names, place
        self._finders = [TurningFinder(rate_hz, level) for level in least]
        self._levels = [LevelWatch(name, rate_hz, full_scale) for name in names]
        self._counts = [0] * len(names)
        self._blocks = 0

    def take(self, samples: Floats, notes: Notes) -> list[EdgeBlock]:
        """Blocks of what is over with `samples` (n, channels), a block a channel."""
        wrong = ~(np.abs(samples) <= _MOST_LEVEL)
        if wrong.any():
            what = "sample that is no level"
            notes.rejects[what] = notes.rejects.get(what, 0) + int(np.count_nonzero(wrong))
            samples = np.where(wrong, 0.0, samples)
        columns = np.ascontiguousarray(samples.T)
        found = [one.feed(column) for one, column in zip(self._finders, columns, strict=True)]
        for level, column, teeth in zip(self._levels, columns, found, strict=True):
            level.look(column, teeth)
        return self._made(found, notes)

    def finish(self, path: Path, notes: Notes) -> list[EdgeBlock]:
        """The last blocks, once no more samples come; what is to be said goes to the notes."""
        found = [one.finish() for one in self._finders]
        if sum(self._counts) > MOST_EDGES:
            most = Note("there are more than {most_edges} edges", most_edges=MOST_EDGES)
            raise FileRefused(path, most, "a shorter recording: cut it in parts")
        for level, teeth in zip(self._levels, found, strict=True):
            level.look(np.empty(0), teeth)
            notes.warnings += level.notes()
        notes.warnings += [
            Note(
                "The wires of '{channel}' are the other way round: its voltage is steeper where it "
                "rises. It was turned over, so that a tooth's middle is timed and not a gap's.",
                channel=name,
            )
            for name, finder in zip(self._names, self._finders, strict=True)
            if finder.is_turned
        ]
        return self._made(found, notes)

    def _made(self, found: Sequence[Crossings], notes: Notes) -> list[EdgeBlock]:
        made = []
        for at, (name, teeth) in enumerate(zip(self._names, found, strict=True)):
            self._counts[at] += teeth.at.size
            ticks = self._ticks(teeth.at)
            fell = ~np.isnan(teeth.fall)
            falls = np.where(fell, self._ticks(np.where(fell, teeth.fall, teeth.at)), 0)
            made.append(
                EdgeBlock(
                    channel=name,
                    sequence=self._blocks,
                    ticks=ticks,
                    tick_s=TICK_S,
                    host_s=float(ticks[-1] * TICK_S) if ticks.size else 0.0,
                    count=self._counts[at],
                    fall_ticks=falls,
                    peak_v=teeth.peak,
                )
            )
            notes.messages[Note("edges of {name}", name=name)] = self._counts[at]
        self._blocks += 1
        return made

    def _ticks(self, at: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.rint(self._place(at) / TICK_S).astype(np.int64)

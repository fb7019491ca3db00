"""The simulated digger as an ordinary driver: `sim:SCENARIO?seed=3&pace=fast`."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence

import numpy as np

from drivers.catalogue import check_options, full_address
from drivers.contract import (
    AddressError,
    BaseDriver,
    Clock,
    EdgeBlock,
    Item,
    SpeedBlock,
    ValueBlock,
)
from sim.pickup import Edges
from sim.run import Run, Segment, Simulation, simulate
from sim.scenarios import SCENARIOS, load
from sim.truth import Truth

__all__ = ["Run", "SimDriver", "simulate"]

FRAME_S = 0.1
"""Blocks leave ten times a second, as a pulse counter sends its frames."""

_MOST_SEED = 2**63 - 1


class SimDriver(BaseDriver):
    """A scenario that runs by the clock handed in, or as fast as it is read.

    `pace=real` (the default) follows the clock; `pace=fast` lets `read(timeout_s)` pass
    `timeout_s` of simulated time at once, and `clock` is then that simulated time.
    Every opening starts the run anew.
    """

    simulated = True

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        address = full_address("sim", rest, options)
        super().__init__(address, clock)
        check_options(address, options, ("seed", "pace"))
        self._scenario = load(rest)
        self._seed = _seed(address, options.get("seed", "0"))
        pace = options.get("pace", "real")
        if pace not in ("real", "fast"):
            raise AddressError(f"'{address}': pace is '{pace}'; expected real or fast.")
        self._fast = pace == "fast"
        self._simulated_s = 0.0
        if self._fast:
            self.clock = lambda: self._simulated_s
        self._closing = threading.Event()
        self.notes.kind = f"simulated digger: {self._scenario.title}"

    @classmethod
    def listing(cls) -> list[tuple[str, str, str]]:
        """(address, title, one paragraph) of each built-in scenario."""
        return [
            (f"sim:{name}", scenario.title, scenario.paragraph)
            for name, scenario in SCENARIOS.items()
        ]

    @property
    def machine_text(self) -> str:
        """The machine file that goes with the scenario."""
        return self._scenario.machine_text

    def truth(self) -> Truth:
        """What was true, as far as the run has been simulated since it was opened."""
        return self._simulation.truth

    def _open(self) -> None:
        self._closing.clear()
        self._simulation = Simulation(self._scenario, self._seed)
        self._start_s = self.clock()
        self.notes.origin_s = self._start_s
        self._frames = self._all_frames()
        self._next_s = FRAME_S

    def _close(self) -> None:
        self._closing.set()

    def _read_some(self, timeout_s: float) -> Sequence[Item]:
        if self._fast:
            self._simulated_s += timeout_s
        else:
            until_next_s = self._start_s + self._next_s - self.clock()
            if until_next_s > 0:
                self._closing.wait(min(timeout_s, until_next_s))
        items: list[Item] = []
        # A nanosecond of slack: tenths of a second do not add up exactly.
        while self._start_s + self._next_s <= self.clock() + 1e-9 and not self._closing.is_set():
            items += next(self._frames)
        return items

    def _all_frames(self) -> Iterator[list[Item]]:
        """Frame after frame of the endless run; `_next_s` is when the next is due."""
        counts: dict[str, int] = {}
        number = 0
        while True:
            segment = self._simulation.advance()
            frames = round((segment.to_s - segment.from_s) / FRAME_S)
            ends_s = segment.from_s + FRAME_S * np.arange(1, frames + 1)
            cut = _Cut(self._simulation, segment, ends_s, self._start_s, counts)
            for place in range(frames):
                number += 1
                self._next_s = (number + 1) * FRAME_S
                yield cut.frame(place, number)


class _Cut:
    """One segment cut into frames; stamps host times and cumulative counts."""

    def __init__(
        self,
        simulation: Simulation,
        segment: Segment,
        ends_s: np.ndarray,
        start_s: float,
        counts: dict[str, int],
    ) -> None:
        self._tick_s = simulation.plan.counter.tick_s
        self._host_s = start_s + ends_s
        self._counts = counts
        self._edges = [
            (name, _Ticks(simulation, edges), _bounds(edges.rise_s, ends_s))
            for name, edges in segment.edges.items()
        ]
        self._speeds = [
            (name, samples, _bounds(samples.host_s, ends_s), samples.host_s + start_s)
            for name, samples in segment.speeds.items()
        ]
        self._values = [
            (key, samples, _bounds(samples.host_s, ends_s), samples.host_s + start_s)
            for key, samples in segment.values.items()
        ]

    def frame(self, place: int, number: int) -> list[Item]:
        items: list[Item] = []
        for channel, ticks, bounds in self._edges:
            part = slice(bounds[place], bounds[place + 1])
            count = self._counts.get(channel, 0) + part.stop - part.start
            self._counts[channel] = count
            items.append(
                ticks.block(channel, part, number, self._tick_s, self._host_s[place], count)
            )
        for source, samples, bounds, host_s in self._speeds:
            part = slice(bounds[place], bounds[place + 1])
            if part.stop > part.start:
                time_s = host_s if samples.time_s is samples.host_s else samples.time_s
                u = None if samples.u is None else samples.u[part]
                block = SpeedBlock(source, samples.value[part], time_s[part], host_s[part], u)
                items.append(block)
        for (source, quantity), samples, bounds, host_s in self._values:
            part = slice(bounds[place], bounds[place + 1])
            if part.stop > part.start:
                time_s = host_s if samples.time_s is samples.host_s else samples.time_s
                value = samples.value[part]
                items.append(ValueBlock(source, quantity, value, time_s[part], host_s[part]))
        return items


class _Ticks:
    """One channel's edges as the counter's clock counts them."""

    def __init__(self, simulation: Simulation, edges: Edges) -> None:
        self._rise = simulation.ticks(edges.rise_s)
        self._fall = simulation.ticks(edges.fall_s)
        self._peak_v = None if np.isnan(edges.peak_v).all() else edges.peak_v

    def block(
        self, channel: str, part: slice, number: int, tick_s: float, host_s: float, count: int
    ) -> EdgeBlock:
        peak_v = None if self._peak_v is None else self._peak_v[part]
        return EdgeBlock(
            channel,
            number,
            self._rise[part],
            tick_s,
            float(host_s),
            count,
            self._fall[part],
            peak_v,
        )


def _bounds(time_s: np.ndarray, ends_s: np.ndarray) -> list[int]:
    """Where to cut: frame k holds [k], [k+1]; the last takes what is left of the segment."""
    inner = np.searchsorted(time_s, ends_s[:-1])
    return [0, *inner.tolist(), time_s.size]


def _seed(address: str, text: str) -> int:
    if not (text.isdecimal() and int(text) <= _MOST_SEED):
        raise AddressError(f"'{address}': seed is '{text}'; expected a whole number, 0 or more.")
    return int(text)

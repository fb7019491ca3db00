"""The simulated digger as an ordinary driver: `sim:SCENARIO?seed=3&pace=fast`."""

from __future__ import annotations

import math
import threading
import time
from collections import Counter
from collections.abc import Sequence

import numpy as np

from drivers.catalogue import ReadyInput, check_options, full_address
from drivers.contract import (
    AddressError,
    BaseDriver,
    Clock,
    DeviceLost,
    EdgeBlock,
    Floats,
    Item,
    Note,
    SpeedBlock,
    ValueBlock,
)
from sim import typed
from sim.pickup import Edges
from sim.run import PULSES, SPEEDS, Simulation
from sim.scenarios import SCENARIOS, load
from sim.sensors import Samples
from sim.sheet import sheet_text
from sim.taken_on import setting, taken_on
from sim.truth import Truth

FRAME_S = 0.1
"""Data arrives in frames, ten a second; a read hands out a block a stream of all that came."""

_MOST_SEED = 2**63 - 1


class SimDriver(BaseDriver):
    """A scenario that runs by the clock handed in, or as fast as it is read.

    `setting=NUMBER` is what is entered in the readout, in place of the scenario's own.

    `pace=real` (the default) follows the clock; `pace=fast` lets `read(timeout_s)` pass
    `timeout_s` of simulated time at once, and `clock` is then that simulated time.
    Every opening starts the run anew.
    """

    simulated = True

    def __init__(self, rest: str, options: dict[str, str], clock: Clock = time.monotonic) -> None:
        address = full_address("sim", rest, options)
        super().__init__(address, clock)
        check_options(address, options, ("seed", "pace", "setting"))
        self._scenario = load(rest)
        self._on = self._scenario
        self._seed = read_seed(f"'{address}'", options.get("seed", "0"))
        self._setting = read_setting(f"'{address}'", options.get("setting"))
        self._first_setting = self._setting or typed.setting(self._scenario)
        pace = options.get("pace", "real")
        if pace not in ("real", "fast"):
            raise AddressError(
                "'{address}': pace is '{pace}'; expected real or fast.", address=address, pace=pace
            )
        self._fast = pace == "fast"
        self._simulated_s = 0.0
        if self._fast:
            self.clock = lambda: self._simulated_s
        self._closing = threading.Event()
        self._simulation: Simulation | None = None
        self.notes.kind = Note("simulated digger: {title}", title=self._scenario.title)

    @classmethod
    def listing(cls) -> list[ReadyInput]:
        """Each built-in scenario."""
        return [
            ReadyInput(f"sim:{name}", scenario.title, scenario.paragraph, scenario.rehearses)
            for name, scenario in SCENARIOS.items()
        ]

    def rehearse_on(self, machine_text: str) -> None:
        """Simulate the machine of this machine file from the next opening on, in place of the
        scenario's own. Raises AddressError where it cannot be."""
        self._on = taken_on(self._scenario, machine_text)
        self._setting = self._first_setting = setting(self._on)

    def enter_setting(self, share: float) -> None:
        """Another number in the readout: so many times the one there was at first."""
        self._setting = self._first_setting * share
        if self._simulation is not None:
            self._simulation.enter_setting(self._setting)

    @property
    def machine_text(self) -> str:
        """The machine file that goes with the scenario."""
        return self._scenario.machine_text

    @property
    def prepare_text(self) -> str:
        """What is read at the scenario's machine before its run, as a prepare table."""
        return sheet_text(self._scenario.draw(self._seed), self._seed)

    def truth(self) -> Truth:
        """What was true, as far as the run has been simulated since it was opened.

        Raises DeviceLost where it was never opened.
        """
        if self._simulation is None:
            raise DeviceLost("{address} is not open.", address=self.address)
        return self._simulation.truth

    def _open(self) -> None:
        self._closing.clear()
        simulation = Simulation(self._on, self._seed, self._setting)
        self._simulation, self._start_s = simulation, self.clock()
        self.notes.origin_s = self._start_s
        self._sent, self._counts = 0, Counter[str]()
        self._cut = _Cut(simulation, self._start_s, 0)

    def _close(self) -> None:
        self._closing.set()

    def _read_some(self, timeout_s: float) -> Sequence[Item]:
        if self._fast:
            self._simulated_s += timeout_s
        else:
            until_next_s = self._start_s + (self._sent + 1) * FRAME_S - self.clock()
            if until_next_s > 0:
                self._closing.wait(min(timeout_s, until_next_s))
        # A nanosecond of slack: tenths of a second do not add up exactly.
        due = int((self.clock() - self._start_s + 1e-9) / FRAME_S)
        items: list[Item] = []
        while self._sent < due and not self._closing.is_set():
            if self._sent == self._cut.last:
                self._cut = self._cut.next()
            upto = min(due, self._cut.last)
            items += self._cut.frames(self._sent, upto, self._counts)
            self._sent = upto
        return items


class _Cut:
    """One segment, ready to be cut into frames; `last` is the number of its last frame."""

    def __init__(self, simulation: Simulation, start_s: float, first: int) -> None:
        segment = simulation.advance()
        self._simulation = simulation
        self.first, self.last = first, first + round((segment.to_s - segment.from_s) / FRAME_S)
        ends_s = np.arange(first + 1, self.last + 1, dtype=np.float64) * FRAME_S
        self._start_s = start_s
        self._ends_host_s: list[float] = (start_s + ends_s).tolist()
        self._edges = [
            (name, _Ticks(simulation, edges), _bounds(edges.rise_s, ends_s))
            for name, edges in segment.edges.items()
        ]
        self._speeds = [
            (name, samples, _bounds(samples.host_s, ends_s))
            for name, samples in segment.speeds.items()
        ]
        self._values = [
            (key, samples, _bounds(samples.host_s, ends_s))
            for key, samples in segment.values.items()
        ]

    def next(self) -> _Cut:
        """The segment after this one."""
        return _Cut(self._simulation, self._start_s, self.last)

    def frames(self, first: int, last: int, counts: Counter[str]) -> list[Item]:
        """What came from frame `first` up to frame `last`, a block a stream.

        `counts` holds each channel's blocks and edges so far, and is brought up to date.
        """
        begin, end = first - self.first, last - self.first
        items: list[Item] = []
        for channel, ticks, bounds in self._edges:
            part = slice(bounds[begin], bounds[end])
            counts[channel] += part.stop - part.start
            counts[f"{channel} blocks"] += 1
            items.append(ticks.block(channel, part, self._ends_host_s[end - 1], counts))
        for source, samples, bounds in self._speeds:
            part = slice(bounds[begin], bounds[end])
            if part.stop > part.start:
                value, time_s, host_s = self._stamped(samples, part)
                u = None if samples.u is None else samples.u[part]
                items.append(SpeedBlock(source, value, time_s, host_s, u, SPEEDS[source]))
        for (source, quantity), samples, bounds in self._values:
            part = slice(bounds[begin], bounds[end])
            if part.stop > part.start:
                value, time_s, host_s = self._stamped(samples, part)
                if quantity == "readout_shown" and self._simulation.setting_entered:
                    value = self._simulation.readout.shown(part)
                items.append(ValueBlock(source, quantity, value, time_s, host_s))
        return items

    def _stamped(self, samples: Samples, part: slice) -> tuple[Floats, Floats, Floats]:
        """(value, time by the sender's own clock where it has one, host time)."""
        host_s = samples.host_s[part] + self._start_s
        own_clock = samples.time_s is not samples.host_s
        return samples.value[part], samples.time_s[part] if own_clock else host_s, host_s


class _Ticks:
    """One channel's edges as the counter's clock counts them."""

    def __init__(self, simulation: Simulation, edges: Edges) -> None:
        self._tick_s = simulation.plan.counter.tick_s
        self._rise = simulation.ticks(edges.rise_s)
        self._fall = simulation.ticks(edges.fall_s)
        self._peak_v = None if np.isnan(edges.peak_v).all() else edges.peak_v

    def block(self, channel: str, part: slice, host_s: float, counts: Counter[str]) -> EdgeBlock:
        return EdgeBlock(
            channel=channel,
            sequence=counts[f"{channel} blocks"],
            ticks=self._rise[part],
            tick_s=self._tick_s,
            host_s=host_s,
            count=counts[channel],
            fall_ticks=self._fall[part],
            peak_v=None if self._peak_v is None else self._peak_v[part],
            kind=PULSES[channel],
        )


def _bounds(time_s: Floats, ends_s: Floats) -> list[int]:
    """Where to cut: frame k holds [k] to [k + 1], the last of them what rounding left over."""
    inner = np.searchsorted(time_s, ends_s[:-1])
    return [0, *inner.tolist(), time_s.size]


def read_seed(place: str, text: str) -> int:
    """A seed as typed; `place` is for the error's sentence. Raises AddressError."""
    if not (text.isascii() and text.isdigit() and int(text) <= _MOST_SEED):
        raise AddressError(
            "{place}: seed is '{text}'; expected a whole number, 0 or more.", place=place, text=text
        )
    return int(text)


def read_setting(place: str, text: str | None) -> float | None:
    """A readout's setting as typed, None where none was. Raises AddressError."""
    if text is None:
        return None
    try:
        setting = float(text)
    except ValueError:
        setting = math.nan
    if not (math.isfinite(setting) and setting > 0):
        raise AddressError(
            "{place}: setting is '{text}'; expected a number above 0.", place=place, text=text
        )
    return setting

"""Eight hours at the screen, as fast as the machine goes: nothing lost, nothing late, no growth.

    QT_QPA_PLATFORM=offscreen python tests/benchmarks/soak_screen.py [HOURS [TIMES [SEED]]]

Four counters at 2 kHz, a receiver at 10 Hz and a full CAN bus are recorded by the window, whose
clock runs TIMES as fast as the wall's (a hundred), or as fast as the readers keep up, until HOURS
(eight) are over by it. Meanwhile pages, theme and units are switched by
chance. Then every edge and frame in the store is held against what was said. Prints a line a
minute and one JSON object at the end; exit status 1 where an edge is lost, a frame came later
than half a second, or memory grew.
"""

from __future__ import annotations

import json
import math
import random
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from screen_bench import LIVE_HZ, LiveBench, Quick, busy, resident_mb, until

from drivers.contract import BaseDriver, EdgeBlock, FrameBlock, Lost
from workbench.gui.app import PAGES, make_ready
from workbench.records.store import open_store

FRAMES_HZ = 1900
"""Of a full 250 kbit/s bus, at most (131 bits a frame)."""
COUNTERS = ("left", "right", "front", "rear")
LATE_S = 0.5
GROWN = 1.05
"""Memory at the end over the most of the first third: streams are full by then. Chosen."""
SWITCH_S = 0.7
BEHIND_S = 2.0
"""The clock stands still while a reader is so far behind it."""
ID = 0x80000000 | 0x0CFE49F0


class Bus(BaseDriver):
    """A full bus, a block a second; the data of each frame are its number."""

    def __init__(self, clock):
        super().__init__("quick:bus", clock)
        self.simulated = True
        self.said = 0

    def _open(self):
        self._start_s, self.said = self.clock(), 0

    @property
    def behind_s(self):
        return self.clock() - self._start_s - self.said

    def _read_some(self, timeout_s):
        if self.behind_s < 1.0:
            time.sleep(min(timeout_s, 0.002))
            return []
        numbers = np.arange(self.said * FRAMES_HZ, (self.said + 1) * FRAMES_HZ)
        times = self._start_s + numbers / FRAMES_HZ
        self.said += 1
        ids = np.full(FRAMES_HZ, ID, np.uint32)
        lengths = np.full(FRAMES_HZ, 8, np.uint8)
        data = numbers.astype(">u8").tobytes()
        return [FrameBlock("bus", ids, lengths, data, times, times)]

    def _close(self):
        pass


class Counters(Quick):
    """Edge k of each counter at tick 500·k + (37·k mod 100): one missing or changed shows."""

    def _read_some(self, timeout_s):
        items = super()._read_some(timeout_s)
        return [
            replace(item, ticks=due_ticks(item.count, item.ticks.size))
            if isinstance(item, EdgeBlock)
            else item
            for item in items
        ]


def due_ticks(first, count):
    k = np.arange(first, first + count)
    return k * (1_000_000 // LIVE_HZ) + 37 * k % 100


class DayBench(LiveBench):
    """The bench with its four counters, the receiver and the bus."""

    drivers: dict[str, BaseDriver]

    def _open(self, address, clock):
        made = Bus(clock) if address == "quick:bus" else Counters(clock, in_block=LIVE_HZ)
        made.address = address
        self.__dict__.setdefault("drivers", {})[address] = made
        return made

    @property
    def behind_s(self):
        status = self.bench.live.statuses()
        now_s = self.bench.clock()
        return max((now_s - one.last_host_s for one in status), default=0.0)


class Person:
    """Switches pages, theme and units by chance."""

    def __init__(self, bench, seed):
        self._bench, self._chance = bench, random.Random(seed)
        self._due_s = time.monotonic()
        self.switches = 0

    def look(self):
        if time.monotonic() < self._due_s:
            return
        self._due_s = time.monotonic() + self._chance.uniform(0.2, 2 * SWITCH_S)
        settings, deed = self._bench.bench.settings, self._chance.random()
        self.switches += 1
        if deed < 0.7:
            self._bench.window.show_page(self._chance.choice(["Start", *PAGES]))
        elif deed < 0.85:
            settings.change(theme=self._chance.choice(["bright", "dark"]))
        else:
            settings.change(units=self._chance.choice(["us", "metric"]))


class Frames:
    """The longest time between two frames of the window."""

    def __init__(self, window):
        self.count, self.worst_s, self.late = 0, 0.0, 0
        self._last_s = time.perf_counter()
        window.timer.timeout.connect(self._frame)

    def _frame(self):
        now_s = time.perf_counter()
        self.count += 1
        self.worst_s = max(self.worst_s, now_s - self._last_s)
        self.late += now_s - self._last_s > LATE_S
        self._last_s = now_s


def live(bench, clock, hours, times, seed):
    """The day itself; returns its figures."""
    start_s, wall_s = clock[0], time.monotonic()
    end_s = start_s + 3600 * hours
    person, frames = Person(bench, seed), Frames(bench.window)
    memory, said_s, last_s = [], wall_s, wall_s

    def over():
        nonlocal last_s, said_s
        now_s = time.monotonic()
        if bench.behind_s < BEHIND_S:
            clock[0] = min(clock[0] + times * min(now_s - last_s, 0.02), end_s)
        last_s = now_s
        person.look()
        if now_s - said_s > 60.0:
            said_s = now_s
            memory.append(resident_mb())
            print(
                f"{(clock[0] - start_s) / 3600:.2f} h in {(now_s - wall_s) / 60:.0f} min, "
                f"{memory[-1]:.0f} MB, worst frame {frames.worst_s:.2f} s, {busy()}",
                file=sys.stderr,
                flush=True,
            )
        return clock[0] >= end_s

    until(over, math.inf)
    lasted_s = time.monotonic() - wall_s
    settled = max(memory[: max(1, len(memory) // 3)], default=resident_mb())
    return {
        "hours": (clock[0] - start_s) / 3600,
        "minutes": lasted_s / 60,
        "times": (clock[0] - start_s) / lasted_s,
        "switches": person.switches,
        "frames": frames.count,
        "late_frames": frames.late,
        "worst_frame_s": frames.worst_s,
        "memory_mb": resident_mb(),
        "grown": resident_mb() / settled,
        "told": list(bench.bench.told),
    }


def compare(path, hours):
    """What the store holds against what was said."""
    wanted_s = hours * 3600
    next_edge, next_frame, wrong, lost = dict.fromkeys(COUNTERS, 0), 0, 0, 0
    with open_store(path) as store:
        number = store.recordings()[0].number
        for _, item in store.items(number):
            if isinstance(item, EdgeBlock):
                first = next_edge[item.channel]
                next_edge[item.channel] += item.ticks.size
                wrong += int((item.ticks != due_ticks(first, item.ticks.size)).sum())
            elif isinstance(item, FrameBlock):
                numbers = np.frombuffer(item.data, ">u8").astype(np.int64)
                due = np.arange(next_frame, next_frame + numbers.size)
                wrong += int((numbers != due).sum())
                next_frame += numbers.size
            lost += isinstance(item, Lost)
        problems = store.check().problems
    missing_s = max(wanted_s - count / LIVE_HZ for count in next_edge.values())
    return {
        "edges": list(next_edge.values()),
        "bus_frames": next_frame,
        "wrong": wrong,
        "lost": lost,
        "missing_s": max(missing_s, wanted_s - next_frame / FRAMES_HZ),
        "problems": [str(problem) for problem in problems],
    }


def main() -> int:
    words = [float(word) for word in sys.argv[1:]]
    hours, times, seed = [*words, *(8.0, 100.0, 1.0)[len(words) :]]
    clock = [1000.0]
    with tempfile.TemporaryDirectory() as folder:
        inputs = ("quick:four", "quick:bus")
        with DayBench(folder, inputs=inputs, clock=lambda: clock[0]) as bench:
            bench.bench.computer_clock = lambda: clock[0]
            make_ready(bench.window)
            bench.bench.recording.start("a day")
            until(lambda: bench.bench.recording.number is not None)
            found = live(bench, clock, hours, times, int(seed))
            until(lambda: bench.behind_s < BEHIND_S)
        found |= compare(str(Path(folder) / "store.db"), found["hours"])
        sizes = [path.stat().st_size for path in Path(folder).iterdir()]
    print(json.dumps(found | {"store_mb": sum(sizes) / 1e6, "machine": busy()}))
    # What the last block of a second had not yet said is not missing.
    whole = not (found["wrong"] or found["lost"] or found["problems"]) and found["missing_s"] < 10
    return 0 if whole and not found["late_frames"] and found["grown"] < GROWN else 1


if __name__ == "__main__":
    sys.exit(main())

"""What the benchmarks of the screen stand on: a long store, quick inputs, a heartbeat."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path

import numpy as np
import sqlalchemy as sa
from PySide6.QtCore import QCoreApplication, QEvent, QEventLoop, QObject, QTimer
from PySide6.QtWidgets import QApplication

from drivers.catalogue import open_input
from drivers.contract import BaseDriver, EdgeBlock, Notes, SpeedBlock
from workbench.base.cautions import Caution
from workbench.base.machine import parse_machine
from workbench.gui.app import make_window
from workbench.gui.parts.pace_strip import PaceStrip
from workbench.models.bench import Bench
from workbench.models.settings import Settings
from workbench.records import schema
from workbench.records.chain import chain_block
from workbench.records.codec import encode, key_of
from workbench.records.database import transaction
from workbench.records.store import open_store

HOURS, RATE_HZ, GNSS_HZ, COMMIT_S, IN_BLOCK = 8, 600, 10, 0.5, 20
LIVE_HZ = 2000
"""Edges a second of each live channel."""
SPEED_MPS, BLOCK_WAIT_S = 1.2, 0.002


def demo_machine():
    return parse_machine(open_input("sim:healthy?seed=1", time.monotonic).machine_text)


def eight_hours(path):
    """A sealed recording as the recorder leaves it: a block a stream each half second.

    Many commits are put into one transaction; the rows are the same.
    """
    rng = np.random.default_rng(1)
    edges = HOURS * 3600 * RATE_HZ
    ticks = np.cumsum(np.rint(rng.normal(1e6 / RATE_HZ, 1.5, edges))).astype(np.int64)
    ticks = ticks.reshape(-1, IN_BLOCK)
    per_commit = round(COMMIT_S * RATE_HZ) // IN_BLOCK
    commits = ticks.shape[0] // per_commit
    values = SPEED_MPS + 0.02 * rng.normal(size=(commits, round(COMMIT_S * GNSS_HZ)))
    late_s = rng.exponential(1e-3, ticks.shape[0])
    with open_store(str(path)) as store:
        writer = store.begin_recording(
            "a long day", started_host_s=0.0, machine=demo_machine(), simulated=True
        )
        for first in range(0, commits, 4000):
            with transaction(store._engine, store._url, writing=True) as connection:
                rows = []
                for commit in range(first, min(first + 4000, commits)):
                    blocks = range(commit * per_commit, (commit + 1) * per_commit)
                    rows += _rows(
                        writer, connection, _groups(ticks, late_s, blocks, values[commit])
                    )
                connection.execute(sa.insert(schema.block), rows)
        writer.end(Notes(), "done")
        store.pack(writer.number)
    return str(path)


def _groups(ticks, late_s, blocks, values):
    """Half a second of the counter and of the receiver, as the recorder groups them."""
    edges = [
        EdgeBlock("left", i, ticks[i], 1e-6, float(ticks[i, -1]) * 1e-6 + late_s[i], IN_BLOCK * i)
        for i in blocks
    ]
    begin_s = float(ticks[blocks.start, 0]) * 1e-6
    times = begin_s + np.arange(values.size) / GNSS_HZ
    speeds = [
        SpeedBlock("nav-pvt", values[i : i + 1], times[i : i + 1], times[i : i + 1])
        for i in range(values.size)
    ]
    return (("counter:a", edges), ("gnss:b", speeds))


def _rows(writer, connection, groups):
    """Rows of the table of blocks, chained as `Writer.write` chains them."""
    rows = []
    for address, items in groups:
        key, data = key_of(address, items[0]), encode(items)
        if key not in writer._streams:
            writer._streams[key] = writer._new_stream(connection, key)
        sha256 = hashlib.sha256(data).digest()
        writer._digest = chain_block(writer._digest, key, len(items), sha256)
        rows.append(
            {
                "recording": writer.number,
                "sequence": writer._sequence,
                "stream": writer._streams[key],
                "items": len(items),
                "sha256": sha256,
                "data": data,
            }
        )
        writer._sequence += 1
    return rows


class Quick(BaseDriver):
    """Four counters at 2 kHz and a receiver at 10 Hz, block after block by the clock given."""

    def __init__(self, clock, in_block=IN_BLOCK):
        super().__init__("quick:four", clock)
        self.simulated = True
        self.machine_text = demo_machine().text
        self._in_block = in_block
        self._start_s, self._blocks, self._values = 0.0, 0, 0

    def _open(self):
        self._start_s = self.clock()
        self._blocks = self._values = 0

    def _read_some(self, timeout_s):
        now_s = self.clock() - self._start_s
        due = int(now_s * LIVE_HZ / self._in_block)
        if due == self._blocks:
            time.sleep(min(timeout_s, BLOCK_WAIT_S))
            return []
        items = []
        for block in range(self._blocks, due):
            first = block * self._in_block
            ticks = np.arange(first, first + self._in_block) * (1_000_000 // LIVE_HZ)
            host_s = min(self.clock(), self._start_s + float(ticks[-1]) * 1e-6 + 0.001)
            items += [
                EdgeBlock(name, block, ticks, 1e-6, host_s, first)
                for name in ("left", "right", "front", "rear")
            ]
        self._blocks = due
        if now_s * GNSS_HZ >= self._values:
            self._values = int(now_s * GNSS_HZ) + 1
            at = np.array([self.clock()])
            items.append(SpeedBlock("nav-pvt", np.array([SPEED_MPS]), at, at))
        return items

    def _close(self):
        pass

    def catch_up(self):
        """Wait until what is due by a hand clock was read."""
        while self._blocks < int((self.clock() - self._start_s) * LIVE_HZ / self._in_block):
            time.sleep(0.0005)


class LiveBench:
    """A bench and its window, put away at the end."""

    def __init__(
        self, folder, store=None, inputs=("quick:four",), clock=time.monotonic, in_block=IN_BLOCK
    ):
        self._in_block = in_block
        self.app = QApplication.instance() or QApplication([])
        self.app.setStyle("Fusion")
        self.bench = Bench(
            Settings(Path(folder) / "settings.json"),
            clock,
            store=store or str(Path(folder) / "store.db"),
            opener=self._open,
        )
        self.bench.cautions_read |= {Caution.IN_THE_CAB, Caution.WITH_THE_BELT_RUNNING}
        if inputs:
            self.bench.use_inputs(list(inputs))
        self.window = make_window(self.bench)
        self.window.resize(1600, 900)

    def _open(self, _address, clock):
        self.driver = Quick(clock, self._in_block)
        return self.driver

    def __enter__(self):
        self.window.show()
        spin(0.3)
        return self

    def __exit__(self, *_):
        self.window.close()
        self.window.deleteLater()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


class Latency:
    """How late each block is seen: from the wire to the end of the painting that shows it."""

    def __init__(self, bench):
        self.paintings, self.late_s, self._waiting = 0, [], []
        self._strip = bench.window.page("Pass").findChild(PaceStrip)
        self._painted = []
        self._strip.installEventFilter(frames(self._painted))
        self._live, self._edges = bench.bench.live, {}
        self._live.subscribe(self._take)

    def _take(self):
        for name, stream in self._live.streams.items():
            if stream.is_pulses and stream.edges != self._edges.get(name):
                self._edges[name] = stream.edges
                self._waiting.append(stream.last_host_s)

    def look(self):
        """After each round of the screen."""
        if self._painted:
            now_s = time.monotonic()
            self.late_s += [now_s - host_s for host_s in self._waiting]
            self.paintings += len(self._painted)
            self._waiting.clear()
            self._painted.clear()


class Heartbeat:
    """How long the screen's thread did not come round, by a timer that should beat each ms.

    `worst_ms` by the wall clock, `worst_work_ms` in the thread's own processor time: that one
    does not depend on who else uses the machine.
    """

    def __enter__(self):
        self.worst_ms = self.worst_work_ms = 0.0
        self._last = (time.perf_counter(), time.thread_time())
        self._timer = QTimer(interval=1)
        self._timer.timeout.connect(self._beat)
        self._timer.start()
        return self

    def _beat(self):
        now = (time.perf_counter(), time.thread_time())
        wall_s, work_s = (a - b for a, b in zip(now, self._last, strict=True))
        self.worst_ms = max(self.worst_ms, 1000 * wall_s)
        self.worst_work_ms = max(self.worst_work_ms, 1000 * work_s)
        self._last = now

    def __exit__(self, *_):
        self._beat()
        self._timer.stop()


class Painted(QObject):
    """Notes when a widget was painted."""

    def __init__(self, times):
        super().__init__()
        self._times = times

    def eventFilter(self, _watched, event):  # noqa: N802
        if event.type() is QEvent.Type.Paint:
            self._times.append(time.perf_counter())
        return False


_KEPT = []


def frames(times):
    """A filter that notes each painting in `times`; kept alive here."""
    _KEPT.append(Painted(times))
    return _KEPT[-1]


def spin(for_s, look=lambda: None):
    """Let the screen run for a while, as it would by itself; `look` after each round."""

    def never():
        look()
        return False

    until(never, for_s)


def until(done, within_s=60.0):
    """Let the screen run until something is so, or the time is over."""
    end_s = time.perf_counter() + within_s
    waker = QTimer(interval=5)  # so that waiting for events ends where none come
    waker.start()
    while not done() and time.perf_counter() < end_s:
        QCoreApplication.processEvents(QEventLoop.ProcessEventsFlag.WaitForMoreEvents)
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


def busy():
    """How busy the machine was, in words."""
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"


def resident_mb():
    """Memory this process holds."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6

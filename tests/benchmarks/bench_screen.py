"""What the screen promises: it opens soon, draws hours at once, keeps up live and never sticks.

Limits are those of the bench's own aims; where a busy machine could decide, two things are
timed side by side, and how busy the machine was is printed beside each figure.
"""

from __future__ import annotations

import gc
import os
import statistics
import subprocess
import sys
import time

import pytest

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtWidgets import QApplication
from screen_bench import (
    HOURS,
    LIVE_HZ,
    Heartbeat,
    Latency,
    LiveBench,
    busy,
    eight_hours,
    frames,
    resident_mb,
    spin,
    until,
)

from workbench.gui.app import PAGES, make_ready

OPEN_S, FRAMES_HZ, BLOCKED_MS = 1.5, 30.0, 50.0
CORES, LATENCY_MS, START_RATIO = 0.5, 60.0, 1.5
PAIRS, WARM_S, LIVE_S = 5, 3.0, 10.0
MEMORY_STEPS, GROWTH_MB = 240, 10.0
"""Looks at the inputs in a simulated hour; growth that counts as flat."""

BARE = """
import os
from PySide6.QtWidgets import QApplication
import pyqtgraph

class Plot(pyqtgraph.PlotWidget):
    def paintEvent(self, event):
        super().paintEvent(event)
        os._exit(0)

app = QApplication([])
plot = Plot()
plot.plot([1, 2, 3], [1, 3, 2])
plot.show()
app.exec()
"""

OURS = """
import os
from PySide6.QtCore import QTimer
from workbench.gui import app

class Window(app.BenchWindow):
    def paintEvent(self, event):
        super().paintEvent(event)
        QTimer.singleShot(0, lambda: os._exit(0))

app.BenchWindow = Window
app.run()
"""


def wall_s(script, folder):
    """Seconds until a script has painted its window and ended."""
    homes = dict.fromkeys(("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"), str(folder))
    begin_s = time.perf_counter()
    subprocess.run([sys.executable, "-c", script], check=True, env={**os.environ, **homes})
    return time.perf_counter() - begin_s


def test_the_window_opens_as_soon_as_a_bare_plot(tmp_path, figures):
    for script in (BARE, OURS):
        wall_s(script, tmp_path)  # files into the cache
    pairs = [(wall_s(BARE, tmp_path), wall_s(OURS, tmp_path)) for _ in range(PAIRS)]
    bare_s, ours_s = (statistics.median(times) for times in zip(*pairs, strict=True))
    ratio = statistics.median(ours / bare for bare, ours in pairs)
    print(
        f"\nwindow painted after {ours_s:.2f} s, a bare plot after {bare_s:.2f} s: {ratio:.2f} "
        f"times (at most {START_RATIO}); {busy()}"
    )
    figures.at_most("window painted", ratio, START_RATIO, "×", "a bare plot")


@pytest.fixture(scope="module")
def long_store(tmp_path_factory):
    return eight_hours(tmp_path_factory.mktemp("long") / "store.db")


def test_eight_hours_open_pan_and_zoom(long_store, tmp_path, figures):
    with LiveBench(tmp_path, store=long_store, inputs=()) as bench:
        page = bench.window.page("Records")
        until(lambda: not page.works.busy and page.list.shown)
        plot = page.panel.speeds
        painted = []
        plot.viewport().installEventFilter(frames(painted))
        begin_s = time.perf_counter()
        page.list.choose([page.list.shown[0].key])
        with Heartbeat() as heart:
            until(lambda: plot.picture.panels and painted and painted[-1] > begin_s)
            whole_s = time.perf_counter() - begin_s
        edges = next(
            line.source.time_s.size for line in plot.picture.panels[0].traces if line.name == "left"
        )
        assert plot.isVisible()
        frames_s = moved(plot)
    wall_s, work_s = (float(np.median(frames_s[:, at])) for at in (0, 1))
    slow_s = float(np.quantile(frames_s[:, 1], 0.95))
    print(
        f"\n{edges / 1e6:.1f} million edges: every edge seen after {whole_s:.2f} s (at most "
        f"{OPEN_S}), the screen blocked "
        f"{heart.worst_work_ms:.0f} ms by its own work and {heart.worst_ms:.0f} ms in all at most "
        f"meanwhile; panning and zooming, {1 / work_s:.0f} frames a second by the work they take "
        f"(95 in 100 faster than {1 / slow_s:.0f}, at least {FRAMES_HZ:.0f}), {1 / wall_s:.0f} as "
        f"it came out; {busy()}"
    )
    figures.at_most("8 h opened on Records", whole_s, OPEN_S, "s")
    figures.at_least("panned and zoomed", 1 / slow_s, FRAMES_HZ, "frames/s")


def moved(plot, steps=60):
    """Seconds by the wall clock and of work (n, 2) for each frame of a way from the whole to a
    second, and along it."""
    first, last = plot.seen()
    frames_s = []
    for step in range(2 * steps):
        width = (last - first) * (1 / (last - first)) ** (min(step, steps) / steps)
        middle = first + (last - first) * (0.3 + 0.001 * step)
        begin = np.array([time.perf_counter(), time.thread_time()])
        plot.see(middle - width / 2, middle + width / 2)
        plot.viewport().repaint()
        frames_s.append(np.array([time.perf_counter(), time.thread_time()]) - begin)
    return np.array(frames_s)


@pytest.fixture(params=["", ", a core kept busy"])
def beside(request):
    """Alone, or beside another process that keeps one of the cores busy."""
    if not request.param:
        yield ""
        return
    with subprocess.Popen([sys.executable, "-c", "while True: pass"]) as other:
        yield request.param
        other.kill()


def test_live_four_channels_and_a_receiver(tmp_path, beside, figures):
    """On the page that shows every frame, with a pass under way: it records, judges, draws."""
    with LiveBench(tmp_path) as bench:
        make_ready(bench.window)
        until(gc.isenabled)
        bench.window.page("Pass").job.start()
        spin(WARM_S)
        seen = Latency(bench)
        begin_s, spent_s = time.perf_counter(), time.process_time()
        spin(LIVE_S, seen.look)
        lasted_s, spent_s = time.perf_counter() - begin_s, time.process_time() - spent_s
        edges = sum(stream.edges for stream in bench.bench.live.streams.values())
    share, a_second = spent_s / lasted_s, seen.paintings / lasted_s
    middle_ms, slow_ms = (1000 * float(np.quantile(seen.late_s, one)) for one in (0.5, 0.99))
    print(
        f"\nfour channels at 2 kHz and a receiver at 10 Hz, recorded and judged{beside}: "
        f"{a_second:.1f} frames a second (at least {FRAMES_HZ:.0f}), {share:.2f} of a core (at "
        f"most {CORES}), from the wire to the painted picture {middle_ms:.0f} ms, 99 in 100 within "
        f"{slow_ms:.0f} ms (at most {LATENCY_MS:.0f}); {edges} edges; {busy()}"
    )
    assert edges > 0.9 * 4 * LIVE_HZ * lasted_s
    figures.at_least(f"live, four channels{beside}", a_second, FRAMES_HZ, "frames/s")
    figures.at_most(f"live, four channels{beside}", share, CORES, "of a core")
    figures.at_most(f"wire to picture, 99 in 100{beside}", slow_ms, LATENCY_MS, "ms")


def test_memory_over_eight_hours(tmp_path, figures):
    """Every edge of eight hours by a hand clock, in blocks of a second, looked at now and then."""
    clock = [1000.0]
    with LiveBench(tmp_path, clock=lambda: clock[0], in_block=LIVE_HZ) as bench:
        bench.window.timer.stop()
        bench.window.page("Signals")
        held = []
        for _ in range(HOURS):
            for _ in range(MEMORY_STEPS):
                clock[0] += 3600 / MEMORY_STEPS
                bench.driver.catch_up()
                bench.window.tick()
                QApplication.processEvents()
            gc.collect()
            held.append(resident_mb())
    told = ", ".join(f"{one:.0f}" for one in held)
    print(
        f"\nmemory after each of {HOURS} hours: {told} MB; {held[-1] - held[1]:+.1f} MB from the "
        f"second on (at most {GROWTH_MB:.0f})"
    )
    figures.at_most("memory grown over 8 h", held[-1] - held[1], GROWTH_MB, "MB")


def test_nothing_blocks_the_screen(tmp_path, long_store, figures):
    """The usual actions, each with the longest time the screen did not come round."""
    blocked = {}
    with LiveBench(tmp_path) as bench:
        window, settings = bench.window, bench.bench.settings

        def timed(words, act, rest_s=0.6):
            with Heartbeat() as heart:
                act()
                spin(rest_s)
            blocked[words] = (heart.worst_work_ms, heart.worst_ms)

        spin(1.0)
        timed("the pages made ahead", lambda: (make_ready(window), until(gc.isenabled)))
        timed("nothing, one second of it", lambda: None, 1.0)
        for name in PAGES:
            timed(f"{name} first shown", lambda name=name: window.show_page(name))
        for name in PAGES:
            timed(f"{name} shown again", lambda name=name: window.show_page(name), 0.3)
        for name in ("Pass", "Calibrate", "Signals"):
            window.show_page(name)
            spin(0.3)
            timed(f"units switched on {name}", lambda: settings.change(units="metric"))
            timed(f"theme switched on {name}", lambda: settings.change(theme="dark"))
            settings.change(units="us", theme="bright")
            spin(0.3)
        recording = bench.bench.recording
        timed("recording started", recording.start, 1.5)
        timed("recording stopped", recording.stop, 1.5)
        job = window.page("Pass").job
        timed("pass started", job.start, 2.0)
        timed("pass stopped and judged", job.stop, 3.0)
    print()
    for words, (work_ms, wall_ms) in sorted(blocked.items(), key=lambda one: -one[1][0]):
        mark = "" if work_ms <= BLOCKED_MS else f"   over {BLOCKED_MS:.0f}"
        print(f"{work_ms:7.0f} ms of work, {wall_ms:6.0f} ms in all  {words}{mark}")
    print(busy())
    words, (work_ms, _) = max(blocked.items(), key=lambda one: one[1][0])
    figures.at_most(f"the screen's own work ({words})", work_ms, BLOCKED_MS, "ms")

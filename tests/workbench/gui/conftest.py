"""A bench on the simulator with a clock in the test's hand, and a window that is closed again."""

from __future__ import annotations

import threading
from weakref import WeakSet

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, QTimer
from PySide6.QtWidgets import QApplication, QMenu
from shiboken6 import isValid

from drivers.catalogue import open_input
from workbench.models.bench import Bench
from workbench.models.settings import Settings

TIMERS = WeakSet()
"""Every timer made by the window or a library: looking for them among all of Python's
objects would take longer than many a test."""

make_timer = QTimer.__init__


def _make_and_note(timer, *args, **kwargs):
    make_timer(timer, *args, **kwargs)
    TIMERS.add(timer)


QTimer.__init__ = _make_and_note


@pytest.fixture(autouse=True)
def nothing_of_qt_left_behind():
    """Fail a test after which a window or a running timer of its own lives on.

    Threads are seen by the same rule in tests/conftest.py; warnings of Qt fail by
    `qt_log_level_fail` in pyproject.toml.
    """
    before = _windows() | _running_timers()
    yield
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    left = [one for one in _windows() | _running_timers() if one not in before]
    if left:
        pytest.fail(f"left behind: {', '.join(repr(one) for one in left[:5])}")


def _windows():
    if not QApplication.instance():
        return set()
    # pyqtgraph's context menus, never shown, go when Python next collects its garbage.
    return {one for one in QApplication.topLevelWidgets() if not isinstance(one, QMenu)}


def _running_timers():
    return {timer for timer in TIMERS if isValid(timer) and timer.isActive()}


@pytest.fixture
def running_timers():
    """What finds the timers that run."""
    return _running_timers


class HandClock:
    """Monotonic seconds that pass only when told to."""

    def __init__(self):
        self.now_s = 1000.0

    def __call__(self):
        return self.now_s


@pytest.fixture
def clock():
    return HandClock()


@pytest.fixture
def bench(tmp_path, clock):
    settings = Settings(tmp_path / "settings.json")
    store = str(tmp_path / "store.db")
    bench = Bench(
        settings, clock, store=store, opener=_open_for_hand_clock, computer_clock=lambda: 0.0
    )
    yield bench
    bench.close()


def _open_for_hand_clock(address, clock):
    """An input whose `read` never waits for a clock that may stand still."""
    driver = open_input(address, clock)
    driver.read = lambda _timeout_s: list(driver._read_some(0.005))
    return driver


@pytest.fixture
def pass_time(bench, clock):
    """Let simulated seconds pass in steps; `look` is called after each."""

    def go(for_s, step_s=1.0, look=None):
        caught_up(bench, clock)
        for _ in range(round(for_s / step_s)):
            clock.now_s += step_s
            caught_up(bench, clock)
            (look or bench.live.update)()

    return go


def caught_up(bench, clock):
    """Until the readers have brought everything up to the clock's time."""
    pause = threading.Event()
    for _ in range(4000):
        recording = bench.recording
        opening = recording.running and recording.number is None and not recording.failed
        statuses = bench.live.statuses()
        if not opening and all(status.last_host_s >= clock.now_s for status in statuses):
            return
        pause.wait(0.005)
    pytest.fail(f"the simulator's reader did not come up to the clock: {bench.live.statuses()}")


@pytest.fixture
def window(bench, qtbot):
    from workbench.gui.app import make_window  # here: tests of models need none of it

    bench.use_inputs(["sim:valve-off?seed=4"])
    made = make_window(bench)
    made.timer.stop()  # frames come when a test asks for them
    made.resize(1024, 600)
    made.show()
    yield made
    _put_away(made)


@pytest.fixture
def put_away():
    """Close a window and destroy it at once: left for later, each would slow the next."""
    return _put_away


def _put_away(window):
    window.close()
    window.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)


@pytest.fixture
def settle(window, qtbot):
    """Frames until a page has no work in the background any more."""

    def wait(page):
        def idle():
            window.tick()
            worker = page._worker
            assert worker is None or not worker.isRunning()
            assert getattr(page, "_waiting", None) is None

        # Twice: an outcome that was still on its way may begin the next piece of work.
        for _ in range(2):
            qtbot.waitUntil(idle, timeout=20_000)
            QCoreApplication.processEvents()

    return wait

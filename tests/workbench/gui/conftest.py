"""A bench on the simulator with a clock in the test's hand, and a window that is closed again."""

from __future__ import annotations

import threading
from weakref import WeakSet

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QWidget,
)
from shiboken6 import isValid

from drivers.catalogue import open_input
from workbench.gui.work_line import WorkLine
from workbench.models.bench import Bench
from workbench.models.settings import Settings
from workbench.models.signals import plugged

FRAMES = 8
"""So many until a page has shown all it has: it shows a part of it a frame."""

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
    return set(QApplication.topLevelWidgets())


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
    read, pause = driver.read, threading.Event()
    driver.read = lambda _timeout_s: read(0.0) or pause.wait(0.005) or []
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


@pytest.fixture(autouse=True)
def nothing_plugged_in(monkeypatch):
    """Not the ports of the machine that runs the tests."""
    monkeypatch.setattr(plugged, "serial_ports", lambda: ())
    monkeypatch.setattr(plugged, "can_channels", lambda: ())


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


class Screen:
    """What a person sees of a page or window and does there, by the words that stand on it.

    A widget is known by its text or by the name a screen reader says; the beginning is enough.
    """

    def __init__(self, widget, qtbot):
        self.widget, self._qtbot = widget, qtbot

    @property
    def said(self):
        """All that labels say, a line each."""
        return "\n".join(one.text() for one in self.shown(QLabel))

    @property
    def offers(self):
        """What stands on the buttons that can be pressed."""
        return [one.text() for one in self.shown(QAbstractButton) if one.isEnabled()]

    @property
    def next(self):
        """What stands on the filled button, the one next step."""
        filled = [b.text() for b in self.shown(QAbstractButton) if b.property("role") == "next"]
        assert len(filled) == 1, filled
        return filled[0]

    def shown(self, kind, words=""):
        """Those of a kind that can be seen, all or those whose words begin so."""
        seen = (one for one in self.widget.findChildren(kind) if one.isVisible())
        return [one for one in seen if any(text.startswith(words) for text in _words(one))]

    def one(self, kind, words=""):
        """The only one of a kind that bears these words, or at least begins with them."""
        begun = self.shown(kind, words)
        found = [one for one in begun if words in _words(one)] or begun
        assert len(found) == 1, f"{len(found)} of {words!r} among {self.offers}: {self.said}"
        return found[0]

    def button(self, words):
        return self.one(QAbstractButton, words)

    def field(self, words):
        """An entry or a choice."""
        return self.one(QComboBox if self.shown(QComboBox, words) else QLineEdit, words)

    def press(self, words):
        QTest.mouseClick(self.button(words), Qt.MouseButton.LeftButton)
        self.frame()

    def key(self, key, words=""):
        """Press a key in the field of these words, or wherever the focus is."""
        QTest.keyClick(self.field(words) if words else self.widget.focusWidget(), key)
        self.frame()

    def type(self, words, text, then=None):
        """Type in place of what is there; `then` is a key to press after it."""
        field = self.field(words)
        field.setFocus()
        field.selectAll()
        QTest.keyClicks(field, text) if text else QTest.keyClick(field, Qt.Key.Key_Delete)
        if then is not None:
            self.key(then, words)
        self.frame()

    def choose(self, words, text):
        """Choose the first item that begins so."""
        box = self.field(words)
        items = [box.itemText(at) for at in range(box.count())]
        box.setCurrentIndex(next(at for at, item in enumerate(items) if item.startswith(text)))
        box.activated.emit(box.currentIndex())
        self.frame()

    def frame(self):
        """What happens 30 times a second."""
        window = self.widget.window()
        (window.tick if hasattr(window, "tick") else self.widget.refresh)()

    def until(self, holds):
        """Frames until something holds that is worked on elsewhere."""

        def look():
            self.frame()
            assert holds(), f"{self.offers}: {self.said}"

        self._qtbot.waitUntil(look, timeout=20_000)

    def settle(self):
        """Until nothing is at work in the background, and all that came of it is shown."""
        for _ in range(FRAMES):
            self.until(lambda: not any(one.busy for one in self.widget.findChildren(WorkLine)))
            QCoreApplication.processEvents()


def _words(widget):
    own = isinstance(widget, (QAbstractButton, QLabel))
    return (widget.accessibleName(), widget.text() if own else "")


@pytest.fixture
def screen_of(qtbot):
    """`screen_of(widget)`: that widget as a person meets it."""
    return lambda widget: Screen(widget, qtbot)


@pytest.fixture
def screen(page, screen_of):
    """The page under test as a person meets it."""
    return screen_of(page)


@pytest.fixture
def housed(qtbot):
    """Put a page into a window, of which it is always a part."""
    hosts = []

    def house(page, wide=880, high=540):
        host = QWidget()
        hosts.append(host)
        qtbot.addWidget(host)
        host.resize(wide, high)
        page.setParent(host)
        page.resize(wide, high)
        host.show()
        return page

    yield house
    for works in (works for host in hosts for works in host.findChildren(WorkLine)):
        works.wait()

"""Three people do their whole job from the first start, by mouse alone and by keyboard alone.

Widgets are found by the words a person sees or a screen reader says. The simulator runs by
the clock in the test's hand; outcomes are read from the store and from the file written.
"""

from __future__ import annotations

import math

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFileDialog,
    QLabel,
    QLineEdit,
)

from workbench.gui.app import make_window
from workbench.jobs.verify import verify
from workbench.records.store import open_store


class Hand:
    """What both kinds of hands have: eyes."""

    def __init__(self, window):
        self.window = window

    def sees(self, words):
        """Whether anything that can be seen says so."""
        labels = self.window.findChildren(QLabel)
        return any(words in one.text() for one in labels if one.isVisible())

    def find(self, words, *kinds):
        """The button or field whose words begin so, if it can be used now."""
        for kind in kinds or (QAbstractButton, QLineEdit, QComboBox):
            for one in self.window.findChildren(kind):
                texts = (one.accessibleName(), one.text() if hasattr(one, "text") else "")
                if one.isVisible() and one.isEnabled() and any(t.startswith(words) for t in texts):
                    return one
        return None

    def offers(self):
        """For the message of a failure."""
        buttons = self.window.findChildren(QAbstractButton)
        return [one.text() for one in buttons if one.isVisible() and one.isEnabled()]

    def need(self, words, *kinds):
        found = self.find(words, *kinds)
        assert found is not None, f"no {words!r} among {self.offers()}"
        return found


class Mouse(Hand):
    """Clicks on what is seen; types only into the field it has clicked."""

    def press(self, words):
        QTest.mouseClick(self.need(words, QAbstractButton), Qt.MouseButton.LeftButton)
        self.window.tick()

    def fill(self, words, text):
        field = self.need(words, QLineEdit)
        QTest.mouseClick(field, Qt.MouseButton.LeftButton)
        field.selectAll()  # as a double click does
        QTest.keyClicks(field, text)


class Keys(Hand):
    """Goes on by Tab and arrow keys; every key goes to whatever has the focus."""

    def key(self, key):
        QTest.keyClick(QApplication.focusWidget() or self.window, key)

    def go_to(self, target):
        for _ in range(150):
            if QApplication.focusWidget() is target:
                return
            self.key(Qt.Key.Key_Tab)
        pytest.fail(f"Tab never comes to {target.accessibleName()!r}")

    def press(self, words):
        self.go_to(self.need(words, QAbstractButton))
        self.window.tick()  # no one is faster than the frames
        self.key(Qt.Key.Key_Space)
        self.window.tick()

    def fill(self, words, text):
        self.go_to(self.need(words, QLineEdit))
        QTest.keyClick(
            QApplication.focusWidget(), Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier
        )
        for sign in text:
            QTest.keyClick(QApplication.focusWidget(), sign)


@pytest.fixture(params=[Mouse, Keys], ids=["by mouse", "by keyboard"])
def hand(request, bench, put_away):
    """The program as it is at the first start, and someone in front of it."""
    bench.start()
    window = make_window(bench)
    window.timer.stop()
    window.resize(1024, 600)
    window.show()
    window.activateWindow()
    QTest.qWaitForWindowActive(window)
    yield request.param(window)
    put_away(window)


@pytest.fixture
def until(hand, bench, clock, pass_time, qtbot):
    """Time goes on until something can be seen; at most `most_s` simulated seconds."""

    def go(holds, most_s=0.0):
        for _ in range(math.ceil(most_s)):
            if holds():
                return
            pass_time(1.0, look=hand.window.tick)

        def seen():
            hand.window.tick()
            assert holds(), hand.offers()

        qtbot.waitUntil(seen, timeout=60_000)

    return go


@pytest.fixture
def saved(monkeypatch, tmp_path):
    """The dialog for files is the system's own: it answers with this folder."""

    def answer(*_args, **_kwargs):
        return str(tmp_path / "report.html"), ""

    monkeypatch.setattr(QFileDialog, "getSaveFileName", answer)
    return tmp_path / "report.html"


def only_result(bench, kind):
    """The one result in the store, computed once more from what it was computed from."""
    with open_store(bench.store) as store:
        (entry,) = store.results()
        assert verify(store, entry.number).verified
        result = store.result(entry.number)
    assert result.kind == kind
    return result


def says_the_result(report, result):
    text = report.read_text(encoding="utf-8")
    assert f"esult {result.number}" in text
    assert result.answer["verdict"] in text
    assert "imulated" in text


def the_report_says(hand, until, saved, result, words):
    """The report is saved by this button and holds the result."""
    hand.press(words)
    until(saved.exists)
    says_the_result(saved, result)


def test_a_readout_is_calibrated(hand, until, bench, saved):
    hand.press("Calibrate a readout")
    hand.press("I have read this")
    for run in range(1, 4):
        until(lambda run=run: hand.sees(f"Run {run}") and hand.find("Start run"), 60)
        hand.press("Start run (space)")
        until(lambda: hand.sees("enough. Type what is shown."), 120)
        hand.press("Take")
        hand.press("Keep run")
    until(lambda: hand.find("Keep result"))
    hand.press("Keep result")
    until(lambda: hand.find("Certificate"))
    result = only_result(bench, "calibrate")
    hand.press("Certificate")
    until(lambda: hand.find("Save"))
    the_report_says(hand, until, saved, result, "Save")


def test_a_pass_is_checked(hand, until, bench, saved):
    hand.press("Check a pass")
    hand.press("I have read this")
    until(lambda: hand.find("Start pass (space)"), 30)
    hand.press("Start pass (space)")
    until(lambda: False if bench.recording.duration_s < 60 else hand.find("Stop pass"), 70)
    hand.press("Stop pass")
    until(lambda: hand.find("Save report"))
    (driver,) = bench.live.drivers
    truth = driver.truth()
    result = only_result(bench, "pass")
    # The simulator's own truth of this run, once it drives steadily.
    assert result.answer["ratio"] == pytest.approx(
        truth.ratio(15, 55), abs=result.answer["U_ratio"]
    )
    the_report_says(hand, until, saved, result, "Save report")


def test_pickup_gaps_are_checked(hand, until, bench, saved):
    hand.press("Check pickup gaps")
    hand.press("I have read this")
    for gap in ("1/16", "0.065", "0.07", "0.066"):
        hand.fill("Gap", gap)
        hand.press("Take reading")
    until(lambda: hand.find("Keep result"))
    hand.press("Keep result")
    until(lambda: hand.find("See report"))
    result = only_result(bench, "gap")
    hand.press("See report")
    until(lambda: hand.find("Save"))
    the_report_says(hand, until, saved, result, "Save")

"""Three people do their whole job from the first start, by mouse alone and by keyboard alone.

Widgets are found by the words a person sees or a screen reader says. The simulator runs by
the clock in the test's hand; outcomes are read from the store and from the file written.
"""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QFileDialog

from workbench.gui.app import make_window
from workbench.jobs.keep import any_answer
from workbench.jobs.verify import verify
from workbench.records.store import open_store


class Mouse:
    """Clicks on what is seen; types only into the field it has clicked."""

    def __init__(self, screen):
        self.screen, self.press = screen, screen.press

    def fill(self, words, text):
        field = self.screen.field(words)
        QTest.mouseClick(field, Qt.MouseButton.LeftButton)
        field.selectAll()  # as a double click does
        QTest.keyClicks(field, text)


class Keys:
    """Goes on by Tab and arrow keys; every key goes to whatever has the focus."""

    def __init__(self, screen):
        self.screen = screen

    def key(self, key):
        QTest.keyClick(QApplication.focusWidget() or self.screen.widget, key)

    def go_to(self, target):
        for _ in range(150):
            if QApplication.focusWidget() is target:
                return
            self.key(Qt.Key.Key_Tab)
        pytest.fail(f"Tab never comes to {target.accessibleName()!r}")

    def press(self, words):
        self.go_to(self.screen.button(words))
        self.screen.frame()  # no one is faster than the frames
        self.key(Qt.Key.Key_Space)
        self.screen.frame()

    def fill(self, words, text):
        self.go_to(self.screen.field(words))
        QTest.keyClick(
            QApplication.focusWidget(), Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier
        )
        for sign in text:
            QTest.keyClick(QApplication.focusWidget(), sign)


@pytest.fixture(params=[Mouse, Keys], ids=["by mouse", "by keyboard"])
def hand(request, bench, put_away, screen_of):
    """The program as it is at the first start, and someone in front of it."""
    bench.start()
    window = make_window(bench)
    window.timer.stop()
    window.resize(1024, 600)
    window.show()
    window.activateWindow()
    QTest.qWaitForWindowActive(window)
    yield request.param(screen_of(window))
    put_away(window)


@pytest.fixture
def until(hand, pass_time):
    """Time goes on until a button is offered; at most `most_s` simulated seconds."""

    def go(offer, most_s=0, holds=lambda: True):
        def there():
            return any(one.startswith(offer) for one in hand.screen.offers) and holds()

        for _ in range(most_s):
            if there():
                return
            pass_time(1.0, look=hand.screen.frame)
        hand.screen.until(there)

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
    assert any_answer(result).verdict in text
    assert "imulated" in text


def the_report_says(hand, saved, result, words):
    """The report is saved by this button and holds the result."""
    hand.press(words)
    hand.screen.until(saved.exists)
    says_the_result(saved, result)


def test_a_readout_is_calibrated(hand, until, bench, saved):
    hand.press("Calibrate a readout")
    hand.press("I have read this")
    for run in range(1, 4):
        until("Start run (space)", 60, lambda run=run: f"Run {run}" in hand.screen.said)
        hand.press("Start run (space)")
        until("Take", 120, lambda: "enough. Type what is shown." in hand.screen.said)
        hand.press("Take")
        hand.press("Keep run")
    until("Keep result")
    hand.press("Keep result")
    until("Certificate")
    result = only_result(bench, "calibrate")
    hand.press("Certificate")
    the_report_says(hand, saved, result, "Save certificate")


def test_a_pass_is_checked(hand, until, bench, saved):
    hand.press("Check a pass")
    hand.press("I have read this")
    until("Start pass (space)", 30)
    hand.press("Start pass (space)")
    until("Stop pass (space)", 70, lambda: bench.recording.duration_s >= 60)
    hand.press("Stop pass (space)")
    until("Save report")
    (driver,) = bench.live.drivers
    truth = driver.truth()
    result = only_result(bench, "pass")
    # The simulator's own truth of this run, once it drives steadily.
    answer = any_answer(result)
    assert answer.ratio == pytest.approx(truth.ratio(15, 55), abs=answer.U_ratio)
    the_report_says(hand, saved, result, "Save report")


def test_pickup_gaps_are_checked(hand, until, bench, saved):
    hand.press("Check pickup gaps")
    hand.press("I have read this")
    for gap in ("1/16", "0.065", "0.07", "0.066"):
        hand.fill("Gap", gap)
        hand.press("Take reading")
    until("Keep result")
    hand.press("Keep result")
    until("See report")
    result = only_result(bench, "gap")
    hand.press("See report")
    until("Save")
    the_report_says(hand, saved, result, "Save")


def test_a_machine_is_prepared(hand, until, bench, saved):
    hand.press("Prepare the machine")
    hand.press("I have read this")
    hand.fill("oil flow", "16.5")
    hand.press("Next part")
    hand.press("I have read this")
    hand.fill("tyre pressure, left", "28")
    hand.fill("tyre pressure, right", "200 kPa")
    for _part in ("level", "blades", "shanks", "belt"):
        hand.press("Next part")
    for place, sag in (("left", "2 1/4"), ("middle", "57 mm"), ("right", "2.3")):
        hand.fill(f"belt sag, {place}", sag)
    hand.press("Keep sheet")
    until("See report")
    result = only_result(bench, "prepare")
    answer = any_answer(result)
    assert (answer.verdict, answer.simulated) == ("pass", True)
    hand.press("See report")
    until("Save report")
    the_report_says(hand, saved, result, "Save report")

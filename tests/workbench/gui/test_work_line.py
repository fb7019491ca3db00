"""Slow work: off the screen's thread, in order, with progress, ended by its Cancel button."""

from __future__ import annotations

import threading

import pytest
from PySide6.QtWidgets import QProgressBar, QWidget

from workbench.base.errors import StoreError
from workbench.base.steps import tell
from workbench.gui.parts.work_bar import WorkBar
from workbench.gui.work_line import WorkLine
from workbench.models.progress import Cancelled, Progress


class Heard:
    """What a line called back, and on which thread."""

    def __init__(self):
        self.done, self.failed, self.threads = [], [], set()

    def take(self, outcome):
        self.done.append(outcome)
        self.threads.add(threading.current_thread())

    def take_failed(self, said):
        self.failed.append(said)
        self.threads.add(threading.current_thread())


@pytest.fixture
def heard():
    return Heard()


@pytest.fixture
def place(qtbot):
    widget = QWidget()
    qtbot.addWidget(widget)
    return widget


@pytest.fixture
def line(place):
    made = WorkLine(place)
    yield made
    made.wait()


def test_works_run_in_order_elsewhere_and_are_told_here(line, heard, qtbot):
    threads = []
    for number in range(3):
        line.add(
            lambda number=number: threads.append(threading.current_thread()) or number,
            # A function of no object, as a lambda is, must be called here as well.
            lambda outcome: heard.take(outcome),
            heard.take_failed,
        )
    qtbot.waitUntil(lambda: not line.busy)
    assert heard.done == [0, 1, 2]
    assert threading.current_thread() not in threads
    assert heard.threads == {threading.current_thread()}


def test_a_failure_is_a_sentence_and_the_next_work_runs(line, heard, qtbot, caplog):
    def fails(error):
        raise error

    for error in (StoreError("The store is gone."), ZeroDivisionError("a made-up defect")):
        line.add(lambda error=error: fails(error), heard.take, heard.take_failed)
    line.add(lambda: "after", heard.take, heard.take_failed)
    qtbot.waitUntil(lambda: not line.busy)
    assert heard.failed == [
        "The store is gone.",
        "That did not work (a made-up defect); the log tells more.",
    ]
    assert heard.done == ["after"]
    assert "ZeroDivisionError" in caplog.text


def test_the_bar_shows_how_far_and_its_button_ends_the_work(line, place, heard, qtbot, screen_of):
    bar, screen = WorkBar(line, appears_ms=0), screen_of(place)
    bar.setParent(place)
    place.show()
    progress, go_on = Progress("Exporting …"), threading.Event()

    def work():
        progress(0.25, "Writing the first quarter …")
        go_on.wait(10)
        progress(0.5)

    line.add(work, heard.take, heard.take_failed, progress)
    gauge = bar.findChild(QProgressBar)
    qtbot.waitUntil(lambda: bar.isVisible() and gauge.maximum() > 0)
    assert gauge.value() == gauge.maximum() / 4
    assert screen.said == "Writing the first quarter …"
    bar.cancel.click()
    assert screen.said == "Ending …"
    assert not bar.cancel.isEnabled()
    go_on.set()
    qtbot.waitUntil(lambda: not line.busy)
    assert heard.failed == ["Cancelled; nothing was changed."]
    assert heard.done == []
    assert not bar.isVisible()


def test_a_step_far_below_is_told_and_ends_the_work_too(line, heard, qtbot):
    progress, begun, go_on = Progress("Making the report …"), threading.Event(), threading.Event()

    def work():
        tell(0.25, "Drawing the pictures …")
        begun.set()
        go_on.wait(10)
        tell()

    line.add(work, heard.take, heard.take_failed, progress)
    assert begun.wait(10)
    assert (progress.fraction, progress.words) == (0.25, "Drawing the pictures …")
    progress.cancel()
    go_on.set()
    qtbot.waitUntil(lambda: not line.busy)
    assert heard.failed == ["Cancelled; nothing was changed."]
    line.add(lambda: tell() or "nobody listens", heard.take, heard.take_failed)
    qtbot.waitUntil(lambda: not line.busy)
    assert heard.done == ["nobody listens"]


def test_a_work_that_tells_nothing_is_shown_without_a_cancel_button(
    line, place, heard, qtbot, screen_of
):
    bar = WorkBar(line, appears_ms=0)
    bar.setParent(place)
    place.show()
    go_on = threading.Event()
    line.add(lambda: go_on.wait(10), heard.take, heard.take_failed)
    qtbot.waitUntil(bar.isVisible)
    assert screen_of(place).said == "Working …"
    assert bar.findChild(QProgressBar).maximum() == 0
    assert not bar.cancel.isVisible()
    go_on.set()
    qtbot.waitUntil(lambda: not line.busy)
    assert heard.done == [True]


def test_a_short_work_shows_no_bar(line, place, heard, qtbot, running_timers):
    bar = WorkBar(line, appears_ms=60_000)
    bar.setParent(place)
    place.show()
    line.add(lambda: 1, heard.take, heard.take_failed)
    assert not bar.isVisible()
    qtbot.waitUntil(lambda: not line.busy)
    assert not [timer for timer in running_timers() if timer.parent() is bar]  # nor later on


def test_at_the_end_of_the_program_a_work_is_ended_and_what_waits_is_dropped(line, heard):
    progress, ran = Progress("Long …"), []

    def work():
        while True:
            progress(0.1)

    line.add(work, heard.take, heard.take_failed, progress)
    line.add(lambda: ran.append(1), heard.take, heard.take_failed)
    line.wait()
    assert progress.cancelled
    assert ran == []


def test_a_cancelled_progress_raises_at_the_next_word_of_the_work():
    progress = Progress("Counting …")
    progress(0.5)
    assert (progress.fraction, progress.words) == (0.5, "Counting …")
    progress.cancel()
    with pytest.raises(Cancelled):
        progress(0.6, "later")
    assert (progress.fraction, progress.words) == (0.5, "Counting …")

"""Whatever lasts longer than 0.3 s shows that it goes on, wherever the person waits for it."""

from __future__ import annotations

import threading

import pytest
from PySide6.QtWidgets import QFileDialog, QProgressBar

from workbench.gui.parts.work_bar import APPEARS_MS
from workbench.gui.work_line import Worker

MACHINE = "machine.toml"


@pytest.fixture
def slow(monkeypatch):
    """Works begun from now on last until `set`."""
    go, run = threading.Event(), Worker.run

    def wait_and_run(worker):
        go.wait(30)
        run(worker)

    def begin():
        monkeypatch.setattr(Worker, "run", wait_and_run)
        return go

    yield begin
    go.set()


@pytest.fixture
def screen(window, screen_of):
    return screen_of(window)


def shows_it(screen, qtbot, go):
    """The bar is there once 0.3 s are over, and goes with the work."""
    assert APPEARS_MS <= 300
    qtbot.waitUntil(lambda: bool(screen.shown(QProgressBar, "How far the work is")), timeout=5000)
    go.set()
    screen.settle()
    assert not screen.shown(QProgressBar, "How far the work is")


@pytest.fixture
def calibrated(screen, bench, pass_time):
    """Three runs against an instrument."""
    bench.use_machine(None)
    bench.use_inputs(["sim:calibration-shop?seed=2"])
    pass_time(30.0, look=screen.frame)
    screen.press("Calibrate")
    screen.press("I have read this")
    screen.settle()
    screen.choose("What the true speed is taken from", "another instrument")
    for shown, read in (("2.7", "2.75"), ("2.6", "2.65"), ("2.5", "2.56")):
        screen.type("What the readout shows", shown)
        screen.type("The instrument's reading", read)
        screen.type("The instrument's expanded uncertainty", "0.02")
        screen.press("Keep run")
        screen.settle()
    return screen


def test_keeping_a_calibration_and_drawing_its_certificate(calibrated, slow, qtbot):
    go = slow()
    calibrated.press("Keep result")
    shows_it(calibrated, qtbot, go)
    go.clear()
    calibrated.press("Certificate")
    shows_it(calibrated, qtbot, go)
    assert "3 pages." in calibrated.said


def test_judging_a_pass(screen, pass_time, slow, qtbot):
    pass_time(20.0, look=screen.frame)
    screen.press("Pass")
    screen.press("I have read this")
    screen.until(lambda: "Start pass (space)" in screen.offers)
    screen.press("Start pass")
    pass_time(20.0, look=screen.frame)
    go = slow()
    screen.press("Stop pass")
    shows_it(screen, qtbot, go)
    assert "Start next pass (space)" in screen.offers
    go.clear()
    screen.press("Preview report")
    shows_it(screen, qtbot, go)


def test_the_list_report_of_gaps(screen, slow, qtbot):
    screen.press("Gap")
    screen.press("I have read this")
    for gap in ("1/16", "0.065", "0.07", "0.066"):
        screen.type("Gap", gap)
        screen.press("Take reading")
    screen.settle()
    go = slow()
    screen.press("Keep result")
    shows_it(screen, qtbot, go)
    go.clear()
    screen.press("See report")
    shows_it(screen, qtbot, go)


def test_reading_what_is_kept(screen, slow, qtbot):
    go = slow()
    screen.press("Records")
    shows_it(screen, qtbot, go)


def test_opening_a_machine_file(screen, bench, tmp_path, monkeypatch, slow, qtbot):
    path = tmp_path / MACHINE
    path.write_text(bench.machine.text, encoding="utf-8")
    monkeypatch.setattr(QFileDialog, "getOpenFileName", lambda *_a, **_k: (str(path), ""))
    screen.press("Machine")
    screen.settle()
    go = slow()
    screen.press("Open machine file")
    shows_it(screen, qtbot, go)

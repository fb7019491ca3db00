"""The pass by mouse and by keyboard alone, from the caution to the report."""

from __future__ import annotations

import json

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication

from workbench.gui.theme import CAB_PX
from workbench.gui.widgets.basics import Caution
from workbench.models import archive


@pytest.fixture
def page(window):
    return window.page("Pass")


def read_caution(page, qtbot):
    qtbot.mouseClick(page.findChild(Caution).understood, Qt.MouseButton.LeftButton)


def test_the_caution_comes_first(page, qtbot, window):
    assert page.findChild(Caution).isVisible()
    assert not page._start.isEnabled()
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert not page.job.running
    read_caution(page, qtbot)
    assert page._start.isEnabled()
    assert not page.findChild(Caution).isVisible()


def test_a_pass_by_the_space_bar_ends_in_a_report(
    page, window, bench, qtbot, pass_time, settle, tmp_path, monkeypatch
):
    monkeypatch.setattr(QApplication, "beep", lambda: None)
    pass_time(2, look=window.tick)
    caution = page.findChild(Caution).understood
    caution.setFocus()
    qtbot.keyClick(caution, Qt.Key.Key_Space)
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert page.job.running
    assert bench.recording.running
    assert page._start.text() == "Stop pass (space)"
    pass_time(40, look=window.tick)
    assert "slow" in page._sentence.text()
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert not bench.recording.running
    settle(page)
    answer = page.job.answer
    assert answer["verdict"] in ("fail", "conditional fail")
    assert page._after.isVisible()
    assert "slower than the ground" in page._after.sentence.text()
    stored = archive.result(bench.store, answer["result"])
    assert stored.answer["ratio"] == answer["ratio"]
    page.save_report(tmp_path / "pass.json")
    settle(page)
    assert json.loads((tmp_path / "pass.json").read_text(encoding="utf-8"))
    assert page._after.sentence.text() == "Saved as pass.json."


def test_the_three_numbers_can_be_read_from_afar(page, qtbot, window, pass_time):
    read_caution(page, qtbot)
    pass_time(15, look=window.tick)
    for number in page._numbers.values():
        assert number.font().pixelSize() >= CAB_PX >= 96
        assert number.fontMetrics().horizontalAdvance(number.text()) <= number.width()


def test_a_lost_signal_leaves_no_number_standing(page, qtbot, window, bench, clock, pass_time):
    read_caution(page, qtbot)
    pass_time(15, look=window.tick)
    assert page._numbers["belt"].text() != "–"
    bench.live.stop()
    clock.now_s += 10
    window.tick()
    assert [number.text() for number in page._numbers.values()] == ["–", "–", "–"]
    assert "no signal from belt and ground" in page._strip.accessibleDescription()


def test_cues_can_be_told_apart_and_switched_off(
    page, qtbot, window, bench, pass_time, monkeypatch
):
    beeps = []
    monkeypatch.setattr(QApplication, "beep", lambda: beeps.append(1))
    read_caution(page, qtbot)
    pass_time(15, look=window.tick)
    page._start.click()
    pass_time(4, look=window.tick)
    for _ in range(60):
        window.tick()
    assert len(beeps) == 2  # out of band
    qtbot.mouseClick(page._sound, Qt.MouseButton.LeftButton)
    assert not bench.settings.now.sounds
    page._cue = None
    for _ in range(60):
        window.tick()
    assert len(beeps) == 2
    page._start.click()
    page._worker.wait()


def test_without_a_store_the_pass_says_so(page, qtbot, window, bench, tmp_path, pass_time):
    (tmp_path / "no").write_text("")
    bench.store = str(tmp_path / "no" / "store.db")
    read_caution(page, qtbot)
    pass_time(15, look=window.tick)
    page._start.click()
    assert page.job.running
    assert "Not recording" in page.job.said
    page._start.click()
    assert page._sentence.text().startswith("The pass could not be kept.")

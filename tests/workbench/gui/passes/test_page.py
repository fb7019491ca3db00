"""The pass by mouse and by keyboard alone, from the caution to the report."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtWidgets import QApplication

from workbench.base.statements import statement
from workbench.base.units import METRIC, US
from workbench.calibration.statistics.decision import Verdict
from workbench.gui.parts.basics import CautionCard
from workbench.gui.passes.cab_numbers import CabNumber
from workbench.gui.passes.track import PassTrack
from workbench.gui.theme import BRIGHT, CAB_PX, DARK, contrast
from workbench.jobs.passes.answer import PassAnswer
from workbench.match.ratio import PaceSays
from workbench.match.track import Track
from workbench.models.passes.cues import Cue
from workbench.models.passes.live import Health, Reading
from workbench.models.records import archive


@pytest.fixture
def page(window):
    return window.page("Pass")


@pytest.fixture
def played(page, monkeypatch):
    """The cues that are played."""
    cues = []
    monkeypatch.setattr(page._player, "play", cues.append)
    return cues


@pytest.fixture(autouse=True)
def silence(monkeypatch):
    monkeypatch.setattr(QApplication, "beep", lambda: None)


@pytest.fixture
def done(page, window, qtbot):
    """Frames until the page's slow work is done."""

    def wait():
        def idle():
            window.tick()
            assert not page._works.busy

        qtbot.waitUntil(idle, timeout=20_000)
        QCoreApplication.processEvents()
        window.tick()

    return wait


def read_caution(page, qtbot):
    qtbot.mouseClick(page.findChild(CautionCard).understood, Qt.MouseButton.LeftButton)


def press(page, name, qtbot):
    qtbot.mouseClick(page._others[name], Qt.MouseButton.LeftButton)


def test_the_caution_comes_first(page, qtbot, window, pass_time):
    pass_time(2, look=window.tick)
    assert page.findChild(CautionCard).isVisible()
    assert not page._start.isEnabled()
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert not page.job.running
    page.job.auto.on = True
    assert not page._safety.isVisible()
    read_caution(page, qtbot)
    window.tick()
    assert page._start.isEnabled()
    assert not page.findChild(CautionCard).isVisible()
    assert "do not operate it while driving" in page._safety.text()
    assert page._safety.isVisible()


def test_a_pass_by_the_space_bar_ends_in_a_report(
    page, window, bench, qtbot, pass_time, done, tmp_path, played
):
    pass_time(2, look=window.tick)
    caution = page.findChild(CautionCard).understood
    caution.setFocus()
    qtbot.keyClick(caution, Qt.Key.Key_Space)
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert page.job.running
    assert bench.recording.running
    assert page._start.text() == "Stop pass (space)"
    assert page._view.strip.words() == "counts once a pass is steady"
    pass_time(40, look=window.tick)
    assert "behind" in page._view.strip.words()
    assert "slow" in page._view.sentence
    assert page._safety.isVisible()
    assert played[0] is Cue.OUT_OF_BAND
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert not bench.recording.running
    done()
    answer = page.judged.answer
    assert answer.verdict.is_fail
    assert page._after.isVisible()
    assert "slower than the ground" in page._after.headline.text()
    assert "mph" in page._after.sentence.text()
    stored = archive.result(bench.store, page.judged.number)
    assert stored.answer["ratio"] == answer.ratio
    assert stored.answer["simulated"] is True
    page.save_report(tmp_path / "pass.json")
    done()
    assert json.loads((tmp_path / "pass.json").read_text(encoding="utf-8"))["simulated"] is True
    assert page._after.sentence.text() == "Saved as pass.json."
    bench.settings.change(units="metric")
    window.tick()
    assert "km/h" in page._after.sentence.text()
    judge_the_old_one_and_look_at_its_paper(page, qtbot, window, done)


def judge_the_old_one_and_look_at_its_paper(page, qtbot, window, done):
    """From the answer to the next pass, to the list of recordings, to the preview and back."""
    assert page._start.text() == "Next pass (space)"
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert page._start.text() == "Start pass (space)"
    press(page, "old", qtbot)
    done()
    assert page._past.chosen == 1
    qtbot.mouseClick(page._start, Qt.MouseButton.LeftButton)
    done()
    assert page._after.isVisible()
    qtbot.mouseClick(page._after._on_field, Qt.MouseButton.LeftButton)
    assert page._after.track.isVisible()
    assert "belt slow" in page._after.track.words()
    page._after._ground.setCurrentText("wheel")
    page._after._ask_again()
    done()
    assert page.judged.answer.ground == "wheel"
    press(page, "preview", qtbot)
    done()
    assert page._paper.isVisible()
    assert all(not picture.isNull() for picture in page._paper._pages)
    assert len(page._paper._pages) >= 1
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert page._after.isVisible()


def test_a_pass_that_starts_and_stops_by_itself(
    page, window, bench, qtbot, pass_time, done, monkeypatch
):
    read_caution(page, qtbot)
    qtbot.mouseClick(page._view.ready.by_itself, Qt.MouseButton.LeftButton)
    assert page._view.ready.by_itself.text() == "Start and stop by itself: on"
    pass_time(5, look=window.tick)  # the scenario stands for its first three seconds
    assert not page.job.running
    assert "by itself" in page._view.sentence
    pass_time(8, look=window.tick)
    assert page.job.running
    pass_time(14, look=window.tick)
    pace = page.job.pace_now()
    standing = type(pace)(pace.belt_m, pace.ground_m, 0.0, 0.0, belt_lost=False, ground_lost=False)
    monkeypatch.setattr(page.job, "pace_now", lambda: standing)
    pass_time(6, look=window.tick)
    assert not page.job.running
    done()
    assert page._after.isVisible()


def test_the_three_numbers_can_be_read_from_afar(page, qtbot, window, bench, pass_time):
    read_caution(page, qtbot)
    pass_time(15, look=window.tick)
    for size in ((960, 540), (1024, 600), (1920, 1080)):
        window.resize(*size)
        for units in ("us", "metric"):
            bench.settings.change(units=units)
            QCoreApplication.processEvents()
            window.tick()
            for number in page._view.numbers.all:
                fonts = number.number_font()
                assert fonts.pixelSize() >= CAB_PX >= 96
                wide = number.fontMetrics().__class__(fonts).horizontalAdvance(number.text)
                assert wide <= number.width()
                assert number.height() >= 0.73 * fonts.pixelSize()
    assert page._view.numbers.belt.number_font().pixelSize() > 1.5 * CAB_PX


@pytest.mark.parametrize("theme", [BRIGHT, DARK])
def test_the_numbers_have_the_most_contrast_there_is(theme, qtbot):
    number = CabNumber("belt", "belt", theme)
    qtbot.addWidget(number)
    number.show_reading(Reading("2.41", Health.LIVE, "left"), "mph")
    # WCAG 2.1, success criterion 1.4.6 (level AAA) asks 7:1.
    assert contrast(number.ink(), theme.ground) > 13
    number.show_reading(Reading("lost", Health.LOST, "left"), "mph")
    assert 4.5 <= contrast(number.ink(), theme.ground) < 7


def test_a_lost_signal_says_lost_in_place_of_a_number(
    page, qtbot, window, bench, clock, pass_time, played
):
    read_caution(page, qtbot)
    pass_time(15, look=window.tick)
    assert page._view.numbers.belt.text != "lost"
    page._start.click()
    pass_time(5, look=window.tick)
    bench.live.stop()
    clock.now_s += 10
    window.tick()
    window.tick()
    assert [number.text for number in page._view.numbers.all] == ["lost"] * 3
    assert "no signal from belt and ground" in page._view.strip.accessibleDescription()
    assert page._view.sentence.startswith("Belt and ground are lost")
    assert played == [Cue.LOST]
    assert page._start.isEnabled()  # a pass can always be ended


def test_sounds_can_be_switched_off_and_tried(page, qtbot, window, bench, pass_time):
    read_caution(page, qtbot)
    ready = page._view.ready
    qtbot.mouseClick(ready.try_sounds, Qt.MouseButton.LeftButton)
    said = set()

    def look():
        said.add(ready._heard.text())
        window.tick()

    # Readers brought up to the clock: a signal left behind counts as lost, and no pass begins.
    pass_time(7, step_s=0.1, look=look)
    assert {words.split(":")[0] for words in said} >= {"In band", "Out of band", "Lost signal"}
    assert ready.try_sounds.text() == "Try sounds"
    qtbot.mouseClick(ready.sound, Qt.MouseButton.LeftButton)
    assert not bench.settings.now.sounds
    cues = []
    page._player.play = cues.append
    page._start.click()
    assert page.job.running
    pass_time(25, look=window.tick)
    assert page.job.cue is Cue.OUT_OF_BAND
    assert cues == []
    press(page, "sound", qtbot)
    assert bench.settings.now.sounds
    pass_time(16, look=window.tick)
    assert cues == [Cue.OUT_OF_BAND]  # the reminder


def test_a_cue_is_heard_while_another_page_is_looked_at(page, qtbot, window, pass_time, played):
    read_caution(page, qtbot)
    pass_time(2, look=window.tick)
    page._start.click()
    window.show_page("Start")
    pass_time(25, look=window.tick)
    assert played[0] is Cue.OUT_OF_BAND


def test_what_is_missing_is_said_and_leads_to_the_page_that_helps(
    page, qtbot, window, bench, pass_time
):
    read_caution(page, qtbot)
    pass_time(2, look=window.tick)
    for name in ("radar", "gnss", "wheel"):
        del bench.live.streams[name]
    page.refresh()
    assert not page._start.isEnabled()
    assert "no ground speed to compare" in page._view.sentence
    assert page._view.numbers.ground.text == "none"
    press(page, "help", qtbot)
    assert window.page("Signals").isVisible()
    bench.machine = None
    window.show_page("Pass")
    assert page._others["help"].text() == "Go to Machine"


def test_the_sources_that_are_used_are_said_and_can_be_chosen(
    page, qtbot, window, bench, pass_time
):
    read_caution(page, qtbot)
    pass_time(2, look=window.tick)
    ready = page._view.ready
    assert ready.ground.currentText() == "Chosen by itself: gnss"
    at = ready.ground.findData("radar")
    ready.ground.setCurrentIndex(at)
    ready.ground.activated.emit(at)
    window.tick()
    assert bench.ground_source == "radar"
    assert ready.ground.currentText() == "radar (speed, live)"
    assert "radar" in page._view.numbers.ground.accessibleName()
    page._start.click()
    assert page.job.ground is None or page.job.ground.name == "radar"


def test_without_a_store_the_pass_says_so(page, qtbot, window, bench, tmp_path, pass_time, done):
    pass_time(2, look=window.tick)
    (tmp_path / "no").write_text("")
    bench.store = str(tmp_path / "no" / "store.db")
    read_caution(page, qtbot)
    window.tick()
    page._start.click()
    assert page.job.running
    page._start.click()
    done()
    assert "cannot be used" in page._view.sentence
    assert page._start.text() == "Start pass (space)"


def test_the_space_bar_leaves_buttons_with_the_focus_alone(page, qtbot, window, pass_time):
    pass_time(2, look=window.tick)
    read_caution(page, qtbot)
    page._view.ready.sound.setFocus()
    window.tick()
    before = page._bench.settings.now.sounds
    qtbot.keyClick(page._view.ready.sound, Qt.Key.Key_Space)
    assert not page.job.running
    assert page._bench.settings.now.sounds is not before
    page._start.setFocus()
    window.tick()
    qtbot.keyClick(page._start, Qt.Key.Key_Space)
    assert page.job.running
    page._others["sound"].setFocus()
    window.tick()
    qtbot.keyClick(page._others["sound"], Qt.Key.Key_Space)
    assert not page.job.running  # while a pass runs, space always ends it


def test_an_answer_of_a_pass_and_units(qtbot):
    """The page's answer follows the unit switch; the drawn way has a bar in that unit."""
    drawn = PassTrack(BRIGHT)
    qtbot.addWidget(drawn)
    reason = statement(PaceSays.NO_TIME_IN_COMMON)
    answer = PassAnswer(
        *("a way", "", False, "left", "gnss", None, ("left", "gnss")),
        verdict=Verdict.CANNOT_TELL,
        reason=reason,
        ratio_low=0.95,
        ratio_high=1.05,
    )
    drawn.show_answer(answer, US)
    assert drawn.is_empty
    ends = np.array([0.0, 1.0])
    way = Track(ends, ends, ends, 0 * ends, 30.48 * ends, np.array([1.0, 0.9]), 30.48)
    drawn.show_answer(replace(answer, track=way), US)
    # 100 ft are 30.48 m exactly (NIST SP 811, appendix B).
    assert drawn.words() == "100.0 ft of way: in band 50 %, belt slow 50 %"
    drawn.show_answer(replace(answer, track=way), METRIC)
    assert drawn.words().startswith("30.5 m")

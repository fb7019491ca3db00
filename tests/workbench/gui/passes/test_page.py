"""The pass by mouse and by keyboard alone, from the caution to the report."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, Qt
from PySide6.QtWidgets import QApplication, QLabel, QListWidget

from workbench.base.statements import statement
from workbench.base.units import METRIC, US
from workbench.calibration.statistics.decision import Verdict
from workbench.gui.answers.passes import PassAnswerView
from workbench.gui.answers.track import PassTrack
from workbench.gui.parts.basics import CautionCard, Elided
from workbench.gui.parts.pace_strip import PaceStrip
from workbench.gui.parts.report_pages import ReportPages
from workbench.gui.passes.cab_numbers import CabNumber
from workbench.gui.passes.cue_player import CuePlayer
from workbench.gui.theme import BRIGHT, CAB_PX, DARK, contrast
from workbench.jobs.keep import any_answer
from workbench.jobs.passes.answer import PassAnswer
from workbench.match.ratio import PaceSays
from workbench.match.track import Track
from workbench.models.passes.cues import Cue
from workbench.models.passes.live import Health, Reading
from workbench.models.records import archive

START = "Start pass (space)"


@pytest.fixture
def page(window):
    return window.page("Pass")


@pytest.fixture
def played(monkeypatch):
    """The cues that are played."""
    cues = []
    monkeypatch.setattr(CuePlayer, "play", lambda _player, cue: cues.append(cue))
    return cues


@pytest.fixture(autouse=True)
def silence(monkeypatch):
    monkeypatch.setattr(QApplication, "beep", lambda: None)


@pytest.fixture
def ready(screen, pass_time):
    """The caution is read, and signals have come for so many seconds."""

    def wait(for_s=2):
        screen.press("I have read this")
        pass_time(for_s, look=screen.frame)

    return wait


def test_the_caution_comes_first(page, screen, window, qtbot, pass_time):
    pass_time(2, look=screen.frame)
    assert screen.shown(CautionCard)
    assert START not in screen.offers
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert not page.job.running
    page.job.auto.on = True
    assert not screen.shown(QLabel, "⚠ ")
    screen.press("I have read this")
    assert START in screen.offers
    assert not screen.shown(CautionCard)
    assert "do not operate it while driving" in screen.one(QLabel, "⚠ ").text()


def test_a_pass_by_the_space_bar_ends_in_a_report(
    page, screen, window, bench, qtbot, pass_time, tmp_path, played
):
    pass_time(2, look=screen.frame)
    caution = screen.button("I have read this")
    caution.setFocus()
    qtbot.keyClick(caution, Qt.Key.Key_Space)
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert page.job.running
    assert bench.recording.running
    assert screen.next == "Stop pass (space)"
    assert screen.one(PaceStrip).words() == "counts once both are steady"
    pass_time(40, look=screen.frame)
    assert "behind" in screen.one(PaceStrip).words()
    assert "slow" in screen.said
    assert "do not operate it while driving" in screen.one(QLabel, "⚠ ").text()
    assert played[0] is Cue.OUT_OF_BAND
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert not bench.recording.running
    screen.settle()
    answer = page.judged.answer
    assert answer.verdict.is_fail
    assert screen.shown(PassAnswerView)
    assert "slower than the ground" in screen.said
    assert "mph" in screen.said
    stored = archive.result(bench.store, page.judged.number)
    assert any_answer(stored).ratio == answer.ratio
    assert any_answer(stored).simulated is True
    page.save_report(tmp_path / "pass.json")
    screen.settle()
    assert json.loads((tmp_path / "pass.json").read_text(encoding="utf-8"))["simulated"] is True
    assert screen.shown(QLabel, "Saved as pass.json.")
    bench.settings.change(units="metric")
    screen.frame()
    assert "km/h" in screen.said
    judge_the_old_one_and_look_at_its_paper(page, screen, window, qtbot)


def judge_the_old_one_and_look_at_its_paper(page, screen, window, qtbot):
    """From the answer to the next pass, to the list of recordings, to the preview and back."""
    screen.press("Go back")
    assert screen.next == START
    screen.press("Judge a recording")
    screen.settle()
    assert screen.one(QListWidget).currentItem().text().startswith("1 ")
    screen.press("Judge this recording")
    screen.settle()
    assert screen.shown(PassAnswerView)
    screen.press("On the field")
    assert "belt slow" in screen.one(PassTrack).words()
    screen.choose("Ground source of this recording", "wheel")
    screen.press("Judge again with these")
    screen.settle()
    assert page.judged.answer.ground == "wheel"
    type_beside_the_pass(page, screen)
    screen.press("Preview report")
    screen.settle()
    sheets = screen.one(ReportPages).findChildren(QLabel)
    assert sheets
    assert not any(sheet.pixmap().isNull() for sheet in sheets)
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert screen.shown(PassAnswerView)


def type_beside_the_pass(page, screen):
    """Oil, moves and a taped course are the screen's too; a wrong one gets its sentence."""
    screen.type("Taped course", "30m,20,10")
    screen.press("Judge again with these")
    assert "an end after its beginning" in screen.said
    screen.type("Taped course", "30m, 0:20, 0:45")
    screen.type("Oil at start", "12, 48")
    screen.press("Judge again with these")
    screen.settle()
    course = page.judged.answer.course
    assert course.true_speed_mps == pytest.approx(30 / 25)
    screen.press("Show all in words")
    assert "True speed by the taped course: 4.3" in screen.said


def test_after_an_answer_one_press_of_space_begins_the_next_pass(
    page, screen, window, ready, pass_time, bench, qtbot
):
    ready(12)
    for _ in range(2):
        qtbot.keyClick(window, Qt.Key.Key_Space)
        assert page.job.running
        assert bench.recording.running
        assert screen.shown(Elided, f"◉ Recording, {bench.machine.name}")
        pass_time(20, look=screen.frame)
        qtbot.keyClick(window, Qt.Key.Key_Space)
        screen.settle()
        assert screen.shown(PassAnswerView)
        assert screen.next == "Start next pass (space)"
        told = screen.one(Elided, "Judged: ").text()
        assert told.endswith(bench.machine.name)
    assert page.judged.recording == 2


def test_what_is_typed_beside_a_pass_is_of_that_pass(page, screen, ready, pass_time):
    ready(12)
    for step in (START, "Start next pass (space)"):
        screen.press(step)
        pass_time(20, look=screen.frame)
        screen.press("Stop pass")
        screen.settle()
        assert screen.field("Taped course").text() == ""
        screen.type("Taped course", "10m, 0:02, 0:12")
        screen.press("Judge again with these")
        screen.settle()
        assert page.judged.answer.course is not None
        assert screen.field("Taped course").text() == "10m, 0:02, 0:12"


def test_an_answer_never_stands_under_another_machines_name(
    page, screen, window, ready, pass_time, bench, qtbot
):
    ready(12)
    qtbot.keyClick(window, Qt.Key.Key_Space)
    pass_time(20, look=screen.frame)
    qtbot.keyClick(window, Qt.Key.Key_Space)
    screen.settle()
    bench.use_machine(replace(bench.machine, name="Another digger"))
    screen.frame()
    assert not screen.shown(PassAnswerView)
    assert screen.next == START
    assert not screen.shown(Elided, "Judged: ")


def test_a_pass_that_starts_and_stops_by_itself(page, screen, ready, pass_time, monkeypatch):
    ready(0)
    screen.press("Start and stop by itself: off")
    assert screen.button("Start and stop by itself: on")
    pass_time(5, look=screen.frame)  # the scenario stands for its first three seconds
    assert not page.job.running
    assert screen.shown(QLabel, "Waiting to begin by itself")
    pass_time(8, look=screen.frame)
    assert page.job.running
    pass_time(14, look=screen.frame)
    pace = page.job.pace_now()
    standing = type(pace)(pace.belt_m, pace.ground_m, 0.0, 0.0, belt_lost=False, ground_lost=False)
    monkeypatch.setattr(page.job, "pace_now", lambda: standing)
    pass_time(6, look=screen.frame)
    assert not page.job.running
    screen.settle()
    assert screen.shown(PassAnswerView)


def test_the_three_numbers_can_be_read_from_afar(screen, ready, window, bench):
    ready(15)
    for size in ((960, 540), (1024, 600), (1920, 1080)):
        window.resize(*size)
        for units in ("us", "metric"):
            bench.settings.change(units=units)
            QCoreApplication.processEvents()
            screen.frame()
            numbers = screen.shown(CabNumber)
            assert len(numbers) == 3
            for number in numbers:
                fonts = number.number_font()
                assert fonts.pixelSize() >= CAB_PX >= 96
                wide = number.fontMetrics().__class__(fonts).horizontalAdvance(number.text)
                assert wide <= number.width()
                assert number.height() >= 0.73 * fonts.pixelSize()
    assert screen.one(CabNumber, "belt").number_font().pixelSize() > 1.5 * CAB_PX


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
    screen, ready, bench, clock, pass_time, played
):
    ready(15)
    assert screen.one(CabNumber, "belt").text != "lost"
    screen.press(START)
    pass_time(5, look=screen.frame)
    bench.live.stop()
    clock.now_s += 10
    screen.frame()
    screen.frame()
    assert [number.text for number in screen.shown(CabNumber)] == ["lost"] * 3
    assert "no signal from belt and ground" in screen.one(PaceStrip).accessibleDescription()
    assert screen.shown(QLabel, "Belt and ground are lost")
    assert played == [Cue.LOST]
    assert "Stop pass (space)" in screen.offers  # a pass can always be ended


def test_sounds_can_be_switched_off_and_tried(page, screen, ready, bench, pass_time, monkeypatch):
    ready(0)
    screen.press("Try sounds")
    said = []

    def look():
        said.append(screen.said)
        screen.frame()

    # Readers brought up to the clock: a signal left behind counts as lost, and no pass begins.
    pass_time(7, step_s=0.1, look=look)
    for cue in ("In band: ", "Out of band: ", "Lost signal: "):
        assert any(cue in one for one in said)
    assert "Try sounds" in screen.offers
    screen.press("Sounds: on")
    assert not bench.settings.now.sounds
    cues = []
    monkeypatch.setattr(CuePlayer, "play", lambda _player, cue: cues.append(cue))
    screen.press(START)
    assert page.job.running
    pass_time(25, look=screen.frame)
    assert "slow" in screen.said
    assert cues == []
    screen.press("Sounds: off")
    assert bench.settings.now.sounds
    pass_time(16, look=screen.frame)
    assert cues == [Cue.OUT_OF_BAND]  # the reminder


def test_a_cue_is_heard_while_another_page_is_looked_at(screen, ready, window, pass_time, played):
    ready()
    screen.press(START)
    window.show_page("Start")
    pass_time(25, look=window.tick)
    assert played[0] is Cue.OUT_OF_BAND


def test_what_is_missing_is_said_and_leads_to_the_page_that_helps(
    page, screen, ready, window, bench
):
    ready()
    for name in ("radar", "gnss", "wheel"):
        del bench.live.streams[name]
    page.refresh()
    assert START not in screen.offers
    assert "no ground speed to compare" in screen.said
    assert screen.one(CabNumber, "ground").text == "none"
    screen.press("Go to Signals")
    assert window.current is window.page("Signals")
    bench.machine = None
    window.show_page("Pass")
    assert screen.button("Go to Machine")


def test_the_sources_that_are_used_are_said_and_can_be_chosen(page, screen, ready, bench):
    ready()
    ground = screen.field("Ground speed source")
    assert ground.currentText() == "Chosen by itself: gnss"
    screen.choose("Ground speed source", "radar")
    assert bench.ground_source == "radar"
    assert ground.currentText() == "radar (speed, live)"
    assert "radar" in screen.one(CabNumber, "ground").accessibleName()
    screen.press(START)
    assert page.job.ground is None or page.job.ground.name == "radar"


def test_without_a_store_the_pass_says_so(page, screen, bench, tmp_path, pass_time):
    pass_time(2, look=screen.frame)
    (tmp_path / "no").write_text("")
    bench.store = str(tmp_path / "no" / "store.db")
    screen.press("I have read this")
    screen.press(START)
    assert page.job.running
    screen.press("Stop pass (space)")
    screen.settle()
    assert "cannot be used" in screen.said
    assert screen.next == START


def test_the_space_bar_leaves_buttons_with_the_focus_alone(page, screen, ready, bench, qtbot):
    def space_on(words):
        screen.button(words).setFocus()
        screen.frame()
        qtbot.keyClick(screen.button(words), Qt.Key.Key_Space)

    ready()
    before = bench.settings.now.sounds
    space_on("Sounds")
    assert not page.job.running
    assert bench.settings.now.sounds is not before
    space_on(START)
    assert page.job.running
    screen.frame()
    space_on("Sounds")
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


def test_a_pass_that_radar_settles_offers_it_with_one_press(page, screen, bench, ready, pass_time):
    """Satellite speed drops out, more of the same would not settle it, and radar is live."""
    bench.machine = None
    bench.use_inputs(["sim:gnss-dropouts?seed=1"])
    ready(3)
    bench.ground_source = "gnss"
    screen.press(START)
    pass_time(60, look=screen.frame)
    screen.press("Stop pass (space)")
    screen.settle()
    assert page.judged.answer.verdict is Verdict.CANNOT_TELL
    assert "longer pass" not in screen.said
    screen.press("Judge again with radar")
    screen.settle()
    answer = page.judged.answer
    assert answer.ground == "radar"
    assert answer.verdict is Verdict.PASS
    assert not any(one.startswith("Judge again with radar") for one in screen.offers)

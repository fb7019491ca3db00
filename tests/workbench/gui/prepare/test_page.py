"""Prepare on the screen: caution first, values as on the tool, answers at once, nothing lost."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QLineEdit

from workbench.base.cautions import Caution
from workbench.base.machine import parse_machine
from workbench.calibration.prepare.measures import ReadingKind, Topic
from workbench.calibration.statistics.decision import Verdict
from workbench.gui.prepare.page import PreparePage
from workbench.gui.theme import BRIGHT, TOUCH_PX
from workbench.jobs.keep import any_answer
from workbench.models.prepare.job import PrepareJob
from workbench.records.store import open_store

MACHINE = """
name = "Test digger"
[drive]
target_teeth = 24
kind = "roll"
roll_diameter_m = 0.15
[prepare]
rows = "single"
row_count = 2
row_spacing_m = 0.9144
[[chain]]
name = "main"
span_m = 0.6
pitch_m = 0.0254
[[service]]
part = "fan bearing"
sign = "rough by hand"
every_days = 30
last_on = 2026-01-01
"""
TODAY = "2026-11-29"


@pytest.fixture
def page(bench, housed):
    """All cautions read, in what the smallest window leaves to it."""
    bench.use_machine(parse_machine(MACHINE, "test"), "digger.toml")
    bench.cautions_read |= {
        Caution.AT_THE_MACHINE,
        Caution.AT_THE_HYDRAULICS,
        Caution.BEFORE_A_PASS,
    }
    return housed(PreparePage(bench, BRIGHT), 832, 500)


@pytest.fixture
def job(bench):
    bench.use_machine(parse_machine(MACHINE, "test"), "digger.toml")
    return PrepareJob(bench, today=lambda: TODAY)


def test_the_caution_comes_before_the_step(bench, housed, screen_of):
    bench.use_machine(parse_machine(MACHINE, "test"))
    screen = screen_of(housed(PreparePage(bench, BRIGHT), 832, 500))
    assert "cardboard" in screen.said
    assert screen.shown(QLineEdit) == []
    screen.press("I have read this")
    assert "cardboard" not in screen.said
    assert screen.widget.focusWidget() is screen.field("oil flow")


def test_values_are_judged_as_they_are_typed(page, screen):
    page.show_topic(Topic.BELT)
    screen.type("belt sag, left", "2 1/4")
    assert "2.25 ± 0.16 in; limits 1.75 to 2.75 in (common practice, no source)" in screen.said
    screen.type("belt sag, right", "100 mm")
    assert "Take the belt up (right)" in screen.said
    assert page.job.verdict(Topic.BELT) is Verdict.FAIL
    assert page.topics[Topic.BELT].text().startswith("✗")


def test_enter_goes_on_from_field_to_field_and_part_to_part(page, screen):
    page.show_topic(Topic.FLOW)
    screen.type("oil flow", "15.5", Qt.Key.Key_Return)
    assert QApplication.focusWidget() is screen.field("oil temperature")
    screen.key(Qt.Key.Key_Return, "oil temperature")
    assert page.job.topic is Topic.TYRES
    assert QApplication.focusWidget() is screen.field("tyre pressure, left")


def test_a_wrong_entry_says_what_would_be_right_and_stays(page, screen):
    page.show_topic(Topic.BELT)
    screen.type("belt sag, left", "2 m")
    assert "belt sag of 2 m; expected 0.001 to 0.3 m." in screen.said
    assert screen.field("belt sag, left").text() == "2 m"
    screen.type("belt sag, middle", "2 1/4")
    screen.press("Keep sheet")
    assert "belt sag, left: belt sag of 2 m" in screen.said
    page.show_topic(Topic.TYRES)
    screen.type("tyre pressure, left", "400")
    assert "tyre pressure of 400 psi; expected 2.9 to 131 psi." in screen.said


@pytest.mark.parametrize("topic", Topic)
def test_all_that_is_touched_is_large_enough(page, screen, topic):
    page.show_topic(topic)
    touched = [*screen.shown(QAbstractButton), *screen.shown(QLineEdit), *screen.shown(QComboBox)]
    assert [one for one in touched if one.height() < TOUCH_PX] == []
    assert page.drawing.sketch.said


def test_a_part_is_worn_and_another_looked_after_today(page, screen):
    page.show_topic(Topic.WEAR)
    assert "Due, as far as this sheet knows: fan bearing." in screen.said
    screen.choose("wear, fan bearing", "worn")
    assert page.job.verdict(Topic.WEAR) is Verdict.FAIL
    screen.type("looked after on, fan bearing", "today")
    assert "Due, as far" not in screen.said


def test_a_taped_course_proves_a_radar(page, screen):
    page.show_topic(Topic.COURSE)
    screen.type("course length", "100")
    for run in ("1 there", "2 back"):
        screen.type(f"course time, {run}", "27.3")
        screen.type(f"radar shows, {run}", "2.6")
    assert "radar, 0.96" in screen.said
    assert "used by passes from now on" in screen.said


def test_what_was_typed_is_there_after_a_crash(bench, page, screen, housed):
    page.show_topic(Topic.BELT)
    screen.type("belt sag, left", "2 1/4")
    screen.type("belt sag, middle", "2 1/")
    screen.settle()
    # No end of the program: another is begun on what lies on the disk.
    again = PrepareJob(bench)
    assert again.text((ReadingKind.BELT_SAG, "left")) == "2 1/4"
    assert again.text((ReadingKind.BELT_SAG, "middle")) == "2 1/"


@pytest.mark.parametrize("damaged", ["{", "[]"])
def test_a_damaged_sheet_of_last_time_is_put_aside_and_said(bench, damaged):
    path = bench.settings.path.with_name("prepare-sheet.json")
    path.write_text(damaged)
    job = PrepareJob(bench, today=lambda: TODAY)
    assert "damaged" in job.said
    assert "prepare-sheet.damaged" in job.said
    assert path.with_suffix(".damaged").read_text() == damaged
    assert not job.has_readings


def test_a_bare_number_stays_what_it_is_in_other_units(bench, job):
    slot = (ReadingKind.BELT_SAG, "left")
    job.type(slot, "2.25")
    before = job.sheet.checks[0].value
    bench.settings.change(units="metric")
    job.look_at_machine()
    assert (job.text(slot), job.unit(slot)) == ("57.15", "mm")
    assert job.sheet.checks[0].value == before
    job.type(slot, "57")
    assert job.text(slot) == "57"
    assert job.sheet.checks[0].value == pytest.approx(0.057)


def test_each_machine_has_a_sheet_of_its_own(bench, job):
    job.type((ReadingKind.BELT_SAG, "left"), "2")
    bench.use_machine(parse_machine(MACHINE.replace("Test digger", "Another"), "test"))
    job.look_at_machine()
    assert not job.has_readings
    bench.use_machine(parse_machine(MACHINE, "test"))
    job.look_at_machine()
    assert job.has_readings


def test_a_sheet_is_kept_and_known_to_the_next(bench, job):
    job.type((ReadingKind.DONE, "fan bearing"), "today")
    job.type((ReadingKind.BELT_SAG, "left"), "2 1/4")
    kept = job.keep_work()()
    assert kept.answer.due == ()
    with open_store(bench.store) as store:
        stored = any_answer(store.result(kept.number))
    assert (stored.verdict, stored.done) == (kept.answer.verdict, kept.answer.done)
    job.clear()
    job.type((ReadingKind.BELT_SAG, "left"), "2 1/4")
    assert job.keep_work()().answer.due == ()


def test_a_table_is_put_into_the_fields(page, screen, tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text("check,place,value,unit\nbelt sag,left,2 1/4,in\noil flow,,60,L/min\n")
    page.open_files([path])
    page.show_topic(Topic.BELT)
    assert screen.field("belt sag, left").text() == "2 1/4"
    path.write_text("check,place,value,unit\nbelt sag,left,2,m\n")
    page.open_files([path])
    assert "sheet.csv, line 2: belt sag of 2 m" in screen.said


def test_a_whole_sheet_by_keys_alone(page, screen, qtbot):
    """Every field of every topic is come to by Enter."""
    seen = set()
    page.show_topic(Topic.FLOW)
    for _key in range(200):
        focus = QApplication.focusWidget()
        if page.job.at_last and focus in seen:
            break
        seen.add(focus)
        if not isinstance(focus, QLineEdit | QComboBox):
            break
        qtbot.keyClick(focus, Qt.Key.Key_Return)
    assert page.job.at_last


def test_a_rehearsal_fills_the_sheet_on_the_simulator(bench, housed, screen_of):
    bench.use_inputs(["sim:slipping-belt?seed=1"])
    bench.cautions_read |= set(Caution)
    page = housed(PreparePage(bench, BRIGHT), 832, 500)
    screen = screen_of(page)
    screen.press("Rehearse")
    assert page.job.verdict(Topic.BELT) is Verdict.FAIL
    assert page.job.verdict(Topic.FLOW) is Verdict.PASS
    assert "Rehearse" not in screen.offers


def test_flags_time_a_run_and_take_what_came_in(bench, housed, screen_of, pass_time):
    """The simulator's radar reads what its truth says, within its own noise."""
    bench.use_inputs(["sim:healthy?seed=1"])
    bench.cautions_read |= set(Caution)
    page = housed(PreparePage(bench, BRIGHT), 832, 500)
    screen = screen_of(page)
    page.show_topic(Topic.COURSE)
    pass_time(20)
    screen.press("Pass first flag")
    assert "press again at the second flag" in screen.said
    pass_time(25)
    screen.press("Pass second flag")
    (driver,) = bench.live.drivers
    truth_mps = driver.truth().ground_m([20.0, 45.0])
    assert page.job.text((ReadingKind.COURSE_TIME, "1 there")) == "25.00"
    shown_mph = float(page.job.text((ReadingKind.SATELLITE_SPEED, "1 there")))
    true_mph = float(truth_mps[1] - truth_mps[0]) / 25 / 0.44704
    assert shown_mph == pytest.approx(true_mph, rel=0.02)
    assert screen.button("Pass first flag")

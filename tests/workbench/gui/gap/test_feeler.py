"""Feelers by the keyboard: to stored results and a report."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton, QLabel

from workbench.calibration.statistics.decision import Verdict
from workbench.gui.parts.basics import CautionCard
from workbench.gui.theme import DARK, recolor
from workbench.jobs.keep import any_answer
from workbench.jobs.verify import verify
from workbench.records.store import open_store


def test_the_caution_comes_first_and_takes_the_focus(make_page, screen_of):
    page = make_page()
    assert not page.feeler.gap.isVisible()
    assert page.focusWidget() is screen_of(page).button("I have read this")
    screen_of(page).key(Qt.Key.Key_Space)
    assert page.feeler.gap.isVisible()
    assert not screen_of(make_page()).shown(CautionCard)


def test_numbers_one_after_the_other_to_a_stored_result_and_a_report(
    page, screen, bench, qtbot, worked_out, tmp_path, enter, four_gaps
):
    places = []
    for gap in four_gaps:
        places.append(page.feeler.place.text())
        enter(page, gap)
    assert places == ["0", "90", "180", "270"]
    assert page.feeler.pill.accessibleName() == "Verdict: pass"
    assert page.feeler.take.text() == "Keep result (Enter)"
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Enter)  # the number pad's
    worked_out(page)
    number = page.job.kept_as[0].number
    with open_store(bench.store) as store:
        stored = any_answer(store.result(number))
        assert verify(store, number).verified
    # 1/16 in is 1.5875 mm exactly; 0.062 in 1.5748 mm.
    assert stored.gap_m == pytest.approx((1.5875 + 1.6 + 1.5748 + 1.6) / 4000, abs=1e-8)
    assert f"Kept as result {number}." in screen.said
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Enter)
    worked_out(page)
    assert page.paper.isVisible()
    assert page.paper.said.text() == "2 pages."
    path = tmp_path / "gap.html"
    page.paper.save_as(path)
    worked_out(page)
    text = path.read_text(encoding="utf-8")
    assert "The gap is 0.0626 ± 0.0" in text
    assert page.paper.said.text() == "Saved as gap.html."
    page.paper.save_as(tmp_path / "gap.doc")
    worked_out(page)
    assert "ends in .pdf" in page.paper.said.text()
    page.paper.closed.emit()
    assert page.feeler.gap.isVisible()


def test_readings_on_the_simulators_own_machine_are_marked_and_real_ones_not(
    run_page, screen_of, worked_out, type_round
):
    page, screen = run_page, screen_of(run_page)
    type_round(page)
    screen.press("Keep result")
    worked_out(page)
    assert page.job.kept_as[0].answer.simulated
    assert page.list.rows.index(0, 1).data() == "✓ pass, simulated"
    page.job.list.rename("Digger 4 / left")  # a real one: feelers need no signal
    screen.press("Keep result")
    worked_out(page)
    assert not page.job.kept_as[0].answer.simulated


def test_a_wrong_gap_says_so_at_the_field_and_nothing_is_lost(page, qtbot, enter, type_round):
    type_round(page)
    enter(page, "1.6 furlong")
    assert page.feeler.gap_error.isVisible()
    assert "furlong" in page.feeler.gap_error.text()
    assert page.feeler.gap.text() == "1.6 furlong"
    page.job.changed()  # as anything else on the page may have it
    assert page.feeler.gap_error.isVisible()
    assert len(page.job.list.current.gap_m) == 4
    for wrong in ("abc", "", "1e999", "721"):
        page.feeler.place.setText(wrong)
        page.feeler.read()
        assert "degrees" in page.feeler.place_error.text()
    page.feeler.undo.click()
    assert len(page.job.list.current.gap_m) == 3
    page.feeler.gap.setText("")
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(page.job.list.current.gap_m) == 2
    qtbot.keyClicks(page.feeler.gap, "1/1")  # first the text, as everywhere
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(page.job.list.current.gap_m) == 2


@pytest.mark.parametrize(
    ("typed", "units", "said"),
    [
        ("1.6", "us", "type 1.6 mm"),
        ("63", "us", "type 63 thou"),
        ("63", "metric", "type 63 thou"),
        ("-1", "us", "below 0"),
        ("1/0", "us", "divides by 0"),
        ("", "us", "as the feeler shows it"),
    ],
)
def test_a_number_in_another_unit_is_guessed_at(page, bench, typed, units, said, enter):
    bench.settings.change(units=units)
    enter(page, typed)
    assert said in page.feeler.gap_error.text()
    assert page.job.list.current.gap_m == []


@pytest.mark.parametrize(
    ("slip", "asked", "meant", "metres"),
    [
        ("0.62", "If it is meant, type 0.62 in", "0.62 in", 0.015748),
        ("1/61", "If it is meant, type 0.016 in", "0.016 in", 0.0004064),
        ("0", "no blade is 0 thick", "0.002", 0.0000508),
        ("0.000", "no blade is 0 thick", "1/64", 0.000396875),
    ],
)
def test_a_blade_that_no_set_holds_is_asked_about(page, enter, slip, asked, meant, metres):
    enter(page, slip)
    assert asked in page.feeler.gap_error.text()
    assert page.job.list.current.gap_m == []
    assert page.feeler.gap.text() == slip
    page.feeler.gap.selectAll()
    enter(page, meant)
    assert page.job.list.current.gap_m == pytest.approx([metres])


def test_units_change_every_number_at_once(page, screen, bench, enter, type_round):
    type_round(page, ("0.070", "0.075", "0.080", "0.075"))
    assert " in " in page.feeler.sentence.text()
    assert page.feeler.advice.text().startswith("Set the pickup 0.012 in closer")
    bench.settings.change(units="metric")
    recolor(page, DARK)
    page.refresh()
    assert " mm " in page.feeler.sentence.text()
    assert page.feeler.advice.text().startswith("Set the pickup 0.31 mm closer")
    assert screen.shown(QLabel, "Gap, mm")
    for typed in ("1.7", "1,7", "1,70 mm", "0,067 in"):
        enter(page, typed)
        assert page.job.list.current.gap_m[-1] == pytest.approx(0.0017, abs=2e-6)


def test_teeth_from_the_mark_in_place_of_angles(page, enter, four_gaps):
    page.feeler.counted.setCurrentIndex(1)
    page.feeler.counted.activated.emit(1)
    places = []
    for gap in four_gaps:
        places.append(page.feeler.place.text())
        enter(page, gap)
    # Of 30 teeth a quarter turn is 7.5.
    assert places == ["1", "9", "16", "23"]
    assert page.job.list.current.angle_deg == pytest.approx([0, 96, 180, 264])
    page.feeler.place.setText("31")
    enter(page, "1.6 mm")
    assert "teeth 1 to 30" in page.feeler.place_error.text()


def test_a_reading_can_be_taken_out_and_is_asked_for_again(page, qtbot, type_round):
    type_round(page)
    page.feeler.chips.setCurrentRow(1)
    qtbot.keyClick(page.feeler.chips, Qt.Key.Key_Delete)
    assert page.job.list.current.angle_deg == [0, 180, 270]
    assert page.feeler.place.text() == "90"
    assert "next at 90 degrees" in page.pictures.wheel.accessibleDescription()


def test_the_number_pads_plus_and_minus(page, qtbot, enter):
    page.job.list.add("Digger 4 / left")
    page.job.list.go_to(0)
    enter(page, "1/16")
    pad = Qt.KeyboardModifier.KeypadModifier
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Minus, pad)
    assert page.job.list.current.gap_m == []
    qtbot.keyClick(page.feeler.gap, Qt.Key.Key_Plus, pad)
    assert page.job.list.at == 1


WIDE = ("3.7 mm", "3.8 mm", "3.7 mm", "3.6 mm")


def test_adjusted_and_checked_again_both_stand_in_one_answer(
    page, screen, bench, worked_out, type_round, make_page
):
    type_round(page, WIDE)
    assert page.feeler.pill.accessibleName() == "Verdict: fail"
    screen.press("Adjusted: check again")
    assert "Adjusted: read the gap once more at 4 places" in screen.said
    assert "As found, fail: " in screen.said
    assert not screen.shown(QAbstractButton, "Adjusted")
    assert page.list.rows.index(0, 1).data() == "◔ fail, to be checked again"
    type_round(page)
    assert page.feeler.pill.accessibleName() == "Verdict: pass"
    assert "As left: " in screen.said
    assert page.list.rows.index(0, 1).data() == "✓ pass, found fail"
    screen.press("Keep result")
    worked_out(page)
    with open_store(bench.store) as store:
        stored = any_answer(store.result(page.job.kept_as[0].number))
        assert verify(store, page.job.kept_as[0].number).verified
    assert (stored.verdict, stored.as_left.verdict) == (Verdict.FAIL, Verdict.PASS)
    assert stored.gap_m == pytest.approx(0.0037, abs=1e-8)
    page.job.keep_draft()
    again = make_page()
    assert again.job.list.current.found == page.job.list.current.found
    for _reading in range(5):
        page.job.undo()
    assert page.feeler.pill.accessibleName() == "Verdict: fail"
    assert screen.shown(QAbstractButton, "Adjusted")


def test_adjusted_but_not_checked_again_is_kept_as_found(page, screen, worked_out, type_round):
    type_round(page, WIDE)
    screen.press("Adjusted: check again")
    screen.press("Keep result")
    worked_out(page)
    answer = page.job.kept_as[0].answer
    assert (answer.verdict, answer.as_left) == (Verdict.FAIL, None)


def test_readings_no_swing_makes_say_so_and_what_was_read(page, screen, type_round):
    """0.020 and 0.090 in in turn: nothing but a slip or bent teeth reads so (common practice, no
    source); a swing through them would say 0.055 all round."""
    type_round(page, ("0.020", "0.090", "0.020", "0.090"))
    screen.settle()
    assert "from 0.020 in at 0° to 0.090 in at 90°" in screen.said
    assert "read it again, at twice as many places" in screen.said
    assert "widest" not in screen.said

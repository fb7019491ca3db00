"""The machine page: what a person types, opens, saves and uses, and what is drawn of it."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QPoint, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QComboBox, QPushButton, QWidget

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, Lost
from workbench.base.machine import load_machine, parse_machine
from workbench.base.units import INCH_M, METRIC, US
from workbench.calibration.pulses.target_wheel import TeethSeen
from workbench.gui.machine.page import DONE, NEEDED, SAVE, USE, WRONG, MachinePage
from workbench.gui.theme import BRIGHT, DARK
from workbench.models.machine.drive_parts import DriveParts, parts
from workbench.models.machine.form import MachineForm
from workbench.models.signals.tooth_count import ToothCount, count_teeth


@pytest.fixture
def housed(qtbot):
    """Put a page into a window, of which it is always a part."""
    hosts = []

    def house(page):
        host = QWidget()
        hosts.append(host)
        qtbot.addWidget(host)
        host.resize(1750, 950)
        page.setParent(host)
        page.resize(880, 540)
        host.show()
        return page

    yield house
    for host in hosts:
        for page in host.findChildren(MachinePage):
            page._work.wait()
            page._counting.wait()


@pytest.fixture
def page(bench, housed):
    """The page on a bench whose machine is the demonstration's and whose inputs are still."""
    bench.use_machine(parse_machine(open_input("sim:healthy").machine_text))
    made = housed(MachinePage(bench, BRIGHT))
    made.refresh()
    return made


def entry(page, key):
    return next(card.entries[key] for card in page._cards if key in card.entries)


def retype(page, qtbot, key, text):
    field = entry(page, key)
    field.selectAll()
    qtbot.keyClicks(field, text)


def wait(page, qtbot):
    def idle():
        page.refresh()
        assert not page._work.busy
        assert not page._counting.busy

    qtbot.waitUntil(idle, timeout=10_000)
    QCoreApplication.processEvents()


def press(page, text):
    (one,) = [b for b in page.findChildren(QPushButton) if b.text() == text and b.isVisible()]
    one.click()


def test_what_is_typed_is_drawn_and_figured_at_once(page, qtbot):
    retype(page, qtbot, "drive.sprocket_teeth", "10")
    retype(page, qtbot, "drive.target_teeth", "40")
    assert page._drawing.labels()["wheel"] == "target wheel\n40 teeth"
    # Handbook: pitch diameter of 10 teeth is 3.2361 pitches: 6.47 in for 2 in.
    assert page._drawing.labels()["drum"] == "sprocket\n10 teeth, ⌀ 6.47 in"
    assert page._numbers[0][0].text().startswith("0.500")
    page.grab()


def test_a_wrong_entry_is_marked_and_nothing_else_is_lost(page, qtbot):
    retype(page, qtbot, "drive.rod_pitch_m", "40")
    field = entry(page, "drive.rod_pitch_m")
    assert field.property("wrong") is True
    assert "19.6 in" in page._cards[1]._parts["drive.rod_pitch_m"][2].text()
    assert page._drawing.labels()["wheel"] == "target wheel\n30 teeth"
    assert page._next.text() == WRONG
    page._next.click()
    assert page.focusWidget() is field
    retype(page, qtbot, "drive.rod_pitch_m", "2")
    assert field.property("wrong") is False
    assert page._standing.text().startswith("In use.")


def test_units_of_the_fields_follow_the_switch_and_the_typed_stays(page, bench, qtbot):
    retype(page, qtbot, "drive.rod_pitch_m", "1 5/8")
    bench.settings.change(units="metric")
    page.refresh()
    assert float(entry(page, "drive.rod_pitch_m").text()) == pytest.approx(41.275)
    assert page._cards[1]._parts["drive.rod_pitch_m"][1].text() == "mm"
    assert "pulses in 100 m" in page._numbers[1][1].text()
    assert "km/h" in page._numbers[2][1].text()
    bench.settings.change(units="us")
    page.refresh()
    assert entry(page, "drive.rod_pitch_m").text() == "1 5/8"


def test_opened_edited_used_saved_and_opened_again(page, bench, qtbot, tmp_path):
    old, new = tmp_path / "old.toml", tmp_path / "new belt"
    old.write_text(bench.machine.text, encoding="utf-8")
    page.open_file(old)
    wait(page, qtbot)
    assert page._next.text() == DONE  # it is the machine in use, and lies in this file
    assert bench.settings.now.machine_file == str(old)
    retype(page, qtbot, "name", "Six-row digger, right belt")
    assert "Changed, and not saved in old.toml yet." in page._standing.text()
    assert page._next.text() == USE
    page._next.click()
    assert bench.machine.name == "Six-row digger, right belt"
    page.refresh()
    assert page._next.text() == SAVE
    page.save_file(new)
    wait(page, qtbot)
    written = tmp_path / "new belt.toml"
    assert load_machine(written) == bench.machine
    assert bench.machine_path == written
    assert bench.settings.now.machine_file == str(written)
    assert page._next.text() == DONE
    assert not page._next.isEnabled()
    assert load_machine(old).name.startswith("Demonstration")
    retype(page, qtbot, "drive.target_teeth", "24")
    page._next.click()
    page.refresh()
    page._next.click()  # now it saves into its own file, without asking
    wait(page, qtbot)
    assert load_machine(written).drive.target_teeth == 24


def test_a_file_that_is_no_machine_says_so_and_leaves_the_draft(page, qtbot, tmp_path):
    retype(page, qtbot, "drive.target_teeth", "24")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text('name = "x"\n[drive]\ntarget_teeth = "thirty"\n', encoding="utf-8")
    page.open_file(wrong)
    wait(page, qtbot)
    assert "drive.target_teeth" in page._said.text()
    assert entry(page, "drive.target_teeth").text() == "24"
    page.save_file(tmp_path / "no folder" / "m.toml")
    wait(page, qtbot)
    assert "cannot be written" in page._said.text()
    assert not page._form.saved


def test_an_unsaved_draft_is_put_aside_by_new_duplicate_and_open(page, qtbot):
    retype(page, qtbot, "drive.target_teeth", "24")
    press(page, "Duplicate")
    assert entry(page, "name").text() == ""
    assert entry(page, "name").hasFocus() or not page.isActiveWindow()
    assert entry(page, "drive.target_teeth").text() == "24"
    press(page, "Bring back draft")
    assert entry(page, "name").text().startswith("Demonstration")
    press(page, "New machine")
    assert entry(page, "drive.target_teeth").text() == ""
    assert "Still needed" in page._standing.text()
    press(page, "Bring back draft")
    assert entry(page, "drive.target_teeth").text() == "24"
    press(page, "Show machine in use")
    assert entry(page, "drive.target_teeth").text() == "30"
    assert page._back.isVisible()


def test_another_machine_in_use_leaves_the_draft_and_is_said(page, bench, qtbot):
    retype(page, qtbot, "drive.target_teeth", "24")
    bench.use_machine(parse_machine(open_input("sim:roll-drive").machine_text))
    page.refresh()
    assert entry(page, "drive.target_teeth").text() == "24"
    assert bench.machine.name in page._standing.text()
    press(page, "Show machine in use")
    assert page._form.machine == bench.machine


def test_without_a_draft_nothing_is_remembered(page, bench):
    page.hide()
    assert bench.settings.now.machine_draft == {}


def test_a_draft_is_there_again_after_the_program_was_closed(page, bench, housed, qtbot):
    retype(page, qtbot, "drive.target_teeth", "thirty")
    page.hide()
    again = housed(MachinePage(bench, DARK))
    press(again, "Bring back draft")
    assert entry(again, "drive.target_teeth").text() == "thirty"


def test_a_choice_is_made_by_the_keyboard(page, qtbot):
    box = entry(page, "drive.kind")
    assert isinstance(box, QComboBox)
    qtbot.keyClick(box, Qt.Key.Key_Down)
    assert box.currentText() == "roll"
    assert not entry(page, "drive.sprocket_teeth").isVisible()
    assert entry(page, "drive.roll_diameter_m").isVisible()
    assert page._form.needed == ["drive.roll_diameter_m"]
    assert page._next.text() == NEEDED
    page._next.click()
    assert page.focusWidget() is entry(page, "drive.roll_diameter_m")


def test_scrolling_the_form_changes_no_choice(page):
    box = entry(page, "drive.kind")
    middle = box.rect().center().toPointF()
    turn = QWheelEvent(
        middle,
        box.mapToGlobal(middle),
        QPoint(0, 0),
        QPoint(0, -120),
        Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    box.setFocus()
    QCoreApplication.sendEvent(box, turn)
    assert box.currentText() == "sprocket"


def test_two_columns_where_there_is_room(page):
    left = entry(page, "readout.step").mapTo(page, entry(page, "readout.step").rect().topLeft()).x()
    page.resize(1700, 900)
    QCoreApplication.processEvents()
    field = entry(page, "readout.step")
    assert field.mapTo(page, field.rect().topLeft()).x() > left + 200


def test_the_signal_s_tooth_count_stands_beside_the_typed_one(page, bench, pass_time, qtbot):
    bench.use_inputs(["sim:healthy?seed=2"])
    page.refresh()
    assert "no pulses yet" in page._signal.text()
    pass_time(6)
    wait(page, qtbot)
    page.refresh()
    # The scenario's wheel has 30 teeth (sim/spec.py).
    assert page._signal.text() == "As the signal says: 30 teeth (as good as certain), as typed."
    assert not page._use_teeth.isVisible()
    retype(page, qtbot, "drive.target_teeth", "28")
    page.refresh()
    assert "typed are 28" in page._signal.text()
    press(page, "Use 30")
    page.refresh()
    assert entry(page, "drive.target_teeth").text() == "30"
    assert not page._use_teeth.isVisible()


def even_edges(count, teeth_late_rel=()):
    """Edges of a wheel at one turn a second; the named teeth late by a share of the pitch."""
    late = np.array(teeth_late_rel or [0.0])
    return (np.arange(count) + late[np.arange(count) % late.size]) / 30


def test_a_wheel_too_even_to_be_counted_is_said_to_be(bench):
    count = ToothCount(bench)
    count.found(count_teeth(even_edges(600)))
    assert count.sentence(30).startswith("The signal cannot tell")
    assert count.to_use(28) is None


@pytest.mark.parametrize(
    ("seen", "typed", "said", "offered"),
    [
        (TeethSeen(30, 0.9999, exact=True), 30, "30 teeth (as good as certain), as typed.", None),
        (TeethSeen(30, 0.9999, exact=True), 28, "(as good as certain); typed are 28.", 30),
        (TeethSeen(30, 0.9999, exact=True), None, "30 teeth (as good as certain).", 30),
        (TeethSeen(30, 0.95, exact=True), 28, "30 teeth (likely); typed are 28.", None),
        (TeethSeen(30, 0.4, exact=True), 28, "(no more than a guess so far)", None),
        # A part of the pattern stands out first: 15 may be 30.
        (TeethSeen(15, 0.9999), 30, "15 teeth or a multiple of it", None),
        (TeethSeen(15, 0.9999), 30, ", which goes with the 30 typed.", None),
        (TeethSeen(15, 0.9999), 28, "; typed are 28.", None),
        (TeethSeen(None, 0.99), 30, "The signal cannot tell", None),
    ],
)
def test_the_signal_s_count_is_said_with_its_confidence(bench, seen, typed, said, offered):
    count = ToothCount(bench)
    count.found(seen)
    assert said in count.sentence(typed)
    assert count.to_use(typed) == offered


def test_times_that_run_backwards_are_no_count():
    assert count_teeth(np.array([1.0, 2.0, 0.5, 3.0])).teeth is None


def test_a_hole_begins_the_count_anew_and_old_pulses_are_not_looked_at_twice(bench, clock):
    bench.use_inputs(["sim:healthy"])
    bench.live.stop()
    count = ToothCount(bench)

    def block(at):
        ticks = (even_edges(120) * 1e6).astype(np.int64) + at
        made = EdgeBlock("left", 0, ticks, 1e-6, clock(), 120)
        bench.live._take("test:", made)
        count.take(made)

    block(0)
    assert count.due().size == 120
    clock.now_s += 10
    assert count.due() is None
    block(4_000_000)
    assert count.due().size == 240
    count.take(Lost("left", 7, clock() - 1, clock(), "a frame is missing"))
    clock.now_s += 10
    assert count.due() is None
    block(9_000_000)
    assert count.due().size == 120
    for at in range(60):
        block(20_000_000 + 4_000_000 * at)
    clock.now_s += 10
    assert count.due().size <= 4200


def test_unknown_parts_are_drawn_as_unknown(qtbot, page):
    form = MachineForm(US)
    known = parts(form)
    assert np.isnan(known.drum_m)
    form.type("drive.kind", "roll")
    form.type("drive.roll_diameter_m", "6")
    assert parts(form).drum_m == pytest.approx(6 * INCH_M)
    drawing = page._drawing
    for one in (
        DriveParts(),
        known,
        DriveParts(teeth=500, kind="roll", roll_diameter_m=2.0, lap_length_m=1.0),
        DriveParts(teeth=1, kind="sprocket", sprocket_teeth=3, rod_pitch_m=0.5),
        DriveParts(teeth=7, kind="sprocket", sprocket_teeth=200, rod_pitch_m=0.005),
    ):
        for units in (US, METRIC):
            drawing.show_parts(one, units)
            drawing.resize(900, 500)
            assert not drawing.grab().isNull()
            drawing.resize(360, 136)
            assert not drawing.grab().isNull()


def test_the_drawing_is_to_scale(page):
    drawing = page._drawing
    drawing.resize(900, 420)
    drawing.show_parts(
        DriveParts(teeth=30, kind="roll", roll_diameter_m=0.2, turns_per_target_turn=1.0), METRIC
    )
    places = drawing._places(18.0, tall=True)
    # 30 teeth 10 mm apart make a circle of 95.5 mm.
    assert places.drum_px / places.wheel_px == pytest.approx(200 / 95.493, rel=1e-4)
    assert 2 * places.drum_px == pytest.approx(0.2 * places.scale)
    assert places.drum.x() + places.drum_px < 900

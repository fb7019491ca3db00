"""The machine page: what a person types, opens, saves and uses, and what is drawn of it."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QPoint, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QAbstractButton, QLabel, QLineEdit

from drivers.catalogue import open_input
from drivers.contract import EdgeBlock, Lost
from workbench.base.machine import load_machine, parse_machine
from workbench.base.units import INCH_M, METRIC, US
from workbench.calibration.pulses.target_wheel import TeethSeen
from workbench.gui.machine.drive_line import DriveLineDrawing
from workbench.gui.machine.page import DONE, NEEDED, SAVE, USE, WRONG, MachinePage
from workbench.gui.theme import BRIGHT, DARK
from workbench.models.machine.drive_parts import DriveParts, parts
from workbench.models.machine.form import MachineForm
from workbench.models.signals.tooth_count import ToothCount, count_teeth


@pytest.fixture
def page(bench, housed):
    """The page on a bench whose machine is the demonstration's and whose inputs are still."""
    bench.use_machine(parse_machine(open_input("sim:healthy").machine_text))
    made = housed(MachinePage(bench, BRIGHT))
    made.refresh()
    return made


TEETH, ROD, NAME = "Teeth of the target wheel", "Rod pitch", "Name"


@pytest.fixture
def drawing(screen):
    return screen.one(DriveLineDrawing)


def test_what_is_typed_is_drawn_and_figured_at_once(page, screen, drawing):
    screen.type("Sprocket teeth", "10")
    screen.type(TEETH, "40")
    assert drawing.labels()["wheel"] == "target wheel\n40 teeth"
    # Handbook: pitch diameter of 10 teeth is 3.2361 pitches: 6.47 in for 2 in.
    assert drawing.labels()["drum"] == "sprocket\n10 teeth, ⌀ 6.47 in"
    assert screen.shown(QLabel, "0.500")
    page.grab()


def test_a_wrong_entry_is_marked_and_nothing_else_is_lost(page, screen, drawing):
    screen.type(ROD, "40")
    field = screen.field(ROD)
    assert field.property("wrong") is True
    assert "19.6 in" in screen.said
    assert drawing.labels()["wheel"] == "target wheel\n30 teeth"
    screen.press(WRONG)
    assert page.focusWidget() is field
    screen.type(ROD, "2")
    assert field.property("wrong") is False
    assert screen.shown(QLabel, "In use.")


def test_a_lap_is_typed_in_feet_and_inches_and_a_bare_fraction_is_asked_about(bench, screen):
    lap = "Length of one lap"
    for typed in ("32 ft 3 1/2 in", "32' 3 1/2\"", "32-3 1/2"):
        screen.type(lap, typed)
        assert screen.field(lap).property("wrong") is False
        screen.press(USE)
        # 387.5 in of 25.4 mm: 9.8425 m.
        assert bench.machine.belt.lap_length_m == pytest.approx(9.8425)
        screen.type(lap, "30 ft")
        screen.press(USE)
    screen.type(lap, "1/2")
    assert screen.field(lap).property("wrong") is True
    assert "type 1/2 in or 1/2 ft" in screen.said
    assert bench.machine.belt.lap_length_m == pytest.approx(9.144)


def test_units_of_the_fields_follow_the_switch_and_the_typed_stays(bench, screen):
    screen.type(ROD, "1 5/8")
    bench.settings.change(units="metric")
    screen.frame()
    assert float(screen.field(ROD).text()) == pytest.approx(41.275)
    assert screen.field(ROD).accessibleDescription() == "mm"
    assert screen.shown(QLabel, "pulses in 100 m")
    assert "km/h" in screen.one(QLabel, "pulses a second at").text()
    bench.settings.change(units="us")
    screen.frame()
    assert screen.field(ROD).text() == "1 5/8"


def test_opened_edited_used_saved_and_opened_again(page, bench, screen, tmp_path):
    old, new = tmp_path / "old.toml", tmp_path / "new belt"
    old.write_text(bench.machine.text, encoding="utf-8")
    page.open_file(old)
    screen.settle()
    assert screen.next == DONE  # it is the machine in use, and lies in this file
    assert bench.settings.now.machine_file == str(old)
    screen.type(NAME, "Six-row digger, right belt")
    assert "Changed, and not saved in old.toml yet." in screen.said
    screen.press(USE)
    assert bench.machine.name == "Six-row digger, right belt"
    assert screen.next == SAVE
    page.save_file(new)
    screen.settle()
    written = tmp_path / "new belt.toml"
    assert load_machine(written) == bench.machine
    assert bench.machine_path == written
    assert bench.settings.now.machine_file == str(written)
    assert screen.next == DONE
    assert DONE not in screen.offers
    assert load_machine(old).name.startswith("Demonstration")
    screen.type(TEETH, "24")
    screen.press(USE)
    screen.press(SAVE)  # into its own file, without asking
    screen.settle()
    assert load_machine(written).drive.target_teeth == 24


def test_a_file_that_is_no_machine_says_so_and_leaves_the_draft(page, screen, tmp_path):
    screen.type(TEETH, "24")
    wrong = tmp_path / "wrong.toml"
    wrong.write_text('name = "x"\n[drive]\ntarget_teeth = "thirty"\n', encoding="utf-8")
    page.open_file(wrong)
    screen.settle()
    assert "drive.target_teeth" in screen.said
    assert screen.field(TEETH).text() == "24"
    page.save_file(tmp_path / "no folder" / "m.toml")
    screen.settle()
    assert "cannot be written" in screen.said
    assert "No file has it" in screen.said


def test_an_unsaved_draft_is_put_aside_by_new_duplicate_and_open(page, screen):
    screen.type(TEETH, "24")
    screen.press("Duplicate")
    assert screen.field(NAME).text() == ""
    assert page.focusWidget() is screen.field(NAME)
    assert screen.field(TEETH).text() == "24"
    screen.press("Bring back draft")
    assert screen.field(NAME).text().startswith("Demonstration")
    screen.press("New machine")
    assert screen.field(TEETH).text() == ""
    assert "Still needed" in screen.said
    screen.press("Bring back draft")
    assert screen.field(TEETH).text() == "24"
    screen.press("Show machine in use")
    assert screen.field(TEETH).text() == "30"
    assert "Bring back draft" in screen.offers


def test_another_machine_in_use_leaves_the_draft_and_is_said(bench, screen):
    screen.type(TEETH, "24")
    bench.use_machine(parse_machine(open_input("sim:roll-drive").machine_text))
    screen.frame()
    assert screen.field(TEETH).text() == "24"
    assert bench.machine.name in screen.said
    screen.press("Show machine in use")
    assert screen.shown(QLabel, "In use.")


def test_without_a_draft_nothing_is_remembered(page, bench):
    page.hide()
    assert bench.settings.now.machine_draft == {}


def test_a_draft_is_there_again_after_the_program_was_closed(
    page, bench, housed, screen, screen_of
):
    screen.type(TEETH, "thirty")
    page.hide()
    again = screen_of(housed(MachinePage(bench, DARK)))
    again.press("Bring back draft")
    assert again.field(TEETH).text() == "thirty"


def test_a_choice_is_made_by_the_keyboard(page, screen):
    screen.key(Qt.Key.Key_Down, "Belt driven by")
    assert screen.field("Belt driven by").currentText() == "roll"
    assert not screen.shown(QLineEdit, "Sprocket teeth")
    assert "Still needed: 'Roll diameter'." in screen.said
    screen.press(NEEDED)
    assert page.focusWidget() is screen.field("Roll diameter")


def test_scrolling_the_form_changes_no_choice(screen):
    box = screen.field("Belt driven by")
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


def test_two_columns_where_there_is_room(page, screen):
    field = screen.field("Smallest step shown")
    left = field.mapTo(page, field.rect().topLeft()).x()
    page.resize(1700, 900)
    QCoreApplication.processEvents()
    assert field.mapTo(page, field.rect().topLeft()).x() > left + 200


def test_the_signal_s_tooth_count_stands_beside_the_typed_one(bench, screen, pass_time):
    bench.use_inputs(["sim:healthy?seed=2"])
    screen.frame()
    assert "no pulses yet" in screen.said
    pass_time(6)
    screen.settle()
    # The scenario's wheel has 30 teeth (sim/spec.py).
    assert screen.shown(QLabel, "As the signal says: 30 teeth (as good as certain), as typed.")
    assert not screen.shown(QAbstractButton, "Use 30")
    screen.type(TEETH, "28")
    assert "typed are 28" in screen.said
    screen.press("Use 30")
    screen.frame()
    assert screen.field(TEETH).text() == "30"
    assert not screen.shown(QAbstractButton, "Use 30")


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
    bench.live.start([])
    count = ToothCount(bench)
    total = 0

    def block(at):
        nonlocal total
        total += 120
        ticks = (even_edges(120) * 1e6).astype(np.int64) + at
        bench.live.taken.take("test:", [EdgeBlock("left", 0, ticks, 1e-6, clock(), total)])

    block(0)
    assert count.due().size == 120
    clock.now_s += 10
    assert count.due() is None
    block(4_000_000)
    assert count.due().size == 240
    bench.live.taken.take("test:", [Lost("left", 7, clock() - 1, clock(), "a frame is missing")])
    clock.now_s += 10
    assert count.due() is None
    block(9_000_000)
    assert count.due().size == 120
    for at in range(60):
        block(20_000_000 + 4_000_000 * at)
    clock.now_s += 10
    assert count.due().size <= 4200


def test_unknown_parts_are_drawn_as_unknown(drawing):
    form = MachineForm(US)
    known = parts(form)
    assert np.isnan(known.drum_m)
    form.type("drive.kind", "roll")
    form.type("drive.roll_diameter_m", "6")
    assert parts(form).drum_m == pytest.approx(6 * INCH_M)
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


def test_the_drawing_is_to_scale(drawing):
    drawing.resize(900, 420)
    drawing.show_parts(
        DriveParts(teeth=30, kind="roll", roll_diameter_m=0.2, turns_per_target_turn=1.0), METRIC
    )
    places = drawing.places(18.0, tall=True)
    # 30 teeth 10 mm apart make a circle of 95.5 mm.
    assert places.drum_px / places.wheel_px == pytest.approx(200 / 95.493, rel=1e-4)
    assert 2 * places.drum_px == pytest.approx(0.2 * places.scale)
    assert places.drum.x() + places.drum_px < 900

"""No text of any page is cut, overlaps or touches another, at any size of the window; Tab goes
through it as the eye does; and nobody reads units of another system than his own."""

from __future__ import annotations

import importlib

import pytest
from PySide6.QtCore import QCoreApplication, QRectF, Qt
from PySide6.QtGui import QPainter
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QComboBox, QLabel, QPushButton, QWidget

from workbench.gui.parts.basics import CautionCard

SIZES = ((1024, 600), (1366, 768), (1920, 1080), (2560, 1440))
TABBED = (1024, 1920)
"""Widths at which Tab is tried: pages lie in columns from 1240 px on."""
MARGIN_PX = 16
"""What is empty at a page's foot."""
FRAMES = 12
"""So many until a window of another size has all its text in its new size."""
SCENES = ("start", "machine", "prepare", "signals", "calibrate", "gap", "passing", "records")


@pytest.mark.parametrize("scene", SCENES)
def test_every_text_is_whole_in_its_place_and_in_the_person_s_units(scene, tmp_path, qtbot):
    names = ("shots", "scenes.crowding", "scenes.reading", "scenes.foreign")
    shots, crowding, reading, foreign = map(importlib.import_module, names)
    states = importlib.import_module(f"scenes.{scene}").STATES
    studio, found = shots.Studio("bright", tmp_path / "records.db"), []
    window = studio.window
    window.activateWindow()
    QTest.qWaitForWindowActive(window)
    try:
        for state in states:
            state(studio)
            for width, height in SIZES:
                window.resize(width, height)
                let_settle(window)
                told = [*crowding.crowded(window), *too_tall(window)]
                if width in TABBED:
                    told += reading.misread(window, reading.stops(window, window.header.for_whom))
                    let_settle(window)
                    told += crowding.crowded(window) if width == TABBED[0] else []
                found += [f"{state.__name__}, {width} x {height}: {one}" for one in told]
            for units in ("metric", "us"):
                studio.bench.settings.change(units=units)
                studio.rest()
                let_settle(window)
                found += [f"{state.__name__}: {one}" for one in foreign.foreign(window, units)]
    finally:
        studio.close()
    assert found == []


def test_the_cab_s_page_is_whole_at_every_size(tmp_path, qtbot):
    shots, crowding = (importlib.import_module(name) for name in ("shots", "scenes.crowding"))
    states = importlib.import_module("scenes.passing").STATES
    studio, found = shots.Studio("dark", tmp_path / "records.db"), []
    try:
        for state in states:
            state(studio)
            studio.window.switch_cab()
            for width, height in SIZES:
                studio.window.resize(width, height)
                let_settle(studio.window)
                told = crowding.crowded(studio.window)
                found += [f"{state.__name__}, {width} x {height}: {one}" for one in told]
            studio.window.switch_cab()
    finally:
        studio.close()
    assert found == []


def too_tall(window):
    """Pages fit the smallest window without scrolling, but for those with a caution to be read."""
    bar = window.current.parentWidget().parentWidget().verticalScrollBar()
    cautions = [one for one in window.current.findChildren(CautionCard) if one.isVisible()]
    if bar.maximum() > MARGIN_PX and not cautions:
        yield f"the page is {bar.maximum()} px taller than its place"


def let_settle(window):
    for _ in range(FRAMES):
        QCoreApplication.processEvents()
        window.tick()


def test_every_scene_is_looked_at():
    assert set(SCENES) == set(importlib.import_module("shots").SCENES)


@pytest.fixture
def told_of(qtbot):
    """What is said of widgets at these places of a window."""
    crowding = importlib.import_module("scenes.crowding")

    def look(*placed):
        window = QWidget()
        qtbot.addWidget(window)
        window.resize(400, 300)
        for widget, place in placed:
            widget.setParent(window)
            widget.setGeometry(*place)
        window.show()
        return crowding.crowded(window)

    return look


def test_what_fits_is_not_complained_of(told_of):
    assert told_of((QLabel("lap"), (10, 10, 80, 20)), (QLabel("pulse"), (100, 10, 80, 20))) == []


def test_a_cut_label_button_and_choice_are_found(told_of):
    choice = QComboBox()
    choice.addItem("laps of the belt")
    told = told_of(
        (QLabel("The readout shows too little."), (10, 10, 60, 20)),
        (QPushButton("Keep result"), (10, 60, 60, 40)),
        (choice, (10, 120, 80, 40)),
    )
    assert [one.split(":")[0].split()[0] for one in told] == ["QLabel", "QPushButton", "QComboBox"]
    assert all("needs" in one for one in told)


def test_a_wrapped_label_that_lacks_a_line_is_found(told_of):
    text = QLabel("The readout shows too little at the speeds of work.")
    text.setWordWrap(True)
    assert ["of height" in one for one in told_of((text, (10, 10, 120, 18)))] == [True]


def test_overlap_and_touch_are_found(told_of):
    told = told_of(
        (QLabel("belt"), (10, 10, 80, 20)),
        (QLabel("ground"), (20, 14, 80, 20)),
    )
    assert "overlap" in told[0]
    first = QLabel("none")
    wide = first.fontMetrics().horizontalAdvance("none")
    told = told_of((first, (10, 100, wide, 20)), (QLabel("none"), (13 + wide, 100, 80, 20)))
    assert "px apart" in told[0]


def test_a_label_that_leaves_its_window_is_found(told_of):
    assert any("outside" in one for one in told_of((QLabel("Start pass"), (360, 10, 90, 20))))


@pytest.fixture
def tabbed(qtbot):
    """What is said of buttons at these places of a window, in the order of Tab."""
    reading = importlib.import_module("scenes.reading")

    def look(*places):
        window = QWidget()
        qtbot.addWidget(window)
        buttons = [QPushButton(f"{place}", window) for place in places]
        for button, (x, y) in zip(buttons, places, strict=True):
            button.setGeometry(x, y, 80, 30)
        window.show()
        window.activateWindow()
        QTest.qWaitForWindowActive(window)
        order = reading.stops(window, buttons[0])
        assert len(order) == len(places)
        return list(reading.misread(window, order))

    return look


def test_lines_and_columns_are_read(tabbed):
    assert tabbed((0, 0), (100, 0), (0, 40), (100, 40)) == []
    assert tabbed((0, 0), (0, 40), (100, 0), (100, 40)) == []


def test_a_step_back_and_a_step_up_are_found(tabbed):
    assert tabbed((100, 0), (0, 0)) != []
    assert tabbed((0, 40), (0, 0)) != []
    assert tabbed((0, 0), (0, 80), (0, 40), (100, 40)) != []


def test_a_foreign_unit_is_found(qtbot):
    foreign = importlib.import_module("scenes.foreign")
    window = QWidget()
    qtbot.addWidget(window)
    for text in ("oil 54 °C", "a gap of 1.6 mm.", "worn by millimetres", "3 in 5 turns", "Gap, in"):
        QLabel(text, window)
    window.show()
    us, metric = (list(foreign.foreign(window, units)) for units in ("us", "metric"))
    assert [one.split("'")[1] for one in us] == ["6 mm", "4 °C", "millimetres"]
    assert [one.split("'")[1] for one in metric] == [", in"]


def test_a_text_drawn_into_too_small_a_place_is_found(qtbot):
    crowding = importlib.import_module("scenes.crowding")

    class Cut(QWidget):
        def paintEvent(self, _event):  # noqa: N802
            painter = QPainter(self)
            painter.drawText(QRectF(0, 0, 30, 20), Qt.AlignmentFlag.AlignCenter, "turns this way")
            painter.drawText(QRectF(0, 40, 200, 20), Qt.AlignmentFlag.AlignCenter, "mark")
            painter.end()

    window = Cut()
    qtbot.addWidget(window)
    window.resize(300, 100)
    window.show()
    (told,) = crowding.crowded(window)
    assert "'turns this way' is drawn into" in told

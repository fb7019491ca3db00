"""The window: pages without Qt warnings, keyboard, units, themes, trouble, a clean end."""

from __future__ import annotations

import logging
import sys
import threading
from dataclasses import replace

import pytest
from PySide6.QtCore import QSize, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QFrame,
    QLabel,
    QLineEdit,
    QStackedWidget,
)

from workbench.base.cautions import Caution
from workbench.base.log import start_log
from workbench.gui import app
from workbench.gui.app import ErrorHooks, make_window
from workbench.gui.icons import ICON_PX, ICON_ROOM_PX
from workbench.gui.parts.basics import CautionCard
from workbench.gui.theme import DARK, TOUCH_PX
from workbench.gui.window import SIDEBAR_PX
from workbench.records.store import open_store

PAGES = ("Start", "Machine", "Prepare", "Signals", "Calibrate", "Gap", "Pass", "Records")
ALL_PAGES = pytest.mark.parametrize("name", PAGES)


def _of_several(one):
    group = one.group() if isinstance(one, QAbstractButton) else None
    return group is not None and group.exclusive() and not one.isChecked()


@pytest.fixture
def screen(window, screen_of):
    return screen_of(window)


@pytest.fixture
def pages_made(window):
    """The pages there are, seen or not: how many."""
    direct = Qt.FindChildOption.FindDirectChildrenOnly
    return window.centralWidget().findChild(QStackedWidget, options=direct).count


@ALL_PAGES
def test_a_page_opens_in_both_themes_and_units(window, bench, pass_time, name):
    """Without a warning of Qt: each fails a test, see pyproject.toml."""
    pass_time(3)
    window.show_page(name)
    bench.settings.change(theme="dark", units="metric")
    pass_time(1, look=window.tick)
    window.grab()
    bench.settings.change(theme="bright", units="us")
    assert window.grab().width() == 1024


@ALL_PAGES
def test_every_button_and_entry_is_reached_by_the_tab_key(window, screen_of, name):
    page = screen_of(window.page(name))
    wanted = {
        one
        for kind in (QAbstractButton, QLineEdit, QComboBox)
        for one in page.shown(kind)
        if one.isEnabled()
        and not isinstance(one.parent(), QComboBox)  # the choice itself takes the focus
        and not _of_several(one)  # Tab reaches the checked one, arrow keys the others
        and one.focusPolicy() & Qt.FocusPolicy.TabFocus
    }
    window.activateWindow()
    window.header.units.setFocus()
    met = set()
    for _ in range(120):
        widget = QApplication.focusWidget()
        if widget in met and widget is window.header.units:
            break
        met.add(widget)
        window.focusNextChild()
    assert wanted
    assert not [one.accessibleName() or one for one in wanted - met]


@ALL_PAGES
def test_buttons_are_large_enough_to_be_touched_and_named(window, screen, name):
    window.show_page(name)
    screen.frame()
    for one in screen.shown(QAbstractButton):
        if one.accessibleName() or one.text():
            assert min(one.height(), one.width()) >= TOUCH_PX, one.text()


@ALL_PAGES
def test_no_page_has_to_scroll_on_the_usual_small_screen(window, name):
    window.show_page(name)
    room = window.centralWidget().size() - QSize(SIDEBAR_PX, window.header.height())
    needed = window.current.minimumSizeHint()
    assert needed.width() <= room.width()
    assert needed.height() <= room.height()


def test_the_numbers_of_the_keyboard_change_pages(window, qtbot):
    for number, name in enumerate(PAGES, 1):
        qtbot.keyClick(
            window, getattr(Qt.Key, f"Key_{number}"), Qt.KeyboardModifier.ControlModifier
        )
        assert window.current is window.page(name)


def test_enter_presses_the_button_that_has_the_focus(window, bench, qtbot):
    window.header.units.setFocus()
    qtbot.keyClick(window.header.units, Qt.Key.Key_Return)
    assert bench.settings.now.units == "metric"


def test_the_first_choices_lead_to_their_pages(window, screen):
    screen.press("Check a pass")
    assert window.current is window.page("Pass")


def test_units_change_every_number_at_once(window, screen_of, pass_time):
    pass_time(20)
    page = screen_of(window.page("Start"))
    assert "mph" in page.said
    window.header.units.click()
    assert "km/h" in page.said
    assert "mph" not in page.said


def test_the_header_says_what_comes_in_and_that_it_is_simulated(window, clock, bench, pass_time):
    pass_time(2)
    window.tick()
    assert window.header.simulated.isVisible()
    assert "belt ● live" in window.header.inputs.text()
    assert "ground ● live" in window.header.inputs.text()
    bench.live.stop()
    clock.now_s += 60
    window.tick()
    assert "belt ○ lost" in window.header.inputs.text()


def test_the_header_tells_an_input_without_a_signal_from_none(window, bench):
    bench.use_inputs(["sim:healthy"])
    window.tick()
    assert window.header.inputs.text() == "No signal yet"
    assert window.header.simulated.isVisible()
    bench.use_inputs([])
    window.tick()
    assert window.header.inputs.text() == "No input yet"
    assert not window.header.simulated.isVisible()
    bench.use_inputs(["sim:healthy"])
    bench.live.stop()
    window.tick()
    assert window.header.inputs.text() == "No input yet"
    assert not window.header.simulated.isVisible()


def test_the_switches_say_what_they_are_at_and_what_pressing_them_does(window):
    units, theme = window.header.units, window.header.theme_switch
    assert units.text() == "mph, ft"
    assert units.accessibleName() == "Units: US customary. Press to change to metric."
    assert theme.text() == "Bright"
    assert theme.accessibleName().startswith("Screen: bright, for the sun. Press to change to dark")
    units.click()
    theme.click()
    assert units.text() == "km/h, m"
    assert units.accessibleName() == "Units: metric. Press to change to US customary."
    assert theme.text() == "Dark"
    theme.click()
    assert theme.text() == "Bright"


def test_a_machines_usual_name_is_whole_beside_a_running_recording(window, bench, pass_time):
    bench.use_machine(replace(bench.machine, name="Six-row digger of the north yard, left belt"))
    bench.recording.start()
    pass_time(2, look=window.tick)
    QApplication.processEvents()
    name = window.header.machine
    assert name.fontMetrics().horizontalAdvance(name.text()) <= name.width()
    assert window.header.light.isVisible()


def test_the_tab_key_goes_from_the_header_to_the_places_to_the_page(window):
    window.show_page("Start")
    window.header.units.setFocus()
    met = []
    for _ in range(4):
        met.append(QApplication.focusWidget().text())
        QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Tab)
    assert met[:3] == ["mph, ft", "Bright", "Start"]
    assert window.page("Start").isAncestorOf(QApplication.focusWidget())


def test_the_arrow_keys_go_from_place_to_place(window):
    QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_Down)
    assert window.current is window.page("Machine")


def test_what_the_bench_tells_stands_above_the_page_until_it_is_closed(window, screen, bench):
    for said in ("The plug was pulled.", "It is back.", "The plug was pulled."):
        bench.tell(said)
    screen.frame()
    assert screen.one(QLabel, "The plug").text() == "The plug was pulled.\nIt is back."
    screen.press("Close message")
    assert not screen.shown(QFrame, "Message")
    bench.tell("Something new.")
    screen.frame()
    assert screen.shown(QFrame, "Message")
    assert screen.one(QLabel, "Something new.")
    assert "pulled" not in screen.said


def test_ctrl_q_closes_the_window_and_seals(window, bench, pass_time, qtbot):
    bench.recording.start()
    pass_time(1)
    qtbot.keyClick(window, Qt.Key.Key_Q, Qt.KeyboardModifier.ControlModifier)
    assert not window.isVisible()
    with open_store(bench.store) as store:
        assert [one.state for one in store.recordings()] == ["ended"]


def test_every_place_has_its_drawing_in_the_colour_of_the_text(window, screen, bench):
    for theme in ("bright", "dark"):
        bench.settings.change(theme=theme)
        places = [one for one in screen.shown(QAbstractButton) if one.property("role") == "place"]
        assert [place.text() for place in places] == list(PAGES)
        for place in places:
            image = place.icon().pixmap(QSize(ICON_ROOM_PX, ICON_PX)).toImage()
            points = [(x, y) for x in range(image.width()) for y in range(image.height())]
            colors = [image.pixelColor(*at) for at in points]
            solid = {color.name() for color in colors if color.alpha() == 255}
            assert solid == {window.theme.ink.lower()}, place.text()


def test_a_page_is_dressed_in_the_frames_after_a_change_of_the_theme(window, bench):
    other = window.page("Start").parent().parent()
    shown = window.page("Machine").parent().parent()
    bench.settings.change(theme="dark")
    for _ in range(3):
        window.tick()
        assert not shown.updatesEnabled()  # nothing is painted half in each theme
    window.tick()
    assert shown.updatesEnabled()
    assert DARK.ground in shown.styleSheet()
    assert DARK.ground not in other.styleSheet()
    for _ in range(5):
        window.tick()
    assert DARK.ground in other.styleSheet()


@pytest.mark.parametrize("frames", [0, 1, 2, 3, 4])
def test_a_theme_changed_back_and_a_page_left_meanwhile_harm_nothing(window, bench, frames):
    shown = window.page("Machine").parent().parent()
    for theme in ("dark", "bright"):
        bench.settings.change(theme=theme)
        for _ in range(frames):
            window.tick()
    window.show_page("Start")
    bench.settings.change(theme="dark")
    window.show_page("Machine")
    assert shown.updatesEnabled()
    assert DARK.ground in shown.styleSheet()


def test_pages_are_made_ahead_in_the_frames_after_their_modules_are_imported(
    window, screen, pages_made
):
    gate, ready, first = threading.Event(), threading.Event(), window.current
    imports = threading.Thread(target=gate.wait)
    imports.start()
    window.make_ahead(imports, then=ready.set)
    window.timer.timeout.emit()
    assert pages_made() == 1
    gate.set()
    imports.join()
    for _ in range(100):
        assert not ready.is_set() or pages_made() == len(PAGES)
        window.timer.timeout.emit()
    assert ready.is_set()
    assert window.current is first
    assert not screen.shown(CautionCard)


def test_a_caution_read_elsewhere_is_not_asked_for_again(window, bench, screen):
    """Pages are made before they are seen: what was read by then counts."""
    ready = threading.Event()
    window.make_ahead(threading.Thread(), then=ready.set)
    while not ready.is_set():
        window.timer.timeout.emit()
    bench.cautions_read |= {Caution.AT_THE_WHEEL, Caution.WITH_THE_BELT_RUNNING}
    for name in ("Calibrate", "Gap"):
        window.show_page(name)
        assert not screen.shown(CautionCard), name


def test_the_recording_light_tells_time_and_losses(window, bench, pass_time):
    assert not window.header.light.isVisible()
    bench.recording.start()
    pass_time(65, step_s=5, look=window.tick)
    assert window.header.light.text() == "◉ 1:05 recorded\nnone lost"


def test_closing_with_a_recording_running_seals_it(window, bench, pass_time):
    bench.recording.start()
    pass_time(2)
    window.close()
    assert not bench.live.running
    with open_store(bench.store) as store:
        (entry,) = store.recordings()
    assert entry.state == "ended"


def test_a_second_window_works_on_the_same_store(window, bench, pass_time):
    bench.recording.start()
    pass_time(1)
    with open_store(bench.store) as store:
        assert [one.state for one in store.recordings()] == ["recording"]


def test_the_place_of_the_window_is_kept(window, bench, put_away):
    window.resize(1000, 700)
    window.close()
    again = make_window(bench)
    # No wider than the screen of these tests lets it be.
    assert again.height() == 700
    put_away(again)


def test_an_unexpected_error_is_said_logged_once_and_ends_nothing(
    window, screen, bench, pass_time, tmp_path
):
    bench.recording.start()
    pass_time(1)
    log = start_log(tmp_path)
    watch = ErrorHooks(window.say, log)
    try:
        for _ in range(3):
            try:
                raise RuntimeError("a made-up defect")
            except RuntimeError:
                watch.error(*sys.exc_info())
        assert "a made-up defect" in screen.said
        assert str(log) in screen.said
        assert screen.shown(QFrame, "Message")
        assert log.read_text(encoding="utf-8").count("RuntimeError: a made-up defect") == 1
        assert bench.recording.running
    finally:
        for handler in logging.getLogger("evenpace").handlers[:]:
            logging.getLogger("evenpace").removeHandler(handler)
            handler.close()


def test_hooks_are_given_back():
    before = sys.excepthook
    watch = ErrorHooks(print, None)
    watch.install()
    assert sys.excepthook != before
    watch.remove()
    assert sys.excepthook is sys.__excepthook__


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path):
    (tmp_path / "file").write_text("")
    assert start_log(tmp_path / "file" / "folder") is None


def test_without_a_screen_the_commands_are_told(monkeypatch, capsys):
    from workbench import cli

    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    assert cli.main([]) == 2
    said = capsys.readouterr().err
    assert "no screen" in said
    assert "calibrate" in said


def test_with_a_screen_the_bench_is_opened(monkeypatch):
    from workbench import cli

    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setattr(app, "run", lambda: 0)
    assert cli.main([]) == 0

"""The one key of a page does its one job wherever the focus is, and undo takes back a step."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QComboBox, QLabel

from workbench.gui.app import make_window
from workbench.gui.theme import THEMES, style_sheet
from workbench.models.settings import Settings


@pytest.fixture
def screen(bench, put_away, screen_of):
    bench.start()
    window = make_window(bench)
    window.timer.stop()
    window.resize(1024, 600)
    window.show()
    window.activateWindow()
    QTest.qWaitForWindowActive(window)
    yield screen_of(window)
    put_away(window)


@pytest.fixture
def on_pass(screen, pass_time):
    pass_time(20.0, look=screen.frame)
    screen.press("Pass")
    screen.press("I have read this")
    screen.until(lambda: "Start pass (space)" in screen.offers)
    return screen


def space(screen):
    QTest.keyClick(QApplication.focusWidget() or screen.widget, Qt.Key.Key_Space)
    screen.frame()


def recording(screen):
    return "Stop pass (space)" in screen.offers


def test_space_starts_the_pass_after_another_button_was_clicked(on_pass):
    on_pass.press("Sounds: ")
    space(on_pass)
    assert recording(on_pass)
    assert any(one.startswith("Sounds: off") for one in on_pass.offers)  # clicked once alone


@pytest.mark.parametrize("reason", [Qt.FocusReason.MouseFocusReason, Qt.FocusReason.TabFocusReason])
def test_space_starts_the_pass_and_opens_no_list_where_a_chooser_has_the_focus(on_pass, reason):
    chooser = on_pass.shown(QComboBox)[0]
    chooser.setFocus(reason)
    on_pass.frame()
    space(on_pass)
    assert recording(on_pass)
    assert not chooser.view().isVisible()


def test_space_stops_the_pass_wherever_the_focus_is(on_pass):
    space(on_pass)
    assert recording(on_pass)
    on_pass.button("Sounds: ").setFocus(Qt.FocusReason.TabFocusReason)
    on_pass.frame()
    space(on_pass)
    assert not recording(on_pass)
    on_pass.settle()


def test_a_button_that_was_come_to_by_keys_is_pressed_by_space(on_pass):
    on_pass.button("Sounds: ").setFocus(Qt.FocusReason.TabFocusReason)
    on_pass.frame()
    space(on_pass)
    assert not recording(on_pass)
    assert any(one.startswith("Sounds: off") for one in on_pass.offers)


@pytest.fixture
def on_calibrate(screen, bench, pass_time):
    bench.use_inputs(["sim:calibration-shop?seed=2"])
    pass_time(30.0, look=screen.frame)
    screen.press("Calibrate")
    screen.press("I have read this")
    screen.settle()
    screen.choose("What the true speed is taken from", "another instrument")
    return screen


def keep_a_run(screen):
    screen.type("What the readout shows", "2.7")
    screen.type("The instrument's reading", "2.65")
    screen.type("The instrument's expanded uncertainty", "0.02")
    screen.key(Qt.Key.Key_Return, "The instrument's reading")
    screen.settle()


def test_undo_after_enter_takes_the_run_back_and_not_the_text(on_calibrate):
    page = on_calibrate.widget.current
    keep_a_run(on_calibrate)
    assert len(page.job.runs) == 1
    field = on_calibrate.field("The instrument's reading")
    field.setFocus()
    QTest.keyClick(field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    on_calibrate.settle()
    assert page.job.runs == ()
    assert field.text() == ""


def test_undo_while_typing_takes_back_the_text(on_calibrate):
    page = on_calibrate.widget.current
    keep_a_run(on_calibrate)
    field = on_calibrate.field("The instrument's reading")
    field.setFocus()
    QTest.keyClicks(field, "3")
    QTest.keyClick(field, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert len(page.job.runs) == 1
    assert field.text() == ""


def contrast(one, other):
    """By WCAG 2.2, 1.4.11: (lighter + 0.05) ÷ (darker + 0.05) of relative luminances."""

    def luminance(colour):
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_focus_is_seen_on_a_filled_button(theme):
    """WCAG 2.2, 1.4.11 and 2.4.13: 3 to 1 against the button and against the page."""
    rule = style_sheet(theme).split('QPushButton[role="next"]:focus')[1].split("}")[0]
    ring = rule[rule.index("#") :][:7]
    assert contrast(ring, theme.ink) >= 3
    assert contrast(ring, theme.ground) >= 3


def test_f11_leaves_the_cab_s_one_page_with_text_twice_as_large_and_is_kept(on_pass, bench):
    """1.5 m: ISO 15008 asks for signs of 20 minutes of arc, 8.7 mm there (from memory)."""
    window = on_pass.widget
    title = on_pass.one(QLabel, "Ready").font().pixelSize()
    QTest.keyClick(window, Qt.Key.Key_F11)
    on_pass.settle()
    assert "Records" not in on_pass.offers
    assert on_pass.offers == ["Start pass (space)"]
    assert on_pass.one(QLabel, "Ready").font().pixelSize() >= 2 * title
    assert Settings(bench.settings.path).now.cab
    space(on_pass)
    assert recording(on_pass)
    space(on_pass)
    on_pass.settle()
    assert "nothing came in while it was recorded" in on_pass.said
    QTest.keyClick(window, Qt.Key.Key_F11)
    on_pass.settle()
    assert "Records" in on_pass.offers
    assert not Settings(bench.settings.path).now.cab


def test_in_the_cab_the_answer_is_what_came_of_it_and_what_to_do(on_pass, pass_time):
    QTest.keyClick(on_pass.widget, Qt.Key.Key_F11)
    on_pass.settle()
    space(on_pass)
    pass_time(30.0, look=on_pass.frame)
    space(on_pass)
    on_pass.settle()
    assert "pass: Belt " in on_pass.said
    assert "than the ground. Leave belt and ground speed as they are." in on_pass.said

"""The first page: what it says of what runs, and where its choices lead."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton, QWidget

from workbench.base.units import SPEED_UNITS_MPS
from workbench.gui.parts.choice_card import ChoiceCard
from workbench.gui.start.page import StartPage
from workbench.gui.theme import BRIGHT, DARK
from workbench.models.passes.pace import PaceNow
from workbench.models.start.welcome import pace_sentence, welcome

MPH = SPEED_UNITS_MPS["mph"]


@pytest.fixture
def went():
    return []


@pytest.fixture
def page(bench, qtbot, went):
    bench.use_inputs(["sim:valve-off?seed=4"])
    made = StartPage(bench, BRIGHT, went.append)
    host = QWidget()  # a page is never a window
    qtbot.addWidget(host)
    made.setParent(host)
    made.resize(880, 540)
    host.show()
    yield made
    host.hide()


def test_the_first_start_shows_a_picture_that_moves(page, pass_time):
    places = []

    def look():
        page._bench.live.update()
        page.refresh()
        places.append(page._strip._belt_m)

    pass_time(2, step_s=0.1, look=look)
    assert places == sorted(places)
    assert places[-1] > places[5] > 0
    assert page._welcome.text().startswith("A demonstration digger runs here on the simulator")
    assert "Machine" in page._welcome.text()
    assert "Signals" in page._welcome.text()


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("Calibrate a readout", "Calibrate"),
        ("Check a pass", "Pass"),
        ("Check pickup gaps", "Gap"),
        ("Describe a machine", "Machine"),
        ("Choose inputs", "Signals"),
    ],
)
def test_every_choice_leads_to_its_page_by_mouse_and_by_key(page, qtbot, went, text, place):
    (choice,) = [b for b in page.findChildren(QPushButton) if b.text() == text]
    qtbot.mouseClick(choice, Qt.MouseButton.LeftButton)
    choice.setFocus()
    qtbot.keyClick(choice, Qt.Key.Key_Return)
    qtbot.keyClick(choice, Qt.Key.Key_Space)
    assert went == [place] * 3


def test_each_choice_says_what_it_takes_and_gives(page):
    cards = page.findChildren(ChoiceCard)
    assert len(cards) == 3
    for card in cards:
        said = card.accessibleDescription()
        assert said.startswith("Takes ")
        assert "; gives " in said
        card.setFocus()
        card.grab()
    page.set_theme(DARK)
    page.resize(1750, 950)
    assert not page.grab().isNull()


def test_words_change_twice_a_second_and_units_at_once(page, bench, clock, pass_time):
    pass_time(20)
    page.refresh()
    first = page._words.text()
    assert "mph" in first
    bench.settings.change(units="metric")
    page.refresh()
    assert "km/h" in page._words.text()


@pytest.mark.parametrize(
    ("belt", "ground", "said"),
    [
        (2.5, 2.5, "Belt 2.50 mph. Ground 2.50 mph. They keep pace."),
        (2.25, 2.5, "The belt falls back 10 ft in every 100."),
        (3.0, 2.5, "The belt runs ahead 20 ft in every 100."),
    ],
)
def test_how_belt_and_ground_go_together(bench, belt, ground, said):
    bench.use_inputs(["sim:healthy"])
    pace = PaceNow(0, 0, belt * MPH, ground * MPH, belt_lost=False, ground_lost=False)
    assert said in pace_sentence(bench, pace)


def test_a_standing_tractor_and_a_lost_signal_are_not_compared(bench):
    bench.use_inputs(["sim:healthy"])
    nan = float("nan")
    stands = PaceNow(0, 0, 1.0, 0.0, belt_lost=False, ground_lost=False)
    assert pace_sentence(bench, stands) == "Belt 2.24 mph. Ground 0.00 mph."
    lost = PaceNow(0, 0, nan, 1.0, belt_lost=True, ground_lost=False)
    assert pace_sentence(bench, lost) == "Belt: no signal. Ground 2.24 mph."
    both = PaceNow(0, 0, nan, nan, belt_lost=True, ground_lost=True)
    assert "Nothing is heard" in pace_sentence(bench, both)


def test_the_words_fit_one_s_own_machine(bench, pass_time):
    bench.use_inputs(["sim:healthy"])
    own = replace(bench.machine, name="Six-row digger, left belt", text="")
    bench.use_machine(own, Path("six-row.toml"))
    assert welcome(bench).startswith("Six-row digger, left belt is in use, but what comes in is")
    pass_time(2)
    bench.live.simulated = False
    assert welcome(bench) == (
        "Six-row digger, left belt is in use, and its belt and ground signals come in."
    )
    for stream in bench.live.streams.values():
        stream.last_host_s = float("-inf")
    assert "Nothing comes from its belt and ground: see Signals." in welcome(bench)
    bench.use_machine(None)
    assert "Describe the machine under Machine." in welcome(bench)
    bench.live.stop()
    assert "no input is open" in welcome(bench)


def test_an_input_that_cannot_be_opened_is_said(bench):
    bench.use_inputs(["nonsense:1"])
    assert "nonsense" in welcome(bench)

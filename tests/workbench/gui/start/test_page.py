"""The first page: what it says of what runs, and where its choices lead."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel

from workbench.base.units import SPEED_UNITS_MPS
from workbench.gui.parts.pace_strip import PaceStrip
from workbench.gui.start.page import ChoiceCard, StartPage
from workbench.gui.theme import BRIGHT, DARK, recolor
from workbench.models.pace import PaceNow
from workbench.models.start.welcome import pace_sentence, welcome

MPH = SPEED_UNITS_MPS["mph"]


@pytest.fixture
def went():
    return []


@pytest.fixture
def page(bench, housed, went):
    bench.use_inputs(["sim:valve-off?seed=4"])
    return housed(StartPage(bench, BRIGHT, went.append))


def test_the_first_start_shows_a_picture_that_moves(bench, screen, pass_time):
    strip, pictures = screen.one(PaceStrip), []

    def look():
        bench.live.update()
        screen.frame()
        pictures.append(strip.grab().toImage())

    pass_time(2, step_s=0.1, look=look)
    moved = [one != other for one, other in pairwise(pictures)]
    assert all(moved[5:])
    assert screen.shown(QLabel, "A demonstration digger runs here on the simulator")
    assert "Machine" in screen.said
    assert "Signals" in screen.said


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("Calibrate a readout", "Calibrate"),
        ("Check a pass", "Pass"),
        ("Check pickup gaps", "Gap"),
        ("Describe a machine", "Machine"),
        ("Prepare the machine", "Prepare"),
        ("Choose inputs", "Signals"),
    ],
)
def test_every_choice_leads_to_its_page_by_mouse_and_by_key(screen, qtbot, went, text, place):
    choice = screen.button(text)
    qtbot.mouseClick(choice, Qt.MouseButton.LeftButton)
    choice.setFocus()
    qtbot.keyClick(choice, Qt.Key.Key_Return)
    qtbot.keyClick(choice, Qt.Key.Key_Space)
    assert went == [place] * 3


def test_each_choice_says_what_it_takes_and_gives(page, screen):
    cards = screen.shown(ChoiceCard)
    assert len(cards) == 3
    for card in cards:
        said = card.accessibleDescription()
        assert said.startswith("Takes ")
        assert "; gives " in said
        card.setFocus()
        card.grab()
    recolor(page, DARK)
    page.resize(1750, 950)
    assert not page.grab().isNull()


def test_words_change_twice_a_second_and_units_at_once(bench, screen, pass_time):
    pass_time(20)
    screen.frame()
    assert "mph" in screen.said
    bench.settings.change(units="metric")
    screen.frame()
    assert "km/h" in screen.said


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

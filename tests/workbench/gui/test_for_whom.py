"""For whom and by whom: asked once, kept with every answer, from start to start."""

from dataclasses import replace
from datetime import date

import pytest
from PySide6.QtCore import Qt

from workbench.base.machine import parse_machine
from workbench.jobs.particulars import NOTHING_SAID, Particulars
from workbench.models.for_whom import ForWhom
from workbench.models.settings import Settings

DRIVE = '[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.2\n'
ONE, OTHER = (parse_machine(f'name = "{name}"\n{DRIVE}') for name in ("one", "other"))
SAID = Particulars(
    customer="Miller",
    field="North",
    job="7",
    by="A. B.",
    conditions="wet",
    references=("tape 3", "watch"),
    remarks="of this one",
)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "settings.json"


def for_whom(path, day=4):
    return ForWhom(Settings(path), lambda: date(2026, 5, day))


def test_it_holds_for_the_machine_and_from_start_to_start(path):
    assert for_whom(path).of(ONE) == NOTHING_SAID
    for_whom(path).say(ONE, SAID)
    assert for_whom(path).of(ONE) == replace(SAID, remarks="")


def test_the_weather_holds_for_a_day(path):
    for_whom(path).say(ONE, SAID)
    assert for_whom(path, day=5).of(ONE) == replace(SAID, remarks="", conditions="")


def test_who_works_and_with_what_goes_over_to_another_machine(path):
    for_whom(path).say(ONE, SAID)
    other = Particulars(by="A. B.", references=("tape 3", "watch"))
    assert for_whom(path).of(OTHER) == for_whom(path).of(None) == other


def test_settings_that_hold_something_else_count_as_nothing_said(path):
    settings = Settings(path)
    settings.change(said={"machine one": "2026-05-04 [1]", "": 3})
    assert ForWhom(settings).of(ONE) == NOTHING_SAID


def test_the_header_asks_for_it_and_shows_it(bench, window, screen_of):
    header, screen = window.header, screen_of(window)
    assert header.for_whom.text() == "For whom …"
    screen.press("For nobody named")
    assert "For whom and by whom?" in screen.said
    screen.type("Tape, watch or instrument used", "a; b ;", Qt.Key.Key_Tab)
    screen.type("Customer", "Miller & sons of the hill", Qt.Key.Key_Escape)
    assert "For whom and by whom?" not in screen.said
    said = bench.for_whom.of(bench.machine)
    assert (said.customer, said.references) == ("Miller & sons of the hill", ("a", "b"))
    screen.frame()
    assert header.for_whom.text() == "For Miller & sons o…"

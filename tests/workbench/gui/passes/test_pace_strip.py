"""The pace strip: where marks stand, what it says, how its tapes move and when they stop."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from PySide6.QtGui import QColor

from workbench.base.units import FOOT_M
from workbench.gui.parts.pace_strip import SHOWN_M, PaceStrip, place_px
from workbench.gui.theme import BRIGHT, DARK, contrast
from workbench.models.pace import PaceNow
from workbench.models.passes.tapes import SmoothTapes

FRAME_S = 1 / 30


def strip_of(qtbot, theme=BRIGHT):
    strip = PaceStrip(theme)
    qtbot.addWidget(strip)
    strip.resize(1200, 240)
    strip.set_marks(1.0, "m")
    return strip


def marks_px(strip, *, belt):
    """Left edges of the whole marks, long and wide, as painted."""
    image = strip.grab().toImage()
    color = QColor(BRIGHT.belt if belt else BRIGHT.earth).rgb()
    # Just inside the reach of a long mark, beyond that of a half.
    height = (strip.height() - round(0.18 * strip.height())) // 2
    y = height - round(0.4 * height) if belt else strip.height() - height + round(0.4 * height)
    row = [image.pixel(x, y) == color for x in range(image.width())]
    return [x for x in range(1, len(row)) if row[x] and not row[x - 1]]


def show(strip, belt_m, ground_m, *, belt_lost=False, ground_lost=False):
    strip.show_distances(belt_m, ground_m, belt_lost=belt_lost, ground_lost=ground_lost)


def test_a_mark_stands_in_the_middle_when_the_tape_has_come_just_so_far():
    assert place_px(7.0, 7.0, 1200) == 600
    # Later it has moved left, by a metre's share of the widget's width.
    assert place_px(7.0, 8.0, 1200) == pytest.approx(600 - 1200 / SHOWN_M)


@pytest.mark.parametrize("belt_m", [10.0, 10.25, 10.9])
def test_marks_are_painted_where_the_distance_puts_them(qtbot, belt_m):
    strip = strip_of(qtbot)
    show(strip, belt_m, 20.0)
    expected = [place_px(mark, belt_m, 1200) for mark in (9, 11, 12)]
    painted = marks_px(strip, belt=True)
    for place in expected:
        assert min(abs(place - 2.5 - x) for x in painted) <= 1


def test_in_step_the_marks_stand_in_line_and_behind_the_belt_s_fall_back(qtbot):
    strip = strip_of(qtbot)
    show(strip, 10.3, 10.3)
    ground = marks_px(strip, belt=False)
    assert set(marks_px(strip, belt=True)) <= set(ground)
    show(strip, 10.1, 10.3)
    shifted = [x + 0.2 * 1200 / SHOWN_M for x in ground]
    for x in marks_px(strip, belt=True)[1:-1]:
        assert min(abs(x - place) for place in shifted) <= 1  # whole pixels


@pytest.mark.parametrize(
    ("belt_m", "ground_m", "words"),
    [
        (10.0, 10.0, "in step"),
        (10.0, 10.004, "in step"),
        (9.0, 10.0, "belt 1.0 m behind"),
        (12.5, 10.0, "belt 2.5 m ahead"),
        (400.0, 10.0, "belt 390 m ahead"),
    ],
)
def test_the_separation_in_words(qtbot, belt_m, ground_m, words):
    strip = strip_of(qtbot)
    show(strip, belt_m, ground_m)
    assert strip.words() == words
    assert strip.accessibleDescription() == words


def test_before_a_pass_counts_nothing_is_said_of_how_far_they_are_apart(qtbot):
    strip = strip_of(qtbot)
    strip.show_distances(9.0, 10.0, belt_lost=False, ground_lost=False, counts=False)
    assert strip.words() == strip.accessibleDescription() == "counts once both are steady"
    show(strip, 9.0, 10.0)
    assert strip.words() == "belt 1.0 m behind"


def test_feet_follow_the_unit(qtbot):
    strip = strip_of(qtbot)
    show(strip, 9.0, 10.0)
    strip.set_marks(FOOT_M, "ft")
    assert strip.words() == "belt 3.3 ft behind"


def test_a_lost_tape_keeps_its_place_and_is_grey(qtbot):
    strip = strip_of(qtbot)
    show(strip, 10.0, 10.0)
    before = marks_px(strip, belt=True)
    show(strip, 15.5, 12.0, belt_lost=True)
    assert strip.words() == "no signal from belt"
    assert marks_px(strip, belt=True) == []
    show(strip, 10.0, 12.0)
    assert marks_px(strip, belt=True) == before


def test_grey_marks_can_still_be_read():
    # WCAG 2.1, 1.4.11: 3:1 for parts of a picture.
    for theme in (BRIGHT, DARK):
        assert contrast(theme.no_data, theme.ground) >= 3


def test_a_strip_that_stands_is_not_painted_again(qtbot, monkeypatch):
    strip = strip_of(qtbot)
    show(strip, 10.0, 10.0)
    painted = []
    monkeypatch.setattr(strip, "update", lambda: painted.append(1))
    show(strip, 10.0, 10.0)
    assert painted == []
    show(strip, 10.1, 10.0)
    assert painted == [1]


def pace(belt_m, ground_m, *, belt_lost=False, ground_lost=False, belt_mps=1.0):
    return PaceNow(
        belt_m,
        ground_m,
        math.nan if belt_lost else belt_mps,
        math.nan if ground_lost else 1.0,
        belt_lost,
        ground_lost,
    )


def carried(true_speed, told_speed, every_s, for_s):
    """(time, distance as told): values every so often, carried on at the speed told."""
    frames = round(for_s / FRAME_S)
    for frame in range(frames):
        at_s = frame * FRAME_S
        value_s = math.floor(at_s / every_s + 1e-9) * every_s
        yield at_s, true_speed * value_s + told_speed * (at_s - value_s)


def test_at_a_steady_speed_the_tapes_are_where_the_distances_are():
    tapes = SmoothTapes()
    for frame in range(300):
        at_s = frame * FRAME_S
        now = tapes.follow(pace(5 + 1.2 * at_s, 7 + at_s, belt_mps=1.2), at_s)
    assert now.belt_m == pytest.approx(1.2 * at_s)
    assert now.ground_m == pytest.approx(1.0 * at_s)


def test_values_once_a_second_move_the_tape_smoothly():
    # The source tells 1.0 m/s and 1.1 m/s is driven: each value jumps 0.1 m on.
    tapes, places = SmoothTapes(), []
    for at_s, told_m in carried(1.1, 1.0, 1.0, 10):
        places.append(tapes.follow(pace(told_m, told_m), at_s).ground_m)
    steps = [after - before for before, after in pairwise(places)]
    told = [m for _, m in carried(1.1, 1.0, 1.0, 10)]
    jumps = [after - before for before, after in pairwise(told)]
    assert max(jumps) > 3 * FRAME_S
    assert max(steps) < 1.5 * FRAME_S
    assert min(steps) > 0
    assert places[-1] == pytest.approx(told[-1], abs=0.1)


def test_a_tape_without_news_stands_at_once():
    tapes = SmoothTapes()
    for frame in range(30):
        now = tapes.follow(pace(frame * FRAME_S, frame * FRAME_S), frame * FRAME_S)
    stood = now.ground_m
    for frame in range(30, 60):
        now = tapes.follow(pace(frame * FRAME_S, 29 * FRAME_S), frame * FRAME_S)
        assert now.ground_m == pytest.approx(stood, abs=1e-9)
    assert now.belt_m > stood


def test_a_lost_tape_stops_dead_and_nothing_is_counted_meanwhile():
    tapes = SmoothTapes()
    for frame in range(90):
        at_s = frame * FRAME_S
        now = tapes.follow(pace(1.1 * at_s, at_s, belt_mps=1.1), at_s)
    apart, stood = now.belt_m - now.ground_m, now.ground_m
    for frame in range(90, 300):
        at_s = frame * FRAME_S
        now = tapes.follow(pace(1.1 * at_s, 99.0, ground_lost=True, belt_mps=1.1), at_s)
        assert now.ground_m == stood
        assert now.ground_lost
    # The ground is heard again, from another source that counts its own way.
    for frame in range(300, 330):
        at_s = frame * FRAME_S
        now = tapes.follow(pace(1.1 * at_s, 500 + at_s, belt_mps=1.1), at_s)
    assert now.belt_m - now.ground_m == pytest.approx(apart + 0.1 * 29 * FRAME_S, abs=1e-6)


def test_another_source_is_no_movement():
    tapes = SmoothTapes()
    tapes.follow(pace(0, 0), 0.0)
    tapes.follow(pace(0.5, 0.5), 0.5)
    now = tapes.follow(pace(0.6, 300.0), 0.6)
    assert now.ground_m == pytest.approx(0.5)


def test_too_far_apart_they_are_laid_side_by_side_anew():
    tapes = SmoothTapes(apart_most_m=3.0)
    for frame in range(400):
        at_s = frame * FRAME_S
        now = tapes.follow(pace(1.5 * at_s, at_s, belt_mps=1.5), at_s)
        assert abs(now.belt_m - now.ground_m) <= 3.0
    assert now.belt_m < 1.5 * at_s

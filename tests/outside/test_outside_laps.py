"""Laps by hand against figures of the trade."""

import math

import pytest

from workbench.calibration.readout.lap_timer import LapTimer, laps_needed


def test_hand_timing_errs_once_however_many_laps():
    """Am. J. Phys. 87(2), 2019, p. 110: an interval by one hand errs by N(0, (0.10 s)²), so
    0.10/n s a lap."""
    assert LapTimer(9.0, 1e-9, 0.01, marks_s=(0.0, 7.5)).u_rel == pytest.approx(0.10 / 7.5)
    ten = tuple(7.5 * mark for mark in range(11))
    assert LapTimer(9.0, 1e-9, 0.01, marks_s=ten).u_rel == pytest.approx(0.10 / 75)


@pytest.mark.parametrize("u_rel", [0.02, 0.01, 0.005, 0.002])
def test_laps_needed_are_just_enough(u_rel):
    """One tape for all laps and one hand for the interval: u² = (u_L/L)² + (0.10 s/t)²."""
    n = laps_needed(u_rel, 1.2, 9.0, 0.009)
    assert n is not None

    def reached(laps):
        return math.hypot(0.001, 0.10 / (laps * 9.0 / 1.2))

    assert reached(n) <= u_rel * (1 + 1e-6)
    assert n == 1 or reached(n - 1) > u_rel


def test_no_number_of_laps_mends_a_poor_tape():
    assert laps_needed(0.001, 1.2, 9.0, 0.01) is None


def test_the_countdown_follows_the_marks():
    assert math.isnan(LapTimer(9.0, 0.009, 0.003).speed_mps)
    marks_s, seen = [], []
    for mark in range(20):
        marks_s.append(100.0 + 7.5 * mark)
        timer = LapTimer(9.0, 0.009, 0.003, marks_s=tuple(marks_s))
        seen.append(timer.laps_left)
        if timer.done:
            break
    assert seen[0] is None
    assert seen[1:] == sorted(seen[1:], reverse=True)
    assert seen[-1] == 0
    assert timer.speed_mps == pytest.approx(1.2)
    assert timer.u_rel <= 0.003
    assert LapTimer(9.0, 0.009, 0.003, marks_s=tuple(marks_s[:-1])).laps_left == 1


def test_a_mark_that_was_not_pressed_is_seen():
    timer = LapTimer(9.0, 0.009, 0.003, marks_s=(0.0, 7.5, 15.1, 30.0, 37.4))
    assert timer.missed() == [3]

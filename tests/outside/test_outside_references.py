"""References: timed courses, laps by hand, and settings, against figures of the trade."""

import math

import pytest

from workbench.base.units import from_mps
from workbench.calibration.readout.reference import (
    COURSES_M,
    LapTimer,
    calibrated_source,
    counting_s_needed,
    hand_tachometer,
    laps_needed,
    taped_course,
    timed_laps,
)


@pytest.mark.parametrize(
    ("length_ft", "time_s", "mph"),
    [(88, 60, 1.0), (88, 20, 3.0), (100, 34.1, 2.0), (100, 27.3, 2.5), (100, 22.7, 3.0)],
)
def test_course_in_feet(length_ft, time_s, mph):
    """88 ft in 60 s is 1 mph; 100 ft takes 34.1, 27.3, 22.7 s at 2, 2.5, 3 mph (Cornell
    sprayer calibration page; its formula's 60/80 is a misprint for 60/88)."""
    found = taped_course(length_ft * 0.3048, 0.01, [time_s], "tape")
    assert from_mps(found.speed_mps, "mph") == pytest.approx(mph, rel=0.002)


def test_course_in_metres():
    """km/h = 360 ÷ (seconds for 100 m), the same page."""
    found = taped_course(100.0, 0.02, [90.0], "tape")
    assert from_mps(found.speed_mps, "km/h") == pytest.approx(360 / 90)
    assert COURSES_M["88 ft"] == pytest.approx(26.8224)


def test_hand_timing_errs_once_however_many_laps():
    """Am. J. Phys. 87(2), 2019, p. 110: an interval by one hand errs by N(0, (0.10 s)²), so
    0.10/n s a lap."""
    one = timed_laps(1, 7.5, 9.0, 1e-9, "tape")
    ten = timed_laps(10, 75.0, 9.0, 1e-9, "tape")
    assert one.u_mps / one.speed_mps == pytest.approx(0.10 / 7.5)
    assert ten.u_mps / ten.speed_mps == pytest.approx(0.10 / 75)


def test_both_directions_are_averaged_and_share_the_tape():
    there_and_back = taped_course(50.0, 0.05, [36.0, 40.0], "tape")
    assert there_and_back.speed_mps == pytest.approx(100 / 76)
    assert there_and_back.u_shared_mps / there_and_back.speed_mps == pytest.approx(0.001)
    watch = 0.10 * math.sqrt(2) / 76
    assert there_and_back.u_mps / there_and_back.speed_mps == pytest.approx(
        math.hypot(0.001, watch)
    )


def test_tachometer_and_calibrated_source():
    """U = k·u, as a certificate states it (GUM 7.2.3)."""
    shaft = hand_tachometer(3.0, 0.003, 0.4064, 0.0004, "certificate 7")
    assert shaft.speed_mps == pytest.approx(1.2192)
    assert shaft.u_mps / shaft.speed_mps == pytest.approx(math.hypot(0.001, 0.0004 / 0.4064))
    assert calibrated_source(1.2, 0.012, 2.0, "radar", "certificate 8").u_mps == 0.006


@pytest.mark.parametrize("u_rel", [0.02, 0.01, 0.005, 0.002])
def test_laps_needed_are_just_enough(u_rel):
    n = laps_needed(u_rel, 1.2, 9.0, 0.009)
    assert n is not None

    def reached(laps):
        return timed_laps(laps, laps * 9.0 / 1.2, 9.0, 0.009, "").u_mps / 1.2

    assert reached(n) <= u_rel * (1 + 1e-6)
    assert n == 1 or reached(n - 1) > u_rel


def test_no_number_of_laps_mends_a_poor_tape():
    assert laps_needed(0.001, 1.2, 9.0, 0.01) is None
    assert counting_s_needed(0.001, 90.0, 0.002) is None
    assert counting_s_needed(0.001, 90.0, 0.0005) == pytest.approx(
        1 / math.sqrt(6) / 90 / math.sqrt(0.001**2 - 0.0005**2)
    )


def test_the_countdown_follows_the_marks():
    timer = LapTimer(9.0, 0.009, 0.003)
    assert math.isnan(timer.speed_mps)
    assert timer.laps_left is None
    assert timer.left_s(0.0) is None
    seen = []
    for mark in range(20):
        timer.mark(100.0 + 7.5 * mark)
        seen.append(timer.laps_left)
        if timer.done:
            break
    assert seen[0] is None
    assert seen[1:] == sorted(seen[1:], reverse=True)
    assert seen[-1] == 0
    assert timer.speed_mps == pytest.approx(1.2)
    assert timer.u_rel <= 0.003
    timer.undo()
    assert timer.laps_left == 1
    assert timer.left_s(timer.marks_s[-1]) == pytest.approx(7.5)
    with pytest.raises(ValueError, match="before the last"):
        timer.mark(0.0)


def test_a_mark_that_was_not_pressed_is_seen():
    timer = LapTimer(9.0, 0.009, 0.003, marks_s=[0.0, 7.5, 15.1, 30.0, 37.4])
    assert timer.missed() == [3]


@pytest.mark.parametrize("times_s", [[], [0.0], [math.nan], [-3.0]])
def test_a_course_without_a_time_is_refused(times_s):
    with pytest.raises(ValueError, match=r"time|run"):
        taped_course(50.0, 0.05, times_s, "tape")

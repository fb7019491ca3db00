"""The taped course, driven both ways, against worked examples and its own statistics."""

import math

import numpy as np
import pytest

from workbench.base.units import FOOT_M, to_mps
from workbench.match.course import HAND_U_S, CourseRun, course_speed, scale_factor


@pytest.mark.parametrize(("seconds", "mph"), [(34.1, 2.0), (27.3, 2.5), (22.7, 3.0)])
def test_a_hundred_feet_by_the_watch(seconds, mph):
    """The extension service's table of a timed 100 ft course."""
    speed_mps, _u = course_speed(100 * FOOT_M, seconds)
    assert speed_mps == pytest.approx(to_mps(mph, "mph"), rel=2e-3)


def test_a_radar_that_reads_two_per_cent_low():
    true_mps = 100 * FOOT_M / 27.3
    runs = [CourseRun(27.3, true_mps / 1.02, 0.001, there) for there in (True, False)]
    found = scale_factor(100 * FOOT_M, runs)
    assert found.factor == pytest.approx(1.02)
    assert found.proven
    # GUM 5.1.2: two watches' errors are halved in the mean, the tape's is not.
    watch = math.hypot(HAND_U_S / 27.3, 0.001 / (true_mps / 1.02)) / math.sqrt(2)
    assert found.u_factor == pytest.approx(1.02 * math.hypot(watch, 0.03 / 30.48), rel=1e-6)


def test_slope_and_wind_fall_out_of_both_directions():
    there, back = CourseRun(20.0, 1.0, 0.01, True), CourseRun(20.0, 2.0, 0.01, False)
    found = scale_factor(30.0, [there, there, back])
    assert found.factor == pytest.approx((1.5 + 0.75) / 2)
    assert found.runs == 3


@pytest.mark.parametrize("runs", [1, 2])
def test_one_direction_proves_nothing(runs):
    found = scale_factor(30.0, [CourseRun(20.0, 1.5, 0.01, True)] * runs)
    assert not found.proven


def test_the_interval_holds_the_truth():
    """In 95 of 100: watches as the 4 304 measurements of Am. J. Phys. 87(2) 2019 scatter, a
    display of 0.1 mph, a course taped to 30 mm."""
    rng, held, true = np.random.default_rng(5), 0, 1.013
    for _trial in range(1000):
        length_m = 30.48 + rng.normal(0, 0.03)
        runs = []
        for there in (True, False, True, False):
            speed_mps = rng.uniform(0.9, 1.3)
            watch_s = length_m / speed_mps + rng.normal(0, HAND_U_S)
            step_mps = to_mps(0.1, "mph")
            shown_mps = round(speed_mps / true / step_mps) * step_mps
            runs.append(CourseRun(watch_s, shown_mps, step_mps / math.sqrt(12), there))
        found = scale_factor(30.48, runs)
        held += abs(found.factor - true) <= found.U_factor
    assert 0.93 <= held / 1000 <= 0.995

"""The shop's repeat measurements, and wheels known again."""

import numpy as np
import pytest

from workbench.base.statements import statement
from workbench.calibration.gap.repeats import RepeatSays, repeat_chart
from workbench.calibration.gap.same_wheel import SameWheelSays, compare_spacing


def chart_of(values, *more):
    return repeat_chart("set block", values[:3].tolist(), values[3:].tolist(), *more)


def test_repeat_measurements_that_hold_are_in_control() -> None:
    rng = np.random.default_rng(1)
    charts = [chart_of(0.0016 + rng.normal(0, 3e-5, 40), 1e-5, 0.0016) for _ in range(200)]
    assert sum(chart.in_control is False for chart in charts) <= 12  # 2 to 3 in 100 expected
    held = next(chart for chart in charts if chart.in_control)
    assert held.sentence == statement(RepeatSays.REPEATS_HOLD, count=40, target_m=0.0016)


def test_repeat_measurements_that_move_raise_an_alarm_soon() -> None:
    rng = np.random.default_rng(2)
    values = 0.0016 + rng.normal(0, 3e-5, 40)
    values[25:] += 6e-5
    chart = chart_of(values, 5e-5, 0.0016)
    assert chart.in_control is False
    first = chart.sentence.values["first"] - 1
    assert 25 <= first <= 33
    assert chart.sentence == statement(RepeatSays.REPEATS_WIDER, first=first + 1, target_m=0.0016)


def test_equal_readings_get_the_blades_spread_and_few_get_a_sentence() -> None:
    chart = chart_of(np.full(10, 0.0016), 5e-5)
    assert chart.sigma_m == pytest.approx(5e-5 / np.sqrt(12))
    few = chart_of(np.full(5, 0.0016), 5e-5).sentence
    assert few == statement(RepeatSays.FEW_REPEATS, count=5, more=3)


def test_a_wheel_is_known_again_and_the_way_it_turned() -> None:
    rng = np.random.default_rng(5)
    then = rng.normal(0, 0.006, 24)
    same = compare_spacing(np.roll(then, -7) + rng.normal(0, 0.001, 24), then)
    assert same.same_wheel
    assert not same.turned_back
    assert same.tooth_then == 8
    back = compare_spacing(-then[::-1], then)
    assert back.same_wheel
    assert back.turned_back
    assert back.tooth_then == 24
    assert back.sentence == statement(SameWheelSays.SAME_WHEEL_TURNED_BACK, tooth_then=24)
    assert compare_spacing(np.roll(-then[::-1], 3), then).tooth_then == 3


def test_other_wheels_are_told_apart_and_unlike_ones_not_compared() -> None:
    rng = np.random.default_rng(6)
    taken = sum(
        bool(compare_spacing(rng.normal(0, 1, 24), rng.normal(0, 1, 24)).same_wheel)
        for _ in range(500)
    )
    assert taken <= 2
    assert compare_spacing(np.zeros(24), np.zeros(30)).same_wheel is None
    few = compare_spacing(np.zeros(6), np.zeros(6)).sentence
    assert few.what == SameWheelSays.FEW_TEETH_TO_KNOW

"""Gap from voltage: the law fitted, and read backwards."""

import numpy as np
import pytest

from workbench.base.errors import WrongInput
from workbench.calibration.gap.amplitude import (
    BaselinePoint,
    fit_law,
    gap_by_tooth,
    gap_from_voltage,
)
from workbench.calibration.gap.stand_outs import find_stand_outs
from workbench.calibration.gap.wheel_faults import USUAL_LOG_AMPLITUDE, check_wheel

DECAY_M, LOG_K = 0.0018, -2.5


def level(gap_m):
    return LOG_K - np.asarray(gap_m) / DECAY_M


def points(gaps_m, rng=None, spread=0.0):
    noise = rng.normal(0, spread, len(gaps_m)) if rng else np.zeros(len(gaps_m))
    return [
        BaselinePoint(gap, 3e-5, float(value))
        for gap, value in zip(gaps_m, level(gaps_m) + noise, strict=True)
    ]


def test_two_readings_give_the_law_and_any_gap_between() -> None:
    law = fit_law(points([0.001, 0.0025]))
    assert law.decay_m == pytest.approx(DECAY_M)
    assert law.log_k == pytest.approx(LOG_K)
    gap = gap_from_voltage(law, float(level(0.0017)))
    assert gap.value == pytest.approx(0.0017)
    assert 5e-5 < gap.u < 3e-4


def test_the_stated_interval_holds_the_gap_of_the_next_machine() -> None:
    rng = np.random.default_rng(17)
    inside = 0
    for _ in range(500):
        law = fit_law(points([0.0008, 0.0016, 0.0024, 0.0032], rng, 0.05))
        truth = rng.uniform(0.001, 0.003)
        gap = gap_from_voltage(law, float(level(truth)) + rng.normal(0, 0.05))
        inside += abs(gap.value - truth) <= 2 * gap.u
    assert 0.92 <= inside / 500 <= 0.99


def test_gap_by_tooth_finds_runout_and_a_worn_tooth() -> None:
    theta = 2 * np.pi * np.arange(30) / 30
    gap_m = 0.0016 + 0.0001 * np.cos(theta - 1.0)
    gap_m[11] += 0.0008
    log_amplitude = level(gap_m)
    pattern = find_stand_outs(log_amplitude, USUAL_LOG_AMPLITUDE, 1e-3)
    gap, by_tooth_m = gap_by_tooth(fit_law(points([0.001, 0.0025])), log_amplitude, pattern)
    np.testing.assert_allclose(by_tooth_m, gap_m, rtol=1e-9)
    assert gap.runout.value == pytest.approx(0.0002, rel=0.01)
    assert gap.widest.angle_deg == 11 * 12.0
    assert gap.widest.value == pytest.approx(gap_m[11])
    assert gap.closest.value == pytest.approx(0.0015, rel=0.01)


def test_the_voltage_of_a_recording_does_not_depend_on_its_speed(wheel) -> None:
    levels = []
    for turn_hz in (2.0, 4.0):
        time_s = wheel(turn_hz=turn_hz, wander=0.001, drift=0.3)(np.random.default_rng(2))
        rate_hz = np.gradient(np.arange(time_s.size), time_s)
        volts = np.exp(level(0.0016)) * rate_hz
        levels.append(np.mean(check_wheel(time_s, 24, amplitude_v=volts).log_amplitude))
    np.testing.assert_allclose(levels, level(0.0016), atol=0.005)


@pytest.mark.parametrize(
    ("gaps_m", "says"),
    [
        ([0.001], "needs another reading at a gap at least 0.30 mm away"),
        ([0.0016, 0.0017], "from 1.60 mm to 1.70 mm; it needs two or more at gaps 0.30 mm"),
    ],
)
def test_too_little_for_a_law_gets_a_sentence(gaps_m, says: str) -> None:
    with pytest.raises(WrongInput, match=says):
        fit_law(points(gaps_m))


def test_voltages_that_grow_with_the_gap_get_a_sentence() -> None:
    swapped = [BaselinePoint(0.001, 3e-5, -4.0), BaselinePoint(0.003, 3e-5, -3.0)]
    with pytest.raises(WrongInput, match="grow with the gap, which no pickup does"):
        fit_law(swapped)

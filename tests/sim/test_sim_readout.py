"""The readout in the cab: what it shows for a known pulse rate."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim import spec
from sim.pickup import Edges
from sim.readout import RunningReadout, metres_per_pulse

FEET_100_M = 30.48


def pulses(rate_hz, for_s, from_s=0.0):
    rise_s = from_s + np.arange(1, int(rate_hz * for_s) + 1) / rate_hz
    none = np.full(rise_s.size, np.nan)
    return Edges(rise_s, none, none, np.zeros(rise_s.size, dtype=np.int64))


def test_a_setting_is_read_by_its_own_unit():
    # 2250 pulses a hundred feet are 30.48 m ÷ 2250; 13.55 mm a pulse is what it says.
    assert metres_per_pulse("inverse", 2250) == pytest.approx(0.0135467, rel=1e-5)
    assert metres_per_pulse("direct", 13.55) == pytest.approx(0.01355)


@pytest.mark.parametrize(
    ("unit", "step", "shown"),
    # 88 ft in 60 s is 1 mph (Cornell sprayer calibration page): 1.4 m/s is 3.13 mph.
    [("mph", 0.1, 3.1), ("km/h", 0.01, 5.04), ("m/s", 0.001, 1.4), ("ft/min", 1.0, 276.0)],
)
def test_steady_pulses_are_shown_to_the_step(unit, step, shown):
    readout = RunningReadout(spec.ReadoutPlan(unit=unit, step=step), 2250)
    rate_hz = 1.4 / (FEET_100_M / 2250)
    samples = readout.show(pulses(rate_hz, 20.0), 20.0)
    assert samples.value.size == 200
    assert samples.value[100:] == pytest.approx(shown, abs=1e-6 if step > 0.01 else step)


@given(setting=st.integers(500, 9000), rate_hz=st.floats(20, 500))
def test_shown_is_never_farther_than_half_a_step(setting, rate_hz):
    readout = RunningReadout(spec.ReadoutPlan(unit="m/s", step=0.01, averaging_s=0.5), setting)
    shown = readout.show(pulses(rate_hz, 10.0), 10.0).value[60:99]
    assert np.abs(shown - rate_hz * FEET_100_M / setting).max() <= 0.00501


def test_averaging_lags_a_step_and_standing_still_shows_zero():
    readout = RunningReadout(
        spec.ReadoutPlan(unit="m/s", step=0.001, averaging_s=1.0), FEET_100_M * 100
    )
    slow, fast = pulses(100, 10.0), pulses(200, 10.0, 10.0)
    first = readout.show(slow, 10.0).value
    second = readout.show(fast, 20.0).value
    assert first[50:98] == pytest.approx(1.0, abs=0.0011)
    # One time constant after the step it has gone 63 % of the way; the display is 60 ms late.
    assert second[10] == pytest.approx(2 - np.exp(-1.0), abs=0.06)
    third = readout.show(pulses(1, 0, 20.0), 30.0).value
    assert third[-1] == pytest.approx(0.0, abs=0.001)


def test_hysteresis_holds_the_digit():
    plain = RunningReadout(spec.ReadoutPlan(unit="m/s", step=0.1, averaging_s=0), FEET_100_M * 100)
    slack = RunningReadout(
        spec.ReadoutPlan(unit="m/s", step=0.1, averaging_s=0, hysteresis_steps=0.3),
        FEET_100_M * 100,
    )
    rates = 105 + 2.5 * np.sin(np.arange(300) / 5)  # to and fro over the flip at 1.05
    rise_s = np.cumsum(np.repeat(1 / rates, 10))
    none = np.full(rise_s.size, np.nan)
    edges = Edges(rise_s, none, none, np.zeros(rise_s.size, dtype=np.int64))
    flips = [
        np.count_nonzero(np.diff(readout.show(edges, 25.0).value[20:]))
        for readout in (plain, slack)
    ]
    assert flips[0] > 4
    assert flips[1] <= 1


def test_a_readout_goes_on_over_the_end_of_a_segment(run):
    shown = run("calibration-shop", 1, 360.0).recording.values["readout", "readout_shown"]
    steady = shown.value[(shown.time_s > 365 - 60) & (shown.time_s < 360)][30:]
    assert np.ptp(steady) <= 0.1001

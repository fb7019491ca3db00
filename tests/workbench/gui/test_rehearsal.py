"""One's own machine is rehearsed: the simulator is that machine, so its advice holds for it."""

from __future__ import annotations

import numpy as np
import pytest

from drivers.catalogue import open_input
from workbench.base.machine import parse_machine

MACHINE = """
name = "Two-row digger"
[belt]
lap_length_m = 7.62
u_lap_length_m = 0.004
[drive]
target_teeth = {teeth}
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.0381
measured_on = 2026-09-14
[readout]
unit = "km/h"
step = 0.01
setting = {setting}
setting_unit = ""
setting_step = 1
reads = "{reads}"
[pickup]
kind = "variable-reluctance"
"""


def machine_text(teeth=24, setting=750, reads="inverse"):
    return MACHINE.format(teeth=teeth, setting=setting, reads=reads)


def shown_and_true(driver, for_s):
    """The mean of the display and of the belt's true speed in the last 20 s, km/h."""
    shown = [
        block.value
        for _ in range(for_s)
        for block in driver.read(1.0)
        if getattr(block, "quantity", "") == "readout_shown"
    ]
    end_s, truth = driver.clock(), driver.truth()
    true = 3.6 * truth.belt_speed_mps(end_s - 20.0, end_s)
    return np.concatenate(shown)[-200:].mean(), true


@pytest.mark.parametrize("reads", ["inverse", "direct"])
def test_a_setting_that_is_4_per_cent_too_high_is_so_on_one_s_own_machine(reads):
    """calibration-shop: 'The setting in the readout is 4 per cent too high'. Where a larger number
    reads lower, the display shows 1 ÷ 1.04 of the belt's speed, else 1.04 of it."""
    driver = open_input("sim:calibration-shop?pace=fast")
    driver.rehearse_on(machine_text(reads=reads))
    with driver:
        shown, true = shown_and_true(driver, 50)
        assert shown / true == pytest.approx(1 / 1.04 if reads == "inverse" else 1.04, rel=0.004)
        driver.enter_setting(1 / 1.04)
        shown, true = shown_and_true(driver, 60)
        assert shown / true == pytest.approx(1.0, rel=0.004)


def test_the_wheel_has_the_teeth_of_the_machine():
    driver = open_input("sim:healthy?pace=fast")
    driver.rehearse_on(machine_text(teeth=24))
    with driver:
        driver.read(1.0)
        assert driver.truth().built.teeth == 24
        assert driver.truth().built.lap_m == pytest.approx(7.62, rel=0.002)


def test_a_tooth_count_typed_wrong_is_wrong_by_the_same_share():
    """wrong-tooth-count: 30 teeth, 32 typed; whoever typed 16 has a wheel of 15."""
    driver = open_input("sim:wrong-tooth-count?pace=fast")
    driver.rehearse_on(machine_text(teeth=16))
    with driver:
        driver.read(1.0)
        assert driver.truth().built.teeth == 15


def test_the_bench_s_simulator_takes_on_the_machine_in_use(bench, clock, pass_time):
    """The belt's speed is the same by the machine's drive line as the ground's: healthy."""
    bench.use_inputs(["sim:healthy?seed=2"])
    assert bench.machine.name.startswith("Demonstration")
    bench.use_machine(parse_machine(machine_text(), "the test's"))
    pass_time(40.0)
    belt, ground = bench.live.streams["left"], bench.live.streams["gnss"]
    assert belt.speed_mps == pytest.approx(ground.speed_mps, rel=0.05)


def test_a_new_setting_is_in_the_simulated_readout_too(bench, pass_time):
    bench.use_machine(parse_machine(machine_text(setting=780), "the test's"))
    bench.use_inputs(["sim:calibration-shop?seed=2"])
    pass_time(30.0)
    before = bench.live.values["readout", "readout_shown"]
    bench.change_setting(750)
    pass_time(30.0)
    after = bench.live.values["readout", "readout_shown"]
    assert after / before == pytest.approx(780 / 750, rel=0.02)


def test_what_cannot_be_simulated_is_said_and_the_scenario_s_own_machine_runs(bench):
    many = "target_teeth = 400\nturns_per_target_turn = 0.01"
    text = machine_text().replace("target_teeth = 24", many)
    bench.use_machine(parse_machine(text, "the test's"))
    bench.use_inputs(["sim:healthy"])
    assert any("pulses a second" in one for one in bench.live.problems)

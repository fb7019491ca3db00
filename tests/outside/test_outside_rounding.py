"""What a coarse display costs: JCGM 100:2008 (GUM), F.2.2.1, and readings that err alike."""

import numpy as np
import pytest

from workbench.base.machine import parse_machine
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.steady_runs import SteadySays, calibrate_runs
from workbench.calibration.statistics.budget import Part

MPH = 0.44704
STEP = 0.1
MACHINE = parse_machine(
    """
name = "Digger of the test"
[belt]
lap_length_m = 9.0
u_lap_length_m = 0.0001
[drive]
target_teeth = 30
turns_per_target_turn = 1.0
kind = "sprocket"
sprocket_teeth = 10
rod_pitch_m = 0.04
[readout]
unit = "mph"
step = 0.1
rounds = "nearest"
"""
)


def calibrated(unrounded_mph, scale=1 / 1.04):
    """Runs whose true speeds are known well; the display rounds scale · true to its step."""
    runs = []
    for number, unrounded in enumerate(unrounded_mph, 1):
        shown, time_s = round(unrounded / STEP) * STEP, 60 * 9.0 * scale / (unrounded * MPH)
        sure = {"laps": 60.0, "laps_time_s": time_s, "u_laps_time_s": 1e-5 * time_s}
        runs.append(Run(str(number), number, shown, **sure))
    return calibrate_runs(runs, MACHINE)


def said(found):
    return [warning.what for warning in found.warnings]


def test_one_reading_costs_0_29_of_a_step():
    """F.2.2.1: 'u² = (δx)²/12 … a standard uncertainty of u = 0,29 δx for any stimulus X';
    its weighing example: last digit 1 g, u = (1/√12) g = 0,29 g."""
    found = calibrated([2.53])
    reading = found.budget.groups[Part.DISPLAY]
    assert reading * (2.53 * 1.04) / STEP == pytest.approx(0.29, abs=0.005)


def test_readings_that_err_alike_are_no_better_than_one():
    """Speeds whole steps apart on the display, all rounded the same way. By F.2.2.1 the error
    they share is anywhere in the step: their mean must carry 0.29 of a step, not 0.29/√5."""
    covered = 0
    residues = np.linspace(-0.48, 0.48, 25)
    for residue in residues:
        found = calibrated((np.array([18, 22, 26, 29, 32]) + residue) * STEP)
        assert SteadySays.ONE_ROUNDING in said(found)
        assert found.budget.u >= 0.9 * 0.29 * STEP / 2.65
        covered += abs(found.error_at_work - (1 / 1.04 - 1)) <= found.budget.U
    # 95 % of them, a seventh of a step being the most that any could be missed by.
    assert covered >= 0.88 * residues.size


def test_readings_that_do_not_hang_together_average_out():
    """The other case: places in the step spread evenly, so that the errors cancel."""
    found = calibrated(
        (np.array([18, 22, 26, 29, 32]) + np.array([0.1, 0.31, -0.43, -0.2, 0.45])) * STEP
    )
    assert SteadySays.ONE_ROUNDING not in said(found)
    assert found.budget.groups[Part.DISPLAY] < 0.7 * 0.29 * STEP / 2.65
    assert abs(found.error_at_work - (1 / 1.04 - 1)) <= found.budget.U

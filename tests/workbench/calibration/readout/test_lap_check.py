"""Laps against pulses: what the drive line's geometry cannot see."""

from __future__ import annotations

import numpy as np
import pytest

from workbench.base.machine import Belt, Drive, Machine
from workbench.calibration.pulses.edges import clean
from workbench.calibration.readout.drive_line_check import DriveLineSays
from workbench.calibration.readout.lap_check import check_laps

ROLL = Drive(30, "roll", roll_diameter_m=0.3, u_roll_diameter_m=0.0005)
LAP_M = 9.0
METRE_PER_PULSE_M = np.pi * 0.3 / 30


def machine(lap_length_m: float = LAP_M) -> Machine:
    return Machine("demo", ROLL, belt=Belt(lap_length_m, 0.005))


def run(slip: float, laps: int = 8) -> tuple[np.ndarray, np.ndarray]:
    """Pulse and lap times of a belt that moves (1 − slip) of what its roll does; invented."""
    pulse_s = METRE_PER_PULSE_M / 1.2 * np.arange(1, int((laps + 0.6) * LAP_M / METRE_PER_PULSE_M))
    mark_s = 2.0 + LAP_M / (1.2 * (1 - slip)) * np.arange(laps)
    return pulse_s, mark_s[mark_s < pulse_s[-1]]


@pytest.mark.parametrize("slip", [0.0, 0.05, -0.03])
def test_laps_tell_metres_a_pulse(slip: float) -> None:
    pulse_s, mark_s = run(slip)
    check = check_laps(clean(pulse_s), mark_s, machine())
    assert check is not None
    assert check.metre_per_pulse_m == pytest.approx(METRE_PER_PULSE_M * (1 - slip), rel=1e-3)
    assert check.lap_speed_mps == pytest.approx(1.2 * (1 - slip), rel=1e-9)
    assert check.difference == pytest.approx(-slip, abs=1e-3)
    assert bool(check.causes) == (slip != 0)


def test_a_slipping_belt_and_mud_are_named() -> None:
    slipping = check_laps(clean(run(0.06)[0]), run(0.06)[1], machine())
    muddy = check_laps(clean(run(-0.025)[0]), run(-0.025)[1], machine())
    assert slipping is not None
    assert muddy is not None
    assert DriveLineSays.SLIPS in [cause.what for cause in slipping.causes]
    assert DriveLineSays.ROLL_THICKER in [cause.what for cause in muddy.causes]


@pytest.mark.parametrize("marks", [[], [3.0], [500.0, 510.0]])
def test_without_a_whole_lap_nothing_is_said(marks: list[float]) -> None:
    assert check_laps(clean(run(0.0)[0]), np.array(marks), machine()) is None


def test_without_a_lap_length_nothing_is_said() -> None:
    pulse_s, mark_s = run(0.0)
    assert check_laps(clean(pulse_s), mark_s, Machine("demo", ROLL)) is None

"""What stands behind the checks before a run, against published values and worked examples."""

import math

import pytest

from sim.machine import oil_viscosity_pa_s, sag_tension_n
from workbench.base.units import INCH_M, UNITS
from workbench.calibration.prepare import formulas

GAL_MIN = UNITS["flow"]["gal/min"]


def test_the_pull_of_a_hanging_strand():
    """Gupta, Elements of Power System, ex. 10.2: 0.680 kg/m over 260 m under 1 550 kgf hang
    3.707 m."""
    pull_n = formulas.sag_tension_n(0.680, 260.0, 3.707)
    assert pull_n / 9.80665 == pytest.approx(1550, rel=2e-4)
    assert formulas.sag_tension_n(25.0, 2.0, 0.057) == sag_tension_n(25.0, 2.0, 0.057)


@pytest.mark.parametrize(
    ("in3", "gpm", "rpm"),
    [
        (5, 10, 462),  # Esposito, Fluid Power, ex. 7-2
        (2, 7.5, 866.25),  # Sullivan, Fluid Power, ex. 9.2
        (0.75, 6, 1848),  # a hydraulics supplier's page of worked motor sums, read
        (3.75, 24.35, 1500),  # the same page: 'how many GPM for 3.75 in³ at 1500 rpm?'
        (2.51, 13.04, 1200),  # another supplier's page, read
    ],
)
def test_motor_speed_and_the_flow_it_takes(in3, gpm, rpm):
    volume_m3 = in3 * INCH_M**3
    turns_hz = formulas.motor_turns_hz(gpm * GAL_MIN, volume_m3, 1.0)
    assert turns_hz * 60 == pytest.approx(rpm, rel=4e-4)
    assert formulas.flow_needed_m3_per_s(rpm / 60, volume_m3, 1.0) / GAL_MIN == pytest.approx(
        gpm, rel=4e-4
    )


def test_a_motor_that_leaks():
    """Esposito, ex. 9-5: 40.7 gal/min at 90 % through 8 in³ give 1 057.5 turns a minute."""
    pump_gpm = 10 * 1000 * 0.94 / 231
    assert pump_gpm == pytest.approx(40.7, abs=0.05)
    volume_m3 = 8 * INCH_M**3
    turns_hz = formulas.motor_turns_hz(pump_gpm * GAL_MIN, volume_m3, 0.90)
    assert turns_hz * 60 == pytest.approx(1057.5, rel=1e-4)


def test_units_of_flow_and_pressure():
    """NIST SP 811, appendix B.8: 1 gal/min is 6.309 020 E-05 m³/s, 1 psi 6.894 757 E+03 Pa,
    1 lb/ft 1.488 164 kg/m."""
    assert pytest.approx(6.309020e-5, rel=1e-6) == GAL_MIN
    assert UNITS["pressure"]["psi"] == pytest.approx(6894.757, rel=1e-6)
    assert UNITS["mass"]["lb/ft"] == pytest.approx(1.488164, rel=1e-6)


def test_a_chain_that_is_worn_out():
    """A chain dealer's example, read: 24 pitches of 1 in chain are 24 in when new, and worn out
    (3 %) at about 24 3/4 in."""
    longer = formulas.elongation_rel(24.75 * INCH_M, 24, INCH_M)
    assert longer == pytest.approx(0.03125)
    assert formulas.elongation_rel(24.72 * INCH_M, 24, INCH_M) == pytest.approx(0.03)


@pytest.mark.parametrize("oil_c", [-10.0, 20.0, 40.0, 55.0, 100.0])
def test_oil_is_as_thin_as_the_simulator_has_it(oil_c):
    """ASTM D341's law between two temperatures; at these the oil is what it was drawn from."""
    assert formulas.oil_viscosity_pa_s(oil_c) == pytest.approx(float(oil_viscosity_pa_s(oil_c)))
    at_40 = formulas.oil_viscosity_pa_s(40.0) / formulas.OIL_DENSITY_KG_PER_M3
    assert at_40 == pytest.approx(60e-6)


def test_warmer_oil_leaks_more():
    cold, warm, hot = (formulas.efficiency_at(c, 55.0, 0.9) for c in (20.0, 55.0, 80.0))
    assert warm == pytest.approx(0.9)
    assert cold > warm > hot


@pytest.mark.parametrize(
    ("rows", "row_in", "twin_in", "shank_in"),
    [("single", 36, math.nan, 28), ("twin", 36, 7, 30.5), ("twin", 36, 9, 30.5)],
)
def test_where_shanks_go(rows, row_in, twin_in, shank_in):
    """Common practice, no source: half a row and 10 in; half the row, half the twin and 9 in, or
    8 in with 9 in twins. The manual decides: 31 in is also told of the last."""
    offset_m = formulas.shank_offset_m(rows, twin_in * INCH_M)
    first, second = formulas.shank_distances_m(4, row_in * INCH_M, offset_m)
    assert first / INCH_M == pytest.approx(shank_in)
    assert (second - first) / INCH_M == pytest.approx(row_in)


def test_twins_of_which_nobody_says():
    assert math.isnan(formulas.shank_offset_m("twin", 14 * INCH_M))


def test_a_lean_of_one_in_a_hundred():
    """Elementary: 10 mm over 1 m is 0.573°."""
    assert formulas.tilt_deg(0.61, 0.60, 1.0) == pytest.approx(0.573, abs=5e-4)

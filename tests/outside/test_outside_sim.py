"""The simulator's physics against handbooks, published examples and a reference library."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.signal import lfilter

from sim import machine, pickup, spec
from sim.ground import ground_speed_mps
from sim.streams import Lag, Recursion, Wander, stream

INCH3_M3 = 0.0254**3
GPM_M3_PER_S = 231 * INCH3_M3 / 60  # the US gallon is 231 in³ exactly


@pytest.mark.parametrize(
    ("flow_m3_per_s", "volume_m3", "efficiency", "per_minute"),
    [
        (10 * GPM_M3_PER_S, 5 * INCH3_M3, 1.0, 462),  # Esposito, Fluid Power, example 7-2
        (0.0006, 0.082e-3, 1.0, 439),  # Esposito, example 7-5
        (7.5 * GPM_M3_PER_S, 2 * INCH3_M3, 1.0, 866.25),  # Sullivan, Fluid Power, example 9.2
    ],
)
def test_hydraulic_motor_speed(flow_m3_per_s, volume_m3, efficiency, per_minute):
    turns_hz = machine.motor_speed_hz(flow_m3_per_s, volume_m3, efficiency)
    assert float(turns_hz) * 60 == pytest.approx(per_minute, rel=5e-4)


def test_pump_and_motor_together():
    # Esposito, example 9-5: pump 10 in³ at 1000 1/min, 94 %; motor 8 in³, 90 %.
    flow = machine.pump_flow_m3_per_s(1000 / 60, 10 * INCH3_M3, 0.94)
    assert float(flow) / GPM_M3_PER_S == pytest.approx(40.7, abs=0.05)
    turns_hz = machine.motor_speed_hz(flow, 8 * INCH3_M3, 0.90)
    assert float(turns_hz) * 60 == pytest.approx(1057.5, abs=0.05)


def test_motor_torque_and_pressure_give_the_power_back():
    # Power in = power out ÷ efficiency: Q·Δp·ηm = T·ω, from first principles.
    pressure = machine.motor_pressure_pa(50.0, 160e-6, 0.88)
    flow = 3.0 * 160e-6
    assert float(pressure) * flow * 0.88 == pytest.approx(50.0 * 2 * math.pi * 3.0)


@pytest.mark.parametrize(
    ("teeth", "ratio"),
    # Machinery handbooks' table of sprocket pitch diameters for unit pitch.
    [(8, 2.6131), (10, 3.2361), (12, 3.8637), (15, 4.8097), (17, 5.4422), (25, 7.9787)],
)
def test_sprocket_pitch_diameter(teeth, ratio):
    assert machine.sprocket_pitch_diameter_m(1.0, teeth) == pytest.approx(ratio, abs=5e-5)


@pytest.mark.parametrize(
    ("teeth", "drop"),
    # Speed drop of the polygon effect, 1 − cos(π/N), machinery handbooks.
    [(8, 0.0761), (12, 0.0341), (17, 0.0170), (25, 0.0079)],
)
def test_polygon_effect(teeth, drop):
    pitch = 0.0508
    angle = np.linspace(0, 2 * math.pi, 2000 * teeth + 1)
    travel = angle / (2 * math.pi) * teeth * pitch
    travel += machine.polygon_advance_m(angle, pitch, teeth)
    speed = np.diff(travel)
    assert 1 - speed.min() / speed.max() == pytest.approx(drop, abs=6e-5)
    # A turn moves exactly N·P whatever happens within it.
    assert travel[-1] - travel[0] == pytest.approx(teeth * pitch, rel=1e-12)


def test_belt_sag_tension():
    # Gupta, Elements of Power System, example 10.2: 0.680 kg/m, 260 m, sag 3.707 m: 1550 kgf.
    pull_n = machine.sag_tension_n(0.680, 260.0, 3.707)
    assert pull_n / machine.GRAVITY_MPS2 == pytest.approx(1550, rel=2e-4)


def test_belt_sag_length_is_the_parabola_s_arc():
    # The series l(1 + 8f²/3l²) against the arc length integrated by SciPy.
    span, sag = 2.0, 0.057
    arc, _ = quad(lambda x: math.hypot(1.0, 8 * sag * x / span**2), -span / 2, span / 2)
    assert machine.sag_length_m(span, sag) == pytest.approx(arc, rel=1e-5)


def test_grip_of_a_roll():
    # Euler-Eytelwein, from memory: half a turn at μ = 0.3 holds 2.566 times the slack pull.
    grip = machine.grip_n(100.0, 0.3, math.pi)
    assert (grip + 100.0) / 100.0 == pytest.approx(2.566, abs=5e-4)


def test_oil_thins_as_it_warms():
    # ASTM D341 passes through the two viscosities it is given; in between it is a straight
    # line of lg lg(ν + 0.7) against lg T (from memory).
    nu = machine.oil_viscosity_pa_s([40.0, 70.0, 100.0]) / machine.OIL_DENSITY_KG_PER_M3 * 1e6
    assert nu[0] == pytest.approx(60.0)
    assert nu[2] == pytest.approx(9.4)
    lglg = np.log10(np.log10(nu + 0.7))
    lg_t = np.log10(273.15 + np.array([40.0, 70.0, 100.0]))
    assert lglg[1] == pytest.approx(np.interp(lg_t[1], lg_t[[0, 2]], lglg[[0, 2]]))


@pytest.mark.parametrize(
    ("gap_mm", "ratio"),
    # Wallace, BSTJ 30(4) 1951, spacing loss at λ = 10 mm; for a toothed wheel an analogy.
    [(0.5, 0.730), (1.0, 0.533), (1.5, 0.390), (2.0, 0.285), (2.5, 0.208)],
)
def test_amplitude_falls_with_the_gap(gap_mm, ratio):
    decay = pickup.decay_m(spec.PickupPlan(), 0.010)
    near, far = (
        pickup.reluctance_amplitude_v(np.ones(1), np.array([gap]), 1.0, decay)[0]
        for gap in (0.001, 0.001 + gap_mm / 1000)
    )
    assert far / near == pytest.approx(ratio, abs=5e-4)
    assert -20 * math.log10(far / near) == pytest.approx(54.575 * gap_mm / 10, rel=1e-4)


def test_amplitude_rises_with_the_surface_speed():
    slow, fast = pickup.reluctance_amplitude_v(np.array([0.5, 1.0]), np.full(2, 0.002), 3.0, 0.002)
    assert fast == pytest.approx(2 * slow)


def test_run_out_of_the_target_wheel():
    # Derived: intervals vary by e/r (0.2 % for 0.1 mm on 50 mm), amplitude max/min is
    # exp(4πe/λ) (1.13 for e = 0.1 mm, λ = 10 mm).
    teeth = round(2 * math.pi * 0.050 / 0.010)
    plan = spec.PickupPlan(runout_m=0.0001, tip_radius_m=0.050, spacing_rel=0.0)
    wheel = pickup.make_wheel(plan, teeth, stream(1, "wheel"))
    interval = 1 + np.diff(wheel.offset_rel)
    assert interval.max() - 1 == pytest.approx(0.002, rel=0.02)
    volts = pickup.reluctance_amplitude_v(np.ones(teeth), wheel.gap_m, 1.0, 0.010 / (2 * math.pi))
    assert volts.max() / volts.min() == pytest.approx(1.13, abs=0.005)


def test_wheel_slip():
    # Slip is 1 − ground ÷ wheel speed (Oklahoma State Extension): 10 % of 1.5 m/s.
    assert float(ground_speed_mps(np.float64(1.5), np.float64(0.10))) == pytest.approx(1.35)


def test_noise_filters_against_scipy():
    x = np.random.default_rng(1).standard_normal(1000)
    keep = 0.93
    expected, _ = lfilter([1.0], [1.0, -keep], x, zi=[keep * 2.5])
    recursion = Recursion(keep, 2.5)
    parts = [recursion(part) for part in np.split(x, [1, 63, 64, 65, 500])]
    np.testing.assert_allclose(np.concatenate(parts), expected, rtol=0, atol=1e-12)


def test_coloured_noise_has_the_variance_and_correlation_it_says():
    y = Wander(stream(1, "noise"), 2.0, 0.1)(400_000)
    assert y.std() == pytest.approx(1.0, abs=0.02)
    lag = 20  # one correlation time: e^-1
    assert np.mean(y[lag:] * y[:-lag]) == pytest.approx(math.exp(-1), abs=0.02)


def test_lag_answers_a_step_as_a_first_order_lag():
    lag = Lag(0.5, 0.01)
    lag(np.zeros(1))
    step = lag(np.ones(100))
    assert step[49] == pytest.approx(1 - math.exp(-1), rel=1e-9)

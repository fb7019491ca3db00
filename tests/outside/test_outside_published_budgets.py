"""More published budgets, through the project's own, to the digits that are printed.

EA-4/02, JCGM 101 and the univariate data sets of NIST are from memory; what a formula or a library
gives exactly stands beside them. The Eurachem tables and NIST/SEMATECH 4.6.1 were read.
"""

import math
from functools import partial

import numpy as np
import pytest
from scipy.stats import chi2, ncx2

from workbench.calibration.gap.places import gather_places
from workbench.calibration.gap.table import GapReadings
from workbench.calibration.statistics import budget
from workbench.calibration.statistics.budget import BudgetSays, Distribution, Part, checked
from workbench.calibration.statistics.fit import lack_of_fit, straight_line
from workbench.match.mean import autocorrelated_mean

RECTANGULAR = Distribution.RECTANGULAR
Line = partial(budget.Line, source="an example", group=Part.SCATTER)
first_order = partial(budget.first_order, quantity="y")
ROOT_3 = math.sqrt(3)


def box(name, estimate, half_width, unit=""):
    return Line(name, estimate, half_width / ROOT_3, unit, RECTANGULAR)


# JCGM 100:2008, table H.2: five simultaneous readings of V in V, I in A, the phase in rad.
V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
CURRENT = np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3
PHASE = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def test_gum_h2_resistance_reactance_impedance():
    """JCGM 100:2008, H.2, tables H.3 and H.4: correlated means; R, X, Z, their u and r."""
    rows = np.stack([V, CURRENT, PHASE])
    u, r = rows.std(axis=1, ddof=1) / math.sqrt(5), np.corrcoef(rows)
    assert [f"{r[i, j]:.2f}" for i, j in ((0, 1), (0, 2), (1, 2))] == ["-0.36", "0.86", "-0.65"]
    lines = [Line(name, row.mean(), s) for name, row, s in zip("VIφ", rows, u, strict=True)]
    pairs = [(i, j, float(r[i, j])) for i, j in ((0, 1), (0, 2), (1, 2))]
    models = {
        "R": lambda x: x[0] / x[1] * np.cos(x[2]),
        "X": lambda x: x[0] / x[1] * np.sin(x[2]),
        "Z": lambda x: x[0] / x[1],
    }
    found = {name: first_order(model, lines, correlation=pairs) for name, model in models.items()}
    # The GUM prints u(X) = 0.295, cut off; the same data give 0.2956 (GTC agrees).
    printed = {"R": ("127.732", "0.071"), "X": ("219.847", "0.296"), "Z": ("254.260", "0.236")}
    for name, (value, u_value) in printed.items():
        assert (f"{found[name].value:.3f}", f"{found[name].u:.3f}") == (value, u_value)
        assert checked(found[name], models[name]) is found[name]

    def correlation(one, other):
        # From the variance of the sum of two outputs, itself an output of the same inputs.
        both = first_order(lambda x: models[one](x) + models[other](x), lines, correlation=pairs)
        a, b = found[one].u, found[other].u
        return (both.u**2 - a**2 - b**2) / (2 * a * b)

    assert f"{correlation('R', 'X'):.3f}" == "-0.588"
    assert f"{correlation('R', 'Z'):.3f}" == "-0.485"
    assert f"{correlation('X', 'Z'):.3f}" == "0.993"


def test_ea_4_02_s2_weight():
    """EA-4/02 M:2013, S2 (from memory): 10 kg weight, 10 000.025 g, u 29.3 mg, U 59 mg."""
    lines = [
        Line("m_S", 10_000.005, 0.0225, "g"),
        box("δm_D", 0.0, 0.015, "g"),
        Line("δm", 0.020, 0.0144, "g"),
        box("δm_C", 0.0, 0.010, "g"),
        box("δB", 0.0, 0.010, "g"),
    ]
    found = checked(first_order(sum, lines), sum)
    assert f"{found.value:.3f}" == "10000.025"
    assert 1000 * found.u == pytest.approx(29.3, abs=0.15)  # of contributions rounded to 0.01 mg
    assert f"{1000 * found.U:.0f}" in ("58", "59")
    assert f"{2e3 * found.u:.0f}" in ("58", "59")


def trapezium(wide, narrow):
    """k for 95 % of the sum of two rectangles of these half widths (elementary; EA-4/02 S10.13)."""
    edge = (wide - narrow) / (wide + narrow)
    return (1 - math.sqrt(0.05 * (1 - edge**2))) / math.sqrt((1 + edge**2) / 6)


def test_ea_4_02_s9_multimeter():
    """EA-4/02 M:2013, S9 (from memory): 0.10 V ± 0.05 V, u 0.030 V, k = 1.65 at 95 %."""
    lines = [
        Line("V_S", 100.0, 0.001, "V"),
        box("δV_iX", 0.0, 0.05, "V"),
        box("δV_S", 0.0, 0.011, "V"),
    ]

    def error(x):
        return 100.1 + x[1] - x[0] - x[2]

    found = checked(first_order(error, lines, coverage=0.95), error)
    assert found.note.values["why"].values["quantity"] == "δV_iX"
    assert (f"{found.value:.2f}", f"{found.u:.3f}", f"{found.U:.2f}") == ("0.10", "0.030", "0.05")
    # The guide takes the ruling rectangle for the whole, 0.95·√3 = 1.65; with the next it is a
    # trapezium.
    assert found.k == pytest.approx(trapezium(0.05, 0.011), abs=0.02)


def test_ea_4_02_s10_vernier_caliper():
    """EA-4/02 M:2013, S10 (from memory): 0.10 mm ± 0.06 mm, u 33 µm, k = 1.83 (trapezium)."""
    lines = [
        box("l_S", 150.0, 0.0008, "mm"),
        box("Δt", 0.0, 2.0, "K"),
        box("δl_iX", 0.0, 0.025, "mm"),
        box("δl_M", 0.0, 0.050, "mm"),
    ]

    def error(x):
        return 150.10 - x[0] + 150.0 * 11.5e-6 * x[1] + x[2] + x[3]

    found = checked(first_order(error, lines, coverage=0.95), error, draws=200_000)
    assert (f"{found.value:.2f}", f"{1000 * found.u:.0f}", f"{found.U:.2f}") == (
        ("0.10", "32", "0.06")  # 32.3: the guide adds contributions rounded up, and prints 33
    )
    assert f"{trapezium(0.050, 0.025):.2f}" == "1.83"
    assert found.k == pytest.approx(trapezium(0.050, 0.025), abs=0.02)


@pytest.mark.parametrize(
    ("estimates", "us", "model", "printed"),
    [
        (  # A1, from memory: 1 002.7 mg/l, u 0.9, U 1.8.
            (100.28, 0.9999, 100.0),
            (0.05, 0.000058, 0.07),
            lambda x: 1000 * x[0] * x[1] / x[2],
            ("1002.7", "0.9", 1),
        ),
        (  # A2, table A2.1: 0.10214 mol/l, u 0.00010.
            (1.0, 0.3888, 1.0, 204.2212, 18.64),
            (0.0005, 0.00013, 0.00029, 0.0038, 0.013),
            lambda x: x[0] * 1000 * x[1] * x[2] / (x[3] * x[4]),
            ("0.10214", "0.00010", 5),
        ),
        (  # A5, table A5.1: 0.036 mg/dm²; u 0.0033 of a relative 0.09, unrounded 0.0035.
            (0.26, 0.332, 2.37, 1.0, 1.0, 1.0),
            (0.018, 0.0018, 0.06, 0.0008, 0.001, 0.06),
            lambda x: x[0] * x[1] / x[2] * x[3] * x[4] * x[5],
            ("0.036", "0.003", 3),
        ),
    ],
    ids=["A1 cadmium standard", "A2 sodium hydroxide", "A5 ceramic ware"],
)
def test_eurachem_quam(estimates, us, model, printed):
    """Eurachem/CITAC CG 4, Quantifying Uncertainty in Analytical Measurement."""
    value, u, digits = printed
    lines = [Line(f"x{i}", *pair) for i, pair in enumerate(zip(estimates, us, strict=True))]
    found = checked(first_order(model, lines), model)
    assert (f"{found.value:.{digits}f}", f"{found.u:.{digits}f}") == (value, u)
    # A product of powers: relative uncertainties add in squares (GUM 5.1.6).
    relative = math.sqrt(sum((s / x) ** 2 for x, s in zip(estimates, us, strict=True)))
    assert found.u / found.value == pytest.approx(relative, rel=0.01)


def test_jcgm_101_9_2_4_one_input_rules():
    """JCGM 101:2008, 9.2.4 (from memory): three rectangles of u = 1, one of 10: 95 % ±17.0."""
    lines = [Line(f"X{i}", 0, u, distribution=RECTANGULAR) for i, u in enumerate((1, 1, 1, 10))]
    found = checked(first_order(sum, lines, coverage=0.95), sum, draws=200_000)
    assert f"{found.u:.1f}" == "10.1"
    assert found.note.values["U_first_order_rel"] == pytest.approx(19.9, abs=0.05)
    assert pytest.approx(17.0, abs=0.1) == found.U


def test_jcgm_101_9_3_mass_calibration():
    """JCGM 101:2008, 9.3 (from memory), mg: first order 0.0539, [1.1285, 1.3395]; propagated
    0.0754, [1.0834, 1.3825]. The air's density multiplies with that of the weight."""
    lines = [
        Line("m_R", 100_000.0, 0.050, "mg"),
        Line("δm_R", 1.234, 0.020, "mg"),
        box("ρ_a", 1.20, 0.10, "kg/m³"),
        box("ρ_W", 8000.0, 1000.0, "kg/m³"),
        box("ρ_R", 8000.0, 50.0, "kg/m³"),
    ]

    def deviation(x):
        return (x[0] + x[1]) * (1 + (x[2] - 1.2) * (1 / x[3] - 1 / x[4])) - 100_000

    straight = first_order(deviation, lines, coverage=0.95)
    assert (f"{straight.value:.4f}", f"{straight.u:.4f}") == ("1.2340", "0.0539")
    assert pytest.approx(1.2340 - 1.1285, abs=1e-4) == straight.U
    found = checked(straight, deviation, draws=400_000)
    assert found.note.values["why"].what == BudgetSays.BENDS_TOGETHER
    assert found.u == pytest.approx(0.0754, abs=2e-4)
    assert pytest.approx((1.3825 - 1.0834) / 2, abs=6e-4) == found.U


@pytest.mark.parametrize("x1", [0.0, 0.010, 0.050])
def test_jcgm_101_9_4_comparison_loss(x1):
    """JCGM 101:2008, 9.4: y = x₁² + x₂², u = 0.005 each, from memory: 50, 50 and 150 (1e-6) at
    x₁ = 0. y/u² is non-central χ² with two degrees of freedom: SciPy's, mean and spread exact."""
    lines = [Line("X1", x1, 0.005), Line("X2", 0, 0.005)]

    def loss(x):
        return x[0] ** 2 + x[1] ** 2

    found = checked(first_order(loss, lines, coverage=0.95), loss, draws=400_000)
    theirs = chi2(2) if x1 == 0 else ncx2(2, (x1 / 0.005) ** 2)
    assert found.u == pytest.approx(25e-6 * theirs.std(), rel=0.01)
    low, high = ((found.value + side * found.U) / 25e-6 for side in (-1, 1))
    assert theirs.cdf(high) - theirs.cdf(low) == pytest.approx(0.95, abs=0.002)
    if x1 == 0:
        assert (f"{1e6 * found.u:.0f}", f"{1e6 * found.U:.0f}") == ("50", "150")


def test_jcgm_101_9_4_3_correlated():
    """JCGM 101:2008, 9.4.3, r = 0.9: u² = 4u⁴(1 + r²), exact for normal inputs."""
    lines = [Line("X1", 0, 0.005), Line("X2", 0, 0.005)]

    def loss(x):
        return x[0] ** 2 + x[1] ** 2

    found = checked(first_order(loss, lines, correlation=[(0, 1, 0.9)]), loss, draws=400_000)
    assert found.u == pytest.approx(2 * 25e-6 * math.sqrt(1 + 0.9**2), rel=0.01)


# NIST/SEMATECH e-Handbook 4.6.1 and NIST StRD Pontius (the same data): load cell, two rows.
LOAD = np.tile(np.arange(1, 21) * 150_000.0, 2)
DEFLECTION = np.array(
    [
        [0.11019, 0.21956, 0.32949, 0.43899, 0.54803, 0.65694, 0.76562, 0.87487, 0.98292, 1.09146],
        [1.20001, 1.30822, 1.41599, 1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844],
        [0.11052, 0.22018, 0.32939, 0.43886, 0.54798, 0.65739, 0.76596, 0.87474, 0.98300, 1.09150],
        [1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829],
    ]
).ravel()


def test_nist_sematech_4_6_1_load_cell():
    """NIST/SEMATECH e-Handbook 4.6.1.5: the line, and its lack of fit, F(18, 20) = 214.7464."""
    # The data are right: numpy's quadratic gives Pontius' certified residual deviation.
    curve = np.polynomial.Polynomial.fit(LOAD, DEFLECTION, 2)(LOAD) - DEFLECTION
    assert math.sqrt(curve @ curve / 37) == pytest.approx(0.205177424076185e-3, rel=1e-10)
    fit = straight_line(LOAD, DEFLECTION)
    assert fit.intercept == pytest.approx(0.614969e-2, rel=1e-5)
    assert f"{fit.u_intercept:.3e}" == "7.132e-04"
    assert fit.slope == pytest.approx(0.722103e-6, rel=1e-6)
    assert f"{fit.u_slope:.3e}" == "3.969e-10"
    assert fit.s == pytest.approx(0.0021712694, rel=3e-6)  # printed in single precision
    # The replicates' own scatter, 20 pairs, tells what a point is good for.
    first, second = DEFLECTION.reshape(2, 20)
    pure = float(np.sum((first - second) ** 2)) / 2 / 20
    known = straight_line(LOAD, DEFLECTION, cov_y=np.full(40, math.sqrt(pure)))
    lack = (known.chi_square - 20) / 18
    assert lack == pytest.approx(214.7464, rel=3e-6)
    assert lack_of_fit(known) < 1e-6


@pytest.mark.parametrize(
    ("values", "mean", "s", "rel"),
    [
        ([10000001, 10000003, 10000002], 10000002, 1, 1e-15),
        ([1.2] + [1.1, 1.3] * 500, 1.2, 0.1, 1e-13),
        ([1000000.2] + [1000000.1, 1000000.3] * 500, 1000000.2, 0.1, 1e-9),
        ([10000000.2] + [10000000.1, 10000000.3] * 500, 10000000.2, 0.1, 2e-8),
    ],
    ids=["NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4"],
)
def test_nist_strd_univariate(values, mean, s, rel):
    """NIST StRD NumAcc1 to 4 (public domain, data by their rule): certified mean and standard
    deviation. The bound is what the data lose when their decimals become binary."""
    row = np.array(values, dtype=np.float64)
    places = gather_places(
        GapReadings("one", np.zeros(row.size), row, np.zeros(row.size, np.int64))
    )
    assert places.gap_m[0] == pytest.approx(mean, rel=1e-14)
    assert places.scatter_m == pytest.approx(s, rel=rel)
    assert autocorrelated_mean(row).value == pytest.approx(mean, rel=1e-14)

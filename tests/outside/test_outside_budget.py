"""Budgets against the GUM's examples, JCGM 101, and two independent libraries."""

import math
from functools import partial

import numpy as np
import pytest

from workbench.calibration.statistics import budget
from workbench.calibration.statistics.budget import (
    BudgetSays,
    Distribution,
    Part,
    checked,
    monte_carlo,
)
from workbench.calibration.statistics.coverage import coverage_factor

RECTANGULAR, TRIANGULAR = Distribution.RECTANGULAR, Distribution.TRIANGULAR
Line = partial(budget.Line, source="an example", group=Part.SCATTER)
first_order = partial(budget.first_order, quantity="y")


def end_gauge(x):
    """GUM H.1, eq. (H.2): length of an end gauge, nm; d in its three parts."""
    l_s, d, d_random, d_systematic, alpha_s, theta, d_alpha, d_theta = x
    return l_s + d + d_random + d_systematic - l_s * (d_alpha * theta + alpha_s * d_theta)


END_GAUGE = [
    Line("l_s", 50_000_623, 25, "nm", dof=18),
    Line("d", 215, 5.8, "nm", dof=24),
    Line("d, random", 0, 3.9, "nm", dof=5),
    Line("d, systematic", 0, 6.7, "nm", dof=8),
    Line("α_s", 11.5e-6, 1.2e-6, "1/°C", RECTANGULAR),
    Line("θ", -0.1, 0.41, "°C"),
    Line("δα", 0, 0.58e-6, "1/°C", RECTANGULAR, dof=50),
    Line("δθ", 0, 0.029, "°C", RECTANGULAR, dof=2),
]


def test_gum_h1_end_gauge():
    """JCGM 100:2008, H.1: l = 50 000 838 nm, u = 32 nm, ν_eff = 16.7 → 16, U99 = 93 nm."""
    found = first_order(end_gauge, END_GAUGE, coverage=0.99)
    assert f"{found.value:.0f}" == "50000838"
    assert f"{found.u:.0f}" == "32"
    # The GUM goes on from contributions rounded to 0.1 nm and prints 16.7; unrounded 16.6.
    assert found.dof == pytest.approx(16.7, abs=0.15)
    assert math.floor(found.dof) == 16
    assert f"{found.k:.2f}" == "2.92"
    assert f"{found.U:.0f}" == "93"
    # Table H.1 prints the contribution of each input in nm.
    size = {line.quantity: abs(line.contribution) for line in found.lines}
    assert size["δθ"] == pytest.approx(16.6, abs=0.1)
    assert f"{size['δα']:.1f}" == "2.9"
    assert size["α_s"] == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    ("dof", "factor"),
    [
        (1, "13.97"),
        (2, "4.53"),
        (3, "3.31"),
        (4, "2.87"),
        (5, "2.65"),
        (8, "2.37"),
        (8.99, "2.37"),
        (10, "2.28"),
        (16.7, "2.17"),
        (20, "2.13"),
        (50, "2.05"),
        (math.inf, "2.00"),
    ],
)
def test_gum_g2_factors(dof, factor):
    """JCGM 100:2008, table G.2, 95.45 %; ν_eff is truncated (G.4.1, note 1)."""
    assert f"{coverage_factor(dof):.2f}" == factor


@pytest.mark.parametrize(("dof", "factor"), [(18.999, "2.09"), (18.9, "2.10"), (19.4, "2.09")])
def test_gum_g4_1_a_whole_number_but_for_its_rounding(dof, factor):
    """JCGM 100:2008, table G.2, 95 %: 2.10 for ν = 18, 2.09 for 19."""
    assert f"{coverage_factor(dof, 0.95):.2f}" == factor


@pytest.mark.parametrize(
    ("distribution", "printed"), [(Distribution.NORMAL, 3.92), (RECTANGULAR, 3.88)]
)
def test_jcgm_101_additive_model(distribution, printed):
    """JCGM 101:2008, 9.2.2 and 9.2.3: sum of four inputs with u = 1, 95 % interval."""
    lines = [Line(f"X{i}", 0, 1, distribution=distribution) for i in range(4)]
    found = monte_carlo(lambda x: x.sum(axis=0), lines, draws=1_000_000)
    assert found.std() == pytest.approx(2, abs=0.01)
    low, high = np.quantile(found, (0.025, 0.975))
    assert low == pytest.approx(-printed, abs=0.015)
    assert high == pytest.approx(printed, abs=0.015)


def belt_speed(x):
    """Laps, lap length, time and a shared tape: v = n (L + δ) / t."""
    length, tape, time, share = x
    return 5 * length * (1 + tape) / time * (1 + share)


BELT = [
    Line("lap", 7.2, 0.004, "m"),
    Line("tape", 0.0, 0.0005, distribution=RECTANGULAR),
    Line("time", 31.4, 0.1, "s", dof=6),
    Line("share", 0.0, 0.002, distribution=TRIANGULAR, dof=9),
]


def test_the_same_budget_through_gtc():
    """GTC (GUM Tree Calculator), an independent library: value, u, ν_eff."""
    gtc = pytest.importorskip("GTC")
    theirs = belt_speed([gtc.ureal(line.estimate, line.u, line.dof) for line in BELT])
    ours = first_order(belt_speed, BELT)
    assert ours.value == pytest.approx(theirs.x, rel=1e-12)
    assert ours.u == pytest.approx(theirs.u, rel=1e-7)
    assert ours.dof == pytest.approx(theirs.df, rel=1e-6)


def test_correlated_inputs_through_gtc():
    """GTC: the same two lengths measured by one tape, correlated 0.8 and 1."""
    gtc = pytest.importorskip("GTC")
    lines = [Line("a", 10.0, 0.02), Line("b", 9.0, 0.03), Line("c", 2.0, 0.01)]
    for r in (0.8, 1.0):
        a, b, c = (gtc.ureal(line.estimate, line.u, independent=False) for line in lines)
        gtc.set_correlation(r, a, b)
        theirs = a / b + c
        ours = first_order(lambda x: x[0] / x[1] + x[2], lines, correlation=[(0, 1, r)])
        assert ours.u == pytest.approx(theirs.u, rel=1e-7)


def test_the_same_budget_through_metrolopy():
    """MetroloPy, a second independent library: first order, ν_eff and its own Monte Carlo."""
    metrolopy = pytest.importorskip("metrolopy")
    inputs = [
        metrolopy.gummy(line.estimate, line.u, dof=line.dof if line.dof < 1e9 else math.inf)
        for line in BELT
    ]
    theirs = belt_speed(inputs)
    ours = first_order(belt_speed, BELT)
    assert ours.value == pytest.approx(float(theirs.x), rel=1e-12)
    assert ours.u == pytest.approx(float(theirs.u), rel=1e-6)
    assert ours.dof == pytest.approx(float(theirs.dof), rel=1e-5)


def test_a_bent_model_is_noticed_and_given_to_monte_carlo():
    """y = x² at x = 0, u = 1: first order says 0; the mean is 1 and 95.45 % lie below 4.
    (χ² with one degree of freedom: P(χ² ≤ 4) = 0.9545, elementary.)"""
    lines = [Line("x", 0.0, 1.0), Line("rest", 0.0, 0.01)]

    def bent(x):
        return x[0] ** 2 + x[1]

    found = checked(first_order(bent, lines), bent, draws=200_000)
    why = found.note.values["why"]
    assert (why.what, why.values["quantity"]) == (BudgetSays.BENDS_WITH, "x")
    assert found.method.what == BudgetSays.MONTE_CARLO
    assert pytest.approx(4.0, abs=0.06) == found.U


def test_a_lone_rectangular_input_gets_its_own_factor():
    """Rectangular of half-width a: 95.45 % within 0.9545 a, so k = 0.9545·√3 = 1.653."""
    lines = [Line("display", 2.5, 0.1 / math.sqrt(12), distribution=RECTANGULAR)]
    found = checked(first_order(lambda x: x[0], lines), lambda x: x[0])
    assert found.method.what == BudgetSays.MONTE_CARLO
    assert found.k == pytest.approx(0.9545 * math.sqrt(3), abs=0.01)


def test_a_plain_budget_is_left_alone():
    found = first_order(belt_speed, BELT)
    assert checked(found, belt_speed) is found


def test_whole_numbers_typed_as_estimates_are_numbers():
    lines = [Line("a", 2, 1), Line("b", 3, 0)]
    assert first_order(lambda x: x[0] * x[1], lines).u == pytest.approx(3)


def test_triangular_draws_have_the_right_shape():
    """Triangular on ±√6·u: |x| ≤ h holds with 1 − (1 − h/√6)², so 95.45 % within 0.7867·√6."""
    found = monte_carlo(lambda x: x[0], [Line("n", 0, 1, distribution=TRIANGULAR)])
    assert found.std() == pytest.approx(1, abs=0.01)
    half_width = np.quantile(np.abs(found), 0.9545)
    assert half_width == pytest.approx((1 - math.sqrt(0.0455)) * math.sqrt(6), abs=0.01)

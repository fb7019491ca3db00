"""The project's own line fits against published examples and a library's results."""

import math
from importlib import resources

import numpy as np
import pytest

from workbench.calibration.statistics.fit import farthest_points, lack_of_fit, straight_line


def test_gum_h3_thermometer_calibration():
    """JCGM 100:2008, H.3: all printed digits."""
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    fit = straight_line(np.array(t) - 20.0, b)
    assert f"{fit.intercept:.4f}" == "-0.1712"
    assert f"{fit.u_intercept:.4f}" == "0.0029"
    assert f"{fit.slope:.5f}" == "0.00218"
    assert f"{fit.u_slope:.5f}" == "0.00067"
    r = fit.covariance[0, 1] / (fit.u_intercept * fit.u_slope)
    assert f"{r:.3f}" == "-0.930"
    assert f"{fit.s:.4f}" == "0.0035"
    assert fit.dof == 9
    value, u = fit.value(30.0 - 20.0)
    assert f"{value:.4f}" == "-0.1494"
    assert f"{u:.4f}" == "0.0041"


def test_nist_strd_norris():
    """NIST StRD linear regression, Norris; the data file that SciPy ships, read as it is."""
    path = resources.files("scipy.stats") / "tests/data/nist_linregress/Norris.dat"
    if not path.is_file():
        pytest.skip("this SciPy ships no NIST data file (scipy/stats/tests is left out)")
    data = [line.split() for line in path.read_text().splitlines()[60:] if line.strip()]
    y, x = np.array(data, dtype=float).T
    assert x.size == 36
    fit = straight_line(x, y)
    assert fit.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert fit.u_intercept == pytest.approx(0.232818234301152, rel=1e-11)
    assert fit.u_slope == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert fit.s == pytest.approx(0.884796396144373, rel=1e-11)


def test_nist_strd_noint1():
    """NIST StRD linear regression, NoInt1 (public domain): a line through the origin."""
    fit = straight_line(np.arange(60.0, 71), np.arange(130.0, 141), through_origin=True)
    assert fit.slope == pytest.approx(2.07438016528926, rel=1e-13)
    assert fit.u_slope == pytest.approx(0.165289256198347e-01, rel=1e-12)
    assert fit.s == pytest.approx(3.56753034006338, rel=1e-12)


def test_nist_strd_noint2():
    """NIST StRD linear regression, NoInt2 (public domain)."""
    fit = straight_line([4.0, 5, 6], [3.0, 4, 4], through_origin=True)
    assert fit.slope == pytest.approx(0.727272727272727, rel=1e-13)
    assert fit.u_slope == pytest.approx(0.420827318078432e-01, rel=1e-12)
    assert fit.s == pytest.approx(0.369274472937998, rel=1e-12)


def test_pearson_york():
    """Pearson's data with York's weights; uncertainties of York et al. 2004."""
    x = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
    y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
    w_x = np.array([1000.0, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
    w_y = np.array([1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])
    fit = straight_line(x, y, cov_x=w_x**-0.5, cov_y=w_y**-0.5)
    assert fit.intercept == pytest.approx(5.47991022, abs=5e-9)
    assert fit.slope == pytest.approx(-0.480533407, abs=5e-10)
    assert fit.chi_square == pytest.approx(11.866353, abs=5e-7)
    assert f"{fit.u_intercept:.6f}" == "0.294971"
    assert f"{fit.u_slope:.6f}" == "0.057985"


def test_iso_28037_weighted_line():
    """ISO/TS 28037:2010, example on p. 13."""
    fit = straight_line(range(1, 7), [3.3, 5.6, 7.1, 9.3, 10.7, 12.1], cov_y=[0.5] * 6)
    assert f"{fit.intercept:.6f}" == "1.866667"
    assert f"{fit.u_intercept:.7f}" == "0.4654747"
    assert f"{fit.slope:.6f}" == "1.757143"
    assert f"{fit.u_slope:.7f}" == "0.1195229"
    assert f"{fit.covariance[0, 1]:.3f}" == "-0.050"
    assert f"{fit.chi_square:.3f}" == "1.665"


def test_iso_28037_both_uncertain():
    """ISO/TS 28037:2010, example on p. 21."""
    fit = straight_line(
        [1.2, 1.9, 2.9, 4.0, 4.7, 5.9],
        [3.4, 4.4, 7.2, 8.5, 10.8, 13.5],
        cov_x=[0.2] * 6,
        cov_y=[0.2] * 3 + [0.4] * 3,
    )
    assert f"{fit.intercept:.4f}" == "0.5788"
    assert f"{fit.u_intercept:.4f}" == "0.4764"
    assert f"{fit.slope:.4f}" == "2.1597"
    assert f"{fit.u_slope:.4f}" == "0.1355"
    assert f"{fit.covariance[0, 1]:.4f}" == "-0.0577"
    assert f"{fit.chi_square:.3f}" == "2.743"


def test_correlated_points_agree_with_statsmodels_gls():
    """statsmodels GLS, a general-purpose library: line with a covariance matrix in y."""
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(4)
    x = np.array([0.9, 1.0, 1.1, 1.25, 1.3, 1.6])
    V = 0.01**2 * np.eye(6) + 0.03**2 * np.outer(x, x)
    y = 0.1 + 1.03 * x + np.linalg.cholesky(V) @ rng.normal(size=6)
    theirs = sm.GLS(y, sm.add_constant(x), sigma=V).fit(cov_type="fixed scale")
    ours = straight_line(x, y, cov_y=V)
    assert [ours.intercept, ours.slope] == pytest.approx(theirs.params, rel=1e-9)
    assert ours.covariance == pytest.approx(np.asarray(theirs.cov_params()), rel=1e-8)


def test_studentised_residuals_agree_with_statsmodels():
    """statsmodels' internally studentised residual: it takes the scatter for what is known."""
    sm = pytest.importorskip("statsmodels.api")
    y = np.array([1.1, 1.9, 3.2, 3.9, 6.5, 6.1, 7.0])
    x = np.arange(1.0, 8)
    theirs = sm.OLS(y, sm.add_constant(x)).fit()
    influence = theirs.get_influence().resid_studentized_internal
    (ours,) = farthest_points(straight_line(x, y, cov_y=[math.sqrt(theirs.mse_resid)] * 7))
    assert ours.index == int(np.argmax(np.abs(influence))) == 4
    assert ours.studentised == pytest.approx(influence[4], rel=1e-9)
    # Bonferroni: seven times the two-sided probability of a normal value.
    normal = math.erfc(abs(influence[4]) / math.sqrt(2))
    assert ours.probability == pytest.approx(7 * normal, rel=1e-8)


def test_lack_of_fit_is_rare_where_the_uncertainties_hold():
    """By simulation: p below 0.05 in 5 % of healthy fits, both variables uncertain."""
    rng = np.random.default_rng(11)
    x = np.linspace(0.9, 1.4, 5)
    seen = 0
    for _ in range(1000):
        xs = x + rng.normal(0, 0.005, 5)
        ys = 1.02 * x + rng.normal(0, 0.01, 5)
        fit = straight_line(xs, ys, cov_x=[0.005] * 5, cov_y=[0.01] * 5, through_origin=True)
        seen += lack_of_fit(fit) < 0.05
    assert 30 <= seen <= 75

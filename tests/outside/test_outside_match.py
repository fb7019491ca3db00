"""The maths of a pass against published values and general-purpose libraries."""

from __future__ import annotations

import numpy as np
import pytest

from workbench.calibration.statistics.fit import straight_line
from workbench.match.align import parabola_peak
from workbench.match.changes import change_points
from workbench.match.course import taped_course
from workbench.match.mean import Scatter, shapes
from workbench.match.track import make_track
from workbench.match.trend import deming, theil_sen


def nile():
    from statsmodels.datasets import nile as data

    return data.load().data["volume"].to_numpy(dtype=float)


def test_binary_segmentation_finds_the_niles_change_as_ruptures_does():
    """Nile flows 1871 to 1970 (statsmodels): change after 28 years."""
    import ruptures

    theirs = ruptures.Binseg(model="l2", min_size=5, jump=1).fit(nile()).predict(n_bkps=1)
    ours = change_points(nile(), least=0.0)
    assert [point.index for point in ours] == theirs[:1] == [28]


def test_theil_sen_is_scipys_and_its_interval_too_where_nothing_hangs_together():
    from scipy.stats import theilslopes

    rng = np.random.default_rng(5)
    x = np.sort(rng.uniform(0, 50, 60))
    y = 3 + 0.2 * x + np.tile([1.0, -1.0], 30) + rng.normal(0, 0.1, 60)
    ours, theirs = theil_sen(x, y), theilslopes(y, x, alpha=0.9545)
    assert ours.slope == pytest.approx(theirs.slope, rel=1e-12)
    assert (ours.low, ours.high) == pytest.approx((theirs.low_slope, theirs.high_slope), rel=1e-9)


def test_the_mean_of_an_autoregressive_row():
    """n = 200, ρ = 0.8: worth 22.73 independent values by the exact sum (computed from the
    formula s²/n · [1 + 2 Σ (1 − k/n) ρᵏ])."""
    whole = Scatter(np.array([1.0]), np.array([1.0]), np.array([[1.0], [0.8]]), 1e9)
    assert whole.of_mean(200)[0] ** -2 == pytest.approx(22.73, abs=0.005)


def test_the_spectrum_is_that_of_means_of_an_autoregressive_row():
    """Against the covariance matrix of such means, turned by the cosine transform in full."""
    from scipy.fft import dct
    from scipy.linalg import toeplitz

    count, width, step_s = 100, 4, 0.1
    _, shape, spectra = shapes(count, width, step_s)
    for at in (3, 6, 9):  # all of it hangs together, for 0.5, 1 and 2 s
        share, kept = shape[:, at]
        rows = share * kept ** np.arange(count * width)
        rows[0] = 1.0
        means = np.kron(np.eye(count), np.full((1, width), 1 / width))
        covariance = means @ toeplitz(rows) @ means.T
        turned = dct(dct(covariance, axis=0, norm="ortho"), axis=1, norm="ortho")
        off = np.log(spectra[at] / np.diag(turned)[1:])
        assert np.abs(off).max() < 0.11
        assert abs(off.mean()) < 0.01


PEARSON_X = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
PEARSON_Y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]


@pytest.mark.parametrize(("u_x", "u_y"), [(0.3, 0.3), (0.1, 0.4), (0.5, 0.2)])
def test_demings_line_through_pearsons_points(u_x, u_y):
    """Pearson's data (Phil. Mag. 2, 1901): the line by the smallest singular direction (total
    least squares, Golub & Van Loan, SIAM J. Numer. Anal. 17, 1980), and York's uncertainties by
    the fit that test_outside_fit.py holds against his printed digits."""
    x, y = np.array(PEARSON_X), np.array(PEARSON_Y)
    ours, york = deming(x, y, u_x, u_y), straight_line(x, y, cov_x=[u_x] * 10, cov_y=[u_y] * 10)
    centred = np.stack(((x - x.mean()) / u_x, (y - y.mean()) / u_y), axis=1)
    across = np.linalg.svd(centred)[2][-1]
    assert ours.slope == pytest.approx(-across[0] / across[1] * u_y / u_x, rel=1e-12)
    assert ours.intercept_mps == pytest.approx(y.mean() - ours.slope * x.mean(), rel=1e-12)
    widen = max(1.0, york.chi_square / york.dof) ** 0.5
    assert ours.slope == pytest.approx(york.slope, rel=1e-9)
    assert ours.u_slope == pytest.approx(widen * york.u_slope, rel=1e-6)
    assert ours.u_intercept_mps == pytest.approx(widen * york.u_intercept, rel=1e-6)
    assert deming(y, x, u_y, u_x).slope == pytest.approx(1 / ours.slope, rel=1e-12)


def test_the_parabola_through_a_cosines_top():
    """Bias of p = ½(α − γ)/(α − 2β + γ) at most 0.0016 samples at 20 samples a period."""
    shift = np.linspace(-0.5, 0.5, 101)
    found = [parabola_peak(*np.cos(2 * np.pi * (np.array([-1, 0, 1]) - at) / 20)) for at in shift]
    assert np.abs(np.array(found) - shift).max() <= 0.0017


def test_the_local_frame_is_a_field_of_geodesics():
    """Distances in the frame against pyproj's geodesics on WGS 84 over 1.5 km."""
    from pyproj import Geod

    latitude = 31.5 + np.array([0.0, 0.004, 0.008, 0.012])
    longitude = -84.0 + np.array([0.0, 0.003, -0.002, 0.001])
    time_s = np.arange(4.0)
    track = make_track(time_s, latitude, longitude, time_s, np.ones(4))
    _, _, true_m = Geod(ellps="WGS84").inv(
        longitude[:-1], latitude[:-1], longitude[1:], latitude[1:]
    )
    ours_m = np.hypot(np.diff(track.east_m), np.diff(track.north_m))
    assert ours_m == pytest.approx(true_m, rel=1e-6)
    assert track.length_m == pytest.approx(sum(true_m), rel=1e-6)


@pytest.mark.parametrize(
    ("feet", "seconds", "mph"),
    [(88, 60, 1.0), (88, 20, 3.00), (100, 34.1, 2.0), (100, 27.3, 2.5), (100, 22.7, 3.0)],
)
def test_timed_courses_of_the_extension_page(feet, seconds, mph):
    """88 ft in 60 s is 1 mph; 100 ft in 34.1, 27.3, 22.7 s (Cornell sprayer calibration)."""
    speed_mps = taped_course(feet * 0.3048, 0.0, seconds, {}).speed_mps
    assert speed_mps / 0.44704 == pytest.approx(mph, rel=0.002)

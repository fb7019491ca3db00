"""The maths of a pass against published values and general-purpose libraries."""

from __future__ import annotations

import numpy as np
import pytest

from workbench.match.align import parabola_peak
from workbench.match.changes import change_points
from workbench.match.mean import effective_number
from workbench.match.sources import taped_course
from workbench.match.track import make_track
from workbench.match.trend import theil_sen


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


def test_effective_number_of_an_autoregressive_row():
    """n = 200, ρ = 0.8: 22.73 by the exact sum (computed from the formula)."""
    assert effective_number(200, 0.8 ** np.arange(1, 200)) == pytest.approx(22.73, abs=0.005)


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

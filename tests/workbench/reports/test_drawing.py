"""Paper draws the description that the screen draws: the same values, the person's units."""

from __future__ import annotations

import math

import numpy as np
import pytest

from workbench.base.units import METRIC, US
from workbench.match.ratio import PaceLimits
from workbench.reports.drawing import draw_picture, new_figure, picture_svg
from workbench.words.pictures.calibrate import error_picture
from workbench.words.pictures.gap import control_picture, drop_out_picture, teeth_picture
from workbench.words.pictures.passes import pass_picture

MPH = 0.44704
"""One mile an hour in m/s, exact (NIST SP 811, appendix B.8)."""


@pytest.fixture
def on_paper():
    """A picture's axes, drawn."""

    def draw(picture, units):
        _, axes = new_figure(nrows=len(picture.panels), squeeze=False)
        draw_picture(list(axes[:, 0]), picture, units, 72)
        return list(axes[:, 0])

    return draw


def numbers(labels):
    return [float(label.get_text().replace("−", "-")) for label in labels]


@pytest.fixture
def errors(two_runs):
    ends = ((2 * MPH, 0.01), (3 * MPH, 0.012))
    return error_picture(two_runs((2 * MPH, 3 * MPH), (0.01, 0.06), ends), 0.02)


@pytest.mark.parametrize(("units", "one_mps"), [(US, MPH), (METRIC, 1 / 3.6)])
def test_the_values_beside_a_picture_are_round_in_the_persons_units(
    on_paper, errors, units, one_mps
):
    (axes,) = on_paper(errors, units)
    assert axes.get_xlabel() == f"true belt speed, {units.speed}"
    shown = numbers(axes.get_xticklabels())
    assert len(shown) > 2
    assert np.asarray(axes.get_xticks()) / one_mps == pytest.approx(shown)
    assert np.asarray(axes.get_yticks()) * 100 == pytest.approx(numbers(axes.get_yticklabels()))


def test_the_error_picture_names_its_line_its_limits_and_its_runs(on_paper, errors):
    (axes,) = on_paper(errors, US)
    words = {text.get_text() for text in axes.texts}
    assert {"as found", "allowed ± 2 %", "run 1", "run 2"} <= words
    low, high = axes.get_ylim()
    assert low <= -0.02
    assert high >= 0.06 + 2 * 0.002
    drawn = [tuple(line.get_xdata()) for line in axes.lines if line.get_marker() == "x"]
    assert drawn == [(3 * MPH,)]  # the run that was not used


def test_a_pass_has_its_marks_its_grey_and_its_gaps(on_paper):
    nothing = (math.nan,) * 3
    rows = np.array([(float(t), *(nothing if t < 20 else (1.0, 1.1, -0.1 * t))) for t in range(60)])
    picture = pass_picture(rows, PaceLimits(0.95, 1.05))
    assert picture.left_out == ((0.0, 20.0),)
    speeds, ratio, apart = on_paper(picture, METRIC)
    assert [axes.get_title(loc="left") for axes in (speeds, ratio, apart)] == [
        "speed, km/h",
        "ratio belt ÷ ground",
        "belt ahead of ground, m",
    ]
    (belt,) = [line for line in speeds.lines if np.nanmax(line.get_ydata()) == 1.0]
    assert np.isnan(belt.get_ydata()[:20]).all()
    assert "in band" in {text.get_text() for text in ratio.texts}


def test_suspect_teeth_stand_out_and_are_numbered(on_paper):
    late = np.array([0.0, 0.16, math.nan, 0.01])
    picture = teeth_picture(late, np.full(4, 0.002), {2}, voltage_rel=(1.0, 0.8, math.nan, 1.0))
    lateness, voltage = on_paper(picture, METRIC)
    for axes in (lateness, voltage):
        assert "2" in {text.get_text() for text in axes.texts}
        colours = [bar.get_facecolor() for bar in axes.patches if bar.get_width() == 0.7]
        assert len(colours) == 4
        assert colours[1] != colours[0] == colours[3]
    assert lateness.get_ylim()[1] > 0.16


@pytest.mark.parametrize(
    "picture",
    [
        control_picture(np.array([1.6e-3, 1.7e-3]), np.array([1.6e-3, 1.65e-3]), (1.5e-3, 1.62e-3)),
        drop_out_picture(np.array([0.4, 0.5, 1.0]), np.array([0.3, 0.9, 1.0]), 0.45, 0.9),
        drop_out_picture(np.array([0.4, 0.5]), np.array([1.0, 1.0]), math.nan, 0.9),
        error_picture(None, 0.02),
        pass_picture(np.empty((0, 4)), PaceLimits(0.95, 1.05)),
    ],
)
def test_every_picture_is_drawn_the_same_again(picture):
    svg = picture_svg(picture, US)
    assert svg.startswith("<svg")
    assert picture_svg(picture, US) == svg

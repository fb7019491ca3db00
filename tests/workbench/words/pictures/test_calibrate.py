"""The pictures of a calibration: what is seen of a belt's steadiness."""

from __future__ import annotations

import math

import numpy as np

from workbench.calibration.readout.recorded_runs import STEADY_REL
from workbench.words.pictures.calibrate import steadiness_picture
from workbench.words.pictures.extent import drawn_lines, reach
from workbench.words.pictures.picture import NOTHING


def test_a_steady_belt_looks_steady_and_its_band_stands_about_its_end():
    ago_s = np.array([-90.0, -50.0, -10.0, 0.0])
    picture = steadiness_picture(ago_s, np.array([9.0, 1.0, math.nan, 1.001]))
    (panel,) = picture.panels
    (line,) = panel.traces
    assert line.source.time_s.tolist() == [-50.0, 0.0]  # the last minute, what is known of it
    (band,) = panel.bands
    assert math.isclose(band.high - band.low, STEADY_REL * 1.001)
    assert math.isclose(band.high + band.low, 2 * 1.001)
    low, high = reach(panel, drawn_lines(panel, picture.span, 100), picture.span)
    assert high - low >= 0.03
    assert low < band.low < band.high < high


def test_without_a_belt_there_is_nothing_to_see():
    for ago_s, speed_mps in (([], []), ([-5.0], [math.nan]), ([-70.0], [1.0])):
        assert steadiness_picture(np.array(ago_s), np.array(speed_mps)) is NOTHING

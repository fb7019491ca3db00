"""Feeler readings gathered by their place on the wheel, and what is odd about them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.gap.judgement import mm
from workbench.calibration.gap.table import GapReadings

Floats = NDArray[np.float64]

BLADE_STEP_M = 0.00005
"""Step between the blades of a common metric feeler set; common practice, no source."""
SAME_PLACE_DEG = 1.0
FEWEST_PLACES = 4
"""Places from which on the once-a-turn swing is fitted."""


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Readings gathered by place: ascending angles, mean gaps, counts; shape (p,) each.

    `scatter_m` is the pooled standard deviation of one reading about its place's mean,
    with `freedom` degrees of freedom; NaN and 0 where no place was read twice.
    """

    angle_deg: Floats
    gap_m: Floats
    count: NDArray[np.int64]
    scatter_m: float
    freedom: int


def gather_places(readings: GapReadings) -> Places:
    """Readings within a degree of their neighbour (0° and 360° too) are one place."""
    turned = np.mod(readings.angle_deg, 360.0)
    order = np.argsort(turned, kind="stable")
    angle_deg, gap_m = turned[order], readings.gap_m[order]
    place = np.cumsum(np.diff(angle_deg, prepend=angle_deg[0]) > SAME_PLACE_DEG)
    if place[-1] > 0 and angle_deg[0] + 360.0 - angle_deg[-1] <= SAME_PLACE_DEG:
        angle_deg = np.where(place == place[-1], angle_deg - 360.0, angle_deg)
        place = np.where(place == place[-1], 0, place)
    count = np.bincount(place)
    mean_deg = np.bincount(place, angle_deg) / count
    mean_m = np.bincount(place, gap_m) / count
    freedom = int(np.sum(count - 1))
    scatter_m = (
        math.sqrt(float(np.sum((gap_m - mean_m[place]) ** 2)) / freedom) if freedom else math.nan
    )
    return Places(np.mod(mean_deg, 360.0), mean_m, count, scatter_m, freedom)


def largest_arc_deg(places: Places) -> tuple[float, float]:
    """(the largest arc without a reading, the angle at its middle) in degrees."""
    ordered = np.sort(places.angle_deg)
    arc = np.diff(ordered, append=ordered[0] + 360.0)
    at = int(np.argmax(arc))
    return float(arc[at]), float((ordered[at] + arc[at] / 2) % 360.0)


def what_is_missing(places: Places) -> str:
    arc_deg, middle_deg = largest_arc_deg(places)
    if places.angle_deg.size == 1:
        return (
            f"All readings are at one place, {places.angle_deg[0]:.0f}°: turn the wheel and read "
            "the gap at four angles or more, 90° apart."
        )
    if places.angle_deg.size < FEWEST_PLACES:
        return (
            f"Readings at {places.angle_deg.size} angles cannot show the run-out all the way "
            f"round: read at four or more, the next at {middle_deg:.0f}°."
        )
    return (
        f"No reading was taken on {arc_deg:.0f}° of the wheel: read at {middle_deg:.0f}° too, "
        "best at angles 90° apart."
    )


def reading_warnings(readings: GapReadings, places: Places) -> list[str]:
    warnings = []
    step = np.diff(readings.angle_deg)
    step = (step[np.abs(step) > SAME_PLACE_DEG] + 180.0) % 360.0 - 180.0
    backward = np.count_nonzero(step < 0)
    if np.any(readings.angle_deg < 0) or (backward > 1 and backward > 0.8 * step.size):
        warnings.append(
            "The angles run backwards, as if the wheel was turned the other way: gap and run-out "
            "hold, but angles count from the mark in the turning direction."
        )
    place = np.argmin(
        np.abs((readings.angle_deg[:, None] - places.angle_deg + 180.0) % 360.0 - 180.0), axis=1
    )
    for at in range(places.angle_deg.size):
        mine = np.flatnonzero(place == at)
        if mine.size < 3:
            continue
        off_m = readings.gap_m[mine] - np.median(readings.gap_m[mine])
        usual_m = max(3 * BLADE_STEP_M, 6 * float(np.median(np.abs(off_m))))
        warnings += [
            f"{_line(readings, int(one))} ({mm(readings.gap_m[one])}) stands {mm(abs(off))} off "
            f"the other readings at {places.angle_deg[at]:.0f}°: was it mistyped?"
            for one, off in zip(mine, off_m, strict=True)
            if abs(off) > usual_m and abs(off) > 0.0003
        ]
    return warnings


def _line(readings: GapReadings, at: int) -> str:
    return f"Line {readings.line[at]}" if readings.line[at] else f"Reading {at + 1}"

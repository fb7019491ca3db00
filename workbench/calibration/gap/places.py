"""Feeler readings gathered by their place on the wheel, and what is odd about them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.statements import Statement, statement
from workbench.calibration.gap.table import GapReadings

Floats = NDArray[np.float64]

BLADE_STEP_M = 0.00005
"""Step between the blades of a common metric feeler set; common practice, no source."""
SAME_PLACE_DEG = 1.0
FEWEST_PLACES = 4
"""Places from which on the once-a-turn swing is fitted."""


class PlaceSays(StrEnum):
    """What is missing of readings round the wheel, and what is odd about them."""

    ALL_AT_ONE_PLACE = auto()
    FEW_ANGLES = auto()
    ARC_TO_READ = auto()
    ANGLES_BACKWARDS = auto()
    LINE_MISTYPED = auto()
    READING_MISTYPED = auto()


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


def what_is_missing(places: Places) -> Statement:
    """Where to read next, so that the swing can be told."""
    arc_deg, middle_deg = largest_arc_deg(places)
    if places.angle_deg.size == 1:
        return statement(PlaceSays.ALL_AT_ONE_PLACE, at_deg=float(places.angle_deg[0]))
    if places.angle_deg.size < FEWEST_PLACES:
        angles = int(places.angle_deg.size)
        return statement(PlaceSays.FEW_ANGLES, angles=angles, next_deg=middle_deg)
    return statement(PlaceSays.ARC_TO_READ, arc_deg=arc_deg, middle_deg=middle_deg)


def reading_warnings(readings: GapReadings, places: Places) -> list[Statement]:
    """Readings taken the other way round the wheel, or far off the others of their place."""
    warnings = []
    step = np.diff(readings.angle_deg)
    step = (step[np.abs(step) > SAME_PLACE_DEG] + 180.0) % 360.0 - 180.0
    backward = np.count_nonzero(step < 0)
    if np.any(readings.angle_deg < 0) or (backward > 1 and backward > 0.8 * step.size):
        warnings.append(statement(PlaceSays.ANGLES_BACKWARDS))
    place = np.argmin(
        np.abs((readings.angle_deg[:, None] - places.angle_deg + 180.0) % 360.0 - 180.0), axis=1
    )
    for at in range(places.angle_deg.size):
        mine = np.flatnonzero(place == at)
        if mine.size < 3:
            continue
        off_m = np.abs(readings.gap_m[mine] - np.median(readings.gap_m[mine]))
        usual_m = max(3 * BLADE_STEP_M, 6 * float(np.median(off_m)), 0.0003)
        warnings += [
            _mistyped(readings, int(one), float(off), float(places.angle_deg[at]))
            for one, off in zip(mine, off_m, strict=True)
            if off > usual_m
        ]
    return warnings


def _mistyped(readings: GapReadings, at: int, off_m: float, at_deg: float) -> Statement:
    line = int(readings.line[at])
    says = PlaceSays.LINE_MISTYPED if line else PlaceSays.READING_MISTYPED
    gap_m = float(readings.gap_m[at])
    return statement(says, number=line or at + 1, gap_m=gap_m, off_m=off_m, at_deg=at_deg)

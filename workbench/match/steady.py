"""Which part of a pass counts: approach, headland and stops are no test of the pace."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SMOOTH_S = 1.0
"""Ground speed is averaged over this long before it is judged. Chosen."""

LOOK_S = 10.0
"""The working speed is the median over this long, ahead at the start, back at the end."""

UP_TO_SPEED = 0.95
"""Share of the working speed from which the approach is over. Chosen."""


def steady_part(ground_mps: Floats, step_s: float, moving: Flags) -> Flags:
    """(n,) True from the end of the approach to the beginning of the headland, where moving.

    `ground_mps` (n,) evenly spaced, NaN allowed; `moving` (n,) marks the moments that can
    count at all. All of them are returned where the two ends leave nothing between them.
    """
    at = np.flatnonzero(moving)
    if at.size == 0:
        return moving
    width, look = max(1, round(SMOOTH_S / step_s)), max(2, round(LOOK_S / step_s))
    speed = ground_mps[at]
    smooth = np.convolve(
        np.pad(speed, (width // 2, width - 1 - width // 2), mode="edge"),
        np.full(width, 1 / width),
        mode="valid",
    )
    first = _up_to_speed(smooth, look)
    last = at.size - _up_to_speed(smooth[::-1], look)
    if last <= first:
        return moving
    part = np.zeros_like(moving)
    part[at[first:last]] = True
    return part


def _up_to_speed(speed: Floats, look: int) -> int:
    """Index of the first value that has nearly reached the median of what follows it."""
    for index in range(0, speed.size, max(1, look // 20)):
        if speed[index] >= UP_TO_SPEED * float(np.median(speed[index : index + look])):
            return index
    return 0

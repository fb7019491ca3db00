"""Which part of a pass counts: approach, headland and stops are no test of the pace."""

from __future__ import annotations

import math

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

HEADLAND_SPEED = 0.6
"""Share of the working speed below which the tractor is turning and not working. Chosen."""

HEADLAND_S = 5.0
"""A shorter slowing down is the driver's. Chosen."""

AROUND_S = 60.0
"""In mid-pass the working speed is the median over this long on both sides: a stretch
worked slowly that fills it is no headland, it is the work."""

STEADY_ROWS = 0.3
"""Spread of the speed (quartile to quartile, as a share of the median) up to which rows can
be told from headlands; a vehicle that changes speed all the time has none. Chosen."""


def steady_part(ground_mps: Floats, step_s: float, moving: Flags) -> Flags:
    """(n,) True from the end of the approach to the last headland, where moving and at work.

    `ground_mps` (n,) evenly spaced, NaN allowed; `moving` (n,) marks the moments that can
    count at all. Headlands between two rows are left out as well. All moving moments are
    returned where nothing would be left.
    """
    at = np.flatnonzero(moving)
    if at.size == 0:
        return moving
    width, look = max(1, round(SMOOTH_S / step_s)), max(2, round(LOOK_S / step_s))
    smooth = _means(ground_mps[at], width)
    first = _up_to_speed(smooth, look)
    last = at.size - _up_to_speed(smooth[::-1], look)
    if last <= first:
        return moving
    part = np.zeros_like(moving)
    part[at[first:last]] = True
    working = part.copy()
    working[at] &= ~_headlands(smooth, max(1, round(1.0 / step_s)))
    return working if working.any() else part


def _headlands(smooth: Floats, second: int) -> Flags:
    """(n,) True where the tractor turns: slow for seconds, with the ramps on both sides.

    `second` is the number of samples in a second.
    """
    coarse = smooth[::second]
    work = _working_speed(coarse)
    slow = coarse < HEADLAND_SPEED * work
    turning = np.zeros(coarse.size, dtype=np.bool_)
    low, middle, high = np.quantile(coarse, [0.25, 0.5, 0.75])
    if high - low > STEADY_ROWS * middle:
        return np.repeat(turning, second)[: smooth.size]
    change = np.flatnonzero(np.diff(np.concatenate(([False], slow, [False])).astype(np.int8)))
    for begin, end in change.reshape(-1, 2).tolist():
        if end - begin < HEADLAND_S:
            continue
        up = coarse >= UP_TO_SPEED * work
        before, after = np.flatnonzero(up[:begin]), np.flatnonzero(up[end:])
        first = int(before[-1]) + 1 if before.size else 0
        last = end + int(after[0]) if after.size else coarse.size
        turning[first:last] = True
    return np.repeat(turning, second)[: smooth.size]


def _working_speed(coarse: Floats) -> Floats:
    """(n,) median of the speed within `AROUND_S` on both sides of each second."""
    reach = min(math.ceil(AROUND_S), coarse.size)
    padded = np.pad(coarse, reach, constant_values=math.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    return np.asarray(np.nanmedian(windows, axis=1))


def _means(speed: Floats, width: int) -> Floats:
    """(n,) moving averages over `width` values."""
    padded = np.pad(speed, (width // 2, width - 1 - width // 2), mode="edge")
    total = np.concatenate(([0.0], np.cumsum(padded)))
    return np.asarray((total[width:] - total[:-width]) / width)


def _up_to_speed(speed: Floats, look: int) -> int:
    """Index of the first value that has nearly reached the median of what follows it."""
    for index in range(0, speed.size, max(1, look // 20)):
        if speed[index] >= UP_TO_SPEED * float(np.median(speed[index : index + look])):
            return index
    return 0

"""The period that intervals between edges are judged against: medians over short blocks.

It follows a belt that changes speed, and no burst of noise.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BLOCK = 16
"""Intervals whose median is one value of the local period: short enough for the belt's
speed to change little over it, long enough for missed and extra edges to be few in it."""

NO_TIME_S = 1e-12
"""Shorter than any counter can tell: keeps edges at one and the same time divisible."""

BURST_BLOCKS = 12
"""Blocks on each side among which those filled with noise are a valley."""

PARTLY = 1.5
"""Medians above which the interval in the middle of a block's time tells of noise in it."""

VALLEY = 0.72
"""Share of the banks below which blocks are a valley."""

LONGEST_BURST_S = 0.6
"""A longer valley is the belt running faster. Chosen: belts take a second to speed up."""


def block_medians(interval_s: Floats) -> Floats:
    """Median of each whole block of `BLOCK` intervals; of all where there is no whole one."""
    blocks = max(1, interval_s.size // BLOCK)
    usable = blocks * BLOCK if interval_s.size >= BLOCK else interval_s.size
    table = interval_s[:usable].reshape(blocks, -1)
    ordered = np.sort(table, axis=1)
    width = ordered.shape[1]
    median = 0.5 * (ordered[:, (width - 1) // 2] + ordered[:, width // 2])
    return np.maximum(_heal_bursts(median, ordered), NO_TIME_S)


def local_period(interval_s: Floats, median: Floats, at: Ints) -> Floats:
    """(m,) the period around each of the intervals `at` (m,), from the `median` of each block.

    Of the block's own median and its two neighbours' the one nearest to the interval is
    taken, so that a belt that starts, stops or steps is followed.
    """
    last = median.size - 1
    block = np.minimum(at // BLOCK, last)  # the last one also serves the remainder
    best = median[block]
    if np.ptp(median) < 0.02 * median.max():
        return best
    error = np.abs(interval_s[at] - best)
    for neighbour in (np.minimum(block + 1, last), np.maximum(block - 1, 0)):
        period_s = median[neighbour]
        distance = np.abs(interval_s[at] - period_s)
        best = np.where(distance < error, period_s, best)
        error = np.minimum(distance, error)
    return best


def _heal_bursts(median: Floats, ordered: Floats) -> Floats:
    """Replace the medians of blocks that a burst of noise has filled, wholly or in part.

    In a block filled in part the few long intervals hold most of the time: the interval in
    which the middle of the block's time lies is far above the median. Blocks filled wholly
    are a valley among their neighbours, and a short one: a belt has mass, it cannot run
    half as fast again and be back at its old speed within half a second.
    """
    by_time = median.copy()
    width = ordered.shape[1]
    # The longest alone must outweigh all others, of which half are as long as the median.
    uneven = ordered[:, -1] > max(PARTLY, width // 2 - 2) * median
    uneven |= ordered[:, max(width - 2, 0)] > PARTLY * median
    uneven = np.flatnonzero(uneven)
    total = np.cumsum(ordered[uneven], axis=1)
    by_time[uneven] = ordered[uneven, np.argmax(total >= 0.5 * total[:, -1:], axis=1)]
    partly = by_time > PARTLY * median
    if not partly.any() and median.min() >= VALLEY * median.max():
        return median
    padded = np.pad(median, BURST_BLOCKS, mode="edge")
    windows = median.size + BURST_BLOCKS + 1
    highest = np.maximum.reduce([padded[at : at + windows] for at in range(BURST_BLOCKS)])
    left, right = highest[: median.size], highest[-median.size :]
    banks = np.minimum(left, right)
    healed = np.where(partly, np.maximum(median, np.minimum(by_time, banks)), median)
    valley = (healed < VALLEY * banks) & (np.maximum(left, right) < 1.25 * banks)
    change = np.flatnonzero(np.diff(np.concatenate(([False], valley, [False])).astype(np.int8)))
    for first, last in change.reshape(-1, 2):
        if ordered[first:last].sum() > LONGEST_BURST_S:
            valley[first:last] = False
    return np.where(valley | (healed < 0.25 * banks), banks, healed)

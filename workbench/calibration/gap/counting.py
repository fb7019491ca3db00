"""Counting teeth on where a good part of the wheel is not seen, and from a mark."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_TURNS_HOLE = 1.5
"""Turns without a tooth after which the count is no longer sure; chosen."""
_REACH = 16


def distinct(time_s: Floats) -> Floats:
    """`time_s` (n,) without edges at the very time of the one before: a clock's doubles."""
    return time_s[np.diff(time_s, prepend=-np.inf) > 0]


def count_on(time_s: Floats, teeth: int) -> tuple[Floats, Ints]:
    """(times, running index) of the edges `time_s` (n >= 2,) as far as the count is sure.

    The pitch ahead is that of the last 16 pitches counted, however few of their teeth were
    seen, so that a wheel that loses every other tooth is not taken for a slower one. For
    the first turn it is the median interval.
    """
    kept_s, index = [float(time_s[0])], [0]
    period_s = float(np.median(np.diff(time_s[: teeth + 1])))
    back = 0
    for now_s in time_s[1:].tolist():
        pitches = (now_s - kept_s[-1]) / period_s
        if pitches < 0.5:
            continue
        if pitches > MOST_TURNS_HOLE * teeth:
            break
        kept_s.append(now_s)
        index.append(index[-1] + max(1, round(pitches)))
        while index[-1] - index[back + 1] >= _REACH:
            back += 1
        if index[-1] - index[back] >= _REACH // 2:
            period_s = (kept_s[-1] - kept_s[back]) / (index[-1] - index[back])
    return np.array(kept_s), np.array(index, dtype=np.int64)


def first_after(edge_s: Floats, tooth: Ints, mark_s: Floats | None) -> int | None:
    """Running index of the first tooth at or after the first mark among the edges.

    The tooth itself may be missing: it is counted back from the next one seen. None where
    no mark lies among them.
    """
    if mark_s is None or edge_s.size < 2:
        return None
    inside = mark_s[(mark_s >= edge_s[0]) & (mark_s <= edge_s[-1])]
    if not inside.size:
        return None
    after = max(1, int(np.searchsorted(edge_s, inside[0])))
    pitches = max(1, int(tooth[after] - tooth[after - 1]))
    period_s = (edge_s[after] - edge_s[after - 1]) / pitches
    back = math.floor((edge_s[after] - inside[0]) / period_s)
    return int(tooth[after] - min(back, pitches - 1))

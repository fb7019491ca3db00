"""How far values scatter, whatever a few of them do."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

NORMAL = 1.4826
"""A normal distribution's standard deviation over its median absolute value: 1 ÷ 0.67449."""


def robust_spread(values: NDArray[np.float64]) -> float:
    """Standard deviation of values (n,) about 0, from their median size; NaN for none."""
    return NORMAL * float(np.median(np.abs(values))) if values.size else math.nan

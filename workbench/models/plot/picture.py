"""What a chart shows, without a screen: lines and points with their uncertainty, a band, words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Places `x` ascending and values `y`, NaN where there is none, shape (n,).

    `half` is each value's expanded uncertainty (n,), None where not drawn. `points` draws a
    mark at each value, `joined` a line through them. `second` draws the other of two.
    """

    name: str
    x: Floats
    y: Floats
    half: Floats | None = None
    points: bool = False
    joined: bool = True
    second: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """What lies between two values, with its word; `allowed` what a limit allows, else what
    is usual."""

    low: float
    high: float
    word: str
    allowed: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """One chart. `x_days`: x is in seconds since 1970 and is marked by days.

    `marks` are thin verticals with a word; `read` turns a value into words for the read-out.
    """

    title: str
    x_words: str
    series: list[Series]
    bands: list[Band] = field(default_factory=list)
    marks: list[tuple[float, str]] = field(default_factory=list)
    x_days: bool = False
    read: Callable[[float], str] = "{:.4g}".format

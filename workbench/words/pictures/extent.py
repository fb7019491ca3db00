"""How far a panel reaches, and what stands at the ends of its lines: the same on screen and
paper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from workbench.words.pictures.picture import Floats, Panel, Trace

OUTLIER = 6.0
"""Median deviations from the median beyond which a value may lie outside the picture."""
PADDING = 0.08
"""Of the values' span, left free above and below."""

Drawn = Sequence[tuple[Trace, Floats, Floats]]
"""Each line with its places and values as they are drawn."""


@dataclass(frozen=True, slots=True)
class EndName:
    """A name beside the value at which its line ends."""

    value: float
    text: str
    role: str
    shade: float = 0.0


def drawn_lines(panel: Panel, seen: tuple[float, float], columns: int) -> Drawn:
    """The lines of a panel between two places, no finer than so many columns."""
    return [(trace, *trace.source.visible(*seen, columns)) for trace in panel.traces]


def reach(panel: Panel, drawn: Drawn, seen: tuple[float, float]) -> tuple[float, float]:
    """Lowest and highest value to show: those drawn with some room, and what is always in."""
    if panel.include is not None and panel.exact:
        return panel.include
    found = [_most(y, may_leave=panel.outliers_may_leave) for _, _, y in drawn]
    for one in panel.singles:
        inside = (one.x >= seen[0]) & (one.x <= seen[1])
        half = np.zeros(one.y.size) if one.U is None else np.nan_to_num(one.U)
        found += [_most((one.y + way * half)[inside]) for way in (-1, 1)]
    low = min((one for one, _ in found), default=math.inf)
    high = max((one for _, one in found), default=-math.inf)
    if low <= high:
        least = panel.least or (0.0 if high > low else 0.2 * abs(high))
        room = PADDING * (high - low) + max(0.0, least - (high - low)) / 2
        low, high = low - room, high + room
    if panel.include is not None:
        low, high = min(low, panel.include[0]), max(high, panel.include[1])
    return (low, high) if low < high else (0.0, 1.0)


def _most(values: Floats, *, may_leave: bool = False) -> tuple[float, float]:
    """Lowest and highest of the values there are, without outliers where they may leave."""
    known = values[np.isfinite(values)]
    if not known.size:
        return math.inf, -math.inf
    low, high = float(known.min()), float(known.max())
    if may_leave:
        middle = float(np.median(known))
        most = OUTLIER * float(np.median(np.abs(known - middle)))
        low, high = max(low, middle - most), min(high, middle + most)
    return low, high


def end_names(
    panel: Panel, drawn: Drawn, seen: tuple[float, float], shown: tuple[float, float]
) -> Iterator[EndName]:
    """Where each line, row of points and band ends, `seen` along the axis, `shown` upwards."""
    named = set()
    for trace, _, values in drawn:
        known = np.flatnonzero(np.isfinite(values))
        if trace.name and known.size:
            named.add(trace.name)
            yield EndName(float(values[known[-1]]), trace.name, trace.role, trace.shade)
    for points in panel.points:
        inside = np.isfinite(points.y) & (points.x >= seen[0]) & (points.x <= seen[1])
        if points.name and points.name not in named and inside.any():
            named.add(points.name)
            yield EndName(float(points.y[inside][-1]), points.name, points.role)
    for band in panel.bands:
        if band.word and band.low < shown[1] and band.high > shown[0]:
            at = 0.5 * (band.low + band.high) if band.shaded else band.high
            yield EndName(at, band.word, band.role)


def spread(wanted: Sequence[float], room: float, apart: float) -> list[float]:
    """Places as near to the wanted ones (ascending) as can be, `apart` from one another and
    from both ends of `room` by half of that. There must be room for all."""
    places: list[float] = []
    for want in wanted:
        least = places[-1] + apart if places else apart / 2
        places.append(max(want, least))
    most = room - apart / 2
    for at in range(len(places) - 1, -1, -1):
        places[at] = min(places[at], most)
        most = places[at] - apart
    return places

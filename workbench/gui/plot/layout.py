"""Where everything of a picture stands in a plot of some size: panels, axes, names, marks.

Captions stand above the panels, values on the left, times below, the lines' names on the
right, each as near to its line's end as can be.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QRectF, QSizeF
from PySide6.QtGui import QColor, QFontMetricsF

from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import FOCUS_PX
from workbench.gui.plot.ticks import Scale, Ticks, clock_unit, step_along, ticks_along
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.words.language import _
from workbench.words.pictures.picture import (
    AGO,
    CLOCK,
    Axis,
    Band,
    Floats,
    Mark,
    Panel,
    Picture,
    Trace,
)

LEFT_PX, BOTTOM_PX, CAPTION_PX, LINE_PX, LEADER_PX = 52, 22, 20, 17, 14
"""Room for the values, the times and a caption; height of a line of text; length of a leader."""
NAMES_PX = (72, 144)
"""Room for the names at the right: at least, at most."""
TICK_PX, TIME_PX = 30, 72
"""Distance between two values up the axis, or along it, at least."""
NUMBER_PX, ARROW_PX = 22, 14
"""Distance between two numbers that are counted along the axis; height of a mark's arrow."""
OUTLIER = 6.0
"""Median deviations from the median beyond which a value may lie outside the picture."""
PADDING = 0.08
"""Of the values' span, left free above and below."""

Name = tuple[float, str, QColor]
"""A pixel from the top, what ends there, and its colour."""


@dataclass(frozen=True, slots=True)
class PlacedName:
    """A name: the pixel from the top at which its line ends, and its own middle."""

    end: float
    middle: float
    text: str
    color: QColor


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A panel in its box: its scale, its values, and its traces as they are drawn."""

    panel: Panel
    box: QRectF
    y: Scale
    ticks: Ticks
    drawn: list[tuple[Trace, Floats, Floats]]
    names: list[PlacedName]


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """A picture in a plot of some size. `words` are the marks' that have room, each with the
    pixel at which it begins."""

    size: QSizeF
    x: Scale
    x_ticks: Ticks
    x_words: str
    places: list[Place]
    words: list[tuple[float, str, Mark]]

    @property
    def right(self) -> float:
        """The pixel at which the names begin."""
        return self.x.end


def text_width(text: str) -> float:
    """Width of a text in the plots' font, in pixels."""
    return QFontMetricsF(font(SMALL_PX)).horizontalAdvance(text)


def line_color(trace: Trace, theme: Theme) -> QColor:
    """The colour of a trace: its role's, shaded towards the ink."""
    own, ink = theme.color(trace.role), theme.color("ink")
    pairs = ((own.red(), ink.red()), (own.green(), ink.green()), (own.blue(), ink.blue()))
    return QColor(*(round(a + trace.shade * (b - a)) for a, b in pairs))


def lay_out(
    picture: Picture, units: UnitSystem, theme: Theme, size: QSizeF, seen: tuple[float, float]
) -> Layout:
    """Place a picture's panels in `size` pixels, `seen` (from, to) along its axis."""
    low, high = seen
    under = not picture.x.is_time and bool(picture.x.words)
    top = FOCUS_PX + _head_px(picture)
    foot = size.height() - FOCUS_PX - BOTTOM_PX - (CAPTION_PX if under else 0)
    boxes = _boxes(picture, top, foot)
    columns = max(32, int(size.width()) - LEFT_PX - NAMES_PX[0])
    drawn = [
        [(trace, *trace.source.visible(low, high, columns)) for trace in panel.traces]
        for panel in picture.panels
    ]
    rows = [
        _upright(panel, units, found, box, seen)
        for panel, found, box in zip(picture.panels, drawn, boxes, strict=True)
    ]
    longest = max((text_width(text) for *_, ticks in rows for _, text in ticks), default=0.0)
    left = FOCUS_PX + max(LEFT_PX, longest + GRID_PX)
    x_unit = _time_words(picture.x, units, low, high, size.width() - left - NAMES_PX[0])
    right = size.width() - FOCUS_PX - _names_px(picture, x_unit, size.width())
    x = Scale(low, high, left, max(right, left + 1))
    step = _step_of(picture.x, units, x)
    places = [
        Place(
            panel,
            QRectF(left, box[0], x.end - left, box[1] - box[0]),
            y,
            ticks,
            found,
            _placed(_ends(panel, y, found, theme, seen), y, _name_room(boxes, at), theme),
        )
        for at, (panel, found, box, (y, ticks)) in enumerate(
            zip(picture.panels, drawn, boxes, rows, strict=True)
        )
    ]
    return Layout(
        size,
        x,
        ticks_along(picture.x, units, low, high, step),
        picture.x.label(units) if under else x_unit,
        places,
        _words(picture.marks, units, x),
    )


def _head_px(picture: Picture) -> float:
    """Room between the first caption and its panel: for the marks' words and arrows."""
    if not any(mark.word for mark in picture.marks):
        return 0.0
    return LINE_PX + (ARROW_PX if any(mark.arrow for mark in picture.marks) else 0)


def _boxes(picture: Picture, top: float, foot: float) -> list[tuple[float, float]]:
    """Upper and lower end of each panel, below its caption."""
    shares = [panel.share for panel in picture.panels]
    room = max(foot - top - CAPTION_PX * len(shares), 1.0)
    boxes, at = [], top
    for share in shares:
        begin = at + CAPTION_PX
        at = begin + room * share / sum(shares)
        boxes.append((begin, at))
    return boxes


def _upright(
    panel: Panel,
    units: UnitSystem,
    drawn: Sequence[tuple[Trace, Floats, Floats]],
    box: tuple[float, float],
    seen: tuple[float, float],
) -> tuple[Scale, Ticks]:
    """The scale and the values up the axis."""
    low, high = _reach(panel, drawn, seen)
    if panel.include is not None and panel.exact:
        low, high = panel.include
    top, foot = box
    scale = Scale(low, high, foot, top)
    step = step_along(panel.y, units, TICK_PX / abs(scale.px_each))
    return scale, ticks_along(panel.y, units, low, high, step)


def _reach(
    panel: Panel, drawn: Sequence[tuple[Trace, Floats, Floats]], seen: tuple[float, float]
) -> tuple[float, float]:
    """Lowest and highest value to show: those drawn with some room, and what is always in."""
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
    if panel.bars:
        low = min(low, 0.0) if low < 0 else 0.0
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


def _time_words(axis: Axis, units: UnitSystem, low: float, high: float, width: float) -> str:
    """What the times are counted in."""
    if axis.quantity not in (CLOCK, AGO):
        return ""
    step = step_along(axis, units, (high - low) * TIME_PX / max(width, 1.0))
    words = clock_unit(max(abs(low), abs(high)), step)
    return _("{unit} ago").format(unit=words) if axis.quantity == AGO else words


def _step_of(axis: Axis, units: UnitSystem, x: Scale) -> float:
    apart_px = NUMBER_PX if axis.numbers is not None else TIME_PX
    return step_along(axis, units, apart_px / x.px_each)


def _names_px(picture: Picture, x_unit: str, width: float) -> float:
    """Enough room at the right for the longest name."""
    words = [x_unit, *(band.word for panel in picture.panels for band in panel.bands)]
    for panel in picture.panels:
        words += [one.name for one in panel.traces] + [one.name for one in panel.points]
    longest = max(map(text_width, words)) + LEADER_PX + 4
    return min(max(longest, NAMES_PX[0]), NAMES_PX[1], 0.3 * width)


def _name_room(boxes: Sequence[tuple[float, float]], at: int) -> tuple[float, float]:
    """The names of a panel may stand beside half of the captions above it and below it."""
    top, foot = boxes[at]
    half = CAPTION_PX / 2
    return top - (half if at else 0), foot + (half if at + 1 < len(boxes) else 0)


def _ends(
    panel: Panel,
    y: Scale,
    drawn: Sequence[tuple[Trace, Floats, Floats]],
    theme: Theme,
    seen: tuple[float, float],
) -> Iterator[Name]:
    """Where each line, band and row of points ends, with its name."""
    named = set()
    for trace, _x, values in drawn:
        known = np.flatnonzero(np.isfinite(values))
        if trace.name and known.size:
            named.add(trace.name)
            yield y.px(float(values[known[-1]])), trace.name, line_color(trace, theme)
    for points in panel.points:
        inside = np.isfinite(points.y) & (points.x >= seen[0]) & (points.x <= seen[1])
        if points.name and points.name not in named and inside.any():
            named.add(points.name)
            yield y.px(float(points.y[inside][-1])), points.name, theme.color(points.role)
    for band in panel.bands:
        if band.word and band.low < y.high and band.high > y.low:
            yield _end_of(band, y), band.word, theme.color(band.role)


def _end_of(band: Band, y: Scale) -> float:
    return y.px(0.5 * (band.low + band.high) if band.shaded else band.high)


def _placed(
    ends: Iterator[Name], y: Scale, room: tuple[float, float], theme: Theme
) -> list[PlacedName]:
    """The names side by side in their room, as near to their lines' ends as can be."""
    top, foot = room
    names = [(min(max(end, y.end), y.start), text, color) for end, text, color in ends]
    names = _joined(sorted(names, key=lambda one: one[0]), foot - top, theme.color("soft_ink"))
    middles = spread([end - top for end, *_ in names], foot - top, LINE_PX)
    return [
        PlacedName(end, top + at, text, color)
        for (end, text, color), at in zip(names, middles, strict=True)
    ]


def _joined(names: Sequence[Name], room: float, ink: QColor) -> list[Name]:
    """As many as there is room for: those whose lines end closest to each other share a line
    of text."""
    kept, most = list(names), max(1, int(room // LINE_PX))
    while len(kept) > most:
        at = min(range(len(kept) - 1), key=lambda i: kept[i + 1][0] - kept[i][0])
        (low, name, color), (high, other, other_color) = kept[at : at + 2]
        shared = color if color == other_color else ink
        kept[at : at + 2] = [((low + high) / 2, f"{other}, {name}", shared)]
    return kept


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


def _words(marks: Sequence[Mark], units: UnitSystem, x: Scale) -> list[tuple[float, str, Mark]]:
    """Marks whose word has room: one that would lie over another, or leave the plot, has none."""
    placed, free = [], x.start - GRID_PX
    for mark in sorted(marks, key=lambda one: one.x):
        text = mark.text(units)
        width = text_width(text)
        left = min(max(x.px(mark.x) - width / 2, x.start), x.end - width)
        if text and x.low <= mark.x <= x.high and left >= free:
            placed.append((left, text, mark))
            free = left + width + GRID_PX
    return placed

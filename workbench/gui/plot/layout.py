"""Where everything of a picture stands in a plot of some size: panels, axes, names, marks.

Captions stand above the panels, values on the left, times below, the lines' names on the
right, each as near to its line's end as can be.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QRectF, QSizeF
from PySide6.QtGui import QColor, QFontMetricsF

from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import FOCUS_PX
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.words.pictures.extent import Drawn, EndName, drawn_lines, end_names, reach, spread
from workbench.words.pictures.picture import Mark, Panel, Picture, Trace
from workbench.words.pictures.ticks import Scale, Ticks, axis_words, step_along, ticks_along

LEFT_PX, BOTTOM_PX, CAPTION_PX, LINE_PX, LEADER_PX = 52, 22, 20, 17, 14
"""Room for the values, the times and a caption; height of a line of text; length of a leader."""
NAMES_PX = (72, 144)
"""Room for the names at the right: at least, at most."""
TICK_PX, TIME_PX = 30, 72
"""Distance between two values up the axis, or along it, at least."""
NUMBER_PX, ARROW_PX = 22, 14
"""Distance between two numbers that are counted along the axis; height of a mark's arrow."""

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
    drawn: Drawn
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


def line_color(line: Trace | EndName, theme: Theme) -> QColor:
    """The colour of a line: its role's, shaded towards the ink."""
    own, ink = theme.color(line.role), theme.color("ink")
    pairs = ((own.red(), ink.red()), (own.green(), ink.green()), (own.blue(), ink.blue()))
    return QColor(*(round(a + line.shade * (b - a)) for a, b in pairs))


def lay_out(
    picture: Picture, units: UnitSystem, theme: Theme, size: QSizeF, seen: tuple[float, float]
) -> Layout:
    """Place a picture's panels in `size` pixels, `seen` (from, to) along its axis."""
    under = not picture.x.is_time and bool(picture.x.words)
    foot = size.height() - FOCUS_PX - BOTTOM_PX - (CAPTION_PX if under else 0)
    boxes = _boxes(picture, FOCUS_PX + _head_px(picture), foot)
    columns = max(32, int(size.width()) - LEFT_PX - NAMES_PX[0])
    drawn = [drawn_lines(panel, seen, columns) for panel in picture.panels]
    rows = [
        _upright(panel, units, found, box, seen)
        for panel, found, box in zip(picture.panels, drawn, boxes, strict=True)
    ]
    longest = max((text_width(text) for _, ticks in rows for _, text in ticks), default=0.0)
    left = FOCUS_PX + max(LEFT_PX, longest + GRID_PX)
    right = size.width() - FOCUS_PX - _names_px(picture, units, size.width())
    x = Scale(*seen, left, max(right, left + 1))
    apart_px = NUMBER_PX if picture.x.numbers is not None else TIME_PX
    step = step_along(picture.x, units, apart_px / x.px_each)
    places = []
    for at, (panel, found, box) in enumerate(zip(picture.panels, drawn, boxes, strict=True)):
        y, ticks = rows[at]
        ends = end_names(panel, found, seen, (y.low, y.high))
        names = _placed(ends, y, _name_room(boxes, at), theme)
        inside = QRectF(left, box[0], x.end - left, box[1] - box[0])
        places.append(Place(panel, inside, y, ticks, found, names))
    return Layout(
        size,
        x,
        ticks_along(picture.x, units, *seen, step),
        axis_words(picture.x, units, *seen, step),
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
    drawn: Drawn,
    box: tuple[float, float],
    seen: tuple[float, float],
) -> tuple[Scale, Ticks]:
    """The scale and the values up the axis."""
    low, high = reach(panel, drawn, seen)
    scale = Scale(low, high, box[1], box[0])
    step = step_along(panel.y, units, TICK_PX / abs(scale.px_each))
    return scale, ticks_along(panel.y, units, low, high, step)


def _names_px(picture: Picture, units: UnitSystem, width: float) -> float:
    """Enough room at the right for the longest name, or for what times are counted in."""
    words = [axis_words(picture.x, units, *picture.span, 1.0)] if picture.x.is_time else []
    for panel in picture.panels:
        words += [one.name for one in panel.traces] + [one.name for one in panel.points]
        words += [band.word for band in panel.bands]
    longest = max(map(text_width, words), default=0.0) + LEADER_PX + 4
    return min(max(longest, NAMES_PX[0]), NAMES_PX[1], 0.3 * width)


def _name_room(boxes: Sequence[tuple[float, float]], at: int) -> tuple[float, float]:
    """The names of a panel may stand beside half of the captions above it and below it."""
    top, foot = boxes[at]
    half = CAPTION_PX / 2
    return top - (half if at else 0), foot + (half if at + 1 < len(boxes) else 0)


def _placed(
    ends: Iterable[EndName], y: Scale, room: tuple[float, float], theme: Theme
) -> list[PlacedName]:
    """The names side by side in their room, as near to their lines' ends as can be."""
    top, foot = room
    names = [
        (min(max(y.px(one.value), y.end), y.start), one.text, line_color(one, theme))
        for one in ends
    ]
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

"""What stands around a plot: values on its left, times below, the lines' names on its right."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QPainter
from PySide6.QtWidgets import QGraphicsItem, QGraphicsWidget, QStyleOptionGraphicsItem, QWidget

from workbench.gui.theme import SMALL_PX, Theme, font

MINUTE_S, HOUR_S = 60, 3600
LEFT_PX, BOTTOM_PX, CAPTION_PX, LINE_PX, LEADER_PX = 52, 22, 20, 17, 14
"""Room for the values, the times and a caption; height of a line of text; length of a leader."""
TICK_PX, TIME_PX = 30, 72
"""Distance between two values up the axis, or along it, at least."""
GRID_ALPHA = 40
WHOLE = (1, 2, 5)
CLOCK_S = (1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200)


def text_width(text: str) -> float:
    """Width of a text in the plots' font, in pixels."""
    return QFontMetricsF(font(SMALL_PX)).horizontalAdvance(text)


def nice_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is no less than `least` > 0."""
    power = 10.0 ** math.floor(math.log10(least))
    return next((m * power for m in WHOLE if m * power >= least * (1 - 1e-9)), 10 * power)


def number_text(value: float, step: float) -> str:
    """A value in the decimals its step needs, with a true minus."""
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")


def clock_text(seconds: float, step: float, longest_s: float) -> str:
    """A time on the axis: seconds, minutes and seconds, or hours and minutes."""
    if longest_s <= 2 * MINUTE_S:
        return number_text(seconds, step)
    sign, whole = ("−" if round(seconds) < 0 else ""), abs(round(seconds))
    if longest_s < 2 * HOUR_S:
        return f"{sign}{whole // MINUTE_S}:{whole % MINUTE_S:02d}"
    hours = f"{sign}{whole // HOUR_S}:{whole % HOUR_S // MINUTE_S:02d}"
    return f"{hours}:{whole % MINUTE_S:02d}" if step % MINUTE_S else hours


def clock_unit(longest_s: float, step: float = MINUTE_S) -> str:
    """What `clock_text` counts in."""
    if longest_s <= 2 * MINUTE_S:
        return "seconds"
    if longest_s < 2 * HOUR_S:
        return "min:s"
    return "h:min:s" if step % MINUTE_S else "h:min"


class Values(pg.AxisItem):  # type: ignore[misc]
    """An axis of numbers, no closer than can be read."""

    def __init__(self, side: str) -> None:
        self._beyond = (0.0, 0.0, 0.0, 0.0)
        super().__init__(side, maxTickLength=0)
        self.setStyle(tickFont=font(SMALL_PX), hideOverlappingLabels=False, maxTextLevel=0)
        self.enableAutoSIPrefix(False)
        self.step = 1.0
        upright = side == "left"
        self._apart_px = TICK_PX if upright else TIME_PX
        half = LINE_PX / 2 if upright else LEFT_PX / 2
        self._beyond = (0, -half, 0, half) if upright else (-half, 0, half, 0)
        if side == "left":
            self.setWidth(LEFT_PX)
        else:
            self.setHeight(BOTTOM_PX)

    def boundingRect(self) -> QRectF:  # noqa: N802
        """With room for the half of a text that stands beyond the axis's end."""
        return QRectF(super().boundingRect()).adjusted(*self._beyond)

    def dress(self, theme: Theme) -> None:
        """Take a theme's colours; no line along the axis, only a light grid."""
        self.setPen(pg.mkPen(None))
        self.setTickPen(pg.mkPen(theme.soft_ink))
        self.setTextPen(pg.mkPen(theme.soft_ink))
        self.setStyle(tickAlpha=GRID_ALPHA)

    def tickValues(  # noqa: N802
        self, minVal: float, maxVal: float, size: float
    ) -> list[tuple[float, list[float]]]:
        least = (maxVal - minVal) * self._apart_px / max(size, 1)
        if not (math.isfinite(least) and least > 0):
            return []
        self.step = self._step(least)
        numbers = np.arange(math.ceil(minVal / self.step), math.floor(maxVal / self.step) + 1)
        return [(self.step, (numbers * self.step).tolist())]

    def tickStrings(  # noqa: N802
        self, values: Sequence[float], scale: float, spacing: float
    ) -> list[str]:
        return [number_text(value, spacing) for value in values]

    def _step(self, least: float) -> float:
        return nice_step(least)


class Times(Values):
    """An axis of seconds; minutes and hours where there are many. `ago` counts backwards."""

    def __init__(self, side: str, *, ago: bool = False) -> None:
        super().__init__(side)
        self.ago = ago

    def tickStrings(  # noqa: N802
        self, values: Sequence[float], scale: float, spacing: float
    ) -> list[str]:
        sign = -1 if self.ago else 1
        return [clock_text(sign * value, spacing, self.longest_s) for value in values]

    @property
    def longest_s(self) -> float:
        """The time farthest from 0 that is seen."""
        low, high = self.range
        return max(abs(float(low)), abs(float(high)))

    def _step(self, least: float) -> float:
        if least <= 1:
            return nice_step(least)
        return next((step for step in CLOCK_S if step >= least), CLOCK_S[-1] * nice_step(least))


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


class Words(QGraphicsWidget):
    """A line of text that gives way where room is short."""

    def __init__(
        self, align: Qt.AlignmentFlag = Qt.AlignmentFlag.AlignLeft, indent_px: float = 0.0
    ) -> None:
        super().__init__()
        self._align, self._indent_px, self._ink = align, indent_px, QColor()
        self.text = ""

    def dress(self, theme: Theme) -> None:
        self._ink = QColor(theme.soft_ink)
        self.update()

    def say(self, text: str) -> None:
        if text != self.text:
            self.text = text
            self.update()

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None
    ) -> None:
        painter.setFont(font(SMALL_PX))
        painter.setPen(self._ink)
        room = self.size().width() - self._indent_px
        text = QFontMetricsF(painter.font()).elidedText(
            self.text, Qt.TextElideMode.ElideRight, room
        )
        box = QRectF(self._indent_px, 0, room, self.size().height())
        painter.drawText(box, int(self._align | Qt.AlignmentFlag.AlignVCenter), text)


class EndNames(QGraphicsWidget):
    """The lines' names right of a panel, each as near to its line's end as can be."""

    def __init__(self) -> None:
        super().__init__()
        self.setFlag(QGraphicsItem.GraphicsItemFlag.ItemClipsToShape, False)
        self._names: list[tuple[float, str, QColor]] = []
        self._ink = QColor()

    def dress(self, theme: Theme) -> None:
        self._ink = QColor(theme.soft_ink)

    def show_names(self, names: Sequence[tuple[float, str, QColor]]) -> None:
        """Where each line ends as a share of the panel's height from its top, name, colour."""
        self._names = sorted(names, key=lambda one: one[0])
        self.update()

    def placed(self) -> list[tuple[float, float, str, QColor]]:
        """Line's end, name's middle (pixels from the top), name and colour, as drawn."""
        height = self.size().height()
        ends = [
            (min(max(share, 0.0), 1.0) * height, name, color) for share, name, color in self._names
        ]
        names = _joined(ends, max(1, int(height // LINE_PX)), self._ink)
        places = spread([one[0] for one in names], height, LINE_PX)
        return [(y, at, name, color) for (y, name, color), at in zip(names, places, strict=True)]

    def paint(
        self, painter: QPainter, option: QStyleOptionGraphicsItem, widget: QWidget | None = None
    ) -> None:
        painter.setFont(font(SMALL_PX))
        metrics = QFontMetricsF(font(SMALL_PX))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        room = self.size().width() - LEADER_PX - 2
        for end, at, name, color in self.placed():
            painter.setPen(pg.mkPen(color, width=1))
            painter.drawLine(QPointF(1, end), QPointF(LEADER_PX - 3, at))
            box = QRectF(LEADER_PX, at - LINE_PX / 2, room, LINE_PX)
            text = metrics.elidedText(name, Qt.TextElideMode.ElideRight, room)
            painter.drawText(box, int(Qt.AlignmentFlag.AlignVCenter), text)


def _joined(
    names: Sequence[tuple[float, str, QColor]], most: int, ink: QColor
) -> list[tuple[float, str, QColor]]:
    """At most so many names: those whose lines end closest to each other share a line of text."""
    kept = list(names)
    while len(kept) > most:
        at = min(range(len(kept) - 1), key=lambda i: kept[i + 1][0] - kept[i][0])
        (low, name, color), (high, other, other_color) = kept[at : at + 2]
        shared = color if color == other_color else ink
        kept[at : at + 2] = [((low + high) / 2, f"{other}, {name}", shared)]
    return kept

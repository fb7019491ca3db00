"""The pace strip: two tapes ruled like a carpenter's, one moved by the belt, one by the ground.

What stands under the pointer is how far each has come. In step, marks of one number stand in
line; a slow belt's marks fall back, and the bar between the tapes, from the pointer to the
belt's mark that the ground has reached, is the separation to scale. A lost signal stops its
tape dead and greys it.
"""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QBrush, QColor, QFontMetrics, QPainter, QPaintEvent, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.gui.parts.basics import Painted
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, fitted_font, grown
from workbench.words.language import _

SHOWN_M = 6.0
"""Metres of tape across the widget."""

NUMBER_EVERY = (1, 2, 5, 10, 20, 50, 100)
LEAST_TENTH_PX = 4.0
LARGE_PX = 8 * GRID_PX
"""A tape higher than this is drawn with thicker marks, to be read from further off."""
NUMBERS = 0.54
"""Share of a tape's height kept for the numbers."""
HATCH = Qt.BrushStyle.BDiagPattern
"""Over a tape whose signal is doubtful."""
TINT = 0.11
"""Share of a tape's colour in its ground."""


def place_px(mark_m: float, under_pointer_m: float, width_px: float) -> float:
    """Where a mark stands: in the middle when the tape has come just so far, later left of it."""
    return width_px / 2 + (mark_m - under_pointer_m) * width_px / SHOWN_M


class PaceStrip(Painted):
    """Shows how far belt and ground have come; small in a page's corner or large alone."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self._mark_m, self._mark = 1.0, "m"
        self._belt_m = self._ground_m = 0.0
        self._belt_lost = self._ground_lost = self._counts = True
        self._doubts = ("", "")
        self._described = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumHeight(9 * GRID_PX)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName(_("Pace strip: belt tape above ground tape"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(640, 11 * GRID_PX)

    def set_marks(self, mark_m: float, unit: str) -> None:
        """One mark every `mark_m` metres, named in `unit`."""
        if (mark_m, unit) != (self._mark_m, self._mark):
            self._mark_m, self._mark = mark_m, unit
            self._describe()

    def show_distances(
        self,
        belt_m: float,
        ground_m: float,
        *,
        belt_lost: bool,
        ground_lost: bool,
        counts: bool = True,
        doubts: tuple[str, str] = ("", ""),
    ) -> None:
        """How far each has come, m. A lost one keeps its place.

        Without `counts` nothing is said of how far they are apart: no pass counts yet; nor
        where one is hatched for what `doubts` says against the belt's or the ground's.
        """
        before = self._shown
        if not belt_lost and math.isfinite(belt_m):
            self._belt_m = belt_m
        if not ground_lost and math.isfinite(ground_m):
            self._ground_m = ground_m
        self._belt_lost, self._ground_lost, self._counts = belt_lost, ground_lost, counts
        self._doubts = doubts
        if before != self._shown:
            self._describe()

    def _describe(self) -> None:
        words = self.words()
        if words != self._described:
            self._described = words
            self.setAccessibleDescription(words)
        self.update()

    @property
    def _shown(self) -> tuple[object, ...]:
        places = (self._belt_m, self._ground_m)
        return (*places, self._belt_lost, self._ground_lost, self._counts, self._doubts)

    @property
    def _compares(self) -> bool:
        """Whether it is to be seen how far belt and ground are apart."""
        lost = self._belt_lost or self._ground_lost
        return self._counts and not lost and not any(self._doubts)

    def words(self) -> str:
        """What the strip shows, in words."""
        lost = [
            name
            for name, gone in (("belt", self._belt_lost), ("ground", self._ground_lost))
            if gone
        ]
        if lost:
            return _("no signal from {lost}").format(lost=" and ".join(lost))
        for name, doubt in zip(("belt", "ground"), self._doubts, strict=True):
            if doubt:
                return f"{name} {doubt}"
        if not self._counts:
            return _("counts once both are steady")
        apart = (self._belt_m - self._ground_m) / self._mark_m
        digits = 1 if abs(apart) < 99.95 else 0
        size = f"{abs(apart):.{digits}f}"
        if not float(size):
            return _("in step")
        return f"belt {size} {self._mark} {'ahead' if apart > 0 else 'behind'}"

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.fillRect(self.rect(), self._theme.color("ground"))
        gap = min(max(0.18 * self.height(), 2.5 * GRID_PX, 1.2 * grown(SMALL_PX)), 7 * GRID_PX)
        height = (self.height() - round(gap)) // 2
        gap = self.height() - 2 * height
        upper = QRectF(0, 0, self.width(), height)
        lower = QRectF(0, height + gap, self.width(), height)
        self._tape(painter, upper, self._belt_m, belt=True)
        self._tape(painter, lower, self._ground_m, belt=False)
        self._shift(painter, QRectF(0, height, self.width(), gap))
        # The pointer stops short of the numbers, which pass behind it unhurt.
        reach = (1 - NUMBERS) * height
        wide = 2 if height < LARGE_PX else 4
        pointer = QRectF(self.width() / 2 - wide / 2, height - reach, wide, gap + 2 * reach)
        painter.fillRect(pointer, self._theme.color("ink"))
        painter.end()

    def _tape(self, painter: QPainter, box: QRectF, at_m: float, *, belt: bool) -> None:
        lost = self._belt_lost if belt else self._ground_lost
        color_name = "no_data" if lost else ("belt" if belt else "earth")
        color = self._theme.color(color_name)
        painter.fillRect(box, self._tint(color_name))
        if self._doubts[0 if belt else 1] and not lost:
            painter.fillRect(box, QBrush(self._theme.color("attention"), HATCH))
        self._rule(painter, box, at_m, color, belt=belt)
        self._plate(painter, box, "Belt" if belt else "Ground", color_name)

    def _tint(self, color_name: str) -> QColor:
        """A tape's ground: its colour thinned with the page's; opaque, for that paints faster."""
        ground, color = self._theme.color("ground"), self._theme.color(color_name)
        return QColor.fromRgbF(
            ground.redF() + TINT * (color.redF() - ground.redF()),
            ground.greenF() + TINT * (color.greenF() - ground.greenF()),
            ground.blueF() + TINT * (color.blueF() - ground.blueF()),
        )

    def _plate(self, painter: QPainter, box: QRectF, text: str, color_name: str) -> None:
        """The tape's name on its left end, on a ground of its own; both of one width."""
        size = min(max(round(0.26 * box.height()), grown(SMALL_PX)), 5 * GRID_PX)
        painter.setFont(fitted_font(size, bold=True))
        wide = QFontMetrics(painter.font()).horizontalAdvance("Ground") + 2 * GRID_PX
        plate = QRectF(box.left(), box.top(), wide, box.height())
        painter.fillRect(plate, self._tint(color_name))
        painter.setPen(self._theme.color(color_name))
        painter.drawText(plate, Qt.AlignmentFlag.AlignCenter, text)

    def _rule(
        self, painter: QPainter, box: QRectF, at_m: float, color: QColor, *, belt: bool
    ) -> None:
        """Marks from 0 on: tenths, halves, whole units; some of the whole ones numbered."""
        part = 10 if self._mark_m * self.width() / SHOWN_M >= 10 * LEAST_TENTH_PX else 2
        step_m = self._mark_m / part
        edge = round(box.bottom() if belt else box.top())
        first = max(0, math.ceil((at_m - SHOWN_M / 2) / step_m))
        last = math.floor((at_m + SHOWN_M / 2) / step_m)
        large = box.height() > LARGE_PX
        # Whole pixels: a tape at working speed moves ten a frame, and smoothed edges of two
        # hundred marks cost more than all the rest.
        for index in range(first, last + 1):
            whole, half = index % part == 0, 2 * index % part == 0
            length = round(box.height() * (0.46 if whole else 0.3 if half else 0.18))
            wide = (5 if large else 3) if whole else (2 if large else 1)
            x = round(place_px(index * step_m, at_m, self.width()) - wide / 2)
            painter.fillRect(x, edge - (length if belt else 0), wide, length, color)
        room = QRectF(0, box.top(), 0, NUMBERS * box.height())
        if not belt:
            room.moveTop(box.bottom() - room.height())
        painter.setPen(color)
        self._numbers(painter, room, at_m, (math.ceil(first / part), last // part))

    def _numbers(
        self, painter: QPainter, room: QRectF, at_m: float, marks: tuple[int, int]
    ) -> None:
        """Numbers over the marks, as many as find room side by side."""
        painter.setFont(
            fitted_font(min(max(round(0.9 * room.height()), SMALL_PX), 8 * GRID_PX), bold=True)
        )
        wide = 1.4 * QFontMetrics(painter.font()).horizontalAdvance(str(marks[1]))
        mark_px = self._mark_m * self.width() / SHOWN_M
        every = next((n for n in NUMBER_EVERY if n * mark_px >= wide), NUMBER_EVERY[-1])
        for mark in range(marks[0] + -marks[0] % every, marks[1] + 1, every):
            room.setWidth(wide)
            room.moveLeft(place_px(mark * self._mark_m, at_m, self.width()) - wide / 2)
            painter.drawText(room, Qt.AlignmentFlag.AlignCenter, str(mark))

    def _shift(self, painter: QPainter, box: QRectF) -> None:
        """The separation between the tapes: a bar to scale, and its words on the other side."""
        words, middle = self.words(), self.width() / 2
        apart_px = (self._ground_m - self._belt_m) * self.width() / SHOWN_M
        ahead = self._compares and apart_px < 0
        if self._compares:
            inner = box.adjusted(0, 0.2 * box.height(), 0, -0.2 * box.height())
            end = min(max(middle + apart_px, 0.0), float(self.width()))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self._theme.color("belt"))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.drawPolygon(_arrow(inner, middle, end))
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        tall = min(max(round(0.72 * box.height()), grown(SMALL_PX)), grown(28))
        painter.setFont(fitted_font(tall, bold=True))
        wide = painter.fontMetrics().horizontalAdvance(words)
        if wide > middle - GRID_PX:
            painter.setFont(fitted_font(int(tall * (middle - GRID_PX) / wide), bold=True))
        painter.setPen(self._theme.color("ink" if self._compares else "no_data"))
        side = box.adjusted(0, 0, -middle - GRID_PX, 0)
        if ahead:
            side = box.adjusted(middle + GRID_PX, 0, 0, 0)
        across = Qt.AlignmentFlag.AlignLeft if ahead else Qt.AlignmentFlag.AlignRight
        painter.drawText(side, across | Qt.AlignmentFlag.AlignVCenter, words)


def _arrow(box: QRectF, from_x: float, to_x: float) -> QPolygonF:
    """A bar with a point at its end."""
    point = math.copysign(min(0.6 * box.height(), abs(to_x - from_x)), to_x - from_x)
    neck = to_x - point
    return QPolygonF(
        [
            QPointF(from_x, box.top()),
            QPointF(neck, box.top()),
            QPointF(to_x, box.center().y()),
            QPointF(neck, box.bottom()),
            QPointF(from_x, box.bottom()),
        ]
    )

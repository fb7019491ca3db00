"""Single edges: the time from tooth to tooth as bars, a tooth a place, over the last turns."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.gui.parts.basics import draw_focus
from workbench.gui.parts.drawn_text import Side, draw_text
from workbench.gui.plot.axes import nice_step
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.models.plot.table import Column
from workbench.models.signals.channel_health import NO_EDGES, EdgeLook

LEFT, RIGHT, TOP, BOTTOM = 52, 80, 64, 40
OFF = 0.06
"""Teeth this much off the median time have their share written; chosen."""
USUAL_TOP, HIGH_TOP = 1.5, 2.6
"""The axis reaches so many medians; higher where an interval is more than the first."""


class EdgePlot(QWidget):
    """Draws an `EdgeLook`; hover or the arrow keys read a tooth out."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._look, self._teeth, self._shown = NO_EDGES, 0, 0
        self._picked: int | None = None
        self.empty = "The time from tooth to tooth stands here once pulses come."
        self.setMinimumHeight(18 * GRID_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Time from tooth to tooth")

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(640, 360)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_look(self, look: EdgeLook, teeth: int, shown: int) -> None:
        """The last `shown` teeth; `teeth` a turn numbers them, 0 where it is not known."""
        self._look, self._teeth, self._shown = look, teeth, shown
        self.setAccessibleDescription(self.reading() or f"{look.tooth.size} teeth")
        self.update()

    def seen(self) -> tuple[float, float]:
        """The running tooth numbers shown."""
        return float(self._first), float(self._first + self._shown)

    def columns(self) -> Sequence[Column]:
        """What is saved as a table."""
        look, x = self._look, self._look.tooth.astype(np.float64)
        head = "running tooth"
        number = np.array([self._number(int(tooth)) for tooth in look.tooth], dtype=np.float64)
        return [
            Column(head, x, "tooth of the turn", number),
            Column(head, x, "time from the pulse before, ms", look.interval_s, 1000.0),
            Column(head, x, "missed before it", look.missed.astype(np.float64)),
        ]

    def reading(self) -> str:
        """The tooth under the pointer in words, '' where there is none."""
        at = self._at()
        if at is None:
            return ""
        tooth, interval_s = int(self._look.tooth[at]), float(self._look.interval_s[at])
        missed = int(self._look.missed[at])
        words = f"{self._word} {self._number(tooth)}: {1000 * interval_s:.2f} ms"
        if missed:
            return f"{words} since the pulse before, {missed} missed in it"
        return f"{words}, {_percent(float(self._look.off_rel[at]))} against the median"

    # ---- the pointer

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        width = self._area().width()
        self._pick(self._first + int((event.position().x() - LEFT) / max(width, 1) * self._shown))

    def leaveEvent(self, event: object) -> None:  # noqa: N802
        self._picked = None
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        step = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(Qt.Key(event.key()))
        if step is None or not self._look.tooth.size:
            super().keyPressEvent(event)
            return
        at = self._at()
        start = self._look.tooth.size - 1 if at is None else at + step
        self._pick(int(self._look.tooth[max(0, min(start, self._look.tooth.size - 1))]))

    def _pick(self, tooth: int) -> None:
        # The place from the right stays when new teeth push the bars to the left.
        self._picked = tooth - self._first
        self.setAccessibleDescription(self.reading())
        self.update()

    def _at(self) -> int | None:
        """The interval that the pointer is on."""
        if self._picked is None or not self._look.tooth.size:
            return None
        at = int(np.searchsorted(self._look.tooth, self._first + self._picked))
        return at if at < self._look.tooth.size else None

    # ---- places

    @property
    def _first(self) -> int:
        """Running number of the leftmost place."""
        return int(self._look.tooth[-1]) - self._shown + 1 if self._look.tooth.size else 0

    @property
    def _word(self) -> str:
        return "tooth" if self._teeth else "pulse"

    def _number(self, tooth: int) -> int:
        return tooth % self._teeth + 1 if self._teeth else tooth + 1

    def _area(self) -> QRectF:
        return QRectF(
            LEFT, TOP, max(self.width() - LEFT - RIGHT, 1), max(self.height() - TOP - BOTTOM, 1)
        )

    def _x(self, tooth: float) -> float:
        """The left edge of a tooth's place."""
        return LEFT + (tooth - self._first) * self._area().width() / self._shown

    def _y(self, interval_s: float) -> float:
        area = self._area()
        return area.bottom() - min(interval_s / self._top_s(), 1.0) * area.height()

    def _top_s(self) -> float:
        look = self._look
        high = float(look.interval_s.max()) > 0.93 * USUAL_TOP * look.median_s
        return (HIGH_TOP if high else USUAL_TOP) * look.median_s

    # ---- painting

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        self.paint_picture(painter)
        draw_focus(painter, self, self._theme)
        painter.end()

    def paint_picture(self, painter: QPainter) -> None:
        """Draw what is seen, on the screen or for a file."""
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(font(SMALL_PX))
        if self._look.tooth.size:
            self._axes(painter)
            self._bars(painter)
            self._median(painter)
            self._missed(painter)
            self._extra(painter)
        else:
            painter.setPen(self._theme.color("soft_ink"))
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(self.rect(), flags, self.empty)

    def _axes(self, painter: QPainter) -> None:
        area, top_ms = self._area(), 1000 * self._top_s()
        step = nice_step(top_ms / max(2, min(5, area.height() / 40)))
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        for index in range(int(top_ms / step) + 1):
            y = self._y(index * step / 1000)
            painter.setPen(self._theme.color("line"))
            painter.drawLine(QPointF(area.left(), y), QPointF(area.right(), y))
            self._text(painter, QRectF(0, y - 10, LEFT - 6, 20), f"{index * step:.{digits}f}", "R")
        self._text(painter, QRectF(4, 4, 320, 20), "ms from pulse to pulse", "L")
        reading = self.reading()
        box = QRectF(200, 4, self.width() - 200 - GRID_PX, 20)
        self._text(painter, box, reading, "R", "ink")
        every = next(n for n in (1, 2, 5, 10, 20, 50, 100) if n * area.width() / self._shown >= 22)
        for tooth in range(self._first, self._first + self._shown):
            number = self._number(tooth)
            x = self._x(tooth)
            if self._teeth and number == 1:
                painter.setPen(QPen(self._theme.color("no_data"), 1, Qt.PenStyle.DashLine))
                painter.drawLine(QPointF(x, TOP - 2), QPointF(x, area.bottom() + 4))
            far = number > 0.75 * every + 1 and (number + 0.75 * every < (self._teeth or math.inf))
            if number == 1 or (number % every == 0 and far):
                middle = x + 0.5 * area.width() / self._shown
                box = QRectF(middle - 24, area.bottom() + 2, 48, 18)
                self._text(painter, box, str(number), "C")
        foot = QRectF(LEFT, self.height() - 20, area.width(), 18)
        words = "tooth, counted from the first that was seen" if self._teeth else "pulse"
        self._text(painter, foot, words, "C")

    def _bars(self, painter: QPainter) -> None:
        area, look, picked = self._area(), self._look, self._at()
        place = area.width() / self._shown
        painter.setPen(Qt.PenStyle.NoPen)
        for at, (tooth, interval_s) in enumerate(zip(look.tooth, look.interval_s, strict=True)):
            left = self._x(float(tooth)) + 0.12 * place
            top = self._y(float(interval_s))
            bar = QRectF(left, top, 0.76 * place, area.bottom() - top)
            color = "attention" if look.missed[at] else "belt"
            painter.setBrush(self._theme.color(color, 255 if at == picked else 190))
            painter.drawRect(bar)
        self._shares(painter, place)

    def _shares(self, painter: QPainter, place: float) -> None:
        """How far off the most displaced teeth are, the farthest first, where there is room."""
        taken: list[float] = []
        off = np.where(self._look.missed > 0, 0.0, self._look.off_rel)
        for at in np.argsort(-np.abs(off))[:8]:
            if abs(off[at]) < OFF:
                break
            x = self._x(float(self._look.tooth[at])) + 0.5 * place
            if all(abs(x - other) > 46 for other in taken):
                taken.append(x)
                top = self._y(float(self._look.interval_s[at]))
                self._text(painter, QRectF(x - 24, top - 19, 48, 18), _percent(off[at]), "C", "ink")

    def _median(self, painter: QPainter) -> None:
        area, y = self._area(), self._y(self._look.median_s)
        painter.setPen(QPen(self._theme.color("ink"), 1.5, Qt.PenStyle.DashLine))
        painter.drawLine(QPointF(area.left(), y), QPointF(area.right(), y))
        self._text(painter, QRectF(area.right() + 6, y - 20, RIGHT - 6, 20), "median", "L", "ink")
        median_ms = 1000 * self._look.median_s
        words = f"{median_ms:.{max(0, 2 - math.floor(math.log10(median_ms)))}f} ms"
        self._text(painter, QRectF(area.right() + 6, y, RIGHT - 6, 20), words, "L", "ink")

    def _missed(self, painter: QPainter) -> None:
        place, word_ends = self._area().width() / self._shown, -math.inf
        for tooth, missed in zip(
            self._look.tooth.tolist(), self._look.missed.tolist(), strict=True
        ):
            if not missed:
                continue
            places = [self._x(tooth - back) + 0.5 * place for back in range(missed, 0, -1)]
            for x in places:
                triangle = [QPointF(x - 5, TOP - 5), QPointF(x + 5, TOP - 5), QPointF(x, TOP - 15)]
                self._shape(painter, triangle, "attention")
                painter.setPen(QPen(self._theme.color("attention"), 1.5, Qt.PenStyle.DotLine))
                painter.drawLine(QPointF(x, TOP - 3), QPointF(x, self._area().bottom()))
            middle = 0.5 * (places[0] + places[-1])
            if middle - 38 > word_ends:
                word = f"{missed} missed" if missed > 1 else "missed"
                self._text(painter, QRectF(middle - 38, TOP - 36, 76, 20), word, "C", "attention")
                word_ends = middle + 38

    def _extra(self, painter: QPainter) -> None:
        place, word_ends = self._area().width() / self._shown, -math.inf
        for at in self._look.extra_at.tolist():
            # A tooth stands at the end of its interval, that is of its place.
            x, y = self._x(at) + place, self._area().bottom() - 12
            if not LEFT <= x <= self._area().right():
                continue
            diamond = [QPointF(x, y - 8), QPointF(x + 6, y), QPointF(x, y + 8), QPointF(x - 6, y)]
            self._shape(painter, diamond, "bad")
            if x > word_ends:
                box = QRectF(x + 9, y - 10, 42, 20)
                painter.fillRect(box, self._theme.color("ground", 225))
                self._text(painter, box, "extra", "C", "bad")
                word_ends = x + 52

    def _shape(self, painter: QPainter, corners: list[QPointF], color: str) -> None:
        painter.setPen(QPen(self._theme.color("ground"), 1.5))
        painter.setBrush(self._theme.color(color))
        painter.drawPolygon(QPolygonF(corners))

    def _text(
        self, painter: QPainter, box: QRectF, text: str, side: Side, color: str = "soft_ink"
    ) -> None:
        draw_text(painter, box, text, side, self._theme.color(color))


def _percent(share: float) -> str:
    """'+15 %', '−3 %', '0 %'."""
    text = f"{100 * share:+.0f} %"
    return "0 %" if text in ("+0 %", "-0 %") else text.replace("-", "−")

"""The first page: the picture that moves, what runs, and three plain choices."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPaintEvent, QPen, QPolygonF, QResizeEvent
from PySide6.QtWidgets import QPushButton, QSizePolicy, QWidget

from workbench.base.units import FOOT_M
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import TALL_PAGE, column_of, line_of
from workbench.gui.parts.pace_strip import SHOWN_M, PaceStrip
from workbench.gui.theme import (
    GRID_PX,
    SMALL_PX,
    TEXT_PX,
    TITLE_PX,
    Theme,
    fitted_font,
    font,
    grown,
)
from workbench.models.bench import Bench
from workbench.models.pace import PaceModel, doubts_of
from workbench.models.passes.tapes import SmoothTapes
from workbench.models.start.welcome import pace_sentence, settled, welcome
from workbench.words.language import N_

SKETCH_WIDE, SKETCH_HIGH = 240.0, 100.0
"""The sketches are drawn in this frame, and scaled."""

LARGE_PX = 420
"""A card wider than this has room for larger words."""

Sketch = Callable[[QPainter, Theme], None]


class ChoiceCard(QPushButton):
    """A button as large as a card; `text()` is its heading."""

    def __init__(
        self, heading: str, sentence: str, sketch: Sketch, do: Callable[[], object], theme: Theme
    ) -> None:
        super().__init__(heading)
        self._sentence, self._sketch, self._theme = sentence, sketch, theme
        self.setAutoDefault(True)
        self.setAccessibleName(heading)
        self.setAccessibleDescription(sentence)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(27 * GRID_PX, 20 * GRID_PX)
        self.clicked.connect(lambda: do())

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(30 * GRID_PX, 23 * GRID_PX)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._frame(painter)
        large = self.width() > LARGE_PX
        heading, words = (TITLE_PX, TEXT_PX) if large else (TEXT_PX, SMALL_PX)
        pad = (3 if large else 2) * GRID_PX
        inside = QRectF(self.rect()).adjusted(pad, pad, -pad, -pad)
        painter.setFont(font(words))
        lines = painter.fontMetrics()
        wrap = int(Qt.TextFlag.TextWordWrap)
        said = lines.boundingRect(inside.toRect(), wrap, self._sentence).height()
        head = grown(1.4 * heading)
        picture = QRectF(inside)
        picture.setHeight(max(0.0, inside.height() - said - head - GRID_PX))
        self._picture(painter, picture)
        below = inside.adjusted(0, picture.height() + GRID_PX, 0, 0)
        painter.setPen(self._theme.color("ink"))
        painter.setFont(font(heading, bold=True))
        painter.drawText(below, Qt.AlignmentFlag.AlignLeft, self.text())
        painter.setPen(self._theme.color("soft_ink"))
        painter.setFont(font(words))
        painter.drawText(below.adjusted(0, head, 0, 0), wrap, self._sentence)
        painter.end()

    def _frame(self, painter: QPainter) -> None:
        chosen = self.hasFocus()
        lit = self.underMouse() or self.isDown()
        edge = "belt" if chosen else "ink" if lit else "line"
        wide = 3 if chosen else 1
        painter.setPen(QPen(self._theme.color(edge), wide))
        painter.setBrush(self._theme.color("ground" if self.isDown() else "raised"))
        half = wide / 2
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(half, half, -half, -half), 8, 8)

    def _picture(self, painter: QPainter, room: QRectF) -> None:
        scale = min(room.width() / SKETCH_WIDE, room.height() / SKETCH_HIGH)
        painter.save()
        painter.translate(room.left(), room.top() + 0.5 * (room.height() - scale * SKETCH_HIGH))
        painter.scale(scale, scale)
        self._sketch(painter, self._theme)
        painter.restore()


def sketch_readout(painter: QPainter, theme: Theme) -> None:
    """A readout, the stop watch that times it, and the belt's mark."""
    _pen(painter, theme, "ink")
    painter.drawRoundedRect(QRectF(6, 12, 100, 62), 8, 8)
    painter.drawRect(QRectF(18, 24, 76, 30))
    painter.setFont(fitted_font(26, bold=True))  # the sketch is scaled as a whole
    painter.drawText(QRectF(18, 24, 76, 30), Qt.AlignmentFlag.AlignCenter, "2.50")
    for x in (26, 56, 86):
        painter.drawEllipse(QPointF(x, 64), 3, 3)
    painter.drawEllipse(QPointF(172, 52), 34, 34)
    painter.drawLine(QPointF(172, 18), QPointF(172, 6))
    painter.drawLine(QPointF(164, 6), QPointF(180, 6))
    painter.drawLine(QPointF(198, 26), QPointF(204, 20))
    for step in range(12):
        turn = math.radians(30 * step)
        out = QPointF(math.sin(turn), -math.cos(turn))
        painter.drawLine(QPointF(172, 52) + out * 28, QPointF(172, 52) + out * 31)
    _pen(painter, theme, "belt", 4)
    painter.drawLine(QPointF(172, 52), QPointF(190, 34))
    painter.drawLine(QPointF(6, 92), QPointF(236, 92))
    painter.setBrush(theme.color("belt"))
    painter.drawPolygon(QPolygonF([QPointF(48, 90), QPointF(64, 90), QPointF(56, 80)]))


def sketch_pass(painter: QPainter, theme: Theme) -> None:
    """The conveyor that climbs, the wheel that rolls, the ground both should agree with."""
    low, high, radius = QPointF(50, 70), QPointF(188, 26), 14.0
    along = high - low
    length = math.hypot(along.x(), along.y())
    unit = along / length
    aside = QPointF(unit.y(), -unit.x()) * radius
    _pen(painter, theme, "ink")
    for end in (low, high):
        painter.drawEllipse(end, radius - 4, radius - 4)
        painter.drawEllipse(end, 2, 2)
    _pen(painter, theme, "belt", 4)
    for side in (aside, -aside):
        painter.drawLine(low + side, high + side)
    tilt = math.degrees(math.atan2(-along.y(), along.x()))
    for end, start in ((low, 90 + tilt), (high, -90 + tilt)):
        box = QRectF(end.x() - radius, end.y() - radius, 2 * radius, 2 * radius)
        painter.drawArc(box, round(16 * start), 16 * 180)
    painter.setBrush(theme.color("belt"))
    for rod in range(1, 8):
        painter.drawEllipse(low + aside + unit * (rod * length / 8), 2.5, 2.5)
    _pen(painter, theme, "ink")
    painter.drawEllipse(QPointF(128, 76), 16, 16)
    painter.drawEllipse(QPointF(128, 76), 3, 3)
    _pen(painter, theme, "earth", 4)
    painter.drawLine(QPointF(6, 94), QPointF(236, 94))
    _arrow(painter, theme, QPointF(206, 80), QPointF(234, 80), "earth")
    _arrow(painter, theme, QPointF(206, 16), QPointF(232, 7), "belt")


def sketch_gap(painter: QPainter, theme: Theme) -> None:
    """A pickup before a toothed wheel, and the gap between them."""
    _pen(painter, theme, "ink")
    centre, root, tip = QPointF(92, 118), 84.0, 96.0
    wheel = QPainterPath()
    for tooth in range(-11, 6):
        for at, radius in ((-3.2, root), (-2.2, tip), (2.2, tip), (3.2, root)):
            turn = math.radians(10 * tooth + at + 48)
            point = centre + QPointF(math.sin(turn), -math.cos(turn)) * radius
            if wheel.elementCount():
                wheel.lineTo(point)
            else:
                wheel.moveTo(point)
    painter.setClipRect(QRectF(0, 0, SKETCH_WIDE, SKETCH_HIGH))
    painter.drawPath(wheel)
    painter.drawEllipse(centre, 34, 34)
    painter.save()
    painter.translate(centre)
    painter.rotate(58 - 90)
    painter.drawRect(QRectF(tip + 12, -10, 40, 20))
    painter.drawRect(QRectF(tip + 52, -6, 14, 12))
    _pen(painter, theme, "in_band", 3)
    for x in (tip + 1, tip + 11):
        painter.drawLine(QPointF(x, -16), QPointF(x, 16))
    painter.restore()
    painter.setClipping(False)


def _pen(painter: QPainter, theme: Theme, color: str, wide: float = 2.5) -> None:
    cap, join = Qt.PenCapStyle.RoundCap, Qt.PenJoinStyle.RoundJoin
    painter.setPen(QPen(theme.color(color), wide, Qt.PenStyle.SolidLine, cap, join))
    painter.setBrush(Qt.BrushStyle.NoBrush)


def _arrow(painter: QPainter, theme: Theme, tail: QPointF, head: QPointF, color: str) -> None:
    _pen(painter, theme, color, 3)
    painter.drawLine(tail, head)
    back = tail - head
    unit = back / math.hypot(back.x(), back.y())
    for side in (1, -1):
        barb = QPointF(unit.x() - side * 0.6 * unit.y(), unit.y() + side * 0.6 * unit.x())
        painter.drawLine(head, head + barb * 8)


CHOICES: tuple[tuple[str, str, str, Sketch], ...] = (
    (
        "Calibrate a readout",
        "Calibrate",
        N_(
            "Takes a few steady runs and a mark on the belt; gives the right setting and a "
            "certificate."
        ),
        sketch_readout,
    ),
    (
        "Check a pass",
        "Pass",
        N_("Takes one test pass; gives how far the belt drifts from the ground, and why."),
        sketch_pass,
    ),
    (
        N_("Check pickup gaps"),
        "Gap",
        N_("Takes a feeler gauge or one belt run; gives the gap all round and the bad tooth."),
        sketch_gap,
    ),
)

ROOMY_PX = 1400

WORDS_EVERY_S = 0.5
"""Numbers that change 30 times a second cannot be read."""


class StartPage(QWidget):
    """Belt and ground, running, and what to do with them."""

    def __init__(self, bench: Bench, theme: Theme, go: Callable[[str], object]) -> None:
        super().__init__()
        self._bench, self._pace, self._tapes = bench, PaceModel(bench), SmoothTapes(SHOWN_M / 2)
        self._strip = PaceStrip(theme)
        self._strip.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._strip.setMaximumHeight(50 * GRID_PX)
        self._words, self._welcome = label("", "text"), label("")
        self._units, self._said_s = bench.settings.units, -math.inf
        self._cards = [
            ChoiceCard(heading, sentence, sketch, partial(go, place), theme)
            for heading, place, sentence, sketch in CHOICES
        ]
        column = column_of(
            label("Do belt and ground keep pace?", "title"),
            self._words,
            (self._strip, 5),
            on=self,
            gap=2 * GRID_PX,
            edges=TALL_PAGE,
        )
        own = line_of(
            (self._welcome, 1),
            0,
            button("Describe a machine", partial(go, "Machine")),
            button("Prepare the machine", partial(go, "Prepare")),
            button("Choose inputs", partial(go, "Signals")),
        )
        column.addLayout(own)
        line = line_of(*((card, 1) for card in self._cards))
        column.addLayout(line, 5)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        roomy = self.width() >= ROOMY_PX
        self._welcome.setStyleSheet(f"font-size: {grown(TEXT_PX if roomy else SMALL_PX)}px;")
        self._welcome.setMaximumWidth((120 if roomy else 84) * GRID_PX)

    def refresh(self) -> None:
        units, now_s = self._bench.settings.units, self._bench.clock()
        pace = self._pace.now()
        calm = settled(self._pace, now_s)
        counts = calm is not None
        tapes = self._tapes.follow(pace, now_s, counts=counts)
        self._strip.set_marks(1.0 if units.length == "m" else FOOT_M, units.length)
        self._strip.show_distances(
            tapes.belt_m,
            tapes.ground_m,
            belt_lost=tapes.belt_lost,
            ground_lost=tapes.ground_lost,
            counts=counts,
            doubts=doubts_of(pace),
        )
        if units is not self._units or now_s - self._said_s >= WORDS_EVERY_S:
            self._units, self._said_s = units, now_s
            say(self._words, pace_sentence(self._bench, calm or pace, counts=counts))
            say(self._welcome, welcome(self._bench))

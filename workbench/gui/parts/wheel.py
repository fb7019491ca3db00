"""The wheel: the target wheel seen from the pickup's side, the mark on top, turning clockwise.

Feeler gaps stand as points between two rings, the best and the largest gap; teeth stand at
their places, their displacement drawn so many times too large as the picture says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy

from workbench.base.numbers import plain, quantities
from workbench.base.units import METRIC, UnitSystem
from workbench.gui.parts.basics import Painted
from workbench.gui.theme import GRID_PX, SMALL_PX, TEXT_PX, Theme, font, grown
from workbench.words.language import _
from workbench.words.pictures.wheel import TEETH_IN, GapWheel, ToothWheel

BODY = 0.5
"""Radius of the wheel's body, as a share of the picture's."""
TEETH = 0.9
"""The outer end of the teeth, as a share of the picture's radius."""
RING_NAMES_DEG = (225.0, 135.0, 315.0, 45.0, *range(15, 360, 30))
"""Where the rings' names may stand: the first of these that is far from all readings."""
NUMBERS_APART_DEG = 8.0
MOST_NUMBERS = 8
"""Points beside which their gap is written; of more only those that are not right."""
LARGE_PX = 260
"""Radius from which the picture's words are written larger."""
SMALL_BODY_PX = 70
"""Radius of the body below which its word and its arrow would run into each other."""


class Wheel(Painted):
    """Draws the gap round the wheel, or its teeth."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self._units = METRIC
        self._wheel: GapWheel | ToothWheel | None = None
        self._waiting = ""
        self.setMinimumSize(30 * GRID_PX, 30 * GRID_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(_("The wheel"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(400, 400)

    def show_wheel(
        self, wheel: GapWheel | ToothWheel, units: UnitSystem, waiting: str = ""
    ) -> None:
        """Draw this from now on; `waiting` stands below while there are no teeth yet."""
        self._wheel, self._units, self._waiting = wheel, units, waiting
        self.setAccessibleDescription(wheel.words)
        self.update()

    def _paint(self, painter: QPainter) -> None:
        room = grown(3 * GRID_PX)
        radius = 0.5 * min(self.width() - 4 * room, self.height() - 2 * room - 5 * GRID_PX)
        self._font_px = TEXT_PX if radius > LARGE_PX else SMALL_PX
        painter.setFont(font(self._font_px))
        painter.translate(self.width() / 2, room + radius)
        words = ""
        if isinstance(self._wheel, GapWheel):
            words = self._paint_gap(painter, self._wheel, radius)
        elif self._wheel is not None:
            words = self._paint_teeth(painter, self._wheel, radius)
        painter.resetTransform()
        painter.setFont(font(SMALL_PX))
        painter.setPen(self._theme.color("soft_ink"))
        top = 2 * room + 2 * radius
        foot = QRectF(0, top, self.width(), self.height() - top)
        painter.drawText(
            foot,
            Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap,
            words,
        )

    def _paint_gap(self, painter: QPainter, wheel: GapWheel, radius: float) -> str:
        per_m = (1 - BODY) * radius / wheel.top_m
        body = BODY * radius
        most, best = (body + per_m * one for one in (wheel.most_m, wheel.best_m))
        self._disc(painter, radius, "attention", 40)
        self._disc(painter, most, "ground", 255)
        self._ring(painter, most, "attention", Qt.PenStyle.SolidLine)
        self._ring(painter, best, "in_band", Qt.PenStyle.DashLine)
        self._body(painter, body, _("mark"))
        self._angles(painter, radius)
        if wheel.next_deg is not None:
            self._ask_for(painter, wheel.next_deg, body, most)
        if wheel.swing_m is not None:
            angle = np.arange(0.0, 361.0, 3.0)
            out = body + per_m * wheel.swing_at(angle)
            painter.setPen(QPen(self._theme.color("ink"), 2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawPolyline(QPolygonF([_at(*at) for at in zip(angle, out, strict=True)]))
        self._places(painter, wheel, body, per_m)
        self._ring_names(painter, wheel, best, most)
        return wheel.scale_words(self._units)

    def _ring_names(self, painter: QPainter, wheel: GapWheel, best: float, most: float) -> None:
        places = [*wheel.angle_deg.tolist(), 0.0]
        at_deg = max(RING_NAMES_DEG, key=lambda at: min(_apart_deg(at, places), 30.0))
        for ring, word, gap_m, name in (
            (best, _("best"), wheel.best_m, "in_band"),
            (most, _("at most"), wheel.most_m, "attention"),
        ):
            text = f"{word} {self._number(gap_m)}"
            self._word(painter, _at(at_deg, ring), text, name)

    def _ask_for(self, painter: QPainter, angle: float, body: float, most: float) -> None:
        """Where to read next: a pointer from the outside to the wheel's rim."""
        painter.setPen(QPen(self._theme.color("ink"), 2, Qt.PenStyle.DotLine))
        painter.drawLine(_at(angle, body), _at(angle, most))
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.setBrush(self._theme.color("ground"))
        painter.drawEllipse(_at(angle, 0.5 * (body + most)), 8, 8)

    def _places(self, painter: QPainter, wheel: GapWheel, body: float, per_m: float) -> None:
        few = wheel.gap_m.size <= MOST_NUMBERS
        for angle, gap_m, odd in zip(
            wheel.angle_deg.tolist(), wheel.gap_m.tolist(), wheel.odd.tolist(), strict=True
        ):
            name, out = "bad" if odd else "belt", body + per_m * gap_m
            point = _at(angle, out)
            painter.setPen(QPen(self._theme.color(name), 2))
            painter.drawLine(_at(angle, body), point)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self._theme.color(name))
            if odd:
                painter.drawRect(QRectF(point.x() - 6, point.y() - 6, 12, 12))
            else:
                painter.drawEllipse(point, 6, 6)
            if few or odd:
                self._word(painter, _beside(angle, out), self._number(gap_m), name)

    def _paint_teeth(self, painter: QPainter, wheel: ToothWheel, radius: float) -> str:
        body = TEETH_IN * TEETH * radius
        self._body(painter, body, _("mark") if wheel.marked else _("first seen"))
        if not wheel.teeth:
            return self._waiting
        for tooth in range(1, wheel.teeth + 1):
            drawn_deg = wheel.drawn_deg(tooth)
            gone = not math.isfinite(drawn_deg)
            name = "attention" if tooth in wheel.faults else "soft_ink"
            self._tooth(painter, wheel, wheel.place_deg(tooth), radius, "line", hollow=True)
            at_deg = wheel.place_deg(tooth) if gone else drawn_deg
            self._tooth(painter, wheel, at_deg, radius, name, hollow=gone)
        for tooth in wheel.faults:
            self._suspect(painter, wheel.place_deg(tooth), radius, body, tooth)
        self._numbers(painter, wheel, radius)
        return wheel.scale_words

    def _numbers(self, painter: QPainter, wheel: ToothWheel, radius: float) -> None:
        """The first tooth and every fifth, to count by; none too near a suspect's own."""
        suspects = [wheel.place_deg(tooth) for tooth in wheel.faults]
        for tooth in (1, *range(5, wheel.teeth + 1, 5)):
            at_deg = wheel.place_deg(tooth)
            if not suspects or _apart_deg(at_deg, suspects) >= NUMBERS_APART_DEG:
                painter.setPen(self._theme.color("ink" if tooth == 1 else "soft_ink"))
                self._centred(painter, _at(at_deg, radius), str(tooth))

    def _suspect(
        self, painter: QPainter, angle: float, radius: float, body: float, tooth: int
    ) -> None:
        """A pointer from the middle to the tooth, its number in a filled circle outside."""
        color = self._theme.color("attention")
        painter.setPen(QPen(color, 2))
        painter.drawLine(_at(angle, 0.5 * body), _at(angle, 0.97 * body))
        spot = _at(angle, radius)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(color)
        painter.drawEllipse(spot, 15, 15)
        painter.setPen(self._theme.color("ground"))
        painter.setFont(font(self._font_px, bold=True))
        self._centred(painter, spot, str(tooth))
        painter.setFont(font(self._font_px))

    def _tooth(
        self,
        painter: QPainter,
        wheel: ToothWheel,
        angle: float,
        radius: float,
        name: str,
        *,
        hollow: bool,
    ) -> None:
        shape = QPolygonF([_at(at, TEETH * radius * out) for at, out in wheel.corners(angle)])
        painter.setPen(QPen(self._theme.color(name), 1.5) if hollow else Qt.PenStyle.NoPen)
        painter.setBrush(Qt.BrushStyle.NoBrush if hollow else self._theme.color(name))
        painter.drawPolygon(shape)

    def _body(self, painter: QPainter, radius: float, word: str) -> None:
        self._disc(painter, radius, "line", 140)
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.setBrush(self._theme.color("ink"))
        foot, top = -radius + 16, -radius + 3
        painter.drawPolygon(QPolygonF([QPointF(-7, foot), QPointF(7, foot), QPointF(0, top)]))
        self._centred(painter, QPointF(0, -radius + 28), word)
        # On a small wheel the arrow stands lower, clear of the word, and speaks for itself.
        small = radius < SMALL_BODY_PX
        arc, middle = 0.38 * radius, 0.4 * radius if small else 0.0
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawArc(QRectF(-arc, middle - arc, 2 * arc, 2 * arc), 120 * 16, -70 * 16)
        tip = _at(40, arc) + QPointF(0, middle)
        head = QPolygonF([tip, tip + QPointF(-11, -3), tip + QPointF(-3, -11)])
        painter.setBrush(self._theme.color("ink"))
        painter.drawPolygon(head)
        if not small:
            painter.setPen(self._theme.color("soft_ink"))
            self._centred(painter, QPointF(0, 0.12 * radius), _("turns this way"))

    def _number(self, gap_m: float) -> str:
        """A gap without its unit."""
        quantity = quantities(self._units)["gap"]
        return plain(quantity.per_si * gap_m, quantity.decimals)

    def _angles(self, painter: QPainter, radius: float) -> None:
        painter.setPen(self._theme.color("soft_ink"))
        for degree in (0, 90, 180, 270):
            out = radius + grown((1.5 if degree % 180 == 0 else 3) * GRID_PX)
            self._centred(painter, _at(degree, out), f"{degree}°")

    def _centred(self, painter: QPainter, at: QPointF, text: str) -> None:
        painter.drawText(_round(painter, at, text), Qt.AlignmentFlag.AlignCenter, text)

    def _word(self, painter: QPainter, at: QPointF, text: str, name: str) -> None:
        """A word on a patch of ground, so that no line runs through it."""
        box = _round(painter, at, text)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color("ground", 225))
        painter.drawRoundedRect(box, 4, 4)
        painter.setPen(self._theme.color(name))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    def _disc(self, painter: QPainter, radius: float, name: str, alpha: int) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color(name, alpha))
        painter.drawEllipse(QPointF(0, 0), radius, radius)

    def _ring(self, painter: QPainter, radius: float, name: str, style: Qt.PenStyle) -> None:
        painter.setPen(QPen(self._theme.color(name), 2, style))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawEllipse(QPointF(0, 0), radius, radius)


def _round(painter: QPainter, at: QPointF, text: str) -> QRectF:
    """The place of a text round a point."""
    metrics = QFontMetricsF(painter.font())
    width, height = metrics.horizontalAdvance(text) + 6, metrics.height()
    return QRectF(at.x() - width / 2, at.y() - height / 2, width, height)


def _at(angle_deg: float, radius: float) -> QPointF:
    """A point at an angle clockwise from the top."""
    turn = math.radians(angle_deg)
    return QPointF(radius * math.sin(turn), -radius * math.cos(turn))


def _apart_deg(angle_deg: float, others: Sequence[float]) -> float:
    """From an angle to the nearest of others."""
    return min(abs((angle_deg - other + 180.0) % 360.0 - 180.0) for other in others)


def _beside(angle_deg: float, radius: float) -> QPointF:
    """The place for a point's number: a little on in the turning direction, along the rim."""
    turn = math.radians(angle_deg)
    along = QPointF(math.cos(turn) * 34, math.sin(turn) * 20)
    return _at(angle_deg, radius) + along

"""The wheel: the target wheel seen from the pickup's side, the mark on top, turning clockwise.

Feeler gaps stand as points between two rings, the best and the largest gap; teeth stand at
their places, their displacement drawn so many times too large as the picture says.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.calibration.gap.feeler import FeelerGap
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.machine import Pickup
from workbench.units import UnitSystem

BODY = 0.52
"""Radius of the wheel's body, as a share of the picture's."""
TEETH_IN, TEETH_OUT = 0.74, 0.92
EXAGGERATIONS = (20, 10, 5, 2, 1)


class Wheel(QWidget):
    """Draws the gap round the wheel, or its teeth."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._gap: FeelerGap | None = None
        self._limits: Pickup = Pickup()
        self._units: UnitSystem | None = None
        self._late: list[float] = []
        self._faults: dict[int, str] = {}
        self._teeth_mode, self._marked = False, True
        self.setMinimumSize(30 * GRID_PX, 30 * GRID_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("The wheel")

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(400, 400)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_gap(self, gap: FeelerGap | None, limits: Pickup, units: UnitSystem) -> None:
        """The gap round the wheel; None draws the empty wheel with its limits."""
        self._teeth_mode, self._marked = False, True
        self._gap, self._limits, self._units = gap, limits, units
        places = 0 if gap is None else gap.places.angle_deg.size
        self.setAccessibleDescription(f"Gap at {places} angles between its limits")
        self.update()

    def show_teeth(
        self, late_rel: Sequence[float], faults: Mapping[int, str], *, marked: bool
    ) -> None:
        """Each tooth's lateness in pitches from tooth 1, and suspect teeth with their fault.

        `marked` False: tooth 1 is only the first that was seen, not the one at the mark.
        """
        self._teeth_mode, self._marked = True, marked
        self._late, self._faults = list(late_rel), dict(faults)
        named = ", ".join(f"{kind} {tooth}" for tooth, kind in self._faults.items())
        self.setAccessibleDescription(f"{len(self._late)} teeth; {named or 'no suspect tooth'}")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(font(SMALL_PX))
        room = 3 * GRID_PX
        radius = 0.5 * min(self.width() - 2 * room, self.height() - 2 * room - 2 * GRID_PX)
        painter.translate(self.width() / 2, room + radius)
        if self._teeth_mode:
            words = self._paint_teeth(painter, radius)
        else:
            words = self._paint_gap(painter, radius)
        painter.resetTransform()
        painter.setFont(font(SMALL_PX))
        painter.setPen(self._theme.color("soft_ink"))
        foot = QRectF(0, self.height() - 2.5 * GRID_PX, self.width(), 2.5 * GRID_PX)
        painter.drawText(foot, Qt.AlignmentFlag.AlignCenter, words)
        painter.end()

    def _paint_gap(self, painter: QPainter, radius: float) -> str:
        gap, limits, units = self._gap, self._limits, self._units
        widest_m = float(gap.places.gap_m.max()) if gap is not None else 0.0
        top_m = 1.2 * max(limits.gap_max_m, widest_m)
        per_m = (1 - BODY) * radius / top_m
        body = BODY * radius
        most = body + per_m * limits.gap_max_m
        self._disc(painter, radius, "attention", 40)
        self._disc(painter, most, "ground", 255)
        self._ring(painter, most, "attention", Qt.PenStyle.SolidLine)
        best = body + per_m * limits.gap_best_m
        self._ring(painter, best, "in_band", Qt.PenStyle.DashLine)
        self._body(painter, body)
        self._angles(painter, radius)
        if gap is not None:
            self._swing(painter, gap, body, per_m)
            self._places(painter, gap, body, per_m)
        if units is None:
            return ""
        one, digits = units.gap_m, 3 if units.gap == "in" else 2
        return (
            f"solid ring {limits.gap_max_m / one:.{digits}f} {units.gap} at most, dashed ring "
            f"{limits.gap_best_m / one:.{digits}f} {units.gap} best"
        )

    def _swing(self, painter: QPainter, gap: FeelerGap, body: float, per_m: float) -> None:
        if gap.swing_m is None:
            return
        mean, a, b = gap.swing_m
        line = QPolygonF()
        for degree in range(0, 361, 3):
            turn = math.radians(degree)
            at_m = mean + a * math.cos(turn) + b * math.sin(turn)
            line.append(_at(degree, body + per_m * at_m))
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPolyline(line)

    def _places(self, painter: QPainter, gap: FeelerGap, body: float, per_m: float) -> None:
        for angle, gap_m in zip(gap.places.angle_deg, gap.places.gap_m, strict=True):
            odd = any(abs(angle - one) < 1e-6 for one in gap.odd_deg)
            wide = gap_m > self._limits.gap_max_m
            color = self._theme.color("bad" if odd or wide else "belt")
            point = _at(float(angle), body + per_m * float(gap_m))
            painter.setPen(QPen(color, 1))
            painter.drawLine(_at(float(angle), body), point)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(color)
            if odd or wide:
                painter.drawRect(QRectF(point.x() - 6, point.y() - 6, 12, 12))
            else:
                painter.drawEllipse(point, 6, 6)

    def _paint_teeth(self, painter: QPainter, radius: float) -> str:
        self._body(painter, TEETH_IN * radius)
        teeth = len(self._late)
        if not teeth:
            return "The teeth stand here once the wheel has turned three times."
        known = [abs(late) for late in self._late if math.isfinite(late)]
        largest = max([*known, 1e-6])
        times = next((t for t in EXAGGERATIONS if t * largest <= 0.5), 1)
        for tooth in range(1, teeth + 1):
            late, fault = self._late[tooth - 1], self._faults.get(tooth)
            nominal = (tooth - 1) * 360.0 / teeth
            shift = times * late * 360.0 / teeth if math.isfinite(late) else 0.0
            gone = fault == "missing tooth" or not math.isfinite(late)
            self._tooth(painter, nominal, radius, teeth, "line", hollow=True)
            name = "attention" if fault else "soft_ink"
            self._tooth(painter, nominal + shift, radius, teeth, name, hollow=gone)
            if fault or tooth == 1:
                painter.setPen(self._theme.color("attention" if fault else "ink"))
                painter.setFont(font(SMALL_PX, bold=bool(fault)))
                spot = _at(nominal, radius)
                box = QRectF(spot.x() - 20, spot.y() - 10, 40, 20)
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, str(tooth))
        return f"displacement drawn {times} times too large" if times > 1 else "drawn to scale"

    def _tooth(
        self, painter: QPainter, angle: float, radius: float, teeth: int, name: str, *, hollow: bool
    ) -> None:
        half = 90.0 / teeth
        corners = ((-1.2, TEETH_IN), (-0.8, TEETH_OUT), (0.8, TEETH_OUT), (1.2, TEETH_IN))
        shape = QPolygonF([_at(angle + half * part, radius * out) for part, out in corners])
        painter.setPen(QPen(self._theme.color(name), 1.5) if hollow else Qt.PenStyle.NoPen)
        painter.setBrush(Qt.BrushStyle.NoBrush if hollow else self._theme.color(name))
        painter.drawPolygon(shape)

    def _body(self, painter: QPainter, radius: float) -> None:
        self._disc(painter, radius, "line", 140)
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.setBrush(self._theme.color("ink"))
        foot, top = -radius + 16, -radius + 3
        painter.drawPolygon(QPolygonF([QPointF(-7, foot), QPointF(7, foot), QPointF(0, top)]))
        word = QRectF(-60, -radius + 18, 120, 20)
        painter.drawText(
            word, Qt.AlignmentFlag.AlignCenter, "mark" if self._marked else "first seen"
        )
        arc = 0.42 * radius
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawArc(QRectF(-arc, -arc, 2 * arc, 2 * arc), 120 * 16, -70 * 16)
        tip = _at(40, arc)
        head = QPolygonF([tip, tip + QPointF(-11, -3), tip + QPointF(-3, -11)])
        painter.setBrush(self._theme.color("ink"))
        painter.drawPolygon(head)

    def _angles(self, painter: QPainter, radius: float) -> None:
        painter.setPen(self._theme.color("soft_ink"))
        for degree in (0, 90, 180, 270):
            spot = _at(degree, radius + 1.4 * GRID_PX)
            box = QRectF(spot.x() - 24, spot.y() - 10, 48, 20)
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, f"{degree}°")

    def _disc(self, painter: QPainter, radius: float, name: str, alpha: int) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color(name, alpha))
        painter.drawEllipse(QPointF(0, 0), radius, radius)

    def _ring(self, painter: QPainter, radius: float, name: str, style: Qt.PenStyle) -> None:
        painter.setPen(QPen(self._theme.color(name), 2, style))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawEllipse(QPointF(0, 0), radius, radius)


def _at(angle_deg: float, radius: float) -> QPointF:
    """A point at an angle clockwise from the top."""
    turn = math.radians(angle_deg)
    return QPointF(radius * math.sin(turn), -radius * math.cos(turn))

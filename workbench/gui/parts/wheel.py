"""The wheel: the target wheel seen from the pickup's side, the mark on top, turning clockwise.

Feeler gaps stand as points between two rings, the best and the largest gap; teeth stand at
their places, their displacement drawn so many times too large as the picture says.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.base.machine import Pickup
from workbench.base.numbers import plain
from workbench.base.units import UnitSystem
from workbench.calibration.gap.faults import FaultKind
from workbench.gui.theme import GRID_PX, SMALL_PX, TEXT_PX, Theme, font
from workbench.jobs.gap.answer import FeelerAnswer
from workbench.words.language import N_, _
from workbench.words.words import Words

BODY = 0.5
"""Radius of the wheel's body, as a share of the picture's."""
TEETH_IN, TEETH_OUT = 0.72, 0.9
EXAGGERATIONS = (20, 10, 5, 2, 1)
RING_NAMES_DEG = (225.0, 135.0, 315.0, 45.0, *range(15, 360, 30))
"""Where the rings' names may stand: the first of these that is far from all readings."""
MOST_NUMBERS = 8
"""Points beside which their gap is written; of more only those that are not right."""
LARGE_PX = 260
"""Radius from which the picture's words are written larger."""
SMALL_BODY_PX = 70
"""Radius of the body below which its word and its arrow would run into each other."""


class Wheel(QWidget):
    """Draws the gap round the wheel, or its teeth."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._gap: FeelerAnswer | None = None
        self._limits: Pickup = Pickup()
        self._words: Words | None = None
        self._next_deg: float | None = None
        self._late: list[float] = []
        self._faults: dict[int, FaultKind] = {}
        self._teeth_mode, self._marked = False, True
        self._waiting = ""
        self.setMinimumSize(30 * GRID_PX, 30 * GRID_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(_("The wheel"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(400, 400)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_gap(
        self,
        gap: FeelerAnswer | None,
        limits: Pickup,
        units: UnitSystem,
        next_deg: float | None = None,
    ) -> None:
        """The gap round the wheel, and where to read next; None draws the empty wheel."""
        self._teeth_mode, self._marked, self._next_deg = False, True, next_deg
        self._gap, self._limits, self._words = gap, limits, Words(units)
        told = _("Gap at {places} angles between its limits")
        if next_deg is not None:
            told = _("Gap at {places} angles between its limits; read next at {next} degrees")
        places = 0 if gap is None else len(gap.places)
        self.setAccessibleDescription(told.format(places=places, next=round(next_deg or 0)))
        self.update()

    def show_teeth(
        self,
        late_rel: Sequence[float],
        faults: Mapping[int, FaultKind],
        *,
        marked: bool,
        waiting: str = "",
    ) -> None:
        """Each tooth's lateness in pitches from tooth 1, and suspect teeth with their fault.

        `marked` False: tooth 1 is only the first that was seen, not the one at the mark.
        `waiting` stands below the wheel while there are no teeth yet.
        """
        self._teeth_mode, self._marked, self._waiting = True, marked, waiting
        self._late, self._faults = list(late_rel), dict(faults)
        words = Words()
        named = ", ".join(f"{words.say(kind)} {tooth}" for tooth, kind in self._faults.items())
        told = _("{teeth} teeth; {faults}").format(
            teeth=len(self._late), faults=named or _("no suspect tooth")
        )
        self.setAccessibleDescription(told)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        room = 3 * GRID_PX
        radius = 0.5 * min(self.width() - 4 * room, self.height() - 2 * room - 5 * GRID_PX)
        self._font_px = TEXT_PX if radius > LARGE_PX else SMALL_PX
        painter.setFont(font(self._font_px))
        painter.translate(self.width() / 2, room + radius)
        if self._teeth_mode:
            words = self._paint_teeth(painter, radius)
        else:
            words = self._paint_gap(painter, radius)
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
        painter.end()

    def _paint_gap(self, painter: QPainter, radius: float) -> str:
        gap, limits, words = self._gap, self._limits, self._words
        known_m = [] if gap is None else [gap.widest_m, *(one.gap_m for one in gap.places)]
        widest_m = max(known_m, default=0.0)
        top_m = max(1.25 * limits.gap_max_m, 1.08 * widest_m)
        per_m = (1 - BODY) * radius / top_m
        body = BODY * radius
        most, best = (body + per_m * one for one in (limits.gap_max_m, limits.gap_best_m))
        self._disc(painter, radius, "attention", 40)
        self._disc(painter, most, "ground", 255)
        self._ring(painter, most, "attention", Qt.PenStyle.SolidLine)
        self._ring(painter, best, "in_band", Qt.PenStyle.DashLine)
        self._body(painter, body)
        self._angles(painter, radius)
        if self._next_deg is not None:
            self._ask_for(painter, self._next_deg, body, most)
        if gap is not None:
            self._swing(painter, gap, body, per_m)
            self._places(painter, gap, body, per_m)
        if words is None:
            return ""
        self._ring_names(painter, best, most, words)
        told = N_(
            "The gap is drawn larger than it is: from the grey wheel to the outer edge, "
            "{top_m:gap}."
        )
        return words.fill(told, {"top_m": top_m})

    def _ring_names(self, painter: QPainter, best: float, most: float, words: Words) -> None:
        places = [one.angle_deg for one in self._gap.places] if self._gap is not None else []
        at_deg = max(RING_NAMES_DEG, key=lambda at: min(_apart_deg(at, [*places, 0.0]), 30.0))
        for ring, told, gap_m, name in (
            (best, N_("best {gap_m:gap}"), self._limits.gap_best_m, "in_band"),
            (most, N_("at most {gap_m:gap}"), self._limits.gap_max_m, "attention"),
        ):
            self._word(painter, _at(at_deg, ring), words.fill(told, {"gap_m": gap_m}), name)

    def _ask_for(self, painter: QPainter, angle: float, body: float, most: float) -> None:
        """Where to read next: a pointer from the outside to the wheel's rim."""
        painter.setPen(QPen(self._theme.color("ink"), 2, Qt.PenStyle.DotLine))
        painter.drawLine(_at(angle, body), _at(angle, most))
        painter.setPen(QPen(self._theme.color("ink"), 2))
        painter.setBrush(self._theme.color("ground"))
        painter.drawEllipse(_at(angle, 0.5 * (body + most)), 8, 8)

    def _swing(self, painter: QPainter, gap: FeelerAnswer, body: float, per_m: float) -> None:
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

    def _places(self, painter: QPainter, gap: FeelerAnswer, body: float, per_m: float) -> None:
        for place in gap.places:
            angle, gap_m = place.angle_deg, place.gap_m
            odd = any(abs(angle - one) < 1e-6 for one in gap.odd_angles_deg)
            wide = gap_m > self._limits.gap_max_m
            name = "bad" if odd or wide else "belt"
            point = _at(angle, body + per_m * gap_m)
            painter.setPen(QPen(self._theme.color(name), 2))
            painter.drawLine(_at(angle, body), point)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(self._theme.color(name))
            if odd or wide:
                painter.drawRect(QRectF(point.x() - 6, point.y() - 6, 12, 12))
            else:
                painter.drawEllipse(point, 6, 6)
            few = len(gap.places) <= MOST_NUMBERS
            if self._words is not None and (few or odd or wide):
                quantity = self._words.quantity("gap")
                number = plain(quantity.per_si * gap_m, quantity.decimals)
                self._word(painter, _beside(angle, body + per_m * gap_m), number, name)

    def _paint_teeth(self, painter: QPainter, radius: float) -> str:
        self._body(painter, TEETH_IN * radius)
        teeth = len(self._late)
        if not teeth:
            return self._waiting
        known = [abs(late) for late in self._late if math.isfinite(late)]
        largest = max([*known, 1e-6])
        times = next((t for t in EXAGGERATIONS if t * largest <= 0.5), 1)
        for tooth in range(1, teeth + 1):
            self._one_tooth(painter, radius, tooth, times)
        for tooth in self._faults:
            self._suspect(painter, radius, tooth)
        self._numbers(painter, radius)
        if times == 1:
            return _(
                "Outlined: where each tooth should be. Filled: where it is, its shift to scale."
            )
        told = _(
            "Outlined: where each tooth should be. Filled: where it is, its shift drawn {times} "
            "times too large."
        )
        return told.format(times=times)

    def _numbers(self, painter: QPainter, radius: float) -> None:
        """The first tooth and every fifth, to count by; none too near a suspect's own."""
        teeth = len(self._late)
        for tooth in (1, *range(5, teeth + 1, 5)):
            apart = [abs((tooth - other + teeth / 2) % teeth - teeth / 2) for other in self._faults]
            if min(apart, default=teeth) * 360.0 / teeth >= 8:
                painter.setPen(self._theme.color("ink" if tooth == 1 else "soft_ink"))
                self._centred(painter, _at((tooth - 1) * 360.0 / teeth, radius), str(tooth))

    def _one_tooth(self, painter: QPainter, radius: float, tooth: int, times: int) -> None:
        teeth, late, fault = len(self._late), self._late[tooth - 1], self._faults.get(tooth)
        nominal = (tooth - 1) * 360.0 / teeth
        shift = times * late * 360.0 / teeth if math.isfinite(late) else 0.0
        gone = fault is FaultKind.MISSING or not math.isfinite(late)
        self._tooth(painter, nominal, radius, teeth, "line", hollow=True)
        name = "attention" if fault else "soft_ink"
        self._tooth(painter, nominal + shift, radius, teeth, name, hollow=gone)

    def _suspect(self, painter: QPainter, radius: float, tooth: int) -> None:
        """A pointer from the middle to the tooth, its number in a filled circle outside."""
        angle = (tooth - 1) * 360.0 / len(self._late)
        color = self._theme.color("attention")
        painter.setPen(QPen(color, 2))
        painter.drawLine(_at(angle, 0.5 * TEETH_IN * radius), _at(angle, 0.97 * TEETH_IN * radius))
        spot = _at(angle, radius)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(color)
        painter.drawEllipse(spot, 15, 15)
        painter.setPen(self._theme.color("ground"))
        painter.setFont(font(self._font_px, bold=True))
        self._centred(painter, spot, str(tooth))
        painter.setFont(font(self._font_px))

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
        self._centred(
            painter, QPointF(0, -radius + 28), _("mark") if self._marked else _("first seen")
        )
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

    def _angles(self, painter: QPainter, radius: float) -> None:
        painter.setPen(self._theme.color("soft_ink"))
        for degree in (0, 90, 180, 270):
            out = radius + (1.5 if degree % 180 == 0 else 3) * GRID_PX
            self._centred(painter, _at(degree, out), f"{degree}°")

    def _centred(self, painter: QPainter, at: QPointF, text: str) -> None:
        box = QRectF(at.x() - 80, at.y() - 16, 160, 32)
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    def _word(self, painter: QPainter, at: QPointF, text: str, name: str) -> None:
        """A word on a patch of ground, so that no line runs through it."""
        metrics = QFontMetricsF(painter.font())
        width, height = metrics.horizontalAdvance(text) + 6, metrics.height()
        box = QRectF(at.x() - width / 2, at.y() - height / 2, width, height)
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

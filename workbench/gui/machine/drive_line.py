"""The drive line drawn from what is typed, each part with its name.

Pickup, target wheel, shaft, sprocket or roll and belt stand on one scale, both wheels turned
to face us. The target wheel's size is not in the machine file: it is drawn with its teeth a
fixed way apart, and the drawing says so. What is not known yet is dashed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy

from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import Painted
from workbench.gui.theme import GRID_PX, SMALL_PX, TEXT_PX, Theme, font
from workbench.models.machine.drive_parts import DriveParts
from workbench.words.language import _

TOOTH_M = 0.010
"""Teeth of the target wheel are drawn this far apart."""
TOOTH_DEEP_M = 0.006
PICKUP_M, PICKUP_WIDE_M = 0.07, 0.018
SHAFT_M = 0.03
BETWEEN_M, GEARED_M = 0.08, 0.12
"""Shaft between the wheels, and with a gear box on it."""
UNKNOWN_M = 0.12
"""Stand-in for a diameter that is not known yet."""
ROD_REL = 0.12
"""Radius of a rod, as a share of the pitch; its own is not in the machine file."""
FINEST_TOOTH_PX = 3.0
TALL_PX = 400
"""From this height on there is room for larger words and for the whole belt."""
SCALE_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


@dataclass(frozen=True, slots=True)
class DrawnPlaces:
    """Pixels a metre, the pickup's tip, and centre and radius of the two wheels, in pixels."""

    scale: float
    tip: QPointF
    wheel: QPointF
    wheel_px: float
    drum: QPointF
    drum_px: float

    @property
    def tallest_px(self) -> float:
        """Radius of the larger wheel."""
        return max(self.wheel_px, self.drum_px)

    @property
    def between(self) -> QPointF:
        """The middle of the shaft that is seen between the wheels."""
        left, right = self.wheel.x() + self.wheel_px, self.drum.x() - self.drum_px
        return QPointF(0.5 * (left + right), self.wheel.y())


class DriveLineDrawing(Painted):
    """Draws the parts as far as they are known."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self._parts = DriveParts()
        self._units: UnitSystem | None = None
        self._scale = 1.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(17 * GRID_PX)
        self.setAccessibleName(_("Drive line, drawn to scale"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(380, 17 * GRID_PX)

    def show_parts(self, parts: DriveParts, units: UnitSystem) -> None:
        """Draw these from now on."""
        if (parts, units) != (self._parts, self._units):
            self._parts, self._units = parts, units
            self.setAccessibleDescription(", ".join(self.labels().values()).replace("\n", " "))
            self.update()

    def labels(self) -> dict[str, str]:
        """The words at each part."""
        known, units = self._parts, self._units
        if units is None:
            return {}

        def length(length_m: float) -> str:
            return "?" if math.isnan(length_m) else f"{length_m / units.gap_m:.3g} {units.gap}"

        wheel = f"{known.teeth} teeth" if known.teeth else "teeth?"
        ratio = known.turns_per_target_turn
        drum = {
            "sprocket": _("sprocket\n{sprocket_teeth} teeth, ⌀ {drum_m}").format(
                sprocket_teeth=known.sprocket_teeth or "?", drum_m=length(known.drum_m)
            ),
            "roll": f"roll\n⌀ {length(known.drum_m)}",
        }.get(known.kind, _("sprocket or roll?"))
        rods = f", rods {length(known.rod_pitch_m)} apart" if known.kind == "sprocket" else ""
        return {
            "readout": "readout",
            "pickup": _("pickup\n{gap_best_m} gap").format(gap_best_m=length(known.gap_best_m)),
            "wheel": _("target wheel\n{wheel}").format(wheel=wheel),
            "shaft": _("shaft")
            if math.isnan(ratio)
            else _("shaft, {ratio:.4g} turns a wheel turn").format(ratio=ratio),
            "drum": drum,
            "belt": f"belt{rods}",
            "lap": self._lap_words(units),
        }

    def _lap_words(self, units: UnitSystem) -> str:
        known = self._parts
        if math.isnan(known.lap_length_m):
            return _("length of one lap not typed")
        rods = "" if math.isnan(known.rods) else f", {known.rods:.1f} rods"
        return _("one lap {length_m:.4g} {length}{rods}").format(
            length_m=known.lap_length_m / units.length_m, length=units.length, rods=rods
        )

    def _paint(self, painter: QPainter) -> None:
        if self._units is not None:
            self._draw(painter, self._units)

    def _draw(self, painter: QPainter, units: UnitSystem) -> None:
        tall = self.height() >= TALL_PX
        painter.setFont(font(TEXT_PX if tall else SMALL_PX))
        line = float(painter.fontMetrics().height())
        at = self.places(line, tall=tall)
        self._scale = at.scale
        self._shaft(painter, at.wheel, at.drum)
        self._wheel(painter, at.wheel, at.wheel_px)
        self._drum(painter, at.drum, at.drum_px)
        self._belt(painter, at.drum, at.drum_px)
        self._ratio(painter, at.between)
        readout = self._readout(painter, max(0.0, at.tip.y() - at.tallest_px - 3 * line), tall=tall)
        self._pickup(painter, at.tip, readout)
        self._name_parts(painter, at, line, tall=tall)
        if tall:
            self._lap(painter, QRectF(0, self.height() - 3.2 * line, self.width(), 1.2 * line))
        self._foot(painter, units, line)

    def places(self, line: float, *, tall: bool) -> DrawnPlaces:
        """Where the parts stand: as large as words of that height leave room for."""
        known = self._parts
        wheel_m = known.teeth * TOOTH_M / math.pi if known.teeth else UNKNOWN_M
        drum_m = UNKNOWN_M if math.isnan(known.drum_m) else known.drum_m
        gap_m = 0.0 if math.isnan(known.gap_best_m) else known.gap_best_m
        top, foot = 3.0 * line, (6.6 if tall else 3.4) * line
        area = QRectF(2, top, self.width() - 2, self.height() - top - foot)
        geared = known.turns_per_target_turn != 1
        between_m = max(GEARED_M if geared else BETWEEN_M, 0.4 * drum_m)
        left_m = PICKUP_M + gap_m + wheel_m
        wide_m = left_m + between_m + 1.6 * drum_m
        high_m = 1.25 * max(wheel_m, drum_m)
        scale = min(area.width() / wide_m, area.height() / high_m)
        spare, y = max(0.0, area.width() - wide_m * scale), area.center().y()
        wheel = QPointF(area.left() + 0.3 * spare + (left_m - 0.5 * wheel_m) * scale, y)
        away = 0.5 * (wheel_m + drum_m) + between_m
        drum = QPointF(wheel.x() + away * scale + 0.15 * spare, y)
        tip = QPointF(wheel.x() - (0.5 * wheel_m + gap_m) * scale, y)
        return DrawnPlaces(scale, tip, wheel, 0.5 * wheel_m * scale, drum, 0.5 * drum_m * scale)

    def _name_parts(self, painter: QPainter, at: DrawnPlaces, line: float, *, tall: bool) -> None:
        words, half = self.labels(), 0.5 * self._scale
        below = at.wheel.y() + 1.25 * at.tallest_px + 2
        self._words(painter, QPointF(at.wheel.x(), below), words["wheel"])
        self._words(painter, QPointF(at.drum.x(), below), words["drum"])
        under = at.tip.y() + PICKUP_WIDE_M * half + 4
        named = words["pickup"] if tall else "pickup"
        wide = max(map(painter.fontMetrics().horizontalAdvance, named.split("\n")))
        clear_x = at.wheel.x() - at.wheel_px - 0.5 * wide - GRID_PX
        pickup = QPointF(max(min(at.tip.x() - PICKUP_M * half, clear_x), 0.5 * wide), under)
        self._words(painter, pickup, named)
        shaft = QPointF(at.between.x(), at.tip.y() + SHAFT_M * half + 4)
        if self._parts.turns_per_target_turn != 1:
            shaft.setY(shaft.y() + 0.4 * line)
        self._words(painter, shaft, "shaft")
        high = at.drum.y() - 1.2 * at.drum_px - 1.2 * line
        self._words(painter, QPointF(self.width(), max(high, 0.0)), words["belt"], "belt")

    def _outline(self, painter: QPainter, *, known: bool, color: str = "ink") -> None:
        style = Qt.PenStyle.SolidLine if known else Qt.PenStyle.DashLine
        painter.setPen(QPen(self._theme.color(color if known else "no_data"), 1.5, style))
        painter.setBrush(self._theme.color("raised"))

    def _shaft(self, painter: QPainter, wheel: QPointF, drum: QPointF) -> None:
        self._outline(painter, known=True)
        painter.setBrush(self._theme.color("line"))
        half = 0.5 * SHAFT_M * self._scale
        painter.drawRect(QRectF(wheel.x(), wheel.y() - half, drum.x() - wheel.x(), 2 * half))

    def _ratio(self, painter: QPainter, at: QPointF) -> None:
        """A gear box on the shaft where it does not turn with the target wheel."""
        ratio = self._parts.turns_per_target_turn
        if ratio == 1:
            return
        text = "× ?" if math.isnan(ratio) else f"× {ratio:.4g}"
        wide = painter.fontMetrics().horizontalAdvance(text) + 2 * GRID_PX
        high = 1.6 * painter.fontMetrics().height()
        box = QRectF(at.x() - wide / 2, at.y() - high / 2, wide, high)
        self._outline(painter, known=not math.isnan(ratio))
        painter.drawRoundedRect(box, 4, 4)
        painter.setPen(self._theme.color("ink"))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    def _wheel(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        teeth = self._parts.teeth
        self._outline(painter, known=teeth > 0)
        if teeth and 2 * math.pi * radius / teeth >= FINEST_TOOTH_PX:
            root = max(radius - TOOTH_DEEP_M * self._scale, 0.3 * radius)
            painter.drawPolygon(_toothed(centre, root, radius, teeth, 180.0))
        else:
            painter.drawEllipse(centre, radius, radius)
        self._hub(painter, centre)

    def _hub(self, painter: QPainter, centre: QPointF) -> None:
        painter.setBrush(self._theme.color("line"))
        painter.drawEllipse(centre, 0.5 * SHAFT_M * self._scale, 0.5 * SHAFT_M * self._scale)

    def _drum(self, painter: QPainter, centre: QPointF, radius: float) -> None:
        known = self._parts
        self._outline(painter, known=not math.isnan(known.drum_m))
        if known.kind == "sprocket" and not math.isnan(known.drum_m):
            path = _sprocket(centre, radius, known.sprocket_teeth, known.rod_pitch_m * self._scale)
            painter.drawPath(path)
        else:
            painter.drawEllipse(centre, radius, radius)
        self._hub(painter, centre)

    def _belt(self, painter: QPainter, drum: QPointF, radius: float) -> None:
        known = self._parts
        offset = known.pitch_line_offset_m * self._scale if known.kind == "roll" else 0.0
        offset = max(offset, 0.0) if math.isfinite(offset) else 0.0
        line = radius + offset
        path = QPainterPath(QPointF(self.width() + 10, drum.y() - line))
        path.lineTo(drum.x(), drum.y() - line)
        path.arcTo(QRectF(drum.x() - line, drum.y() - line, 2 * line, 2 * line), 90, 180)
        path.lineTo(self.width() + 10, drum.y() + line)
        self._outline(painter, known=not math.isnan(known.drum_m), color="belt")
        pen = painter.pen()
        pen.setWidthF(max(2.5, 2 * offset))
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPath(path)
        if known.kind == "sprocket" and not math.isnan(known.drum_m):
            self._rods(painter, drum, radius)

    def _rods(self, painter: QPainter, drum: QPointF, radius: float) -> None:
        """Rods a pitch apart: along the upper run, round the sprocket, back on the lower run."""
        teeth, pitch = self._parts.sprocket_teeth, self._parts.rod_pitch_m * self._scale
        size = max(2.0, ROD_REL * pitch)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color("belt"))
        half = teeth / 2
        for index in range(teeth // 2 + 1):
            turn = math.radians(90 + 360 * index / teeth)
            at = drum + QPointF(math.cos(turn), -math.sin(turn)) * radius
            painter.drawEllipse(at, size, size)
        run = math.ceil((self.width() - drum.x()) / pitch) + 1
        for index in range(1, run):
            painter.drawEllipse(QPointF(drum.x() + index * pitch, drum.y() - radius), size, size)
        for index in range(math.floor(half) + 1, math.floor(half) + run):
            x = drum.x() + (index - half) * pitch
            painter.drawEllipse(QPointF(x, drum.y() + radius), size, size)

    def _pickup(self, painter: QPainter, tip: QPointF, readout: QRectF) -> None:
        long, half = PICKUP_M * self._scale, 0.5 * PICKUP_WIDE_M * self._scale
        back = QPointF(tip.x() - long, tip.y())
        cable = QPainterPath(back)
        into = QPointF(
            min(max(back.x() - 2 * GRID_PX, readout.left() + GRID_PX), readout.right()), 0
        )
        into.setY(readout.bottom())
        cable.cubicTo(QPointF(into.x(), back.y()), QPointF(into.x(), back.y()), into)
        painter.setPen(QPen(self._theme.color("soft_ink"), 1.5))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPath(cable)
        self._outline(painter, known=True)
        painter.drawRect(QRectF(back.x(), tip.y() - half, long, 2 * half))
        painter.setBrush(self._theme.color("ink"))
        painter.drawRect(
            QRectF(tip.x() - 0.12 * long, tip.y() - 0.6 * half, 0.12 * long, 1.2 * half)
        )

    def _readout(self, painter: QPainter, top: float, *, tall: bool) -> QRectF:
        shown = self._parts.shows or "?"
        painter.save()
        painter.setFont(font(28 if tall else TEXT_PX, bold=True))
        wide = painter.fontMetrics().horizontalAdvance(shown) + 3 * GRID_PX
        box = QRectF(1, top + 1, max(wide, 10 * GRID_PX), (5 if tall else 4) * GRID_PX)
        self._outline(painter, known=bool(self._parts.shows))
        painter.drawRoundedRect(box, 6, 6)
        painter.setPen(self._theme.color("ink"))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, shown)
        painter.restore()
        painter.setPen(self._theme.color("soft_ink"))
        beside = QRectF(box.right() + GRID_PX, box.top(), 200, box.height())
        painter.drawText(beside, Qt.AlignmentFlag.AlignVCenter, self.labels()["readout"])
        return box

    def _lap(self, painter: QPainter, box: QRectF) -> None:
        """The whole belt on a scale of its own, seen from the side."""
        known, words = self._parts, self.labels()
        painter.setPen(self._theme.color("soft_ink"))
        text = painter.fontMetrics().horizontalAdvance(words["lap"]) + 2 * GRID_PX
        painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, words["lap"])
        if math.isnan(known.drum_m) or math.isnan(known.lap_length_m):
            return
        run_m = max(0.0, 0.5 * (known.lap_length_m - math.pi * known.drum_m))
        scale = min((box.width() - text) / (run_m + known.drum_m), box.height() / known.drum_m)
        high = known.drum_m * scale
        loop = QRectF(text, box.center().y() - high / 2, (run_m + known.drum_m) * scale, high)
        painter.setPen(QPen(self._theme.color("belt"), 2.5))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(loop, high / 2, high / 2)
        painter.setPen(QPen(self._theme.color("ink"), 1))
        for x in (loop.left() + high / 2, loop.right() - high / 2):
            painter.drawEllipse(QPointF(x, loop.center().y()), 0.3 * high, 0.3 * high)

    def _foot(self, painter: QPainter, units: UnitSystem, line: float) -> None:
        """A bar of a round length, and what is not to scale."""
        painter.setFont(font(SMALL_PX))
        painter.setPen(self._theme.color("soft_ink"))
        one = units.gap_m * self._scale
        length = next((step for step in SCALE_STEPS if step * one >= 4 * GRID_PX), SCALE_STEPS[-1])
        text = f"{length} {units.gap}"
        y = self.height() - 0.5 * line
        right = self.width() - painter.fontMetrics().horizontalAdvance(text) - GRID_PX
        left = right - length * one
        painter.drawText(QPointF(right + GRID_PX, y + 5), text)
        painter.drawLine(QPointF(left, y), QPointF(right, y))
        for x in (left, right):
            painter.drawLine(QPointF(x, y - 4), QPointF(x, y + 4))
        tooth = f"{TOOTH_M / units.gap_m:.2g} {units.gap}"
        note = _("Target wheel drawn at {tooth} a tooth").format(tooth=tooth)
        room = round(left) - GRID_PX
        elided = painter.fontMetrics().elidedText(note, Qt.TextElideMode.ElideRight, room)
        painter.drawText(QPointF(0, y + 5), elided)

    def _words(self, painter: QPainter, top: QPointF, text: str, color: str = "soft_ink") -> None:
        """Lines of text centred below a point, kept inside the picture."""
        painter.setPen(self._theme.color(color))
        size = painter.fontMetrics().size(0, text)
        x = min(max(top.x() - size.width() / 2, 0.0), float(self.width() - size.width()))
        box = QRectF(x, top.y(), size.width() + 1, size.height() + 2)
        painter.drawText(box, Qt.AlignmentFlag.AlignHCenter, text)


def _toothed(centre: QPointF, root: float, tip: float, teeth: int, first_deg: float) -> QPolygonF:
    """A wheel of square teeth, one of them at `first_deg`."""
    outline = QPolygonF()
    for tooth in range(teeth):
        for at, radius in ((-0.28, root), (-0.22, tip), (0.22, tip), (0.28, root)):
            turn = math.radians(first_deg + 360 * (tooth + at) / teeth)
            outline.append(centre + QPointF(math.cos(turn), math.sin(turn)) * radius)
    return outline


def _sprocket(centre: QPointF, radius: float, teeth: int, pitch: float) -> QPainterPath:
    """A sprocket whose valleys hold the rods on its pitch circle, one of them on top."""
    outline = QPolygonF()
    # Outside diameter P(0.6 + cot(180°/N)), as for roller chain (from memory).
    tip = 0.5 * pitch * (0.6 + 1 / math.tan(math.pi / teeth)) - radius
    seat = -1.2 * ROD_REL * pitch
    shape = ((0.0, seat), (0.2, 0.6 * seat), (0.38, tip), (0.62, tip), (0.8, 0.6 * seat))
    for tooth in range(teeth):
        for at, level in shape:
            turn = math.radians(-90 + 360 * (tooth + at) / teeth)
            outline.append(centre + QPointF(math.cos(turn), math.sin(turn)) * (radius + level))
    path = QPainterPath()
    path.addPolygon(outline)
    path.closeSubpath()
    return path

"""The drive line drawn from what is typed: target wheel, shaft, sprocket or roll, belt."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.calibration.driveline import pitch_diameter
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.machine import Machine
from workbench.units import UnitSystem

TOOTH_M = 0.010
"""The target wheel's diameter is not in the file: it is drawn with teeth this far apart."""


class DriveLineDrawing(QWidget):
    """Sprocket or roll and belt to scale; the target wheel's size is a guess and says so."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._machine: Machine | None = None
        self._units: UnitSystem | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumHeight(22 * GRID_PX)
        self.setAccessibleName("Drive line, drawn to scale")

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(380, 200)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_machine(self, machine: Machine | None, units: UnitSystem) -> None:
        self._machine, self._units = machine, units
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(font(SMALL_PX))
        if self._machine is None or self._units is None:
            painter.setPen(self._theme.color("soft_ink"))
            painter.drawText(
                self.rect(),
                Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap,
                "The drive line will be drawn here once tooth count, kind and size are typed.",
            )
        else:
            self._draw(painter, self._machine, self._units)
        painter.end()

    def _draw(self, painter: QPainter, machine: Machine, units: UnitSystem) -> None:
        drive = machine.drive
        wheel_m = drive.target_teeth * TOOTH_M / math.pi
        sprocket = drive.kind == "sprocket"
        drum_m = (
            pitch_diameter(drive.rod_pitch_m, drive.sprocket_teeth)
            if sprocket
            else drive.roll_diameter_m
        )
        words_px = 3 * GRID_PX
        area = QRectF(self.rect()).adjusted(GRID_PX, words_px, -GRID_PX, -words_px)
        wide_m = wheel_m + 2.2 * drum_m
        scale = min(area.width() / wide_m, area.height() / max(wheel_m, drum_m) / 1.1)
        middle_y = area.center().y()
        wheel = QPointF(area.left() + 0.5 * wheel_m * scale + 4, middle_y)
        drum = QPointF(wheel.x() + (0.6 * wheel_m + 0.75 * drum_m) * scale, middle_y)
        ink = self._theme.color("ink")
        painter.setPen(QPen(self._theme.color("line"), 6))
        painter.drawLine(wheel, drum)
        self._belt(painter, drum, 0.5 * drum_m * scale, drive.pitch_line_offset_m * scale)
        painter.setPen(QPen(ink, 1.5))
        painter.setBrush(self._theme.color("raised"))
        painter.drawPath(_toothed(wheel, 0.5 * wheel_m * scale, drive.target_teeth, 0.9))
        teeth = drive.sprocket_teeth if sprocket else 0
        radius = 0.5 * drum_m * scale
        painter.drawPath(_toothed(drum, radius, teeth, 0.86) if teeth else _circle(drum, radius))
        painter.setPen(self._theme.color("soft_ink"))
        below = self.height() - GRID_PX
        painter.drawText(QPointF(area.left(), below), f"target, {drive.target_teeth} teeth")
        size = f"{drum_m / units.gap_m:.4g} {units.gap}"
        what = f"sprocket, {teeth} teeth, ⌀ {size}" if sprocket else f"roll, ⌀ {size}"
        width = painter.fontMetrics().horizontalAdvance(what)
        left = min(max(drum.x() - radius, area.left() + 160), self.width() - width - 4)
        painter.drawText(QPointF(left, below), what)
        painter.setPen(self._theme.color("belt"))
        painter.drawText(QPointF(drum.x() + radius + GRID_PX, 2 * GRID_PX), "belt")

    def _belt(self, painter: QPainter, drum: QPointF, radius: float, offset: float) -> None:
        radius += max(offset, 2.0)
        path = QPainterPath()
        path.moveTo(self.width() + 10, drum.y() - radius)
        path.lineTo(drum.x(), drum.y() - radius)
        box = QRectF(drum.x() - radius, drum.y() - radius, 2 * radius, 2 * radius)
        path.arcTo(box, 90, 180)
        path.lineTo(self.width() + 10, drum.y() + radius)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(self._theme.color("belt"), 4))
        painter.drawPath(path)


def _circle(centre: QPointF, radius: float) -> QPainterPath:
    path = QPainterPath()
    path.addEllipse(centre, radius, radius)
    return path


def _toothed(centre: QPointF, radius: float, teeth: int, root: float) -> QPainterPath:
    """A wheel with square teeth, `root` the valley's share of the radius."""
    path = QPainterPath()
    for tooth in range(teeth):
        for share, part in ((0.0, root), (0.25, 1.0), (0.5, 1.0), (0.75, root)):
            for at in (share, share + 0.25):
                angle = 2 * math.pi * (tooth + at) / teeth
                level = radius * part
                point = QPointF(
                    centre.x() + level * math.cos(angle), centre.y() + level * math.sin(angle)
                )
                if tooth == 0 and share == 0.0 and at == 0.0:
                    path.moveTo(point)
                else:
                    path.lineTo(point)
    path.closeSubpath()
    path.addEllipse(centre, 0.18 * radius, 0.18 * radius)
    return path

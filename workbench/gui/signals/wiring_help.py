"""What to check where no pulse comes: the drawing, its numbered steps, the caution between."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPainterPath, QPen, QPolygonF
from PySide6.QtWidgets import QFrame, QLabel, QScrollArea, QSizePolicy, QWidget

from workbench.base.cautions import Caution
from workbench.base.machine import Machine
from workbench.base.units import UnitSystem
from workbench.gui.parts.basics import CautionCard, Painted, label
from workbench.gui.parts.drawn_text import Side, draw_text
from workbench.gui.parts.layout import column_of, line_of
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, fitted_font
from workbench.models.bench import Bench
from workbench.models.signals.wiring_steps import (
    PINS,
    WiringStep,
    at_the_laptop,
    at_the_machine,
    gap_words,
    is_coil,
)
from workbench.words.language import _
from workbench.words.words import Words

WIDE, HIGH = 820.0, 216.0
"""The drawing's own measures; it is fitted into the room there is."""

LINE = 96.0
"""Height at which the signal runs."""


class WiringDrawing(Painted):
    """Laptop, USB, counter board, pull-up, optocoupler, supply, cable, pickup, gap, wheel."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme)
        self._coil, self._pin, self._gap = True, "GP10", ""
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)
        self.setAccessibleName(_("Drawing of the wiring, from the laptop to the wheel"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(int(WIDE), int(HIGH))

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        return QSize(50 * GRID_PX, int(HIGH * 50 * GRID_PX / WIDE))

    def hasHeightForWidth(self) -> bool:  # noqa: N802
        return True

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        return int(min(width, 1.25 * WIDE) * HIGH / WIDE)

    def show_wiring(self, *, coil: bool, pin: str, gap: str) -> None:
        """A coil pickup or a switched one, on that pin of the board, with that gap in words."""
        if (coil, pin, gap) != (self._coil, self._pin, self._gap):
            self._coil, self._pin, self._gap = coil, pin, gap
            self.setAccessibleDescription(f"{pin}, {gap}")
            self.update()

    def _paint(self, painter: QPainter) -> None:
        scale = min(self.width() / WIDE, self.height() / HIGH)
        painter.translate((self.width() - WIDE * scale) / 2, 0)
        painter.scale(scale, scale)
        painter.setFont(fitted_font(SMALL_PX))
        self._sides(painter)
        self._laptop(painter)
        self._board(painter)
        self._optocoupler(painter)
        self._cable(painter)
        self._supply(painter)
        self._wheel(painter)
        self._pickup(painter)

    def _sides(self, painter: QPainter) -> None:
        painter.setPen(QPen(self._theme.color("no_data"), 1.5, Qt.PenStyle.DashLine))
        painter.drawLine(QPointF(398, 4), QPointF(398, 94))
        painter.drawLine(QPointF(398, 186), QPointF(398, HIGH - 4))
        self._text(painter, QRectF(228, 2, 164, 20), _("laptop's side"), "R")
        self._text(painter, QRectF(404, 2, 164, 20), _("machine's side"), "L")

    def _laptop(self, painter: QPainter) -> None:
        self._box(painter, QRectF(12, 62, 84, 58))
        self._text(painter, QRectF(12, 62, 84, 58), "laptop", "C", "ink")
        base = QPolygonF([QPointF(4, 128), QPointF(104, 128), QPointF(96, 120), QPointF(12, 120)])
        painter.drawPolygon(base)
        cable = QPainterPath(QPointF(96, LINE))
        cable.cubicTo(QPointF(124, LINE + 34), QPointF(136, LINE - 34), QPointF(164, LINE))
        painter.setPen(QPen(self._theme.color("ink"), 4))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPath(cable)
        self._text(painter, QRectF(96, 124, 68, 20), "USB", "C")
        self._number(painter, 1, QPointF(130, 60))

    def _board(self, painter: QPainter) -> None:
        self._box(painter, QRectF(164, 52, 104, 96))
        self._text(painter, QRectF(164, 58, 104, 20), "counter", "C", "ink")
        self._text(painter, QRectF(164, 76, 104, 20), "board", "C", "ink")
        self._text(painter, QRectF(190, 100, 72, 20), self._pin, "R", "ink")
        self._text(painter, QRectF(190, 122, 72, 20), "GND", "R")
        self._number(painter, 2, QPointF(216, 34))
        self._line(painter, "belt", (268, 110), (352, 110))
        self._line(painter, "ink", (268, 132), (352, 132))
        # The pull-up from the pin to the board's 3.3 V.
        self._line(painter, "earth", (310, 110), (310, 92))
        self._box(painter, QRectF(303, 62, 14, 30))
        self._line(painter, "earth", (310, 62), (310, 50), (300, 50), (320, 50))
        self._dot(painter, QPointF(310, 110))
        self._text(painter, QRectF(322, 36, 60, 20), "3.3 V", "L", "earth")
        self._text(painter, QRectF(322, 66, 60, 20), "R8", "L")
        self._number(painter, 3, QPointF(286, 74))

    def _optocoupler(self, painter: QPainter) -> None:
        self._box(painter, QRectF(352, 96, 92, 50))
        word = QRectF(340, 148, 116, 20)
        self._text(painter, word, "optocoupler", "C")
        if self._coil:
            self._text(painter, QRectF(340, 164, 116, 20), _("and comparator"), "C")
        painter.setPen(QPen(self._theme.color("ink"), 1.6))
        painter.setBrush(self._theme.color("ink"))
        # The diode on the machine's side, its light, the transistor on the laptop's.
        painter.drawPolygon(QPolygonF([QPointF(414, 114), QPointF(432, 114), QPointF(423, 127)]))
        painter.drawLine(QPointF(413, 129), QPointF(433, 129))
        painter.drawLine(QPointF(408, 121), QPointF(390, 121))
        painter.drawLine(QPointF(390, 121), QPointF(396, 117))
        painter.drawLine(QPointF(390, 121), QPointF(396, 125))
        painter.drawLine(QPointF(378, 110), QPointF(378, 132))
        painter.drawLine(QPointF(378, 116), QPointF(364, 108))
        painter.drawLine(QPointF(378, 126), QPointF(364, 134))

    def _cable(self, painter: QPainter) -> None:
        wires = (("belt", 110.0), ("ink", 132.0)) if self._coil else _SWITCHED
        for color, y in wires:
            # Supply and 0 V of a switched pickup come from the battery, the rest from the left.
            start = 444.0 if self._coil or color == "belt" else 500.0
            self._line(painter, color, (start, y), (556, y))
            self._line(painter, color, (580, y), (640, y))
        low, high = wires[0][1] - 10, wires[-1][1] + 10
        painter.setPen(QPen(self._theme.color("no_data"), 1.4, Qt.PenStyle.DotLine))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(QRectF(586, low, 46, high - low), 8, 8)
        self._box(painter, QRectF(554, low, 12, high - low))
        self._box(painter, QRectF(570, low, 12, high - low))
        self._text(painter, QRectF(528, high + 2, 80, 20), _("plug, cable"), "C")
        self._number(painter, 5, QPointF(568, low - 16))

    def _supply(self, painter: QPainter) -> None:
        """Battery and fuse: they feed the switched pickup, or the coil's comparator."""
        if self._coil:
            self._line(painter, "earth", (430, 96), (430, 40), (446, 40))
        else:
            self._line(painter, "earth", (430, 96), (430, 88), (500, 88), (500, 52))
            self._dot(painter, QPointF(500, 88))
            self._box(painter, QRectF(450, 81, 30, 14))
            self._text(painter, QRectF(445, 62, 40, 20), "R1", "C")
            self._line(painter, "ink", (500, 132), (500, 142))
            for half, y in ((10, 142), (6, 146), (2, 150)):
                self._line(painter, "ink", (500 - half, y), (500 + half, y))
            self._text(painter, QRectF(506, 112, 40, 20), "0 V", "L")
        self._box(painter, QRectF(446, 28, 110, 24))
        self._text(painter, QRectF(446, 28, 110, 24), "12 V, fuse 1 A", "C", "ink")
        self._text(painter, QRectF(460, 52, 96, 20), "battery", "R")
        self._number(painter, 4, QPointF(572, 28))

    def _pickup(self, painter: QPainter) -> None:
        self._box(painter, QRectF(640, 84, 52, 62))
        self._box(painter, QRectF(692, 98, 26, 34))
        painter.setPen(QPen(self._theme.color("ink"), 1.2))
        for wind in range(648, 690, 7):
            painter.drawLine(QPointF(wind, 86), QPointF(wind, 144))
        self._text(painter, QRectF(624, 148, 84, 20), "pickup", "C")
        self._number(painter, 6, QPointF(666, 64))
        # The gap's measure, between the face and the tooth.
        painter.setPen(QPen(self._theme.color("ink"), 1.2))
        for x in (718.0, 732.0):
            painter.drawLine(QPointF(x, 132), QPointF(x, 186))
        painter.drawLine(QPointF(704, 180), QPointF(718, 180))
        painter.drawLine(QPointF(732, 180), QPointF(746, 180))
        self._text(painter, QRectF(440, 170, 236, 20), self._gap, "R", "ink")
        self._number(painter, 7, QPointF(690, 180))

    def _wheel(self, painter: QPainter) -> None:
        centre, root, tip, teeth = QPointF(838, 115), 92.0, 106.0, 20
        path = QPainterPath()
        for tooth in range(teeth):
            for share, radius in ((-0.27, root), (-0.22, tip), (0.22, tip), (0.27, root)):
                turn = 2 * math.pi * (tooth + share) / teeth + math.pi
                point = centre + QPointF(radius * math.cos(turn), radius * math.sin(turn))
                path.lineTo(point) if tooth or share > -0.27 else path.moveTo(point)
        path.closeSubpath()
        painter.save()
        painter.setClipRect(QRectF(0, 0, WIDE, HIGH))
        painter.setPen(QPen(self._theme.color("ink"), 1.6))
        painter.setBrush(self._theme.color("line"))
        painter.drawPath(path)
        painter.restore()
        self._text(painter, QRectF(756, 124, 60, 20), "wheel", "R", "ink")
        self._number(painter, 8, QPointF(790, 108))

    # ---- pieces

    def _box(self, painter: QPainter, box: QRectF) -> None:
        painter.setPen(QPen(self._theme.color("ink"), 1.6))
        painter.setBrush(self._theme.color("raised"))
        painter.drawRoundedRect(box, 3, 3)

    def _line(self, painter: QPainter, color: str, *points: tuple[float, float]) -> None:
        painter.setPen(QPen(self._theme.color(color), 2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPolyline(QPolygonF([QPointF(x, y) for x, y in points]))

    def _dot(self, painter: QPainter, at: QPointF) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color("ink"))
        painter.drawEllipse(at, 3, 3)

    def _number(self, painter: QPainter, number: int, at: QPointF) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self._theme.color("ink"))
        painter.drawEllipse(at, 11, 11)
        painter.setFont(fitted_font(SMALL_PX, bold=True))
        self._text(painter, QRectF(at.x() - 11, at.y() - 11, 22, 22), str(number), "C", "ground")
        painter.setFont(fitted_font(SMALL_PX))

    def _text(
        self, painter: QPainter, box: QRectF, text: str, side: Side, color: str = "soft_ink"
    ) -> None:
        draw_text(painter, box, text, side, self._theme.color(color))


_SWITCHED = (("earth", 88.0), ("belt", 110.0), ("ink", 132.0))
"""Supply, signal and 0 V of a pickup with three wires."""


class WiringHelp(QScrollArea):
    """Scrolls up and down only."""

    def __init__(self, bench: Bench, theme: Theme) -> None:
        super().__init__()
        self._bench = bench
        self._shown: tuple[Machine | None, UnitSystem] | None = None
        self._drawing = WiringDrawing(theme)
        self._machine_steps = column_of(gap=-1)
        self._after_caution = QWidget()
        self._after_caution.setLayout(self._machine_steps)
        self._machine_steps.setContentsMargins(0, 0, 0, 0)
        self._machine_steps.setSpacing(GRID_PX)
        body = QWidget()
        column = column_of(
            self._drawing,
            label("At the laptop and the board", "text"),
            on=body,
            gap=2 * GRID_PX,
            edges=(0, 0, GRID_PX, 0),
        )
        for step in at_the_laptop():
            column.addWidget(_step_row(step))
        column.addWidget(label("At the machine", "text"))
        read = self._bench.cautions_read
        self._caution = CautionCard(Caution.AT_THE_WHEEL, read, self._caution_read)
        column.addWidget(self._caution)
        column.addWidget(self._after_caution)
        column.addStretch(1)
        self.setWidget(body)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName(_("What to check where no pulse comes"))

    def refresh(self, channel: str) -> None:
        """Follow the machine in use, the units and the channel that is looked at."""
        machine, units = self._bench.machine, self._bench.settings.units
        self._drawing.show_wiring(
            coil=is_coil(machine),
            pin=PINS.get(channel, PINS["left"]),
            gap=gap_words(machine, units),
        )
        self._caution.setVisible(not self._caution.is_read)
        self._after_caution.setVisible(self._caution.is_read)
        if (machine, units) != self._shown:
            self._shown = (machine, units)
            self._fill(at_the_machine(machine, units))

    def _fill(self, steps: Sequence[WiringStep]) -> None:
        while (item := self._machine_steps.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()  # it is gone only once Qt comes to it, and would be drawn until then
                widget.deleteLater()
        for step in steps:
            self._machine_steps.addWidget(_step_row(step))
        self._machine_steps.addWidget(label(Words().say(Caution.AT_THE_WIRING), "soft"))

    def _caution_read(self) -> None:
        self._after_caution.show()
        self.setFocus()


def _step_row(step: WiringStep) -> QWidget:
    """The step's number, its place in bold, and what to look for."""
    holder = QWidget()
    line = line_of(on=holder)
    number = label(str(step.number), "text", wrap=False)
    number.setFixedWidth(3 * GRID_PX)
    number.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignRight)
    text = QLabel(f"<b>{step.what}.</b> {step.text}")
    text.setTextFormat(Qt.TextFormat.RichText)
    text.setWordWrap(True)
    text.setAlignment(Qt.AlignmentFlag.AlignTop)
    line.addWidget(number)
    line.addWidget(text, 1)
    return holder

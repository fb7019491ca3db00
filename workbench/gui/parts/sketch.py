"""Shows a sketch: as wide as it may be, as high as its lines."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import (
    QBrush,
    QFont,
    QFontMetricsF,
    QPainter,
    QPen,
    QPolygonF,
    QTextLayout,
    QTextOption,
)
from PySide6.QtWidgets import QSizePolicy

from workbench.gui.parts.basics import Painted
from workbench.gui.theme import SMALL_PX, Theme, font, grown
from workbench.words.pictures.sketch import EMPTY, Area, Filling, Sketch, Stroke, Word

LINE_PX = 20
"""Height of a line of small text."""
PALE_ALPHA, HATCH_ALPHA = 46, 200


class SketchView(Painted):
    """One sketch; hidden while it is empty."""

    def __init__(self, theme: Theme, name: str) -> None:
        super().__init__(theme)
        self._sketch, self._times = EMPTY, 1.0
        self.setAccessibleName(name)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.hide()

    @property
    def sketch(self) -> Sketch:
        return self._sketch

    def show_sketch(self, sketch: Sketch) -> None:
        """Draw this from now on."""
        self._sketch = sketch
        self.setAccessibleDescription(sketch.said)
        self.setToolTip(sketch.said)
        self.setVisible(bool(sketch.shapes))
        self.updateGeometry()
        self.update()

    def magnify(self, times: float) -> None:
        """Draw its lines so many times as high; its words stay as they are."""
        if times != self._times:
            self._times = times
            self.updateGeometry()

    def _line_px(self) -> float:
        return grown(LINE_PX) * self._times

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(20 * LINE_PX, round(self._line_px() * self._sketch.height) + 2)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        return QSize(10 * LINE_PX, self.sizeHint().height())

    def _paint(self, painter: QPainter) -> None:
        for shape in self._sketch.shapes:
            if isinstance(shape, Word):
                self._word(painter, shape)
            elif isinstance(shape, Area):
                self._area(painter, shape)
            else:
                self._line(painter, shape)

    def _at(self, place: tuple[float, float]) -> QPointF:
        return QPointF(1 + place[0] * (self.width() - 2), 1 + place[1] * self._line_px())

    def _area(self, painter: QPainter, area: Area) -> None:
        color = self._theme.color(area.role)
        brush = QBrush(color)
        if area.look is Filling.PALE:
            brush = QBrush(self._theme.color(area.role, PALE_ALPHA))
        elif area.look is Filling.HATCHED:
            hatch = self._theme.color(area.role, HATCH_ALPHA)
            brush = QBrush(hatch, Qt.BrushStyle.BDiagPattern)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(brush)
        painter.drawPolygon(QPolygonF([self._at(place) for place in area.corners]))

    def _line(self, painter: QPainter, line: Stroke) -> None:
        pen = QPen(self._theme.color(line.role), grown(2.5 if line.bold else 1.5))
        if line.dashed:
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)
        painter.drawPolyline(QPolygonF([self._at(place) for place in line.places]))

    def _word(self, painter: QPainter, word: Word) -> None:
        made = font(SMALL_PX, bold=word.bold)
        painter.setFont(made)
        painter.setPen(self._theme.color(word.role))
        box = QRectF(self._at((word.left, word.top)), self._at((word.right, word.top + word.lines)))
        for row, text in enumerate(_broken(word, made, box.width())):
            line = QRectF(box.left(), box.top() + row * grown(LINE_PX), box.width(), grown(LINE_PX))
            across = {
                -1: Qt.AlignmentFlag.AlignLeft,
                0: Qt.AlignmentFlag.AlignHCenter,
                1: Qt.AlignmentFlag.AlignRight,
            }[word.way]
            painter.drawText(line, across | Qt.AlignmentFlag.AlignVCenter, text)


def _broken(word: Word, made: QFont, width_px: float) -> list[str]:
    """Its lines, as many as it may have, the last with what is left."""
    layout, metrics = QTextLayout(word.text, made), QFontMetricsF(made)
    option = QTextOption()
    option.setWrapMode(QTextOption.WrapMode.WordWrap)
    layout.setTextOption(option)
    layout.beginLayout()
    starts = []
    while (line := layout.createLine()).isValid():
        line.setLineWidth(width_px)
        starts.append(line.textStart())
    layout.endLayout()
    ends = [*starts[1:], len(word.text)]
    lines = [word.text[a:b].rstrip() for a, b in zip(starts, ends, strict=True)]
    if len(lines) > word.lines:
        left = word.text[starts[word.lines - 1] :]
        lines = [*lines[: word.lines - 1], left]
    return [metrics.elidedText(one, Qt.TextElideMode.ElideRight, width_px) for one in lines]

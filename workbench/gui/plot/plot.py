"""The plot: draws a picture, reads it out by mouse and keys, looks closer, saves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, QSizeF, Qt, Signal
from PySide6.QtGui import (
    QFocusEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from workbench.base.units import METRIC, UnitSystem
from workbench.gui.parts.basics import FOCUS_PX, draw_focus
from workbench.gui.plot.drawing import Drawing
from workbench.gui.plot.layout import CAPTION_PX, Layout, lay_out
from workbench.gui.plot.reading import Row, draw_box, place_text, rows_at
from workbench.gui.plot.save import SavePlot
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.words.pictures.picture import NOTHING, Column, Picture, columns

CLOSEST = 1e-7
"""Of the whole: the least that can be looked at; of eight hours three milliseconds."""
STEP, ZOOM, A_NOTCH = 0.01, 1.25, 120
"""Of what is seen, a step of the cursor by key; a zoom by key, or by a notch of the wheel."""
NEAR_PX = 24.0
"""So near a click is one on a point."""


class Plot(QWidget):
    """Shows one picture at a time.

    Drag to move along, turn the wheel to look closer, double click to see the whole again.
    `picked` tells which point of its row was clicked, or chosen by Enter; `said` what became
    of saving the plot.
    """

    cursor_moved = Signal(float)
    picked = Signal(int)
    said = Signal(str)

    def __init__(self, theme: Theme, name: str, empty: str = "") -> None:
        super().__init__()
        self._theme, self._empty, self._units = theme, empty, METRIC
        self._picture, self._seen, self._follows = NOTHING, (0.0, 1.0), True
        self._cursor: float | None = None
        self._dragged: QPointF | None = None
        self._sentence = ""
        self._layout: Layout | None = None
        self._drawn: QPixmap | None = None
        self.setAccessibleName(name)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setMinimumHeight(16 * GRID_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.save = SavePlot(self)
        self.save.dress(theme)
        self.save.said.connect(self._say)
        self.save.said.connect(self.said)

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(480, 240)

    @property
    def picture(self) -> Picture:
        """What is shown."""
        return self._picture

    @property
    def placed(self) -> Layout:
        """Where everything of it stands."""
        if self._layout is None:
            size = QSizeF(self.size())
            self._layout = lay_out(self._picture, self._units, self._theme, size, self._seen)
        return self._layout

    def set_theme(self, theme: Theme) -> None:
        """Take a theme's colours."""
        self._theme = theme
        self.save.dress(theme)
        self._anew()

    def show_picture(self, picture: Picture, units: UnitSystem, *, anew: bool = False) -> None:
        """Draw this from now on, in these units.

        The person goes on looking at the part looked at before; where `anew`, at the whole.
        """
        self._picture, self._units = picture, units
        if anew:
            self._follows = True
            self.point_at(None)
        if self._follows:
            self._seen = picture.span
        elif self._cursor is not None:
            self.point_at(self._cursor)
        self.save.setVisible(bool(picture.panels))
        self._anew()

    def use_units(self, units: UnitSystem) -> None:
        """Draw the same in other units."""
        self._units = units
        self._anew()

    def seen(self) -> tuple[float, float]:
        """What is seen along the bottom."""
        return self._seen

    def see(self, low: float, high: float) -> None:
        """Look at a part, within three times the whole."""
        first, last = self._picture.span
        whole = last - first
        width = min(max(high - low, CLOSEST * whole), 3 * whole)
        low = min(max(low, first - whole), last + whole - width)
        self._follows, self._seen = False, (low, low + width)
        self._anew()

    def see_all(self) -> None:
        """Back to the whole."""
        self._follows, self._seen = True, self._picture.span
        self._anew()

    def point_at(self, x: float | None) -> None:
        """Read out at a place along the bottom, or at the point nearest to it; None ends it."""
        if x is not None:
            places = self._picture.places
            if places.size:
                x = float(places[np.argmin(np.abs(places - x))])
        moved, self._cursor, self._sentence = x != self._cursor, x, ""
        self.setAccessibleDescription(", ".join(self.reading))
        self.update()
        if moved and x is not None:
            self.cursor_moved.emit(x)

    @property
    def reading(self) -> list[str]:
        """What is read out now: the place, then a line each; [] where nothing is."""
        if self._cursor is None or not self._picture.panels:
            return []
        return [self._place(self._cursor), *(row.text for row in self._rows(self._cursor))]

    def columns(self) -> Sequence[Column]:
        """The picture's numbers, for a table."""
        return columns(self._picture, self._units)

    def paint_picture(self, painter: QPainter) -> None:
        """Draw what is seen, for a file."""
        if self._picture.panels:
            Drawing(painter, self._picture, self.placed, self._units, self._theme).draw()
            return
        painter.setFont(font(SMALL_PX))
        painter.setPen(self._theme.color("soft_ink"))
        flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
        painter.drawText(self.rect(), flags, self._empty)

    def _rows(self, x: float) -> list[Row]:
        return rows_at(self._picture, self.placed, self._units, self._theme, x)

    def _place(self, x: float) -> str:
        return place_text(self._picture.x, self._units, self._seen, x)

    def _anew(self) -> None:
        self._layout = self._drawn = None
        self.update()

    def _say(self, sentence: str) -> None:
        """A sentence in the plot's corner, until the cursor moves."""
        self.point_at(None)
        self._sentence = sentence
        self.update()

    # Painting: the picture is drawn once, the cursor over it as often as it moves.

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        if self._drawn is None:
            sharp = self.devicePixelRatioF()
            self._drawn = QPixmap(self.size() * sharp)
            self._drawn.setDevicePixelRatio(sharp)
            self._drawn.fill(self._theme.color("ground"))
            drawing = QPainter(self._drawn)
            self.paint_picture(drawing)
            drawing.end()
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._drawn)
        self._paint_cursor(painter)
        draw_focus(painter, self, self._theme)
        painter.end()

    def _paint_cursor(self, painter: QPainter) -> None:
        painter.setFont(font(SMALL_PX))
        corner = QRectF(0, FOCUS_PX, self.save.x(), self.height())
        if self._sentence:
            draw_box(painter, self._theme, [Row("", self._sentence, "")], corner, corner.right())
        if self._cursor is None or not self._picture.panels:
            return
        layout, x = self.placed, self.placed.x.px(self._cursor)
        painter.setPen(QPen(self._theme.color("soft_ink"), 1))
        for place in layout.places:
            painter.drawLine(QPointF(x, place.box.top()), QPointF(x, place.box.bottom()))
        rows = [Row("", self._place(self._cursor), ""), *self._rows(self._cursor)]
        # Beside the button, which lies over all that is drawn.
        whole = QRectF(0, CAPTION_PX, self.save.x(), self.height() - CAPTION_PX)
        draw_box(painter, self._theme, rows, whole, x + GRID_PX, or_left_of=x - GRID_PX)

    # The mouse

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        at = event.position()
        if self._dragged is not None:
            low, high = self._seen
            by = (self._dragged.x() - at.x()) / self.placed.x.px_each
            self._dragged = at
            self.see(low + by, high + by)
            return
        inside = any(place.box.contains(at) for place in self.placed.places)
        self.point_at(self.placed.x.value(at.x()) if inside else None)

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        self._dragged = event.position()
        found = self._point_near(event.position())
        if found is not None:
            self.picked.emit(found)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        self._dragged = None

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        self.see_all()

    def wheelEvent(self, event: QWheelEvent) -> None:  # noqa: N802
        notches = event.angleDelta().y() / A_NOTCH
        self._zoom(self.placed.x.value(event.position().x()), ZOOM**-notches)
        event.accept()

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802
        self.point_at(None)

    def _point_near(self, at: QPointF) -> int | None:
        """Which point of its row lies at a place, the nearest first; None where none does."""
        nearest, found = NEAR_PX, None
        for place in self.placed.places:
            for points in place.panel.points:
                away = np.hypot(self.placed.x.px(points.x) - at.x(), place.y.px(points.y) - at.y())
                for index in np.flatnonzero(away < nearest).tolist():
                    if away[index] < nearest:
                        nearest, found = float(away[index]), index
        return found

    # The keys

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        about = self._seen[1] if self._cursor is None else self._cursor
        far = 10 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
        match event.key():
            case Qt.Key.Key_Left:
                self._walk(-far)
            case Qt.Key.Key_Right:
                self._walk(far)
            case Qt.Key.Key_Plus | Qt.Key.Key_Equal:
                self._zoom(about, 1 / ZOOM)
            case Qt.Key.Key_Minus:
                self._zoom(about, ZOOM)
            case Qt.Key.Key_Home:
                self.see_all()
            case Qt.Key.Key_Escape if self._cursor is not None:
                self.point_at(None)
            case Qt.Key.Key_Return | Qt.Key.Key_Enter if self._cursor is not None:
                self._pick(self._cursor)
            case _:
                super().keyPressEvent(event)

    def _walk(self, steps: int) -> None:
        """The cursor on by so many steps or points; the picture goes with it beyond its edges."""
        low, high = self._seen
        places = self._picture.places
        if places.size:
            if self._cursor is None:
                at = 0 if steps > 0 else places.size - 1
            else:
                at = int(np.searchsorted(places, self._cursor)) + steps
            x = float(places[min(max(at, 0), places.size - 1)])
        else:
            begin = high if self._cursor is None else self._cursor
            first, last = self._picture.span
            x = min(max(begin + steps * STEP * (high - low), first), last)
        if not low <= x <= high:
            shift = x - low if x < low else x - high
            self.see(low + shift, high + shift)
        self.point_at(x)

    def _zoom(self, about: float, by: float) -> None:
        low, high = self._seen
        self.see(about + by * (low - about), about + by * (high - about))

    def _pick(self, x: float) -> None:
        """As if the point read out were clicked."""
        for panel in self._picture.panels:
            for points in panel.points:
                found = np.flatnonzero(points.x == x)
                if found.size:
                    self.picked.emit(int(found[0]))
                    return

    def focusInEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        super().focusOutEvent(event)
        self.point_at(None)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        self.save.move(self.width() - self.save.width() - FOCUS_PX, FOCUS_PX)
        self._anew()

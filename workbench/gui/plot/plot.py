"""The plot: shows a picture, reads it out by mouse and keys, looks closer, saves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from pyqtgraph.GraphicsScene.mouseEvents import MouseClickEvent
from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QFocusEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QShowEvent,
)
from PySide6.QtWidgets import QGraphicsScene, QSizePolicy

from workbench.base.units import METRIC, UnitSystem
from workbench.gui.parts.basics import FOCUS_PX, draw_focus
from workbench.gui.plot.panel import PlotPanel
from workbench.gui.plot.reading import ReadingBox, Row, place_text, rows_at
from workbench.gui.plot.save import SavePlot
from workbench.gui.plot.stack import Stack
from workbench.gui.plot.words import CAPTION_PX, Text, draw_words
from workbench.gui.theme import GRID_PX, SMALL_PX, Theme, font
from workbench.words.pictures.picture import NOTHING, Column, Picture, columns

STEP, ZOOM = 0.01, 1.25
"""Of what is seen, a step of the cursor by key; a zoom by key."""
NEAR_PX = 24.0
"""So near a click is one on a point."""


class Plot(pg.GraphicsView):  # type: ignore[misc]
    """Shows one picture at a time.

    Drag to move along, turn the wheel to look closer, double click to see the whole again.
    `picked` tells which point of its row was clicked, or chosen by Enter; `said` what became
    of saving the plot. Panels are made when they are first seen: a page may hold plots that
    are not for long.
    """

    cursor_moved = Signal(float)
    picked = Signal(int)
    said = Signal(str)

    def __init__(self, theme: Theme, name: str, empty: str = "") -> None:
        super().__init__()
        self._theme, self._empty, self._units = theme, empty, METRIC
        self._picture, self._follows, self._stale = NOTHING, True, False
        self._stack = Stack(self)
        self._cursor: float | None = None
        # An axis of the library is as large as the view it is linked to: that changes unsaid, and
        # a tree of the scene would keep an item that is gone where it once was, and crash.
        self.scene().setItemIndexMethod(QGraphicsScene.ItemIndexMethod.NoIndex)
        self.setAccessibleName(name)
        self.setMinimumHeight(16 * GRID_PX)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.scene().sigMouseClicked.connect(self._clicked)
        self._box = ReadingBox(self)
        self.save = SavePlot(self)
        self.save.said.connect(self._say)
        self.save.said.connect(self.said)
        self.set_theme(theme)

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(480, 240)

    @property
    def picture(self) -> Picture:
        """What is shown."""
        return self._picture

    @property
    def panels(self) -> list[PlotPanel]:
        """The panels as they are drawn, from the top."""
        if self._stale:
            self._show()
        return self._stack.panels

    @property
    def words(self) -> list[Text]:
        """The words round the panels as they are drawn."""
        return self._stack.words if self.panels else []

    def set_theme(self, theme: Theme) -> None:
        """Take a theme's colours."""
        self._theme = theme
        self.setBackground(theme.color("ground"))
        self.save.dress(theme)
        self._box.dress(theme)
        self._anew()

    def show_picture(self, picture: Picture, units: UnitSystem, *, anew: bool = False) -> None:
        """Draw this from now on, in these units.

        The person goes on looking at the part looked at before; where `anew`, at the whole.
        """
        self._picture, self._units = picture, units
        self.save.setVisible(bool(picture.panels))
        if anew:
            self._follows = True
            self.point_at(None)
        self._anew()

    def use_units(self, units: UnitSystem) -> None:
        """Draw the same in other units."""
        self._units = units
        self._anew()

    def seen(self) -> tuple[float, float]:
        """What is seen along the bottom."""
        return self._stack.seen if self.panels else self._picture.span

    def see(self, low: float, high: float) -> None:
        """Look at a part, within three times the whole."""
        self._follows = False
        if self.panels:
            self._stack.see(low, high)

    def see_all(self) -> None:
        """Back to the whole."""
        self._follows = True
        if self.panels:
            self._stack.see(*self._picture.span)

    def point_at(self, x: float | None) -> None:
        """Read out at a place along the bottom, or at the point nearest to it; None ends it."""
        if x is not None:
            places = self._picture.places
            if places.size:
                x = float(places[np.argmin(np.abs(places - x))])
        moved, self._cursor = x != self._cursor, x
        self._show_cursor()
        if moved and x is not None:
            self.cursor_moved.emit(x)

    @property
    def reading(self) -> list[str]:
        """What is read out now: the place, then a line each; [] where nothing is."""
        return [row.text for row in self._rows()]

    def columns(self) -> Sequence[Column]:
        """The picture's numbers, for a table."""
        return columns(self._picture, self._units)

    def paint_picture(self, painter: QPainter) -> None:
        """Draw what is seen, for a file."""
        if self.panels:
            self.point_at(None)
            self.render(painter, QRectF(self.rect()), self.rect())

    def _anew(self) -> None:
        self._stale = True
        if self.isVisible():
            self._show()

    def _show(self) -> None:
        """Show the picture that is to be shown, in the panels there are or new ones."""
        if self._stack.make_panels([panel.share for panel in self._picture.panels]):
            for panel in self._stack.panels:
                panel.view.sigXRangeChanged.connect(self._draw)
                panel.view.sigRangeChangedManually.connect(self._let_go)
        self._stack.show_picture(self._picture, self._units, self._theme)
        if self._follows and self._stack.panels:
            self._stack.see(*self._picture.span)
        self._stale = False  # what the views told of their range until now was drawn by none
        self._draw()
        self.point_at(self._cursor)

    def _draw(self) -> None:
        """Draw what is seen now, and the words round it."""
        if not self._stale:
            self._stack.draw()
            self._show_cursor()
            self.viewport().update()

    def _show_cursor(self) -> None:
        rows = self._rows()
        self.setAccessibleDescription(", ".join(row.text for row in rows))
        self._box.setVisible(bool(rows))
        if self._stale or self._cursor is None:
            for panel in self._stack.panels:
                panel.cursor.hide()
            return
        for panel in self._stack.panels:
            panel.cursor.setPos(self._cursor)
            panel.cursor.show()
        for panel in self._stack.panels[:1]:
            box, (low, high) = panel.box, self.seen()
            x = round(box.left() + (self._cursor - low) / (high - low) * box.width())
            self._box.show_rows(rows, CAPTION_PX, x + GRID_PX, x - GRID_PX, self.save.x())

    def _rows(self) -> list[Row]:
        x, picture = self._cursor, self._picture
        if x is None or not picture.panels:
            return []
        place = Row("", place_text(picture.x, self._units, self.seen(), x), "")
        return [place, *rows_at(picture, self._units, self._theme, x)]

    def _say(self, sentence: str) -> None:
        """A sentence in the plot's corner, until the cursor moves."""
        self.point_at(None)
        left = self.save.x()
        self._box.show_rows([Row("", sentence, "")], FOCUS_PX, left, left, left)

    def _let_go(self) -> None:
        self._follows = False

    def drawForeground(self, painter: QPainter, rect: QRectF) -> None:  # noqa: N802
        draw_words(painter, self._stack.words)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        super().paintEvent(event)
        painter = QPainter(self.viewport())
        if not self._stack.panels:
            painter.setFont(font(SMALL_PX))
            painter.setPen(self._theme.color("soft_ink"))
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(self.rect(), flags, self._empty)
        draw_focus(painter, self, self._theme)
        painter.end()

    # The mouse: the library's views move and zoom themselves.

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        super().mouseMoveEvent(event)
        at = self.mapToScene(event.position().toPoint())
        found = [panel for panel in self.panels if panel.box.contains(at)]
        free = found and not event.buttons()
        self.point_at(float(found[0].view.mapSceneToView(at).x()) if free else None)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:  # noqa: N802
        super().mouseDoubleClickEvent(event)
        self.see_all()

    def _clicked(self, event: MouseClickEvent) -> None:
        found = [panel.nearest(event.scenePos()) for panel in self.panels]
        if found and min(found)[0] < NEAR_PX:
            self.picked.emit(min(found)[1])

    def leaveEvent(self, event: QEvent) -> None:  # noqa: N802
        super().leaveEvent(event)
        self.point_at(None)

    # The keys

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        about = self.seen()[1] if self._cursor is None else self._cursor
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
                event.ignore()

    def _walk(self, steps: int) -> None:
        """The cursor on by so many steps or points; the picture goes with it beyond its edges."""
        low, high = self.seen()
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
        low, high = self.seen()
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
        self.viewport().update()

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        super().focusOutEvent(event)
        self.point_at(None)
        self.viewport().update()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        if self._stale:
            self._show()

    def resizeEvent(self, event: QResizeEvent | None) -> None:  # noqa: N802
        super().resizeEvent(event)
        if event is not None:  # the library calls it by itself, too
            self.save.move(self.width() - self.save.width() - FOCUS_PX, FOCUS_PX)
            self._draw()

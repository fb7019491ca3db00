"""What every plot can do: panels on one axis, names at the lines' ends, reading out by mouse
and keys, a double click for the whole, saving as PNG, SVG or CSV."""

from __future__ import annotations

import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QFocusEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QShowEvent,
)
from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.parts.basics import FOCUS_PX, draw_focus
from workbench.gui.plot.axes import (
    BOTTOM_PX,
    CAPTION_PX,
    LEADER_PX,
    EndNames,
    Times,
    Values,
    Words,
    clock_text,
    clock_unit,
    nice_step,
    text_width,
)
from workbench.gui.plot.marks import Marks
from workbench.gui.plot.panel import Panel
from workbench.gui.plot.reading import ReadingBox
from workbench.gui.plot.save import SavePlot
from workbench.gui.theme import Theme
from workbench.models.plot.table import Column

NAMES_PX = (72, 144)
"""Room for the names at the right: at least, at most."""
CLOSEST = 1e-7
"""Of the whole: the least that can be looked at; of eight hours three milliseconds."""
STEP, ZOOM = 0.01, 1.25
"""Of what is seen: a step of the cursor by key; a zoom by key."""
STROKE_PX = 1.0


class Plot(QWidget):
    """The base of all plots. A subclass adds panels and lines, then calls `draw`.

    It does so in `build`, which is called when the plot is first shown or given something to
    show: a page may hold plots that are not seen for long, and each takes its time to make.
    """

    cursor_moved = Signal(float)
    said = Signal(str)
    """What became of saving the plot."""

    def __init__(self, theme: Theme, name: str, *, times: bool = True, ago: bool = False) -> None:
        super().__init__()
        self._theme, self._times, self._ago = theme, times, ago
        self.setAccessibleName(name)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._made: list[Panel] = []
        self._built = False
        self._x_words, self._x_unit = "time", ""
        self._cursor: float | None = None
        self._span, self._follows = (0.0, 1.0), True
        self._marks = Marks()

    def build(self) -> None:
        """Add the panels; see the class."""

    @property
    def panels(self) -> list[Panel]:
        """From the top."""
        self.ensure_built()
        return self._made

    def ensure_built(self) -> None:
        """Call `build` now where that was not done yet."""
        if not self._built:
            self._built = True
            self._make_view()
            self.build()

    def _make_view(self) -> None:
        self._view = pg.GraphicsView()
        self._view.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._view.viewport().installEventFilter(self)
        self._layout = pg.GraphicsLayout()
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setSpacing(0)
        self._view.setCentralItem(self._layout)
        self.bottom = Times("bottom", ago=self._ago) if self._times else Values("bottom")
        centre = Qt.AlignmentFlag.AlignHCenter
        self._unit = Words(indent_px=LEADER_PX) if self._times else Words(centre)
        self._box = ReadingBox(self)
        self._save = SavePlot(self)
        self._save.said.connect(self.say)
        self._save.said.connect(self.said)
        self._place_button()
        column = QVBoxLayout(self)
        column.setContentsMargins(*[FOCUS_PX] * 4)
        column.addWidget(self._view)
        self._save.raise_()

    @property
    def save(self) -> SavePlot:
        """The button that saves the plot."""
        self.ensure_built()
        return self._save

    def add_panel(self, share: int = 1) -> Panel:
        """A panel below those there are, `share` of the height its own."""
        self.ensure_built()
        row = 2 * len(self._made)
        panel = Panel(
            self._theme,
            Words(),
            pg.ViewBox(enableMenu=False, defaultPadding=0),
            Values("left"),
            EndNames(),
            pg.InfiniteLine(movable=False),
        )
        grid = self._layout.layout
        panel.view.setMouseEnabled(x=True, y=False)
        panel.view.disableAutoRange()
        panel.view.addItem(panel.cursor, ignoreBounds=True)
        panel.cursor.hide()
        panel.left.linkToView(panel.view)
        panel.left.setGrid(True)
        self._layout.addItem(panel.caption, row, 1)
        self._layout.addItem(panel.left, row + 1, 0)
        self._layout.addItem(panel.view, row + 1, 1)
        self._layout.addItem(panel.names, row + 1, 2)
        grid.setRowFixedHeight(row, CAPTION_PX)
        grid.setRowStretchFactor(row + 1, share)
        if self._made:
            panel.view.setXLink(self._made[0].view)
        else:
            panel.view.sigXRangeChanged.connect(self.draw)
            panel.view.sigResized.connect(self.draw)
        panel.view.sigRangeChangedManually.connect(self._let_go)
        self._made.append(panel)
        return panel

    def close_panels(self, x_words: str, x_unit: str = "") -> None:
        """After the last panel: the axis below them, with its words."""
        self._x_words, self._x_unit = x_words, x_unit
        row, grid = 2 * len(self.panels), self._layout.layout
        self._layout.addItem(self.bottom, row, 1)
        grid.setRowFixedHeight(row, BOTTOM_PX)
        self.bottom.linkToView(self.panels[-1].view)
        if self._times:
            self._layout.addItem(self._unit, row, 2)
        else:
            self._layout.addItem(self._unit, row + 1, 1)
            grid.setRowFixedHeight(row + 1, CAPTION_PX)
        grid.setColumnStretchFactor(1, 1)
        grid.setColumnFixedWidth(2, NAMES_PX[0])
        self.set_theme(self._theme)

    def set_theme(self, theme: Theme) -> None:
        """Take a theme's colours."""
        self._theme = theme
        if not self._made:
            return
        self._view.setBackground(theme.ground)
        self.bottom.dress(theme)
        self._unit.dress(theme)
        for panel in self.panels:
            panel.dress(theme)
        self._box.dress(theme)
        self._save.dress(theme)
        self._marks.dress(theme)
        self.draw()

    def set_span(self, first: float, last: float) -> None:
        """The whole of what there is along the bottom; shown unless the person looks closer."""
        if (first, last) != self._span:
            self._span, whole = (first, last), max(last - first, 1e-6)
            for panel in self.panels:
                panel.view.setLimits(
                    xMin=first - whole, xMax=last + whole, minXRange=CLOSEST * whole
                )
        if self._follows:
            self.see_all()

    def see_all(self) -> None:
        """Back to the whole."""
        self._follows = True
        first, last = self._span
        if self.seen() != (first, last):
            self.panels[0].view.setXRange(first, max(last, first + 1e-6), padding=0)

    def seen(self) -> tuple[float, float]:
        """What is seen along the bottom."""
        low, high = self.panels[0].view.viewRange()[0]
        return float(low), float(high)

    def see(self, low: float, high: float) -> None:
        """Look at a part."""
        self._follows = False
        self.panels[0].view.setXRange(low, high, padding=0)

    def draw(self) -> None:
        """Draw the lines anew: only what is seen, no finer than the screen."""
        if not self._made:
            return
        self._show_unit()
        self._make_room()
        from_x, to_x = self.seen()
        columns = max(32, int(self.panels[0].view.width() / STROKE_PX))
        for panel in self.panels:
            panel.draw(from_x, to_x, columns)
        self._marks.place()
        if self._cursor is not None:
            self.point_at(self._cursor)

    def mark(self, x: float, word: str) -> None:
        """A thin vertical at a moment, with a word."""
        self._marks.add(x, word, self.panels, self._theme)
        self.draw()

    def clear_marks(self) -> None:
        """Take the verticals away."""
        self._marks.clear()

    def say(self, sentence: str) -> None:
        """A sentence in the plot's corner, until the cursor moves."""
        self.point_at(None)
        self._box.say(sentence, self.save.x())

    def point_at(self, x: float | None) -> None:
        """Read out at a place along the bottom; None ends it."""
        self._cursor = x
        for panel in self.panels:
            panel.cursor.setVisible(x is not None)
            if x is not None:
                panel.cursor.setPos(x)
        self._box.setVisible(x is not None)
        if x is not None:
            self._show_reading(x)
            self.cursor_moved.emit(x)

    @property
    def reading(self) -> list[str]:
        """What is read out now: the place, then a line each; [] where nothing is."""
        if self._cursor is None:
            return []
        rows = [row for panel in self.panels for row in panel.reading(self._cursor)]
        return [self.x_text(self._cursor), *(f"{name} {value}" for name, value, _ in rows)]

    def x_text(self, x: float) -> str:
        """A place along the bottom with its unit."""
        if not self._times:
            return f"{self._x_words} {x:.3g} {self._x_unit}"
        low, high = self.seen()
        longest = max(abs(low), abs(high))
        place = -x if self._ago else x
        words = clock_text(place, nice_step(min((high - low) / 200, 1.0)), longest)
        words = f"{words} s" if clock_unit(longest) == "seconds" else words
        return f"{words} ago" if self._ago else words

    def columns(self) -> list[Column]:
        """The plot's numbers, for CSV."""
        head = f"{self._x_words}, s" if self._times else f"{self._x_words}, {self._x_unit}"
        return [column for panel in self.panels for column in panel.columns(head)]

    def set_x(self, x_words: str, x_unit: str) -> None:
        """Other words or another unit along the bottom."""
        self._x_words, self._x_unit = x_words, x_unit
        self._show_unit()

    def picture(self) -> pg.GraphicsView:
        """What is drawn, without the button on it."""
        self.ensure_built()
        return self._view

    def paint_picture(self, painter: QPainter) -> None:
        """Draw what is seen, for a file."""
        view = self.picture()
        view.render(painter, QRectF(view.rect()), view.rect())

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        low, high = self.seen()
        at = self._cursor if self._cursor is not None else high
        far = 10 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 1
        step = STEP * far * (high - low)
        match event.key():
            case Qt.Key.Key_Left:
                self._walk(at - step)
            case Qt.Key.Key_Right:
                self._walk(at + step)
            case Qt.Key.Key_Plus | Qt.Key.Key_Equal:
                self._zoom(at, 1 / ZOOM)
            case Qt.Key.Key_Minus:
                self._zoom(at, ZOOM)
            case Qt.Key.Key_Home:
                self.see_all()
            case Qt.Key.Key_Escape if self._cursor is not None:
                self.point_at(None)
            case _:
                super().keyPressEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        super().focusInEvent(event)
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:  # noqa: N802
        super().focusOutEvent(event)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802
        painter = QPainter(self)
        draw_focus(painter, self, self._theme)
        painter.end()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        if self._built:
            self._place_button()

    def showEvent(self, event: QShowEvent) -> None:  # noqa: N802
        super().showEvent(event)
        self.ensure_built()

    def _place_button(self) -> None:
        self._save.move(self.width() - self._save.width() - FOCUS_PX, FOCUS_PX)

    def eventFilter(self, watched: object, event: QEvent) -> bool:  # noqa: N802
        if event.type() is QEvent.Type.Leave:
            self.point_at(None)
        if isinstance(event, QMouseEvent) and event.type() is QEvent.Type.MouseMove:
            self._mouse_moved(self._view.mapToScene(event.position().toPoint()))
        if event.type() is QEvent.Type.MouseButtonDblClick:
            self.see_all()
        if event.type() is QEvent.Type.MouseButtonPress:
            self.setFocus(Qt.FocusReason.MouseFocusReason)
        return False

    def _walk(self, x: float) -> None:
        """The cursor to a place; the picture goes with it beyond its edges."""
        first, last = self._span
        x = min(max(x, first), last)
        low, high = self.seen()
        if not low <= x <= high:
            shift = x - low if x < low else x - high
            self.see(low + shift, high + shift)
        self.point_at(x)

    def _zoom(self, about: float, by: float) -> None:
        low, high = self.seen()
        self.see(about + by * (low - about), about + by * (high - about))

    def _let_go(self) -> None:
        self._follows = False

    def _mouse_moved(self, at: QPointF) -> None:
        for panel in self.panels:
            if panel.view.sceneBoundingRect().contains(at):
                self.point_at(float(panel.view.mapSceneToView(at).x()))
                return
        self.point_at(None)

    def _show_unit(self) -> None:
        if self._times:
            low, high = self.seen()
            self.bottom.tickValues(low, high, self.panels[0].view.width())
            words = clock_unit(max(abs(low), abs(high)), self.bottom.step)
            words = f"{words} ago" if self._ago else words
        else:
            words = f"{self._x_words}, {self._x_unit}"
        self._unit.say(words)

    def _make_room(self) -> None:
        """Enough room at the right for the longest name."""
        words = [name for panel in self.panels for name in panel.lines]
        words += [band.word for panel in self.panels for band in panel.bands]
        longest = max((text_width(word) for word in words), default=0.0) + LEADER_PX + 4
        if self._times:
            longest = max(longest, text_width(self._unit.text) + LEADER_PX + 4)
        room = min(max(longest, NAMES_PX[0]), NAMES_PX[1], 0.3 * max(self.width(), 1))
        if abs(room - self._layout.layout.columnPreferredWidth(2)) > 1:
            self._layout.layout.setColumnFixedWidth(2, room)
            self._layout.layout.activate()

    def _show_reading(self, x: float) -> None:
        rows = [row for panel in self.panels for row in panel.reading(x)]
        self.setAccessibleDescription(", ".join(self.reading))
        at_px = self.panels[0].view.mapViewToScene(QPointF(x, 0)).x()
        self._box.read_out(self.x_text(x), rows, at_px)

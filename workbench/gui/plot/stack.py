"""The panels of a plot above one another along one axis, and the words round them."""

from __future__ import annotations

from collections.abc import Iterator

import pyqtgraph as pg
from PySide6.QtCore import QRectF

from workbench.base.units import METRIC, UnitSystem
from workbench.gui.parts.basics import FOCUS_PX
from workbench.gui.plot.panel import BOTTOM_PX, LEFT_PX, PlotPanel, ValueAxis
from workbench.gui.plot.words import (
    CAPTION_PX,
    LEADER_PX,
    LINE_PX,
    Text,
    place_marks,
    place_names,
    text_width,
)
from workbench.gui.theme import BRIGHT, GRID_PX, TOUCH_PX, Theme, grown
from workbench.words.pictures.picture import NOTHING, Picture

CLOSEST = 1e-7
"""Of the whole: the least that can be looked at; of eight hours three milliseconds."""
NAMES_PX = (72, 144)
"""Room for the names at the right: at least, at most."""


class Stack:
    """Fills a view of the library; `words` are those round the panels as they were last drawn."""

    def __init__(self, view: pg.GraphicsView) -> None:
        self.panels: list[PlotPanel] = []
        self.words: list[Text] = []
        self._plot, self._grid, self._shares = view, view.centralLayout, list[float]()
        self._picture, self._units, self._theme = NOTHING, METRIC, BRIGHT
        self._bottom = ValueAxis("bottom")
        self._bottom.setHeight(grown(BOTTOM_PX))
        self._grid.setSpacing(0)

    def make_panels(self, shares: list[float]) -> bool:
        """Have panels with these shares of the height; False where they are already there."""
        if shares == self._shares:
            return False
        items = [one for panel in self.panels for one in (panel.left, panel.view)]
        for panel in self.panels:
            # A view that is gone must hear nothing more of one that is linked to it.
            panel.view.setXLink(None)
            panel.left.unlinkFromView()
        for item in (*items, *([self._bottom] if items else [])):
            self._grid.removeItem(item)
            self._plot.removeItem(item)
        self.panels, self._shares = [], shares
        for row, share in enumerate(shares):
            self.panels.append(PlotPanel(self._grid, row, self.panels[0].view if row else None))
            self._grid.setRowSpacing(row, grown(CAPTION_PX) if row + 1 < len(shares) else 0)
            self._grid.setRowStretchFactor(row, round(100 * share))
        if self.panels:
            self._grid.addItem(self._bottom, len(shares), 1)
            self._grid.setRowStretchFactor(len(shares), 0)
            self._bottom.linkToView(self.panels[0].view)
        return True

    @property
    def seen(self) -> tuple[float, float]:
        """What is seen along the bottom. There must be a panel."""
        low, high = self.panels[0].view.viewRange()[0]
        return float(low), float(high)

    def see(self, low: float, high: float) -> None:
        """Look at a part, as far as the limits allow. There must be a panel."""
        self.panels[0].view.setXRange(low, high, padding=0)

    def show_picture(self, picture: Picture, units: UnitSystem, theme: Theme) -> None:
        """Show this from now on: it has as many panels."""
        self._picture, self._units, self._theme = picture, units, theme
        first, last = picture.span
        whole = last - first
        for at, panel in enumerate(picture.panels):
            self.panels[at].show_panel(panel, picture, units, theme, first=at == 0)
            self.panels[at].view.setLimits(
                xMin=first - whole, xMax=last + whole, minXRange=CLOSEST * whole
            )
        self._bottom.show_axis(picture.x, units, theme)

    def draw(self) -> None:
        """Draw what is seen now, and the words round it."""
        self.words = []
        if not self.panels:
            return
        foot = FOCUS_PX + (grown(CAPTION_PX) if self._is_named_below else 0)
        top, right = FOCUS_PX + grown(CAPTION_PX) + self._head_px, FOCUS_PX + self._names_px()
        self._bottom.setHeight(grown(BOTTOM_PX))
        self._grid.setContentsMargins(FOCUS_PX, top, right, foot)
        self._grid.activate()
        for panel in self.panels:
            panel.draw(self.seen, max(32, round(panel.view.width())))
        values = [text_width(text) for panel in self.panels for _, text in panel.ticks]
        for panel in self.panels:
            panel.left.setWidth(max(LEFT_PX, max(values, default=0.0) + GRID_PX))
        self._grid.activate()
        for panel in self.panels:
            panel.show_notes()
        self.words = list(self._all_words())

    @property
    def _is_named_below(self) -> bool:
        return not self._picture.x.is_time and bool(self._picture.x.words)

    @property
    def _head_px(self) -> float:
        """Room for the marks' words between the first caption and its panel."""
        return grown(LINE_PX) if any(mark.word for mark in self._picture.marks) else 0.0

    def _names_px(self) -> float:
        """Enough room at the right for the longest name."""
        width = float(self._plot.width())
        words, beyond_px = list[str](), 0.0
        if not self._is_named_below:
            words = [self._bottom.words(*self.seen, width - LEFT_PX)]
            beyond_px = self._beyond_px(width - LEFT_PX)
        for panel in self._picture.panels:
            words += [trace.name for trace in panel.traces]
            words += [points.name for points in panel.points]
            words += [band.word for band in panel.bands]
        longest = max(map(text_width, words), default=0.0) + max(LEADER_PX, beyond_px) + 4
        return min(max(longest, grown(NAMES_PX[0])), grown(NAMES_PX[1]), 0.3 * width)

    def _beyond_px(self, width: float) -> float:
        """So far the last number below may reach beyond its panel, with some room."""
        ticks = self._bottom.ticks(*self.seen, width)
        return text_width(ticks[-1][1]) / 2 + GRID_PX / 2 if ticks else 0.0

    def _all_words(self) -> Iterator[Text]:
        """Captions, the lines' names, the marks' words, and what is counted along the bottom."""
        picture, seen, soft = self._picture, self.seen, self._theme.color("soft_ink")
        boxes = [panel.box for panel in self.panels]
        for at, (panel, box) in enumerate(zip(self.panels, boxes, strict=True)):
            top = box.top() - grown(CAPTION_PX) - (0 if at else self._head_px)
            right = self._plot.width() - (0 if at else grown(2 * TOUCH_PX + GRID_PX))
            caption = QRectF(box.left(), top, right - box.left(), grown(CAPTION_PX))
            yield Text(caption, panel.panel.y.label(self._units), soft)
            # The names may stand beside half of the captions above them and below.
            half_px = grown(CAPTION_PX) / 2
            above, below = (half_px if there else 0 for there in (at, box != boxes[-1]))
            room = box.adjusted(box.width(), -above, 0, below)
            room.setRight(self._plot.width() - FOCUS_PX)
            yield from place_names(panel.names(seen), room, box, soft)
        line_px = grown(LINE_PX)
        row = QRectF(boxes[0].left(), boxes[0].top() - line_px, boxes[0].width(), line_px)
        yield from place_marks(picture.marks, self._units, self._theme, seen, row)
        foot = QRectF(boxes[-1].left(), boxes[-1].bottom(), boxes[-1].width(), grown(BOTTOM_PX))
        words = self._bottom.words(*seen, foot.width())
        if self._is_named_below:
            yield Text(foot.translated(0, grown(BOTTOM_PX)), words, soft, "C")
        else:
            foot.setLeft(foot.right() + max(LEADER_PX, self._beyond_px(foot.width())))
            foot.setRight(self._plot.width())
            yield Text(foot, words, soft)

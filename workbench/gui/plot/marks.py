"""Moments in a plot that have a word: a new tooth count, a wet stretch, a change of gear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pyqtgraph as pg

from workbench.gui.plot.axes import LINE_PX, text_width
from workbench.gui.plot.panel import Panel
from workbench.gui.theme import GRID_PX, Theme

GAP_PX = 4


@dataclass(slots=True)
class Mark:
    """A moment with a word: a thin line in each panel, the word above the first one's lines."""

    x: float
    word: pg.TextItem
    width_px: float
    lines: list[tuple[Panel, pg.InfiniteLine]]

    @property
    def head(self) -> Panel:
        """The panel that has the word."""
        return self.lines[0][0]


class Marks:
    """The marks of one plot, ordered along the bottom."""

    def __init__(self) -> None:
        self.made: list[Mark] = []

    def add(self, x: float, word: str, panels: Sequence[Panel], theme: Theme) -> None:
        """Mark a moment in all panels, with a word in the first."""
        lines = []
        for panel in panels:
            line = pg.InfiniteLine(x, pen=pg.mkPen(theme.soft_ink, width=1))
            panel.view.addItem(line, ignoreBounds=True)
            lines.append((panel, line))
        text = pg.TextItem(word, color=theme.soft_ink, anchor=(0, 0))
        panels[0].view.addItem(text, ignoreBounds=True)
        panels[0].head_px = LINE_PX + GAP_PX
        self.made.append(Mark(x, text, text_width(word) + GRID_PX, lines))
        self.made.sort(key=lambda one: one.x)

    def clear(self) -> None:
        """Take all of them away, and the room of their words."""
        for mark in self.made:
            mark.head.view.removeItem(mark.word)
            mark.head.head_px = 0.0
            for panel, line in mark.lines:
                panel.view.removeItem(line)
        self.made.clear()

    def dress(self, theme: Theme) -> None:
        """Take a theme's colours."""
        for mark in self.made:
            mark.word.setColor(theme.soft_ink)
            for _, line in mark.lines:
                line.setPen(pg.mkPen(theme.soft_ink, width=1))

    def place(self) -> None:
        """Words side by side; one that would lie over another, or leave the plot, is not shown."""
        if not self.made:
            return
        view, free = self.made[0].head.view, float("-inf")
        (low, high), top = view.viewRange()[0], view.viewRange()[1][1]
        per_x = view.width() / (high - low)
        for mark in self.made:
            at = (mark.x - low) * per_x
            fits = at >= max(free, 0) and at + mark.width_px <= view.width()
            mark.word.setVisible(fits)
            mark.word.setPos(mark.x, top)
            free = at + mark.width_px if fits else free

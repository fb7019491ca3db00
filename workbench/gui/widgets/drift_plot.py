"""The drift plot: both speeds with the area between them, the ratio in its band, the
separation; one time axis, direct labels, change points as thin verticals with a word."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.theme import Theme
from workbench.match.ratio import PaceLimits
from workbench.units import UnitSystem, from_mps

Floats = NDArray[np.float64]
MOST_POINTS = 3000
"""Points drawn of a line; more are thinned, keeping each stretch's extremes."""


class DriftPlot(QWidget):
    """Three panels above one another on one time axis."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._view = pg.GraphicsLayoutWidget()
        self._view.setAccessibleName("Drift plot: speeds, ratio belt ÷ ground, separation")
        self._speed = self._view.addPlot(row=0, col=0)
        self._ratio = self._view.addPlot(row=1, col=0)
        self._apart = self._view.addPlot(row=2, col=0)
        self._view.ci.layout.setRowStretchFactor(0, 2)
        for panel in (self._speed, self._ratio, self._apart):
            panel.setMenuEnabled(False)
            panel.hideButtons()
            panel.getAxis("left").setWidth(64)
        for panel in (self._ratio, self._apart):
            panel.setXLink(self._speed)
        for panel in (self._speed, self._ratio):
            panel.getAxis("bottom").setStyle(showValues=False)
        self._apart.setLabel("bottom", "seconds")
        self._belt, self._ground = pg.PlotCurveItem(), pg.PlotCurveItem()
        self._between = pg.FillBetweenItem(self._belt, self._ground)
        self._line, self._gap = pg.PlotCurveItem(), pg.PlotCurveItem()
        self._band = pg.LinearRegionItem(orientation="horizontal", movable=False)
        self._names = {name: pg.TextItem(name, anchor=(1, 0.5)) for name in ("belt", "ground")}
        for item in (self._between, self._ground, self._belt, *self._names.values()):
            self._speed.addItem(item)
        for item in (self._band, self._line):
            self._ratio.addItem(item)
        self._apart.addItem(self._gap)
        self._marks: list[tuple[pg.PlotItem, object]] = []
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._view)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._view.setBackground(theme.ground)
        for panel in (self._speed, self._ratio, self._apart):
            for side in ("left", "bottom"):
                panel.getAxis(side).setPen(theme.line)
                panel.getAxis(side).setTextPen(theme.soft_ink)
            panel.showGrid(x=False, y=True, alpha=0.12)
        self._belt.setPen(pg.mkPen(theme.belt, width=2))
        self._ground.setPen(pg.mkPen(theme.earth, width=2))
        self._between.setBrush(theme.color("attention", 60))
        self._line.setPen(pg.mkPen(theme.ink, width=2))
        self._gap.setPen(pg.mkPen(theme.ink, width=2))
        self._band.setBrush(theme.color("in_band", 40))
        for line in self._band.lines:
            line.setPen(pg.mkPen(theme.in_band))
        self._names["belt"].setColor(theme.belt)
        self._names["ground"].setColor(theme.earth)

    def show_pass(
        self,
        rows: Sequence[tuple[float, float, float, float]],
        limits: PaceLimits,
        units: UnitSystem,
    ) -> None:
        """`rows` of (time_s, belt m/s, ground m/s, separation m); NaN where there is none."""
        self._band.setRegion((limits.low, limits.high))
        self._speed.setLabel("left", units.speed)
        self._ratio.setLabel("left", "belt ÷ ground")
        self._apart.setLabel("left", f"apart, {units.length}")
        table = np.array(rows, dtype=np.float64).reshape(-1, 4)
        time_s, belt, ground, apart_m = thinned(table).T
        belt, ground = from_mps(1.0, units.speed) * belt, from_mps(1.0, units.speed) * ground
        # Where either is missing nothing can be filled between them.
        both = np.isfinite(belt) & np.isfinite(ground)
        self._belt.setData(time_s[both], belt[both])
        self._ground.setData(time_s[both], ground[both])
        moving = both & (ground > 0.2 / units.length_m * 0.3)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(moving, belt / ground, math.nan)
        known = np.isfinite(ratio)
        self._line.setData(time_s[known], np.clip(ratio[known], 0.5, 1.5))
        self._gap.setData(time_s, apart_m / units.length_m)
        room = 0.5 * (limits.high - limits.low)
        self._ratio.setYRange(limits.low - 2 * room, limits.high + 2 * room)
        if both.any():
            last = np.flatnonzero(both)[-1]
            self._names["belt"].setPos(time_s[last], belt[last])
            self._names["ground"].setPos(time_s[last], ground[last])

    def mark(self, time_s: float, word: str) -> None:
        """A thin vertical at a moment, with a word."""
        for panel in (self._speed, self._ratio, self._apart):
            line = pg.InfiniteLine(time_s, pen=pg.mkPen(self._theme.soft_ink, width=1))
            panel.addItem(line)
            self._marks.append((panel, line))
        text = pg.TextItem(word, color=self._theme.soft_ink, anchor=(0, 0))
        self._speed.addItem(text)
        text.setPos(time_s, self._speed.viewRange()[1][1])
        self._marks.append((self._speed, text))

    def clear_marks(self) -> None:
        """Take the verticals away."""
        for panel, item in self._marks:
            panel.removeItem(item)
        self._marks.clear()


def thinned(table: Floats, most: int = MOST_POINTS) -> Floats:
    """At most about `most` rows of `table` (n, columns), each block's extremes of column 1 kept."""
    block = -(-2 * table.shape[0] // most)
    if block <= 2:
        return table
    whole = table.shape[0] // block * block
    column = np.nan_to_num(table[:whole, 1]).reshape(-1, block)
    starts = np.arange(0, whole, block)
    at = np.concatenate((starts + column.argmin(axis=1), starts + column.argmax(axis=1)))
    return np.asarray(table[np.unique(np.concatenate((at, [table.shape[0] - 1])))])

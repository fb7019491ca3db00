"""The drift plot: both speeds with the area between them, the ratio in its band, the
separation; one time axis, direct labels, change points as thin verticals with a word."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from numpy.typing import NDArray
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.theme import SMALL_PX, Theme
from workbench.match.ratio import PaceLimits
from workbench.units import UnitSystem, from_mps

Floats = NDArray[np.float64]
STANDS_MPS = 0.06
"""Below this ground speed a ratio says nothing; chosen."""

MIN_PX, NAME_PX, TITLE_SHARE = 176, 60, 0.4
"""Lowest height; room for the names at the lines' ends, and for a panel's title above its lines."""

MOST_POINTS = 3000
"""Points drawn of a line; more are thinned, keeping each stretch's extremes."""


class DriftPlot(QWidget):
    """Three panels above one another on one time axis."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._view = pg.GraphicsLayoutWidget()
        self.setMinimumHeight(MIN_PX)
        self._view.setAccessibleName("Drift plot: speeds, ratio belt ÷ ground, separation")
        self._speed = self._view.addPlot(row=0, col=0)
        self._ratio = self._view.addPlot(row=1, col=0)
        self._apart = self._view.addPlot(row=2, col=0)
        self._view.ci.layout.setRowStretchFactor(0, 2)
        for panel in (self._speed, self._ratio, self._apart):
            panel.setMenuEnabled(False)
            panel.hideButtons()
            panel.getAxis("left").setWidth(48)
            panel.vb.sigRangeChangedManually.connect(self._let_go)
        for panel in (self._ratio, self._apart):
            panel.setXLink(self._speed)
        for panel in (self._speed, self._ratio):
            panel.getAxis("bottom").setStyle(showValues=False, tickLength=0)
            panel.getAxis("bottom").setHeight(4)
        self._view.scene().sigMouseClicked.connect(self._clicked)
        self._follows, self._span = True, (0.0, 1.0)
        self._heights: dict[pg.PlotItem, tuple[float, float]] = {}
        self._seconds = _title(self._apart, right=True)
        self._belt, self._ground = pg.PlotCurveItem(), pg.PlotCurveItem()
        self._between = pg.FillBetweenItem(self._belt, self._ground)
        self._line, self._gap = pg.PlotCurveItem(), pg.PlotCurveItem()
        self._band = pg.LinearRegionItem(orientation="horizontal", movable=False)
        self._names = {name: pg.TextItem(name, anchor=(0, 0.5)) for name in ("belt", "ground")}
        self._titles = {panel: _title(panel) for panel in (self._speed, self._ratio, self._apart)}
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
        for title in self._titles.values():
            title.setText(title.text, color=theme.soft_ink)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        super().resizeEvent(event)
        if self._follows:
            self._see_all()

    def show_pass(
        self,
        rows: Sequence[tuple[float, float, float, float]],
        limits: PaceLimits,
        units: UnitSystem,
    ) -> None:
        """`rows` of (time_s, belt m/s, ground m/s, separation m); NaN where there is none."""
        self._band.setRegion((limits.low, limits.high))
        self._say(self._speed, f"speed, {units.speed}")
        self._say(self._ratio, "ratio belt ÷ ground")
        self._say(self._apart, f"belt ahead of ground, {units.length}")
        self._seconds.setText("seconds", color=self._theme.soft_ink)
        table = np.array(rows, dtype=np.float64).reshape(-1, 4)
        time_s, belt, ground, apart_m = thinned(table).T
        table_ground = ground
        belt, ground = from_mps(1.0, units.speed) * belt, from_mps(1.0, units.speed) * ground
        # Where either is missing nothing can be filled between them.
        both = np.isfinite(belt) & np.isfinite(ground)
        self._belt.setData(time_s[both], belt[both])
        self._ground.setData(time_s[both], ground[both])
        moving = both & (table_ground > STANDS_MPS)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(moving, belt / ground, math.nan)
        known = np.isfinite(ratio)
        self._line.setData(time_s[known], np.clip(ratio[known], 0.5, 1.5))
        self._gap.setData(time_s, apart_m / units.length_m)
        room = 0.5 * (limits.high - limits.low)
        ticks = [(value, f"{value:.2f}") for value in (limits.low, limits.high)]
        self._ratio.getAxis("left").setTicks([ticks])
        self._ratio.setYRange(limits.low - 2 * room, limits.high + 2 * room)
        for name in self._names.values():
            name.setVisible(bool(both.any()))
        if both.any():
            last = np.flatnonzero(both)[-1]
            above = bool(belt[last] >= ground[last])
            self._name("belt", time_s[last], belt[last], above=above)
            self._name("ground", time_s[last], ground[last], above=not above)
        self._heights = {
            self._speed: _extent(belt, ground),
            self._apart: _extent(apart_m / units.length_m),
        }
        if time_s.size:
            self._span = float(time_s[0]), max(float(time_s[-1]), float(time_s[0]) + 1)
            if self._follows:
                self._see_all()

    def _name(self, name: str, x: float, y: float, *, above: bool) -> None:
        """A line's name at its end; the upper line's above it, so that the two never collide."""
        self._names[name].setAnchor((0, 0.95 if above else 0.05))
        self._names[name].setPos(x, y)

    def _say(self, panel: pg.PlotItem, text: str) -> None:
        if self._titles[panel].text != text or self._titles[panel].opts["color"] is None:
            self._titles[panel].setText(text, color=self._theme.soft_ink)

    def _see_all(self) -> None:
        """The whole time and all values, with room for the names at the lines' ends."""
        first, last = self._span
        room = NAME_PX / max(self._view.width() - 2 * NAME_PX, NAME_PX)
        self._speed.setXRange(first, last + room * (last - first), padding=0)
        for panel, (low, high) in self._heights.items():
            panel.setYRange(low, high + TITLE_SHARE * (high - low), padding=0.04)

    def _let_go(self) -> None:
        self._follows = False

    def _clicked(self, event: object) -> None:
        if event.double():  # type: ignore[attr-defined]
            self._follows = True
            self._see_all()

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


def _title(panel: pg.PlotItem, *, right: bool = False) -> pg.LabelItem:
    """Words inside a panel, at the upper left or the lower right: an axis has no room."""
    title = pg.LabelItem("", size=f"{SMALL_PX}px", justify="left")
    title.setParentItem(panel.vb)
    corner, offset = ((1, 1), (-4, 4)) if right else ((0, 0), (6, -4))
    title.anchor(itemPos=corner, parentPos=corner, offset=offset)
    return title


def _extent(*values: Floats) -> tuple[float, float]:
    """Lowest and highest of what is known, never less than a tenth of a unit apart."""
    known = np.concatenate([one[np.isfinite(one)] for one in values])
    if not known.size:
        return 0.0, 1.0
    low, high = float(known.min()), float(known.max())
    return (low, high) if high - low > 0.1 else (low - 0.05, high + 0.05)


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

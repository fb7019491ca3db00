"""Speeds of the last minutes, a line a stream, its name at the line's end."""

from __future__ import annotations

import math

import pyqtgraph as pg
from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.theme import Theme
from workbench.models.live import Stream
from workbench.units import UnitSystem, from_mps

SHOWN_S = 120.0
NAME_PX, AXIS_PX = 15, 50


class StripChart(QWidget):
    """Draws the streams' histories; time runs from left to now on the right."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._plot = pg.PlotWidget()
        self._plot.setMenuEnabled(False)
        self._plot.setMouseEnabled(x=False, y=False)
        self._plot.hideButtons()
        self._plot.setXRange(-SHOWN_S, 12, padding=0)
        self._plot.setAccessibleName("Speeds of the last two minutes")
        self._lines: dict[str, pg.PlotDataItem] = {}
        self._names: dict[str, pg.TextItem] = {}
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._plot)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._plot.setBackground(theme.ground)
        for side in ("left", "bottom"):
            axis = self._plot.getAxis(side)
            axis.setPen(theme.line)
            axis.setTextPen(theme.soft_ink)
        self._plot.showGrid(x=False, y=True, alpha=0.15)
        self._plot.setLabel("bottom", "seconds ago")
        for name in tuple(self._lines):
            self._forget(name)

    def show_streams(self, streams: dict[str, Stream], now_s: float, units: UnitSystem) -> None:
        """Draw what is within the last two minutes."""
        self._plot.setLabel("left", units.speed)
        for name in [name for name in self._lines if name not in streams]:
            self._forget(name)
        ends: dict[str, float] = {}
        for name, stream in streams.items():
            recent = [(at_s, mps) for at_s, mps in stream.history if now_s - at_s <= SHOWN_S]
            if not recent:
                continue
            line = self._line(name, stream)
            x = [at_s - now_s for at_s, _ in recent]
            y = [from_mps(mps, units.speed) for _, mps in recent]
            line.setData(x, y)
            ends[name] = y[-1]
        self._place_names(ends)

    def _place_names(self, ends: dict[str, float]) -> None:
        """Each name at its line's end, moved up where it would cover the one below."""
        low, high = self._plot.viewRange()[1]
        room = NAME_PX * (high - low) / max(self._plot.height() - AXIS_PX, 1)
        last = -math.inf
        for name, y in sorted(ends.items(), key=lambda pair: pair[1]):
            last = max(y, last + room)
            self._names[name].setPos(1, last)

    def _line(self, name: str, stream: Stream) -> pg.PlotDataItem:
        if name not in self._lines:
            color = self._theme.belt if stream.is_pulses else self._theme.earth
            style = len(self._lines) % 3 + 1
            self._lines[name] = self._plot.plot(
                [], [], pen=pg.mkPen(color, width=2, style=pg.QtCore.Qt.PenStyle(style))
            )
            self._names[name] = pg.TextItem(name, color=color, anchor=(0, 0.5))
            self._plot.addItem(self._names[name])
        return self._lines[name]

    def _forget(self, name: str) -> None:
        self._plot.removeItem(self._lines.pop(name))
        self._plot.removeItem(self._names.pop(name))

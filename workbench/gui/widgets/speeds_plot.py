"""All speeds of a recording on one line of time; draws only what can be seen."""

from __future__ import annotations

import pyqtgraph as pg
from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.theme import Theme
from workbench.models.archive import SpeedLines
from workbench.units import UnitSystem, from_mps

COLUMNS = 4000
"""Stretches drawn across the plot at most: no screen has as many pixels."""


class SpeedsPlot(QWidget):
    """Drag to move, turn the wheel to zoom, double click to see the whole again."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._shown: SpeedLines | None = None
        self._scale = 1.0
        self._plot = pg.PlotWidget()
        self._plot.setMenuEnabled(False)
        self._plot.hideButtons()
        self._plot.setMouseEnabled(x=True, y=False)
        self._plot.setLabel("bottom", "seconds")
        self._plot.setAccessibleName("Speeds of the recording")
        self._curves: dict[str, pg.PlotCurveItem] = {}
        self._names: dict[str, pg.TextItem] = {}
        self._plot.sigXRangeChanged.connect(self._draw)
        self._plot.scene().sigMouseClicked.connect(self._clicked)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._plot)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._plot.setBackground(theme.ground)
        for side in ("left", "bottom"):
            self._plot.getAxis(side).setPen(theme.line)
            self._plot.getAxis(side).setTextPen(theme.soft_ink)
        self._plot.showGrid(x=False, y=True, alpha=0.15)
        if self._shown is not None:
            self._make_curves(self._shown)
            self._draw()

    def show_lines(self, shown: SpeedLines, units: UnitSystem) -> None:
        """Show a recording's speeds, the whole of it."""
        self._shown = shown
        self._make_curves(shown)
        self.use_units(units)
        self.see_all()

    def use_units(self, units: UnitSystem) -> None:
        self._scale = from_mps(1.0, units.speed)
        self._plot.setLabel("left", units.speed)
        self._draw()

    def see_all(self) -> None:
        """The whole recording."""
        if self._shown is None or not self._shown.lines:
            return
        first = min(float(line.time_s[0]) for line in self._shown.lines.values())
        last = max(float(line.time_s[-1]) for line in self._shown.lines.values())
        self._plot.setXRange(first, max(last, first + 1), padding=0.02)

    def _make_curves(self, shown: SpeedLines) -> None:
        for item in (*self._curves.values(), *self._names.values()):
            self._plot.removeItem(item)
        self._curves, self._names = {}, {}
        for at, name in enumerate(shown.lines):
            color = self._theme.belt if name in shown.is_belt else self._theme.earth
            style = pg.QtCore.Qt.PenStyle(at % 3 + 1)
            self._curves[name] = pg.PlotCurveItem(pen=pg.mkPen(color, width=1, style=style))
            self._names[name] = pg.TextItem(name, color=color, anchor=(1, 0.5))
            self._plot.addItem(self._curves[name])
            self._plot.addItem(self._names[name], ignoreBounds=True)

    def _draw(self) -> None:
        if self._shown is None:
            return
        from_s, to_s = self._plot.viewRange()[0]
        ends = {}
        for name, line in self._shown.lines.items():
            time_s, value = line.visible(from_s, to_s, COLUMNS)
            self._curves[name].setData(time_s, value * self._scale)
            if value.size:
                ends[name] = float(value[-1]) * self._scale
        self._place_names(ends, to_s)

    def _place_names(self, ends: dict[str, float], x: float) -> None:
        low, high = self._plot.viewRange()[1]
        room = 16 * (high - low) / max(self._plot.height(), 16)
        last = -float("inf")
        for name, y in sorted(ends.items(), key=lambda pair: pair[1]):
            last = max(y, last + room)
            self._names[name].setPos(x, last)

    def _clicked(self, event: object) -> None:
        if event.double():  # type: ignore[attr-defined]
            self.see_all()

"""Error of the readout against belt speed: the band allowed, the runs, the fitted line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtWidgets import QVBoxLayout, QWidget

from workbench.gui.theme import Theme
from workbench.units import UnitSystem, from_mps


class ErrorPlot(QWidget):
    """Draws an answer of a calibration, as found in the belt's colour, as left in ink."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._shown: tuple[Mapping[str, Any] | None, float, UnitSystem | None] = (None, 0.02, None)
        self._plot = pg.PlotWidget()
        self._plot.setMenuEnabled(False)
        self._plot.hideButtons()
        self._plot.setAccessibleName("Error of the readout against belt speed")
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
        self._plot.showGrid(x=False, y=True, alpha=0.12)
        answer, limit, units = self._shown
        if units is not None:
            self.show_answer(answer, limit, units)

    def show_answer(
        self, answer: Mapping[str, Any] | None, limit: float, units: UnitSystem
    ) -> None:
        """Draw an answer of `evenpace calibrate`, or only the band where there is none."""
        self._shown = (answer, limit, units)
        theme, plot = self._theme, self._plot
        plot.clear()
        plot.setLabel("bottom", f"true belt speed, {units.speed}")
        plot.setLabel("left", "shown ÷ true − 1, %")
        band = pg.LinearRegionItem(
            (-100 * limit, 100 * limit),
            orientation="horizontal",
            movable=False,
            brush=theme.color("in_band", 40),
            pen=pg.mkPen(theme.in_band),
        )
        plot.addItem(band)
        reach = [100 * limit]
        if answer is not None:
            reach += self._series(answer, units, theme.belt, "as found", "o")
            if "as_left" in answer:
                reach += self._series(answer["as_left"], units, theme.ink, "as left", "s")
        most = 1.3 * max(reach)
        plot.setYRange(-most, most, padding=0)
        low, high = self._span(answer, units)
        plot.setXRange(low, high, padding=0)
        word = pg.TextItem(f"allowed ± {100 * limit:.3g} %", color=theme.in_band, anchor=(1, 1))
        plot.addItem(word)
        word.setPos(high, -100 * limit)

    def _series(
        self, answer: Mapping[str, Any], units: UnitSystem, color: str, name: str, shape: str
    ) -> list[float]:
        """Draw one series; how far from 0 it reaches, in per cent."""
        reach = self._line(answer["error_at_ends"], answer["k"], units, color, name)
        for used in (True, False):
            part = [run for run in answer["runs"] if run["used"] is used]
            if not part:
                continue
            x = [from_mps(run["true_mps"], units.speed) for run in part]
            y = [100 * run["error"] for run in part]
            half = [200 * run["u_error"] for run in part]
            shade = color if used else self._theme.no_data
            self._points(x, y, half, shade, shape if used else "x")
            reach += [abs(a) + b for a, b in zip(y, half, strict=True)]
        for point in answer.get("change_overs", {}).get("points", []):
            at, error = from_mps(point["true_mps"], units.speed), 100 * point["error"]
            self._points([at], [error], [0.0], color, "t1" if point["direction"] == "up" else "t")
            reach.append(abs(error))
        return reach

    def _points(
        self, x: Sequence[float], y: Sequence[float], half: Sequence[float], color: str, shape: str
    ) -> None:
        bars = pg.ErrorBarItem(
            x=np.array(x),
            y=np.array(y),
            height=2 * np.array(half),
            beam=0,
            pen=pg.mkPen(color, width=2),
        )
        self._plot.addItem(bars)
        self._plot.plot(x, y, pen=None, symbol=shape, symbolSize=9, symbolBrush=color)

    def _line(
        self,
        ends: Sequence[Mapping[str, float]],
        k: float,
        units: UnitSystem,
        color: str,
        name: str,
    ) -> list[float]:
        if len(ends) != 2:
            return []
        x = [from_mps(end["speed_mps"], units.speed) for end in ends]
        y = [100 * end["error"] for end in ends]
        U = [100 * k * end["u_error"] for end in ends]
        low = pg.PlotCurveItem(x, [a - b for a, b in zip(y, U, strict=True)])
        high = pg.PlotCurveItem(x, [a + b for a, b in zip(y, U, strict=True)])
        ribbon = pg.mkColor(color)
        ribbon.setAlpha(40)
        self._plot.addItem(pg.FillBetweenItem(low, high, brush=ribbon))
        self._plot.plot(x, y, pen=pg.mkPen(color, width=2))
        word = pg.TextItem(name, color=color, anchor=(0, 0.5))
        self._plot.addItem(word)
        word.setPos(x[1], y[1])
        return [abs(a) + b for a, b in zip(y, U, strict=True)]

    def _span(self, answer: Mapping[str, Any] | None, units: UnitSystem) -> tuple[float, float]:
        """Speeds to show, with room for the words at the line's end."""
        speeds = [end["speed_mps"] for end in answer["error_at_ends"]] if answer else [0.894, 1.341]
        speeds += [run["true_mps"] for run in answer["runs"]] if answer else []
        low, high = from_mps(min(speeds), units.speed), from_mps(max(speeds), units.speed)
        room = max(high - low, 0.2 * high)
        return low - 0.1 * room, high + 0.3 * room

"""Error of the readout against belt speed: the band allowed, the runs, the fitted line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pyqtgraph as pg

from workbench.base.units import UnitSystem, from_mps
from workbench.gui.plot.stack import Plot
from workbench.gui.theme import Theme
from workbench.models.plot.pyramid import Floats, Pyramid
from workbench.models.plot.table import Column

SYMBOL_PX, LINE_POINTS = 9, 101
ALLOWED = 0.02
WORKING_MPS = (0.894, 1.341)
"""Speeds shown before the first run: 2 to 3 mph, where diggers work (common practice)."""


class ErrorPlot(Plot):
    """Draws an answer of a calibration, as found in the belt's colour, as left in ink."""

    def __init__(self, theme: Theme) -> None:
        self._shown: tuple[Mapping[str, Any] | None, float, UnitSystem | None] = (
            None,
            ALLOWED,
            None,
        )
        super().__init__(theme, "Error of the readout against belt speed", times=False)
        self._points: list[pg.GraphicsObject] = []
        self._runs_shown: list[Column] = []

    def build(self) -> None:
        panel = self.add_panel()
        panel.title("error of the readout (shown ÷ true − 1)", "%")
        panel.text = lambda value: f"{value:+.2f}".replace("-", "−")
        self.close_panels("true belt speed")
        self._draw_answer()

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        if self._built:
            self._draw_answer()

    def show_answer(
        self, answer: Mapping[str, Any] | None, limit: float, units: UnitSystem
    ) -> None:
        """Draw an answer of `evenpace calibrate`, or only the band where there is none."""
        self._shown = (answer, limit, units)
        if self._built:
            self._draw_answer()

    def _draw_answer(self) -> None:
        answer, limit, units = self._shown
        if units is None:
            return
        panel = self.panels[0]
        panel.forget_all()
        for item in self._points:
            panel.view.removeItem(item)
        self._points, self._runs_shown = [], []
        panel.band(-100 * limit, 100 * limit, f"allowed ± {100 * limit:.3g} %")
        reach = [100 * limit]
        if answer is not None:
            reach += self._series(answer, units, "belt", "as found", "o")
            if "as_left" in answer:
                reach += self._series(answer["as_left"], units, "ink", "as left", "s")
        most = 1.2 * max(reach)
        panel.include = (-most, most)
        self.set_x("true belt speed", units.speed)
        self.set_span(*_span(answer, units))
        self.draw()

    def columns(self) -> list[Column]:
        """The fitted lines, then the runs."""
        return [*super().columns(), *self._runs_shown]

    def _series(
        self, answer: Mapping[str, Any], units: UnitSystem, role: str, name: str, shape: str
    ) -> list[float]:
        """Draw one series; how far from 0 it reaches, in per cent."""
        reach = self._line(answer["error_at_ends"], answer["k"], units, role, name)
        for used in (True, False):
            part = [run for run in answer["runs"] if run["used"] is used]
            x = np.array([from_mps(run["true_mps"], units.speed) for run in part])
            y = np.array([100 * run["error"] for run in part])
            half = np.array([200 * run["u_error"] for run in part])
            words = f"{name}, {'used' if used else 'not used'}"
            self._note_runs(words, units, x, y, half)
            self._runs(x, y, half, role if used else "no_data", shape if used else "x")
            reach += (abs(y) + half).tolist()
        for point in answer.get("change_overs", {}).get("points", []):
            x = np.array([from_mps(point["true_mps"], units.speed)])
            y = np.array([100 * point["error"]])
            self._runs(x, y, np.zeros(1), role, "t1" if point["direction"] == "up" else "t")
            reach += abs(y).tolist()
        return reach

    def _runs(
        self,
        x: Floats,
        y: Floats,
        half: Floats,
        role: str,
        shape: str,
    ) -> None:
        """Runs as points with their expanded uncertainty (k = 2) as bars."""
        if not x.size:
            return
        color = self._theme.color(role)
        bars = pg.ErrorBarItem(x=x, y=y, height=2 * half, beam=0, pen=pg.mkPen(color, width=2))
        spots = pg.ScatterPlotItem(x, y, symbol=shape, size=SYMBOL_PX, brush=color, pen=color)
        for item in (bars, spots):
            self.panels[0].view.addItem(item, ignoreBounds=True)
            self._points.append(item)

    def _note_runs(self, words: str, units: UnitSystem, x: Floats, y: Floats, half: Floats) -> None:
        """The runs for the table, in the order of their speeds."""
        order, head = np.argsort(x), f"true belt speed of the runs, {units.speed}"
        if x.size:
            self._runs_shown.append(
                Column(head, x[order], f"error of the runs {words}, %", y[order])
            )
            self._runs_shown.append(
                Column(head, x[order], f"its U (k = 2) {words}, %", half[order])
            )

    def _line(
        self, ends: list[Mapping[str, float]], k: float, units: UnitSystem, role: str, name: str
    ) -> list[float]:
        """The fitted line between its ends with its ribbon of uncertainty."""
        if len(ends) != 2:
            return []
        x = np.array([from_mps(end["speed_mps"], units.speed) for end in ends])
        y = np.array([100 * end["error"] for end in ends])
        U = np.array([100 * k * end["u_error"] for end in ends])
        self.panels[0].ribbon(name, x, y - U, y + U, role)
        along = np.linspace(x[0], x[1], LINE_POINTS)
        self.panels[0].line(name, role).source = Pyramid(along, np.interp(along, x, y))
        return [float(reach) for reach in abs(y) + U]


def _span(answer: Mapping[str, Any] | None, units: UnitSystem) -> tuple[float, float]:
    """Speeds to show, with some room on both sides."""
    speeds = [end["speed_mps"] for end in answer["error_at_ends"]] if answer else []
    speeds += [run["true_mps"] for run in answer["runs"]] if answer else []
    low, high = (from_mps(choose(speeds or WORKING_MPS), units.speed) for choose in (min, max))
    room = 0.1 * max(high - low, 0.2 * high)
    return low - room, high + room

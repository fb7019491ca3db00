"""The drop-out run: the belt's speed while it runs, then the share of teeth seen by speed."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from workbench.base.units import UnitSystem, from_mps
from workbench.gui.plot.stack import Plot
from workbench.gui.theme import Theme
from workbench.models.gap.store import Curve
from workbench.models.plot.pyramid import Pyramid

LEAST_SPAN_S = 60.0
"""Seconds of a run that are always in the picture."""


class DropOutTrace(Plot):
    """The belt's speed since the run began, above the lowest working speed or below it."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "Belt speed of the drop-out run")

    def build(self) -> None:
        self._panel = self.add_panel()
        self._panel.line("belt", "belt")
        self._panel.line("lowest working", "in_band", width=1)
        self.close_panels("time")

    def show_trace(
        self, trace: Sequence[tuple[float, float]], low_mps: float, units: UnitSystem
    ) -> None:
        """Speeds (time in s, m/s) and the lowest working speed."""
        self.ensure_built()
        time_s = np.array([at for at, _ in trace])
        last = max([LEAST_SPAN_S, *time_s.tolist()])
        self._panel.title("belt speed", units.speed)
        belt, low = (self._panel.lines[name] for name in ("belt", "lowest working"))
        belt.source = Pyramid(time_s, np.array([speed for _, speed in trace]))
        low.source = Pyramid(np.array([0.0, last]), np.array([low_mps, low_mps]))
        for line in (belt, low):
            line.factor = from_mps(1.0, units.speed)
        self._panel.include = (0.0, from_mps(1.3 * low_mps, units.speed))
        self.set_span(0.0, last)
        self.draw()


class DropOutPlot(Plot):
    """Share of the teeth seen against the belt's speed, with the two speeds to compare."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "Share of teeth seen against belt speed", times=False)

    def build(self) -> None:
        self._panel = self.add_panel()
        self._panel.title("teeth seen", "%")
        self._panel.include = (0.0, 104.0)
        self.close_panels("belt speed")

    def show_curve(
        self, curve: Curve, drop_out_mps: float, low_mps: float, units: UnitSystem
    ) -> None:
        """`curve` of the run; `drop_out_mps` NaN where no tooth went missing."""
        panel = self.panels[0]
        panel.forget_all()
        self.clear_marks()
        factor = from_mps(1.0, units.speed)
        speed = np.array([point[0] for point in curve]) * factor
        panel.line("seen", "belt").source = Pyramid(
            speed, np.array([100 * point[1] for point in curve])
        )
        self.set_x("belt speed", units.speed)
        ends = [*speed.tolist(), low_mps * factor]
        if math.isfinite(drop_out_mps):
            ends.append(drop_out_mps * factor)
            self.mark(drop_out_mps * factor, "drop-out")
        self.mark(low_mps * factor, "work begins")
        room = 0.06 * (max(ends) - min(ends) or 1.0)
        self.see_all()
        self.set_span(max(0.0, min(ends) - room), max(ends) + room)
        self.draw()

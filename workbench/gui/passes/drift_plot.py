"""The drift plot: both speeds with the area between them, the ratio in its band, the
separation; one time axis, direct labels, change points as thin verticals with a word."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from workbench.base.units import UnitSystem, from_mps
from workbench.gui.plot.stack import Plot
from workbench.gui.theme import Theme
from workbench.match.ratio import PaceLimits
from workbench.models.plot.pyramid import Pyramid

STANDS_MPS = 0.06
"""Below this ground speed a ratio says nothing; chosen."""

MIN_PX = 208
PAUSE_S = 2.0
"""Looks at a pass come ten times a second, those of a judged one at least each second."""


class DriftPlot(Plot):
    """Three panels above one another on one time axis."""

    def __init__(self, theme: Theme) -> None:
        super().__init__(theme, "Drift plot: speeds, ratio belt ÷ ground, separation")
        self.setMinimumHeight(MIN_PX)

    def build(self) -> None:
        self._speed, self._ratio, self._apart = (self.add_panel(share) for share in (2, 1, 1))
        self._speed.line("belt", "belt")
        self._speed.line("ground", "earth")
        self._speed.fill_between("belt", "ground", "attention")
        self._ratio.line("ratio", "ink").head = "ratio belt ÷ ground"
        self._ratio.title("ratio belt ÷ ground", "")
        self._ratio.outliers_may_leave = True  # a start from standstill would flatten the rest
        self._ratio.text = lambda value: f"{value:.3f}"
        self._apart.line("ahead", "ink").head = "belt ahead of ground"
        self.close_panels("time")

    def show_pass(
        self,
        rows: Sequence[tuple[float, float, float, float]],
        limits: PaceLimits,
        units: UnitSystem,
    ) -> None:
        """`rows` of (time_s, belt m/s, ground m/s, separation m); NaN where there is none."""
        time_s, belt, ground, apart_m = np.array(rows, dtype=np.float64).reshape(-1, 4).T
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(ground > STANDS_MPS, belt / ground, np.nan)
        self.ensure_built()
        self._speed.title("speed", units.speed)
        self._apart.title("belt ahead of ground", units.length)
        self._show_limits(limits)
        speed = from_mps(1.0, units.speed)
        for panel, name, values, factor in (
            (self._speed, "belt", belt, speed),
            (self._speed, "ground", ground, speed),
            (self._ratio, "ratio", ratio, 1.0),
            (self._apart, "ahead", apart_m, 1.0 / units.length_m),
        ):
            panel.lines[name].source = Pyramid(time_s, values, PAUSE_S)
            panel.lines[name].factor = factor
        before = self.seen()
        if time_s.size:
            self.set_span(float(time_s[0]), max(float(time_s[-1]), float(time_s[0]) + 1))
        if self.seen() == before:  # a change of what is seen has drawn it already
            self.draw()

    def show_mean(self, ratio: float, U_ratio: float) -> None:
        """The pass's ratio with its expanded uncertainty, as a ribbon along the whole time."""
        self.ensure_built()
        time_s = self._ratio.lines["ratio"].source.time_s
        if time_s.size:
            ends, even = time_s[[0, -1]], np.ones(2)
            low, high = (ratio - U_ratio) * even, (ratio + U_ratio) * even
            self._ratio.ribbon("mean", ends, low, high, "ink")
        self.draw()

    def _show_limits(self, limits: PaceLimits) -> None:
        room = limits.high - limits.low
        self._ratio.set_band(limits.low, limits.high, "in band")
        self._ratio.include = (limits.low - 0.5 * room, limits.high + 0.5 * room)

"""The library's axes, with the values of a picture in a person's units."""

from __future__ import annotations

from collections.abc import Sequence

import pyqtgraph as pg
from PySide6.QtCore import QRectF

from workbench.base.units import METRIC, UnitSystem
from workbench.gui.theme import SMALL_PX, Theme, font, grown
from workbench.words.pictures.picture import Axis
from workbench.words.pictures.ticks import Ticks, axis_words, step_along, ticks_along

LEFT_PX, BOTTOM_PX = 52, 22
"""Room for the values on the left, at least, and for those below."""
TICK_PX, TIME_PX, NUMBER_PX = 30, 72, 22
"""Distance at least between two values up the axis, along it, or between counted ones."""


class ValueAxis(pg.AxisItem):  # type: ignore[misc]
    """An axis of the library with our values: no closer than can be read."""

    def __init__(self, side: str) -> None:
        self._axis, self._units, self._texts = Axis(), METRIC, dict[float, str]()
        super().__init__(side, maxTickLength=0)
        self.setStyle(tickAlpha=255 if side == "left" else 0)
        self.enableAutoSIPrefix(False)
        self.setPen(pg.mkPen(None))

    def show_axis(self, axis: Axis, units: UnitSystem, theme: Theme) -> None:
        """The values of this axis from now on, with thin lines across where they are a grid."""
        self._axis, self._units = axis, units
        self.setStyle(tickFont=font(SMALL_PX))
        self.setTextPen(theme.soft_ink)
        self.setTickPen(theme.line)
        self.update()

    def ticks(self, low: float, high: float, size_px: float) -> Ticks:
        """The values between two places that lie so many pixels apart."""
        step = self._step(low, high, size_px)
        return ticks_along(self._axis, self._units, low, high, step)

    def words(self, low: float, high: float, size_px: float) -> str:
        """What is shown, or what its times are counted in."""
        return axis_words(self._axis, self._units, low, high, self._step(low, high, size_px))

    def _step(self, low: float, high: float, size_px: float) -> float:
        apart_px = grown(NUMBER_PX if self._axis.numbers is not None else TIME_PX)
        apart_px = grown(TICK_PX) if self.orientation == "left" else apart_px
        return step_along(self._axis, self._units, apart_px * (high - low) / max(size_px, 1.0))

    def boundingRect(self) -> QRectF:  # noqa: N802
        """With room for the half of a text that stands beyond the axis's end."""
        beyond = (0, TICK_PX / 2) if self.orientation == "left" else (TIME_PX / 2, 0)
        return QRectF(super().boundingRect()).adjusted(-beyond[0], -beyond[1], *beyond)

    def tickValues(  # noqa: N802
        self, minVal: float, maxVal: float, size: float
    ) -> list[tuple[float, list[float]]]:
        self._texts = dict(self.ticks(minVal, maxVal, size))
        return [(1.0, list(self._texts))]

    def tickStrings(  # noqa: N802
        self, values: Sequence[float], scale: float, spacing: float
    ) -> list[str]:
        return [self._texts[value] for value in values]

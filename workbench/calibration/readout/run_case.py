"""Steady runs with their true speeds, and the lines laid through some or all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Machine
from workbench.base.units import SPEED_UNITS_MPS
from workbench.calibration.readout.rounding import (
    display_correlation,
    one_rounding_correlation,
    too_alike,
)
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.true_speed import TrueSpeeds
from workbench.calibration.statistics.fit import LineFit, straight_line

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """Runs with their true speeds. `used` are indices of those that a line is laid through."""

    runs: Sequence[Run]
    speeds: TrueSpeeds
    machine: Machine
    one_rounding: bool = False

    @property
    def unit_mps(self) -> float:
        return SPEED_UNITS_MPS[self.machine.readout.unit]

    @property
    def step_mps(self) -> float:
        return self.machine.readout.step * self.unit_mps

    @property
    def shown_mps(self) -> Floats:
        return np.array([run.shown for run in self.runs]) * self.unit_mps

    def log_covariance(self, used: Sequence[int]) -> Floats:
        return self.speeds.covariance[np.ix_(used, used)]

    def rounding(self, used: Sequence[int]) -> Floats:
        """(n, n) correlation of the display's rounding errors."""
        if self.one_rounding:
            return one_rounding_correlation(len(used))
        v, shown = self.speeds.speed_mps[used], self.shown_mps[used]
        return display_correlation(shown, v, self.log_covariance(used), self.step_mps)

    def fit(self, used: Sequence[int], through_origin: bool = True) -> LineFit:
        S = self.step_mps**2 / 12 * self.rounding(used)
        return self._line(used, S, through_origin)

    def same_line(self, used: Sequence[int], fit: LineFit) -> LineFit:
        """The same line through the origin, as uncertain as its weights make it with the
        rounding errors as they now hang together (GUM eq. (13), its estimator being linear)."""
        v, g = self.speeds.speed_mps[used], fit.weights[0]
        S = self.step_mps**2 / 12 * self.rounding(used)
        omega = S + fit.slope**2 * self.log_covariance(used) * np.outer(v, v)
        covariance = np.diag([0.0, float(g @ omega @ g) / float(g @ v) ** 2])
        return replace(fit, covariance=covariance, omega=omega)

    def loose_fit(self, used: Sequence[int], through_origin: bool = True) -> LineFit:
        """The line to test the runs by: rounding errors independent, at their bound.

        Two runs at one speed may show neighbouring digits; that is as far apart as rounding
        can bring them, and no sign that anything is amiss.
        """
        half = np.full(len(used), self.step_mps / 2)
        return self._line(used, np.diag(half**2), through_origin)

    def too_alike(self, used: Sequence[int]) -> bool:
        """Whether the used runs' rounding errors are all one; see `rounding.too_alike`."""
        apart = np.eye(len(used)) * self.step_mps**2 / 12
        return too_alike(self._line(used, apart, through_origin=True))

    def _line(self, used: Sequence[int], S: Floats, through_origin: bool) -> LineFit:
        v = self.speeds.speed_mps[used]
        V = self.log_covariance(used) * np.outer(v, v)
        shown = self.shown_mps[used]
        try:
            return straight_line(v, shown, cov_x=V, cov_y=S, through_origin=through_origin)
        except ValueError:
            # Runs that contradict each other wildly: the scatter test will say so. The line
            # is then that of the variances at the middle slope.
            middle = float(np.median(shown / v))
            return straight_line(v, shown, cov_y=S + middle**2 * V, through_origin=through_origin)

"""Steady runs with their true speeds, what the readout indicated in each, and the lines laid
through some or all of them.

The display stood for one moment of a run, laps and pulses for all of it: the belt wandered
meanwhile, drifted, and the display averaged.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Machine
from workbench.base.statements import statement
from workbench.calibration.readout.rounding import (
    MEAN_STEPS,
    display_correlation,
    one_rounding_correlation,
    too_alike,
    u_rounds_mps,
    way_of_rounding,
)
from workbench.calibration.readout.runs import Run
from workbench.calibration.readout.true_speed import InputSays, TrueSpeeds
from workbench.calibration.statistics.budget import Distribution, Line, Part
from workbench.calibration.statistics.fit import LineFit, straight_line

Floats = NDArray[np.float64]

AVERAGES_S, U_AVERAGES_S = 1.5, 1.5 / math.sqrt(3)
"""How far a display lags that averages over up to 3 s: rectangular from 0 to 3 s. Common
practice, no source."""

U_MOMENT = 1 / math.sqrt(12)
"""When in its run a display was read, in runs from its middle: at any moment, and perhaps
always at the same."""


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """Runs with their true speeds. `used` are indices of those that a line is laid through."""

    runs: Sequence[Run]
    speeds: TrueSpeeds
    machine: Machine
    one_rounding: bool = False

    @property
    def unit_mps(self) -> float:
        return self.machine.readout.unit_mps

    @property
    def step_mps(self) -> float:
        return self.machine.readout.step_mps

    @property
    def shown_mps(self) -> Floats:
        return np.array([run.shown for run in self.runs]) * self.unit_mps

    @property
    def indicated_mps(self) -> Floats:
        """(n,) what the readout would have shown of the run's mean speed."""
        everyone = range(len(self.runs))
        return self.indicated(
            everyone, np.array([line.estimate for line in self.display_lines(everyone)])
        )

    @property
    def _drifts(self) -> bool:
        return any(run.rate_rel_per_s for run in self.runs)

    def display_lines(self, used: Sequence[int]) -> list[Line]:
        """The inputs of `indicated`: a shown value and the belt's wander a run; where the speed
        drifted, when the displays were read and over what they average; where nobody says
        whether the display rounds, that."""
        readout, runs = self.machine.readout, [self.runs[i] for i in used]
        half = statement(InputSays.FROM_HALF_A_STEP, step=readout.step, unit=readout.unit)
        lines = [
            Line(
                statement(InputSays.SHOWN_IN_RUN, run=run.name),
                run.shown,
                readout.step / math.sqrt(12),
                readout.unit,
                Distribution.RECTANGULAR,
                source=half,
                group=Part.DISPLAY,
            )
            for run in runs
        ]
        lines += [_wander_line(run) for run in runs]
        if self._drifts:
            lines += _DRIFT_LINES
        return lines + way_of_rounding(readout)

    def indicated(self, used: Sequence[int], x: Floats) -> Floats:
        """(n,) or (n, m) indications in m/s for the inputs of `display_lines`, (k,) or (k, m)."""
        n, runs = len(used), [self.runs[i] for i in used]
        rounds = self.machine.readout.rounds
        above = MEAN_STEPS[rounds] if rounds else x[-1]
        found = (x[:n] * self.unit_mps + above * self.step_mps) / x[n : 2 * n]
        if self._drifts:
            change, rate = _column(runs, "change_rel", x), _column(runs, "rate_rel_per_s", x)
            found = found / (1 + change * x[2 * n] - rate * x[2 * n + 1])
        return np.asarray(found)

    def log_covariance(self, used: Sequence[int]) -> Floats:
        return self.speeds.covariance[np.ix_(used, used)]

    def belt_covariance(self, used: Sequence[int]) -> Floats:
        """(n, n) relative, of the belt's speed at the readings against the means of the runs."""
        runs = [self.runs[i] for i in used]
        change = np.array([run.change_rel for run in runs]) * U_MOMENT
        lag = np.array([run.rate_rel_per_s for run in runs]) * U_AVERAGES_S
        own = np.diag([run.wander_rel**2 for run in runs])
        return np.asarray(own + np.outer(change, change) + np.outer(lag, lag))

    def rounding(self, used: Sequence[int]) -> Floats:
        """(n, n) correlation of the display's rounding errors."""
        if self.one_rounding:
            return one_rounding_correlation(len(used))
        v, shown = self.speeds.speed_mps[used], self.shown_mps[used]
        # The belt's wander moves a value in its step as well.
        covariance = self.log_covariance(used) + self.belt_covariance(used)
        return display_correlation(shown, v, covariance, self.step_mps)

    def fit(self, used: Sequence[int], through_origin: bool = True) -> LineFit:
        return self._line(used, self.step_mps**2 / 12 * self.rounding(used), through_origin)

    def same_line(self, used: Sequence[int], fit: LineFit) -> LineFit:
        """The same line through the origin, as uncertain as its weights make it with the
        rounding errors as they now hang together (GUM eq. (13), its estimator being linear)."""
        v, g = self.speeds.speed_mps[used], fit.weights[0]
        S = self._with_belt(used, self.step_mps**2 / 12 * self.rounding(used))
        omega = S + fit.slope**2 * self.log_covariance(used) * np.outer(v, v)
        covariance = np.diag([0.0, float(g @ omega @ g) / float(g @ v) ** 2])
        return replace(fit, covariance=covariance, omega=omega)

    def loose_fit(self, used: Sequence[int], through_origin: bool = True) -> LineFit:
        """The line to test the runs by: rounding errors independent, at their bound.

        Two runs at one speed may show neighbouring digits; that is as far apart as rounding
        can bring them, and no sign that anything is amiss.
        """
        return self._line(used, np.eye(len(used)) * self.step_mps**2 / 4, through_origin)

    def apart_fit(self, used: Sequence[int], through_origin: bool = True) -> LineFit:
        """The line with rounding errors independent, to see how the runs scatter by."""
        return self._line(used, np.eye(len(used)) * self.step_mps**2 / 12, through_origin)

    def too_alike(self, used: Sequence[int]) -> bool:
        """Whether the used runs' rounding errors are all one; see `rounding.too_alike`."""
        return too_alike(self.apart_fit(used))

    def _with_belt(self, used: Sequence[int], S: Floats) -> Floats:
        indicated = self.indicated_mps[used]
        S = S + u_rounds_mps(self.machine.readout) ** 2
        return np.asarray(S + self.belt_covariance(used) * np.outer(indicated, indicated))

    def _line(self, used: Sequence[int], S: Floats, through_origin: bool) -> LineFit:
        v, indicated = self.speeds.speed_mps[used], self.indicated_mps[used]
        V, S = self.log_covariance(used) * np.outer(v, v), self._with_belt(used, S)
        try:
            return straight_line(v, indicated, cov_x=V, cov_y=S, through_origin=through_origin)
        except ValueError:
            # Runs that contradict each other wildly: the scatter test will say so. The line
            # is then that of the variances at the middle slope.
            S = S + float(np.median(indicated / v)) ** 2 * V
            return straight_line(v, indicated, cov_y=S, through_origin=through_origin)


def _column(runs: Sequence[Run], name: str, x: Floats) -> Floats:
    """(n,) or (n, 1), as `x` is (k,) or (k, m)."""
    values = np.array([getattr(run, name) for run in runs])
    return values if x.ndim == 1 else values[:, None]


def _wander_line(run: Run) -> Line:
    told = run.wander_told
    return Line(
        statement(InputSays.WANDER_IN_RUN, run=run.name),
        1.0,
        run.wander_rel,
        source=statement(InputSays.FROM_RECORDED_WANDER if told else InputSays.FROM_USUAL_WANDER),
        group=Part.WANDER,
    )


_DRIFT_LINES = (
    Line(
        statement(InputSays.MOMENT_OF_READING),
        0.0,
        U_MOMENT,
        "",
        Distribution.RECTANGULAR,
        source=statement(InputSays.FROM_ANY_MOMENT),
        group=Part.AVERAGING,
    ),
    Line(
        statement(InputSays.DISPLAY_AVERAGES),
        AVERAGES_S,
        U_AVERAGES_S,
        "s",
        Distribution.RECTANGULAR,
        source=statement(InputSays.FROM_USUAL_AVERAGING),
        group=Part.AVERAGING,
    ),
)

"""True belt speed of every run from laps, pulses and references together.

All observations are logarithms, so that shared factors add: with n laps of length L in t,
N pulses in T and m metres a pulse,

    ln(n·L/t) = ln v + errors of L (shared) and t
    ln(N/T)   = ln v − ln m + errors of N
    ln m_geometry = ln m + errors of the drive line's geometry

Generalised least squares solves for every ln v and for ln m with the full covariance of
the observations, so one tape that measured all laps is one error, not many. (Logarithms
also keep a shared relative error from biasing the mean, known as Peelle's puzzle.)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.readout.runs import COUNT_U, HAND_INTERVAL_U_S, Run
from workbench.calibration.statistics.budget import NORMAL, TRIANGULAR, Line

Floats = NDArray[np.float64]

SLIP_U_REL = 0.005
"""Creep of a belt on a friction roll, allowed for where only the geometry gives the metres
a pulse; a sprocket does not creep. Chosen; common practice, no source."""

SMALLEST_U_REL = 1e-6
"""Stands for 'exact': no length of a machine is known better."""

SMALLEST_DRAW = 0.01
"""Share of its estimate below which no drawn input goes."""

BY_HAND = "hand timing, Am. J. Phys. 87, 2019, 110"
BY_PICKUP = "lap pickup, which sees the mark on the belt"

REFERENCE_REPEAT = 0.1
"""Share of a reference's uncertainty taken as its repeatability from run to run; the rest,
its own calibration, is the same in every run. Chosen."""


@dataclass(frozen=True, slots=True)
class Known:
    """A length known beforehand, with where it is known from.

    `of_lap`: it and the length of the lap come from one measured pitch, so that their
    relative errors are one and the same.
    """

    value_m: float
    u_m: float
    source: str
    of_lap: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class TrueSpeeds:
    """Speeds of n runs and the metres a pulse, tied to k inputs.

    `speed_mps` (n,); `covariance` (n, n) of ln v; `inputs` the k input quantities;
    `log_values` takes inputs (k,) or (k, m) to ln v and, last, ln m: (n + 1,) or
    (n + 1, m), the weights held. `metres_per_pulse` and its `u_metres_per_pulse_rel` are
    NaN where no run has pulses.
    """

    speed_mps: Floats
    covariance: Floats
    inputs: tuple[Line, ...]
    log_values: Callable[[Floats], Floats]
    metres_per_pulse: float
    u_metres_per_pulse_rel: float


def true_speeds(
    runs: Sequence[Run],
    lap: Known | None,
    geometry: Known | None,
    *,
    u_clock_rel: float = 0.0,
    slip: bool = False,
) -> TrueSpeeds:
    """Solve for the true speed of each run.

    `lap` None leaves laps out, `geometry` None lets the runs alone find the metres a
    pulse. `u_clock_rel` is that of a counter's clock behind all times of a recording;
    `slip` allows for `SLIP_U_REL`. Raises ValueError where a speed is not determined.
    """
    system = _System(runs, lap, geometry, u_clock_rel, slip)
    A, T, constant = np.array(system.design), system.exponents(), np.array(system.constants)
    x = np.array([line.estimate for line in system.inputs])
    u_rel = np.array([line.u for line in system.inputs]) / x
    C = (T * u_rel**2) @ T.T
    scaled = np.linalg.solve(C, A)
    information = A.T @ scaled
    if np.linalg.matrix_rank(A) < A.shape[1]:
        raise ValueError("a run's speed hangs on metres a pulse that nothing gives")
    W = np.linalg.solve(information, scaled.T)
    y = constant + T @ np.log(x)
    solution, covariance = W @ y, np.linalg.inv(information)
    n = len(runs)
    of_inputs, of_constants = W @ T, W @ constant

    def log_values(at: Floats) -> Floats:
        # All inputs are positive; the tail of a normal draw below 0 is none of them.
        logs = np.log(np.maximum(at.T, SMALLEST_DRAW * x)).T
        values = of_inputs @ logs + (of_constants if at.ndim == 1 else of_constants[:, None])
        return values if system.pulses_used else np.concatenate([values, values[:1] * np.nan])

    return TrueSpeeds(
        np.exp(solution[:n]),
        covariance[:n, :n],
        tuple(system.inputs),
        log_values,
        math.exp(solution[n]) if system.pulses_used else math.nan,
        math.sqrt(covariance[n, n]) if system.pulses_used else math.nan,
    )


class _System:
    """Observations in rows, input quantities in columns.

    `design` holds the rows of the design matrix, `constants` what of each observation does
    not hang on an input, `exponents()` how it hangs on their logarithms.
    """

    def __init__(
        self,
        runs: Sequence[Run],
        lap: Known | None,
        geometry: Known | None,
        u_clock_rel: float,
        slip: bool,
    ) -> None:
        self.inputs: list[Line] = []
        self.design: list[list[float]] = []
        self._terms: list[list[tuple[int, float]]] = []
        self.constants: list[float] = []
        self.pulses_used = any(run.has_pulses for run in runs)
        self._width = len(runs) + self.pulses_used
        clock = self._clock(u_clock_rel)
        of_lap = geometry is not None and geometry.of_lap
        if lap is not None and (of_lap or any(run.has_laps for run in runs)):
            length = self._input(
                Line(
                    "length of one lap",
                    lap.value_m,
                    lap.u_m,
                    "m",
                    source=lap.source,
                    group="lap length",
                )
            )
        for i, run in enumerate(runs):
            watch = None
            if run.has_laps and lap is not None:
                watch = self._input(_lap_time(run))
                self._row({i: 1.0}, math.log(run.laps), [(length, 1.0), (watch, -1.0), *clock])
            if run.has_pulses:
                self._pulses(i, run, watch if run.one_interval else None, clock)
            if run.has_reference:
                self._reference(i, run)
        if self.pulses_used and geometry is not None:
            if of_lap:
                self._geometry_of_lap(geometry, length)
            else:
                self._geometry(geometry, slip)

    def exponents(self) -> Floats:
        """(rows, k) T of the observations, constants + T · ln(inputs)."""
        matrix = np.zeros((len(self.design), len(self.inputs)))
        for row, terms in enumerate(self._terms):
            for column, exponent in terms:
                matrix[row, column] += exponent
        return matrix

    def _input(self, line: Line) -> int:
        self.inputs.append(line)
        return len(self.inputs) - 1

    def _row(self, of: dict[int, float], constant: float, terms: list[tuple[int, float]]) -> None:
        """An observation constant + Σ exponent·ln(input) of the parameters `of`."""
        self.design.append([of.get(column, 0.0) for column in range(self._width)])
        self.constants.append(constant)
        self._terms.append(terms)

    def _clock(self, u_clock_rel: float) -> list[tuple[int, float]]:
        if u_clock_rel <= 0:
            return []
        line = Line(
            "clock of the recording",
            1.0,
            u_clock_rel,
            source="the clock's own accuracy",
            group="clock",
        )
        return [(self._input(line), 1.0)]

    def _pulses(self, i: int, run: Run, watch: int | None, clock: list[tuple[int, float]]) -> None:
        terms = [(self._input(_pulse_count(run)), 1.0), *clock]
        constant = -math.log(run.pulses_time_s)
        if watch is not None:
            constant, terms = 0.0, [*terms, (watch, -1.0)]
        self._row({i: 1.0, self._width - 1: -1.0}, constant, terms)

    def _reference(self, i: int, run: Run) -> None:
        shared = next((k for k, line in enumerate(self.inputs) if line.group == "reference"), None)
        if shared is None:
            shared = self._input(Line("calibration of the reference", 1.0, 0.0))
        u_rel = max(self.inputs[shared].u, run.u_reference_mps / run.reference_mps)
        self.inputs[shared] = Line(
            "calibration of the reference",
            1.0,
            u_rel,
            source="typed in the run table; taken as shared by all runs",
            group="reference",
        )
        reading = Line(
            f"reading of the reference, {run.name}",
            run.reference_mps,
            REFERENCE_REPEAT * run.u_reference_mps,
            "m/s",
            source="a tenth of the reference's uncertainty, chosen",
            group="reading of the reference",
        )
        self._row({i: 1.0}, 0.0, [(shared, 1.0), (self._input(reading), 1.0)])

    def _geometry(self, geometry: Known, slip: bool) -> None:
        line = Line(
            "metres a pulse by the drive line",
            geometry.value_m,
            # A pitch declared as exact still must not make the equations singular.
            max(geometry.u_m, SMALLEST_U_REL * geometry.value_m),
            "m",
            source=geometry.source,
            group="drive line",
        )
        terms = [(self._input(line), 1.0)]
        if slip:
            creep = Line(
                "creep of the belt on its roll",
                1.0,
                SLIP_U_REL,
                source="allowed for; common practice, no source",
                group="drive line",
            )
            terms.append((self._input(creep), 1.0))
        self._row({self._width - 1: 1.0}, 0.0, terms)

    def _geometry_of_lap(self, geometry: Known, length: int) -> None:
        lap_m = self.inputs[length].estimate
        fit = Line(
            "rods on the sprocket, one for one",
            1.0,
            SMALLEST_U_REL,
            source="lap and drive line from one pitch",
            group="drive line",
        )
        terms = [(length, 1.0), (self._input(fit), 1.0)]
        self._row({self._width - 1: 1.0}, math.log(geometry.value_m / lap_m), terms)


def _lap_time(run: Run) -> Line:
    by_hand = run.u_laps_time_s == HAND_INTERVAL_U_S
    return Line(
        f"time of {run.laps:g} laps, {run.name}",
        run.laps_time_s,
        run.u_laps_time_s,
        "s",
        source=BY_HAND if by_hand else BY_PICKUP,
        group="timing of laps",
    )


def _pulse_count(run: Run) -> Line:
    counted = run.u_pulses == COUNT_U
    return Line(
        f"pulses, {run.name}",
        run.pulses,
        run.u_pulses,
        "",
        TRIANGULAR if counted else NORMAL,
        source="a count is good to ±1" if counted else "edges timed one by one",
        group="pulse count",
    )

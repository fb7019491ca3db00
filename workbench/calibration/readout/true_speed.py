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
from dataclasses import dataclass, replace
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.machine import Drive
from workbench.base.statements import statement
from workbench.calibration.readout.runs import COUNT_U, HAND_INTERVAL_U_S, Run
from workbench.calibration.statistics.budget import Distribution, Line, Part

Floats = NDArray[np.float64]

SLIP_U_REL = 0.005
"""Creep of a belt on a friction roll, allowed for where only the geometry gives the metres
a pulse; a sprocket does not creep. Chosen; common practice, no source."""

WORN_OUT_REL = 0.03
"""Elongation at which a chain is worn out, and a rodded belt with it: between none and this
wear and stretch may have brought a pitch that nobody measured since (makers' manuals)."""
MUD_M = 0.005
"""Thickness of mud that a roll may carry. Common practice, no source."""

UNSAID_CLOCK_U_REL = 0.003
"""Of a clock that nobody tells of: many a small board has a ceramic resonator, good to ± 0.5 %
(from memory), either way as likely (0.5 %/√3)."""

SMALLEST_U_REL = 1e-6
"""Stands for 'exact': no length of a machine is known better."""

SMALLEST_DRAW = 0.01
"""Share of its estimate below which no drawn input goes."""

REFERENCE_REPEAT = 0.1
"""Share of a reference's uncertainty taken as its repeatability from run to run; the rest,
its own calibration, is the same in every run. Chosen."""


class InputSays(StrEnum):
    """Inputs of a calibration's budget, and where each one's uncertainty comes from."""

    READOUT_ERROR_AT_WORK = auto()
    LAP_LENGTH = auto()
    LAPS_TIME = auto()
    PULSES_OF_RUN = auto()
    PULSES_TIME = auto()
    METRES_PER_PULSE_BY_GEOMETRY = auto()
    BELT_CREEP = auto()
    WEAR_OR_MUD = auto()
    RODS_ON_SPROCKET = auto()
    RECORDING_CLOCK = auto()
    REFERENCE_CALIBRATION = auto()
    REFERENCE_READING = auto()
    SHOWN_IN_RUN = auto()
    WANDER_IN_RUN = auto()
    MOMENT_OF_READING = auto()
    DISPLAY_AVERAGES = auto()
    WAY_OF_ROUNDING = auto()
    LINE_THROUGH_CHANGE_OVERS = auto()
    SCATTER_BEYOND = auto()
    FROM_ONE_TAPE = auto()
    FROM_A_HAND = auto()
    FROM_A_LAP_PICKUP = auto()
    FROM_A_COUNT = auto()
    FROM_EDGES = auto()
    FROM_GEOMETRY = auto()
    FROM_ONE_PITCH = auto()
    FROM_CREEP_ALLOWED = auto()
    FROM_NO_LAPS = auto()
    FROM_CLOCK = auto()
    FROM_CLOCK_UNSAID = auto()
    FROM_REFERENCE = auto()
    FROM_REFERENCE_REPEAT = auto()
    FROM_HALF_A_STEP = auto()
    FROM_USUAL_WANDER = auto()
    FROM_RECORDED_WANDER = auto()
    FROM_ANY_MOMENT = auto()
    FROM_USUAL_AVERAGING = auto()
    FROM_ROUNDS_UNSAID = auto()
    FROM_A_GATE = auto()
    FROM_SCATTER_ABOUT_LINE = auto()
    FROM_KEY_PRESSES = auto()
    FROM_LACK_OF_FIT = auto()


@dataclass(frozen=True, slots=True)
class Known:
    """A length known beforehand.

    `of_lap`: it and the length of the lap come from one measured pitch, so that their
    relative errors are one and the same.
    """

    value_m: float
    u_m: float
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
    wear_rel: float = 0.0,
) -> TrueSpeeds:
    """Solve for the true speed of each run.

    `lap` None leaves laps out, `geometry` None lets the runs alone find the metres a
    pulse. `u_clock_rel` is that of a counter's clock behind all times of a recording;
    `slip` allows for `SLIP_U_REL`, `wear_rel` for that much more belt a pulse at most than
    the geometry tells. Raises ValueError where a speed is not determined.
    """
    system = _System(runs, lap, geometry, u_clock_rel, slip, wear_rel)
    A, T, constant = np.array(system.design), system.exponents(), np.array(system.constants)
    x = np.array([line.estimate for line in system.inputs])
    u_rel = np.array([line.u for line in system.inputs]) / x
    C = (T * u_rel**2) @ T.T
    scaled = np.linalg.solve(C, A)
    information = A.T @ scaled
    if np.linalg.matrix_rank(A.T @ A, hermitian=True) < A.shape[1]:
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
        wear_rel: float,
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
                    statement(InputSays.LAP_LENGTH),
                    lap.value_m,
                    lap.u_m,
                    "m",
                    source=statement(InputSays.FROM_ONE_TAPE),
                    group=Part.LAP_LENGTH,
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
                self._geometry_of_lap(geometry, length, wear_rel)
            else:
                self._geometry(geometry, slip, wear_rel)

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
        return [(self._input(clock_line(u_clock_rel)), 1.0)] if u_clock_rel > 0 else []

    def _pulses(self, i: int, run: Run, watch: int | None, clock: list[tuple[int, float]]) -> None:
        terms = [(self._input(_pulse_count(run)), 1.0), *clock]
        constant = 0.0
        if watch is None and run.u_pulses_time_s > 0:
            watch = self._input(_pulses_time(run))
        if watch is None:
            constant = -math.log(run.pulses_time_s)
        else:
            terms = [*terms, (watch, -1.0)]
        self._row({i: 1.0, self._width - 1: -1.0}, constant, terms)

    def _reference(self, i: int, run: Run) -> None:
        shared = next(
            (k for k, line in enumerate(self.inputs) if line.group == Part.REFERENCE), None
        )
        if shared is None:
            factor = _factor(
                InputSays.REFERENCE_CALIBRATION, 0.0, InputSays.FROM_REFERENCE, Part.REFERENCE
            )
            shared = self._input(factor)
        u_rel = max(self.inputs[shared].u, run.u_reference_mps / run.reference_mps)
        self.inputs[shared] = replace(self.inputs[shared], u=u_rel)
        reading = Line(
            statement(InputSays.REFERENCE_READING, run=run.name),
            run.reference_mps,
            REFERENCE_REPEAT * run.u_reference_mps,
            "m/s",
            source=statement(InputSays.FROM_REFERENCE_REPEAT),
            group=Part.REFERENCE_READING,
        )
        self._row({i: 1.0}, 0.0, [(shared, 1.0), (self._input(reading), 1.0)])

    def _geometry(self, geometry: Known, slip: bool, wear_rel: float) -> None:
        line = Line(
            statement(InputSays.METRES_PER_PULSE_BY_GEOMETRY),
            geometry.value_m,
            # A pitch declared as exact still must not make the equations singular.
            max(geometry.u_m, SMALLEST_U_REL * geometry.value_m),
            "m",
            source=statement(InputSays.FROM_GEOMETRY),
            group=Part.DRIVE_LINE,
        )
        terms = [(self._input(line), 1.0)]
        if slip:
            creep = _factor(
                InputSays.BELT_CREEP, SLIP_U_REL, InputSays.FROM_CREEP_ALLOWED, Part.DRIVE_LINE
            )
            terms.append((self._input(creep), 1.0))
        if wear_rel > 0:
            terms.append((self._input(_wear_line(wear_rel)), 1.0))
        self._row({self._width - 1: 1.0}, 0.0, terms)

    def _geometry_of_lap(self, geometry: Known, length: int, wear_rel: float) -> None:
        lap_m = self.inputs[length].estimate
        fit = _factor(
            InputSays.RODS_ON_SPROCKET, SMALLEST_U_REL, InputSays.FROM_ONE_PITCH, Part.DRIVE_LINE
        )
        terms = [(length, 1.0), (self._input(fit), 1.0)]
        if wear_rel > 0:  # a lap counted in rods is as worn as they are
            terms.append((self._input(_wear_line(wear_rel)), 1.0))
        self._row({self._width - 1: 1.0}, math.log(geometry.value_m / lap_m), terms)


def most_wear_rel(drive: Drive) -> float:
    """How much more belt a pulse may be than a drive line's numbers tell, that were never
    measured on this machine; 0 where they were."""
    if drive.measured_on:
        return 0.0
    return WORN_OUT_REL if drive.kind == "sprocket" else 2 * MUD_M / drive.roll_diameter_m


def _wear_line(most_rel: float) -> Line:
    """Anything between no wear and the most. The belt never moves less than the drawing tells,
    so the estimate lies half-way (GUM 4.3.7); a new belt and a worn one are at least as likely
    as one between, which is an arc sine distribution (JCGM 101, 6.4.6)."""
    return Line(
        statement(InputSays.WEAR_OR_MUD),
        1 + most_rel / 2,
        most_rel / 2 / math.sqrt(2),
        source=statement(InputSays.FROM_NO_LAPS),
        group=Part.DRIVE_LINE,
    )


def clock_line(u_clock_rel: float) -> Line:
    """The clock behind all times of a recording."""
    unsaid = u_clock_rel == UNSAID_CLOCK_U_REL
    source = InputSays.FROM_CLOCK_UNSAID if unsaid else InputSays.FROM_CLOCK
    return _factor(InputSays.RECORDING_CLOCK, u_clock_rel, source, Part.CLOCK)


def _factor(quantity: InputSays, u_rel: float, source: InputSays, group: Part) -> Line:
    """An input that is a factor of 1, nearly."""
    return Line(statement(quantity), 1.0, u_rel, source=statement(source), group=group)


def _lap_time(run: Run) -> Line:
    return Line(
        statement(InputSays.LAPS_TIME, laps=run.laps, run=run.name),
        run.laps_time_s,
        run.u_laps_time_s,
        "s",
        source=statement(InputSays.FROM_A_HAND if run.by_hand else InputSays.FROM_A_LAP_PICKUP),
        group=Part.LAP_TIMING,
    )


def _pulses_time(run: Run) -> Line:
    by_hand = run.u_pulses_time_s == HAND_INTERVAL_U_S
    return Line(
        statement(InputSays.PULSES_TIME, run=run.name),
        run.pulses_time_s,
        run.u_pulses_time_s,
        "s",
        source=statement(InputSays.FROM_A_HAND if by_hand else InputSays.FROM_A_GATE),
        group=Part.PULSE_TIMING,
    )


def _pulse_count(run: Run) -> Line:
    counted = run.u_pulses == COUNT_U
    return Line(
        statement(InputSays.PULSES_OF_RUN, run=run.name),
        run.pulses,
        run.u_pulses,
        "",
        Distribution.TRIANGULAR if counted else Distribution.NORMAL,
        source=statement(InputSays.FROM_A_COUNT if counted else InputSays.FROM_EDGES),
        group=Part.PULSE_COUNT,
    )

"""Uncertainty budgets: first order after the GUM, checked by Monte Carlo where in doubt.

Sources: JCGM 100:2008 (GUM) 5.1.2 and 5.2.2 for the combination, G.4.1 for the effective
degrees of freedom; JCGM 101:2008 for the propagation of distributions. Coverage is
95.45 % (k = 2 for a normal distribution) unless said otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from enum import StrEnum, auto
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from workbench.base.statements import Statement, statement
from workbench.calibration.statistics.coverage import COVERAGE, coverage_factor

Floats = NDArray[np.float64]
Model = Callable[[Floats], Any]
"""Takes inputs (k,) or (k, m) and returns the output, a number or (m,)."""

Joint = Callable[[np.random.Generator, Floats], None]
"""Overwrites rows of the drawn inputs (k, draws) whose joint distribution is known better
than each line's own distribution and the correlations tell."""


class Distribution(StrEnum):
    """What is known of an input besides its standard uncertainty."""

    NORMAL = auto()
    RECTANGULAR = auto()
    TRIANGULAR = auto()
    TWO_VALUED = auto()


class Part(StrEnum):
    """Groups of a calibration's budget, as its JSON has named them from the first."""

    LAP_LENGTH = "lap length"
    LAP_TIMING = "timing of laps"
    PULSE_COUNT = "pulse count"
    PULSE_TIMING = "timing of pulses"
    DRIVE_LINE = "drive line"
    DISPLAY = "reading the display"
    REFERENCE = "reference"
    REFERENCE_READING = "reading of the reference"
    CLOCK = "clock"
    SCATTER = "scatter"
    CHANGE_OVERS = "change-overs"
    WANDER = "wander of the belt"
    AVERAGING = "averaging of the display"
    ROUNDING = "way of rounding"


class BudgetSays(StrEnum):
    """How U was found, and why not by first order alone."""

    FIRST_ORDER = auto()
    MONTE_CARLO = auto()
    MONTE_CARLO_AGREES = auto()
    MONTE_CARLO_DIFFERS = auto()
    BENDS_WITH = auto()
    BENDS_TOGETHER = auto()
    NOT_NORMAL_RULES = auto()
    NOT_NORMAL_TOGETHER = auto()


KURTOSIS = {
    Distribution.NORMAL: 0.0,
    Distribution.RECTANGULAR: -1.2,
    Distribution.TRIANGULAR: -0.6,
    Distribution.TWO_VALUED: -2.0,
}
"""Excess kurtosis of each distribution (elementary)."""

MOST_KURTOSIS = 0.3
"""Excess kurtosis of the output, either way, up to which it counts as normal: four equal
rectangular inputs have it, and there k = 2 covers 95.8 % instead of 95.45 %. Chosen."""

DRAWS = 20_000
"""Enough for U to 1 % of itself, half a unit of its second digit where that is 5 or less;
a check of two digits needs no more."""

LOOKS = 32
"""Points about the estimates at which the model is held against its straight line. Chosen."""

MOST_BENT = 0.05
"""What lies off the straight line, root mean square, as a share of u: up to it u is short by
an eighth of a per cent. Chosen."""

MOST_AT_ONCE = 8_000_000
"""Drawn values held at a time, 64 MB: a table of a thousand runs must not fill the memory."""

SEED = 20230101
"""Fixed, so that the same data give the same answer on every computer and every day."""


@dataclass(frozen=True, slots=True)
class Line:
    """One input quantity: its estimate, its standard uncertainty, what it does to the output.

    `dof` are the degrees of freedom of `u`, `source` says where `u` comes from. Lines of one
    `group` are shown together. `sensitivity` is ∂output/∂input, `contribution` the share of
    the output's standard uncertainty with the sensitivity's sign: NaN until computed.
    """

    quantity: Statement
    estimate: float
    u: float
    unit: str = ""
    distribution: Distribution = Distribution.NORMAL
    _: KW_ONLY
    source: Statement
    group: Part
    dof: float = math.inf
    sensitivity: float = math.nan
    contribution: float = math.nan

    def felt(self, sensitivity: float) -> Line:
        """The line with what it does to the output."""
        return replace(self, sensitivity=sensitivity, contribution=sensitivity * self.u)


@dataclass(frozen=True, slots=True)
class Budget:
    """The output's value, its lines, and what they come to.

    `u` is the combined standard uncertainty, `U = k·u`, `dof` the effective degrees of
    freedom; `groups` what the lines of each group together give to `u`. `correlation` holds
    (line, line, coefficient) of lines i < j that hang together. `method` says how U was found,
    `note` why first order was in doubt.
    """

    quantity: Statement
    value: float
    u: float
    U: float
    k: float
    dof: float
    coverage: float
    method: Statement
    note: Statement | None
    groups: dict[Part, float]
    lines: tuple[Line, ...]
    correlation: tuple[tuple[int, int, float], ...] = ()


def budget_of(
    quantity: Statement,
    value: float,
    lines: Sequence[Line],
    correlation: Sequence[tuple[int, int, float]] = (),
    coverage: float = COVERAGE,
) -> Budget:
    """What lines with known sensitivities come to by first order.

    u after GUM eq. (10) and, with correlation, (16); its degrees of freedom after
    Welch-Satterthwaite (G.2b).
    """
    c = [line.contribution for line in lines]
    square = sum(part * part for part in c) + 2 * sum(r * c[i] * c[j] for i, j, r in correlation)
    u = math.sqrt(max(square, 0.0))
    # A line without spread adds nothing; division by its infinite dof adds nothing too.
    below = sum(line.contribution**4 / line.dof for line in lines)
    dof = u**4 / below if below > 0 else math.inf
    k = coverage_factor(dof, coverage)
    return Budget(
        quantity,
        value,
        u,
        k * u,
        k,
        dof,
        coverage,
        statement(BudgetSays.FIRST_ORDER),
        None,
        _groups(lines, correlation),
        tuple(lines),
        tuple(correlation),
    )


def _groups(
    lines: Sequence[Line], correlation: Sequence[tuple[int, int, float]]
) -> dict[Part, float]:
    """Group → what its lines together contribute to u, correlation within it counted."""
    square: dict[Part, float] = {}
    for line in lines:
        square[line.group] = square.get(line.group, 0.0) + line.contribution**2
    for i, j, r in correlation:
        group = lines[i].group
        if group is lines[j].group:
            square[group] += 2 * r * lines[i].contribution * lines[j].contribution
    return {group: math.sqrt(max(value, 0.0)) for group, value in square.items()}


def first_order(
    model: Model,
    lines: Sequence[Line],
    *,
    quantity: Statement,
    correlation: Sequence[tuple[int, int, float]] = (),
    coverage: float = COVERAGE,
) -> Budget:
    """The budget of `model` at the estimates, sensitivities by central differences."""
    x, u = _known(lines)
    step = np.where(u > 0, 1e-3 * u, 1e-6 * np.maximum(np.abs(x), 1e-6))
    points = _either_side(x, step)
    y = np.asarray(model(points), dtype=np.float64)
    at = np.arange(x.size)
    slopes = (y[0::2] - y[1::2]) / (points[at, 2 * at] - points[at, 2 * at + 1])
    felt = [line.felt(float(slope)) for line, slope in zip(lines, slopes, strict=True)]
    return budget_of(quantity, float(model(x)), felt, correlation, coverage)


def _known(lines: Sequence[Line]) -> tuple[Floats, Floats]:
    """Estimates and standard uncertainties (k,)."""
    x, u = np.array([(line.estimate, line.u) for line in lines], dtype=np.float64).T
    return x, u


def _either_side(x: Floats, step: Floats) -> Floats:
    """(k, 2k): each input in turn a step up, then a step down."""
    points = np.repeat(x[:, None], 2 * x.size, axis=1)
    at = np.arange(x.size)
    points[at, 2 * at] += step
    points[at, 2 * at + 1] -= step
    return points


def monte_carlo(
    model: Model,
    lines: Sequence[Line],
    *,
    draws: int = DRAWS,
    joint: Joint | None = None,
    correlation: Sequence[tuple[int, int, float]] = (),
) -> Floats:
    """(draws,) outputs of `model`, the lines' whole distributions propagated (JCGM 101, 7).

    Lines with `correlation` are mixed linearly (6.4.8: exact where they are normal); a `joint`
    knows better and takes its place.
    """
    rng, outputs = np.random.default_rng(SEED), []
    mix = _mixed(len(lines), correlation) if correlation and joint is None else None
    x, u = _known(lines)
    piece = max(1, MOST_AT_ONCE // len(lines))
    for done in range(0, draws, piece):
        inputs = np.empty((len(lines), min(piece, draws - done)))
        for index, line in enumerate(lines):
            inputs[index] = _standardised(rng, inputs.shape[1], line)
        inputs = x[:, None] + u[:, None] * (inputs if mix is None else mix @ inputs)
        if joint is not None:
            joint(rng, inputs)
        outputs.append(np.asarray(model(inputs), dtype=np.float64))
    return np.concatenate(outputs)


def _mixed(count: int, correlation: Sequence[tuple[int, int, float]]) -> Floats:
    """(count, count) root of the correlation matrix, singular where two lines are one."""
    matrix = np.eye(count)
    for i, j, r in correlation:
        matrix[i, j] = matrix[j, i] = r
    size, axes = np.linalg.eigh(matrix)
    return np.asarray(axes * np.sqrt(np.maximum(size, 0.0)) @ axes.T)


def _standardised(rng: np.random.Generator, draws: int, line: Line) -> Floats:
    """Draws of the line's distribution about 0, scaled to u = 1.

    A normal with finite degrees of freedom is Student's t (JCGM 101, 6.4.9.2), whose spread
    is wider than u by the very factor that a few readings warrant.
    """
    if line.distribution == Distribution.RECTANGULAR:
        return rng.uniform(-math.sqrt(3), math.sqrt(3), draws)
    if line.distribution == Distribution.TRIANGULAR:
        return rng.triangular(-math.sqrt(6), 0, math.sqrt(6), draws)
    if line.distribution == Distribution.TWO_VALUED:
        return rng.choice(np.array([-1.0, 1.0]), draws)
    if math.isfinite(line.dof):
        return rng.standard_t(line.dof, draws)
    return rng.standard_normal(draws)


def doubt(budget: Budget, model: Model) -> Statement | None:
    """Why first order may not do; None where it does.

    Two tests: how far the model lies off its straight line at points drawn about the estimates
    (GUM 5.1.2, note; lines that multiply show here even where each alone is straight), and the
    shape of the output, its excess kurtosis, which for a normal distribution is 0: few inputs
    that are not normal rule, and the central limit theorem (G.2.1) has not much to work on.
    """
    bent = _bent(budget, model)
    if bent is not None or not budget.u > 0:
        return bent
    parts = _kurtosis_parts(budget)
    if abs(parts.sum()) > MOST_KURTOSIS:
        ruling = budget.lines[int(np.argmax(np.abs(parts)))]
        return statement(BudgetSays.NOT_NORMAL_RULES, quantity=ruling.quantity)
    return None


def _bent(budget: Budget, model: Model) -> Statement | None:
    """That the model bends over the spread of its inputs, and with which; None where not."""
    x, u = _known(budget.lines)
    off = u[:, None] * _looks(x.size)
    straight = np.array([line.sensitivity for line in budget.lines]) @ off
    y = np.asarray(model(x[:, None] + off), dtype=np.float64)
    rounding = 1e-12 * float(np.abs(y).max())  # of a difference that ought to be nothing
    bent = math.sqrt(float(np.mean((y - budget.value - straight) ** 2)))
    if bent <= MOST_BENT * budget.u + rounding:
        return None
    y = np.asarray(model(_either_side(x, u)), dtype=np.float64)
    curved = 0.5 * np.abs(y[0::2] + y[1::2] - 2 * budget.value)
    if curved.max() > MOST_BENT * budget.u + rounding:
        most = budget.lines[int(np.argmax(curved))]
        return statement(BudgetSays.BENDS_WITH, quantity=most.quantity)
    return statement(BudgetSays.BENDS_TOGETHER)


@lru_cache(maxsize=32)
def _looks(count: int) -> Floats:
    """(count, LOOKS) where the inputs are looked at, in standard uncertainties."""
    return np.random.default_rng(SEED).standard_normal((count, LOOKS))


def _kurtosis_parts(budget: Budget) -> Floats:
    """(k,) what each line adds to the excess kurtosis of the output.

    Of a sum of independent inputs it is Σ κᵢcᵢ⁴/u⁴; inputs that move together by correlation
    count as the one input they are.
    """
    c = np.array([line.contribution for line in budget.lines])
    together = c.copy()
    for i, j, r in budget.correlation:
        together[i] += r * c[j]
        together[j] += r * c[i]
    shape = np.array([KURTOSIS[line.distribution] for line in budget.lines])
    return np.asarray(shape * c * together**3 / budget.u**4)


def _share_not_normal(budget: Budget) -> float:
    """Share of the lines' variances, correlation aside, that is not normal."""
    parts = [(line.contribution**2, line.distribution) for line in budget.lines]
    return sum(part for part, shape in parts if shape != Distribution.NORMAL) / sum(
        part for part, _ in parts
    )


def checked(
    budget: Budget, model: Model, *, draws: int = DRAWS, joint: Joint | None = None
) -> Budget:
    """The budget, cross-checked by Monte Carlo where first order is in doubt.

    A `joint` is itself a doubt where inputs that are not normal hold most of the variance.

    Where the two differ by more than half a unit of U's second digit (JCGM 101, 8), the
    half-width that covers symmetrically about the value by Monte Carlo replaces U, and where
    the model bends the spread of what was drawn replaces u.
    """
    why = doubt(budget, model)
    if why is None and joint is not None and _share_not_normal(budget) > 0.5:
        why = statement(BudgetSays.NOT_NORMAL_TOGETHER)
    if why is None:
        return budget
    output = monte_carlo(
        model, budget.lines, draws=draws, joint=joint, correlation=budget.correlation
    )
    U = float(np.quantile(np.abs(output - budget.value), budget.coverage))
    bends = why.what in (BudgetSays.BENDS_WITH, BudgetSays.BENDS_TOGETHER)
    u = float(output.std()) if bends else budget.u
    tolerance = 0.5 * 10 ** (math.floor(math.log10(u)) - 1)
    if abs(U - budget.U) <= tolerance:
        return replace(budget, note=statement(BudgetSays.MONTE_CARLO_AGREES, why=why))
    return replace(
        budget,
        u=u,
        U=U,
        k=U / u,
        method=statement(BudgetSays.MONTE_CARLO),
        note=statement(BudgetSays.MONTE_CARLO_DIFFERS, why=why, U_first_order_rel=budget.U),
    )

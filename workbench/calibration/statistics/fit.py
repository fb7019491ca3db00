"""Straight lines through calibration runs, with uncertainty in one or both variables.

One solver serves all: least squares on whitened data where x is sure (GUM H.3), and
generalised least squares with covariance matrices where x is uncertain too, so that what
all points share (one tape measured every lap) is carried as it is. For uncorrelated
points this is York's solution with the uncertainties of York et al., Am. J. Phys. 72(3),
2004, 367; for correlated ones that of ISO/TS 28037:2010, clauses 6 to 10.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_MOST_ROUNDS = 500


@dataclass(frozen=True, slots=True, eq=False)
class LineFit:
    """y = intercept + slope · x, fitted to n points.

    `covariance` (2, 2) of (intercept, slope); zero in the intercept's row and column
    where the line was held through the origin. `residual` (n,) is y − line(x),
    `weights` (p, n) the rows G with G·residual = 0 at the solution, p the number of
    parameters, and `omega` (n, n) the covariance of the residuals' errors. `chi_square`
    is NaN where no uncertainties were given; `s` is then the residual standard deviation,
    else NaN.
    """

    intercept: float
    slope: float
    covariance: Floats
    through_origin: bool
    residual: Floats
    weights: Floats
    omega: Floats
    chi_square: float
    s: float

    @property
    def dof(self) -> int:
        return self.residual.size - (1 if self.through_origin else 2)

    @property
    def u_intercept(self) -> float:
        return math.sqrt(self.covariance[0, 0])

    @property
    def u_slope(self) -> float:
        return math.sqrt(self.covariance[1, 1])

    def value(self, x: float) -> tuple[float, float]:
        """The line at `x` and its standard uncertainty (x itself taken as sure)."""
        row = np.array([1.0, x])
        return self.intercept + self.slope * x, math.sqrt(row @ self.covariance @ row)


def straight_line(
    x: ArrayLike,
    y: ArrayLike,
    *,
    cov_x: ArrayLike | None = None,
    cov_y: ArrayLike | None = None,
    through_origin: bool = False,
) -> LineFit:
    """Fit y = a + b·x, or y = b·x, to points x, y (n,).

    `cov_x`, `cov_y`: standard uncertainties (n,) or covariance matrices (n, n). With
    neither, all points weigh the same and the scatter gives the uncertainty. Raises
    ValueError where there are too few points, all x are the same, or nothing converges.
    """
    x, y = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    _check(x, y, through_origin)
    Vx, Vy = _covariance(cov_x, x.size), _covariance(cov_y, x.size)
    if Vx is None:
        return _sure_x(x, y, Vy, through_origin)
    return _uncertain_x(x, y, Vx, np.zeros_like(Vx) if Vy is None else Vy, through_origin)


def _check(x: Floats, y: Floats, through_origin: bool) -> None:
    if x.ndim != 1 or x.shape != y.shape:
        raise ValueError("x and y must be arrays of one length")
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise ValueError("x and y must be finite")
    if x.size < (1 if through_origin else 2):
        raise ValueError("too few points for a line")
    if through_origin and not x.any():
        raise ValueError("all points lie at x = 0")
    if not through_origin and np.ptp(x) == 0:
        raise ValueError("all points lie at the same x")


def _covariance(given: ArrayLike | None, n: int) -> Floats | None:
    if given is None:
        return None
    matrix = np.asarray(given, dtype=np.float64)
    if matrix.ndim == 1:
        matrix = np.diag(matrix**2)
    if matrix.shape != (n, n):
        raise ValueError("uncertainties must be one a point, or a square covariance matrix")
    return matrix


def _design(x: Floats, through_origin: bool) -> Floats:
    return x[:, None] if through_origin else np.column_stack([np.ones_like(x), x])


def _sure_x(x: Floats, y: Floats, Vy: Floats | None, through_origin: bool) -> LineFit:
    omega = np.eye(x.size) if Vy is None else Vy
    lower = _cholesky(omega)
    J = _design(x, through_origin)
    whitened = _solve(lower, J)
    q, r = np.linalg.qr(whitened)
    theta = _solve(r, q.T @ _solve(lower, y))
    residual = y - J @ theta
    square = float(np.sum(_solve(lower, residual) ** 2))
    r_inverse = np.linalg.inv(r)
    covariance = r_inverse @ r_inverse.T
    dof, s, chi_square = x.size - J.shape[1], math.nan, square
    if Vy is None:
        s, chi_square = math.sqrt(square / dof) if dof else math.nan, math.nan
        covariance = covariance * s**2
    weights = _solve(omega, J).T
    return _made(theta, covariance, through_origin, residual, weights, omega, chi_square, s)


def _uncertain_x(x: Floats, y: Floats, Vx: Floats, Vy: Floats, through_origin: bool) -> LineFit:
    """Gauss-Newton on the line and the adjusted x together, the adjusted x profiled out."""
    start = _sure_x(x, y, None, through_origin)
    slope, J = start.slope, _design(x, through_origin)
    if slope == 0 and not Vy.any():
        raise ValueError("a level line needs an uncertainty in y")
    for count in range(_MOST_ROUNDS):
        omega = Vy + slope**2 * Vx
        theta, adjusted = _step(x, y, Vx, omega, J, slope, through_origin)
        last, slope = slope, float(theta[-1])
        # The first step starts from x as read: with equal uncertainties it cannot move the line.
        if count and abs(slope - last) <= 1e-12 * abs(slope):
            break
        if count > 50:  # it swings about the solution: meet it half-way
            slope = 0.5 * (slope + last)
        J = adjusted
    else:
        raise ValueError("the fit with both variables uncertain does not converge")
    omega = Vy + slope**2 * Vx
    lower = _cholesky(omega)
    residual = y - _design(x, through_origin) @ theta
    weights = _solve(omega, adjusted).T
    covariance = np.asarray(np.linalg.inv(weights @ adjusted), dtype=np.float64)
    square = float(np.sum(_solve(lower, residual) ** 2))
    return _made(theta, covariance, through_origin, residual, weights, omega, square, math.nan)


def _step(
    x: Floats, y: Floats, Vx: Floats, omega: Floats, J: Floats, slope: float, through_origin: bool
) -> tuple[Floats, Floats]:
    """Parameters for the adjusted design `J`, and the design adjusted to them."""
    design = _design(x, through_origin)
    G = _solve(omega, J).T
    theta = _solve(G @ design, G @ y)
    residual = y - design @ theta
    adjusted_x = x + theta[-1] * Vx @ _solve(omega, residual)
    return theta, _design(adjusted_x, through_origin)


def _solve(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.linalg.solve(a, b), dtype=np.float64)


def _cholesky(omega: Floats) -> Floats:
    try:
        return np.asarray(np.linalg.cholesky(omega))
    except np.linalg.LinAlgError:
        raise ValueError("every point needs an uncertainty in x or in y") from None


def _made(
    theta: Floats,
    covariance: Floats,
    through_origin: bool,
    residual: Floats,
    weights: Floats,
    omega: Floats,
    chi_square: float,
    s: float,
) -> LineFit:
    if through_origin:
        theta = np.array([0.0, theta[0]])
        covariance = np.array([[0.0, 0.0], [0.0, covariance[0, 0]]])
    a, b = float(theta[0]), float(theta[1])
    return LineFit(a, b, covariance, through_origin, residual, weights, omega, chi_square, s)


def lack_of_fit(fit: LineFit) -> float:
    """Probability of a chi-square at least this large if line and uncertainties hold.

    Small means that the points scatter more than their uncertainties allow. NaN where
    there is nothing to judge by: no degrees of freedom, or no uncertainties given.
    """
    if fit.dof < 1 or math.isnan(fit.chi_square):
        return math.nan
    from scipy.special import chdtrc

    return float(chdtrc(fit.dof, fit.chi_square))


@dataclass(frozen=True, slots=True)
class Outlier:
    """A point far from the line, and the probability of one so far among n."""

    index: int
    studentised: float
    probability: float


def farthest_points(fit: LineFit, most: int = 1) -> tuple[Outlier, ...]:
    """The `most` largest studentised residuals, largest first.

    The residual is compared with its own standard deviation (Baarda's data snooping), its
    probability is after Bonferroni's inequality. None where they cannot be judged: no degrees
    of freedom, or no uncertainties given.
    """
    if fit.dof < 1 or math.isnan(fit.chi_square):
        return ()
    from scipy.special import ndtr

    inverse = np.linalg.inv(fit.omega)
    # Q is the part of omega⁻¹ that the parameters leave; Q·residual is what a shift of one
    # point alone would have to explain, and its variance is Q's diagonal.
    design = fit.omega @ fit.weights.T
    Q = inverse - fit.weights.T @ _solve(fit.weights @ design, fit.weights)
    room = np.sqrt(np.maximum(np.diag(Q), 1e-12 * np.diag(inverse)))
    studentised = (inverse @ fit.residual) / room
    chance = fit.residual.size * 2 * ndtr(-np.abs(studentised))
    return tuple(
        Outlier(int(i), float(studentised[i]), min(1.0, float(chance[i])))
        for i in np.argsort(-np.abs(studentised), kind="stable")[:most]
    )

"""When did a row of values change: change points, and a chart that watches.

Steps are looked for one after the other, as binary segmentation does (Scott & Knott, Biometrics
30, 1974), each weighed by the likelihood of scatter with a memory (`match/mean.py`): a step that
such a scatter makes by itself is none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.statistics.control_chart import Cusum, cusum
from workbench.match.mean import scatter_of, shapes

Floats = NDArray[np.float64]

LEAST_PART = 5
"""Values on each side of a change point."""

MOST_CHANGES = 3
"""In one row. More would let the scatter pass for changes; measured with the price below."""

PRICE = 7.5
"""What a change must gain in ln of the likelihood, wherever it lies: at most 3 of 100 sound
passes with a noise of 1 to 3 s memory are then told of one (bench_pass_coverage.py)."""

LEAST_CHANGE = 0.01
"""A smaller change of the ratio is no news to anyone; chosen."""

CUSUM_SLACK, CUSUM_DECISION = 0.5, 9.0
"""In standard deviations (NIST/SEMATECH 6.3.2.3: half the shift to be found). The decision lies
above the usual four to five: with those one sound pass of two minutes in five alarms, by
Siegmund's approximation (Sequential Analysis, 1985, from memory), and the target is not known
but the mean of a quarter."""


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """The first value after a change, and its size (mean after − mean before)."""

    index: int
    change: float


def change_points(
    values: Floats, step_s: float = 1.0, least: float = LEAST_CHANGE
) -> list[ChangePoint]:
    """Every change of the mean of `values` (n,), `step_s` apart, in order.

    Split as often as `MOST_CHANGES` allows, then joined again as far as the splits are not
    worth their price: a change left in would hide its like.
    """
    n = values.size
    places = np.arange(LEAST_PART, n - LEAST_PART + 1)
    if places.size == 0 or float(np.ptp(values)) == 0:
        return []
    steps = _Steps(values, places, step_s)
    found: list[int] = []
    worth: list[float] = []
    for _ in range(MOST_CHANGES):
        free = [all(abs(at - other) >= LEAST_PART for other in found) for at in places]
        if not any(free):
            break
        gain, at = steps.best(np.array(free))
        found.append(at)
        worth.append((worth[-1] if worth else 0.0) + gain - PRICE)
    kept = int(np.argmax([0.0, *worth]))
    bounds = [0, *sorted(found[:kept]), n]
    points = []
    for before, at, after in zip(bounds[:-2], bounds[1:-1], bounds[2:], strict=True):
        change = float(values[at:after].mean() - values[before:at].mean())
        if abs(change) >= least:
            points.append(ChangePoint(at, change))
    return points


class _Steps:
    """A row in the cosine transform, whitened under each shape of the scatter, and the steps
    that may be in it."""

    def __init__(self, values: Floats, places: NDArray[np.int64], step_s: float) -> None:
        from scipy.fft import dct

        weight, _, spectra = shapes(values.size, 1, step_s)
        up = (np.arange(values.size)[:, None] >= places[None, :]).astype(np.float64)
        whiten = 1 / np.sqrt(spectra)
        self._places = places
        self._prior = np.log(weight) + np.sum(np.log(whiten), axis=1)
        self._y = whiten * dct(values, norm="ortho")[1:]
        self._x = whiten[:, :, None] * dct(up, axis=0, norm="ortho")[None, 1:, :]
        self._dof = values.size - 1

    def best(self, free: NDArray[np.bool_]) -> tuple[float, int]:
        """The likeliest step among the `free` places, taken out: ln of what it gains, where."""
        size = np.maximum(np.sum(self._x**2, axis=1), 1e-12)
        along = np.einsum("gn,gnp->gp", self._y, self._x)
        square = np.maximum(np.sum(self._y**2, axis=1), 1e-300)[:, None]
        left = np.maximum(square - along**2 / size, 1e-12 * square)
        density = self._prior[:, None] - self._dof / 2 * np.log(left)
        most = density.max(axis=0)
        with_step = most + np.log(np.sum(np.exp(density - most), axis=0))
        plain = self._prior - self._dof / 2 * np.log(square[:, 0])
        gains = with_step - plain.max() - math.log(float(np.sum(np.exp(plain - plain.max()))))
        at = int(np.argmax(np.where(free, gains, -math.inf)))
        step = self._x[:, :, at] / np.sqrt(size[:, at])[:, None]
        self._y = self._y - np.sum(step * self._y, axis=1)[:, None] * step
        self._x = self._x - step[:, :, None] * np.einsum("gn,gnp->gp", step, self._x)[:, None, :]
        self._dof -= 1
        return float(gains[at]), int(self._places[at])


def cusum_of_changes(values: Floats, step_s: float = 1.0) -> Cusum:
    """A CUSUM of `values`, `step_s` apart, against the mean of their first quarter, in the
    scatter with which they count in a mean, the largest change taken out."""
    first = values[: max(3, values.size // 4)]
    points = change_points(values, step_s, 0.0)
    parts = np.split(values, [point.index for point in points])
    left = np.concatenate([part - part.mean() for part in parts])
    sigma = max(scatter_of(left, step_s).long_run()[1] / 2, 1e-9)
    return cusum(
        values,
        target=float(first.mean()),
        slack=CUSUM_SLACK * sigma,
        decision=CUSUM_DECISION * sigma,
    )

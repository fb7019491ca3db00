"""What a wheel may be where it was not read: draws of every tooth's gap, given the readings.

A tooth's gap is the once-a-turn swing, an oval twice a turn, and its own form; a reading adds
the hand's scatter, and its blade the step between two. Nobody knows how large these are: each
combination of a grid counts by how likely it makes the readings (restricted likelihood, the
swing taken out, with the repeats' own chi-square), and the teeth are drawn given each (a
Gaussian process conditioned by Matheron's rule; Rasmussen & Williams 2006, 2.2, from memory).
So the widest tooth that was not read is allowed for as far as those that were read give reason.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from workbench.calibration.gap.places import Places

Floats = NDArray[np.float64]

DRAWS = 4000
SEED = 20240301
"""Fixed: the same readings give the same answer."""

USUAL_TEETH = 24
"""Teeth of a wheel that nobody counted; common practice, no source."""

ENOUGH_PLACES = 8
"""Places from which an oval, and the teeth's own form, can be told from the hand's scatter."""

HANDS_M = 1e-5 * np.array([1.0, 1.6, 2.5, 4.0, 6.3, 10.0, 16.0, 25.0])
HAND_USUAL_M, HAND_SPREAD = 4.5e-5, 0.7
FORMS_M = np.array([0.0, 5e-5, 1e-4, 2e-4, 4e-4])
FORM_WEIGHTS = np.array([0.6, 0.1, 0.1, 0.1, 0.1])
FEW_FORM_WEIGHTS = np.array([0.96, 0.01, 0.01, 0.01, 0.01])
GUARD_FORM_WEIGHTS = np.array([0.1, 0.4, 0.3, 0.1, 0.1])
FEW_GUARD_FORM_WEIGHTS = np.array([0.4, 0.55, 0.04, 0.005, 0.005])
OVALS_M = np.array([0.0, 5e-5, 1e-4, 2e-4])
OVAL_WEIGHTS = np.array([0.85, 0.05, 0.05, 0.05])
"""Standard deviations of a hand's reading, of a tooth's form and of the oval's two parts, and
what each stands for before anything was read; form the more where a verdict is to be safe, since
a few places that lie on one swing may do so by chance. Chosen;
tests/benchmarks/bench_gap_coverage.py shows what intervals and verdicts then hold."""


@dataclass(frozen=True, slots=True, eq=False)
class Teeth:
    """`gap_m` (teeth, draws) of the wheel's teeth at `angle_deg` (teeth,), the places read
    first; `oval_p` and `form_p` are the probabilities of an oval and of form errors, `uneven`
    whether an answer is to go by them."""

    angle_deg: Floats
    gap_m: Floats
    oval_p: float
    form_p: float
    uneven: bool


def _waves(angle_deg: Floats, turns: int) -> Floats:
    """(n, 2) cosine and sine of so many waves a turn."""
    theta = turns * np.radians(angle_deg)
    return np.column_stack([np.cos(theta), np.sin(theta)])


def draw_teeth(
    places: Places,
    alike: NDArray[np.bool_],
    u_blade_m: float,
    teeth: int = USUAL_TEETH,
    *,
    guard: bool = False,
) -> Teeth:
    """Draws of every tooth's gap; places not `alike` (p,) tell of no tooth but their own. `guard`:
    for a verdict, which is to be safe where a form error did not show."""
    rng = np.random.default_rng(SEED)
    read = _AlikePlaces(places.gap_m[alike], places.count[alike], u_blade_m)
    angle_deg = np.concatenate((places.angle_deg[alike], _unread(places.angle_deg, teeth)))
    swing = np.column_stack([np.ones(angle_deg.size), _waves(angle_deg, 1)])
    oval, n = _waves(angle_deg, 2), read.gap_m.size
    grid, prior = _grid(places.angle_deg.size >= ENOUGH_PLACES, guard)
    chance = _weighed(places, read, swing[:n], oval[:n], grid, prior)
    counts = rng.multinomial(DRAWS, chance)
    drawn = [
        _drawn(rng, read, grid[at], swing, oval, int(counts[at])) for at in np.flatnonzero(counts)
    ]
    gap_m = np.concatenate(drawn, axis=1)
    if not alike.all():
        hand_m = places.scatter_m if places.freedom else HAND_USUAL_M
        u_m = np.maximum(hand_m / np.sqrt(places.count[~alike]), u_blade_m)
        own_m = places.gap_m[~alike, None] + u_m[:, None] * rng.standard_normal((u_m.size, DRAWS))
        angle_deg = np.concatenate((angle_deg, places.angle_deg[~alike]))
        gap_m = np.concatenate((gap_m, own_m))
    # What shifts all readings alike; of the step of the blades a place's reading has its share.
    gap_m += u_blade_m * math.sqrt(3 * (1 - 1 / n)) * rng.uniform(-1, 1, DRAWS)
    form_p, oval_p = (float(chance[grid[:, which] > 0].sum()) for which in (1, 2))
    # Readings that were not repeated cannot tell a tooth's form from the hand's scatter.
    uneven = oval_p > 0.5 or (form_p > 0.5 and places.freedom > 0) or not alike.all()
    return Teeth(angle_deg, gap_m, oval_p, form_p, uneven)


@dataclass(frozen=True, slots=True, eq=False)
class _AlikePlaces:
    """Mean gaps and numbers of readings (n,) of places that are alike."""

    gap_m: Floats
    count: NDArray[np.int64]
    u_blade_m: float

    def noise_m2(self, hand_m: Floats) -> Floats:
        """Variance of a place's mean (…, n) for hands (…, 1)."""
        return np.maximum(hand_m**2 / self.count, self.u_blade_m**2)


def _drawn(
    rng: np.random.Generator,
    read: _AlikePlaces,
    sizes_m: Floats,
    swing: Floats,
    oval: Floats,
    many: int,
) -> Floats:
    """(teeth, many) draws of the gap given the sizes of hand, form and oval."""
    hand_m, form_m, oval_m = sizes_m
    n = read.gap_m.size
    noise_m2 = read.noise_m2(hand_m)
    own = form_m * rng.standard_normal((oval.shape[0], many))
    own += oval_m * oval @ rng.standard_normal((2, many))
    left = read.gap_m[:, None] - own[:n]
    left -= np.sqrt(noise_m2)[:, None] * rng.standard_normal((n, many))
    V = np.diag(noise_m2 + form_m**2) + oval_m**2 * oval[:n] @ oval[:n].T
    weighed = np.linalg.solve(V, swing[:n])
    beta = np.linalg.solve(swing[:n].T @ weighed, weighed.T @ left)
    told = np.linalg.solve(V, left - swing[:n] @ beta)
    own += oval_m**2 * oval @ (oval[:n].T @ told)
    own[:n] += form_m**2 * told
    return np.asarray(swing @ beta + own)


def _unread(read_deg: Floats, teeth: int) -> Floats:
    """Where the other teeth of an evenly toothed wheel stand."""
    pitch_deg = 360.0 / teeth
    grid_deg = (read_deg[0] + pitch_deg * np.arange(teeth)) % 360.0
    off_deg = np.abs((grid_deg[:, None] - read_deg + 180.0) % 360.0 - 180.0)
    return np.asarray(grid_deg[off_deg.min(axis=1) > 0.5 * pitch_deg])


def _weighed(
    places: Places, read: _AlikePlaces, swing: Floats, oval: Floats, grid: Floats, prior: Floats
) -> Floats:
    """(g,) how likely each combination of the `grid` (g, 3) is."""
    hand_m, form_m, oval_m = grid.T[:, :, None]
    y, size = read.gap_m, (grid.shape[0], read.gap_m.size, 1)
    V = (read.noise_m2(hand_m) + form_m**2)[:, :, None] * np.eye(y.size)
    V = V + (oval_m**2)[:, :, None] * (oval @ oval.T)
    inside = np.linalg.solve(V, np.broadcast_to(swing, (grid.shape[0], *swing.shape)))
    normal = swing.T @ inside
    told = np.linalg.solve(V, np.broadcast_to(y[:, None], size))
    left = told - inside @ np.linalg.solve(normal, swing.T @ told)
    spread = np.linalg.slogdet(V)[1] + np.linalg.slogdet(normal)[1]
    log = np.log(prior) - 0.5 * (spread + left[..., 0] @ y)
    if places.freedom:
        ratio = (places.scatter_m / grid[:, 0]) ** 2
        log = log - places.freedom * (np.log(grid[:, 0]) + 0.5 * ratio)
    chance = np.exp(log - log.max())
    return np.asarray(chance / chance.sum())


@lru_cache(maxsize=4)
def _grid(enough: bool, guard: bool) -> tuple[Floats, Floats]:
    """(g, 3) sizes of hand, form and oval in m, and (g,) what each stands for beforehand."""
    ovals, oval_weights = (OVALS_M, OVAL_WEIGHTS) if enough else (np.zeros(1), np.ones(1))
    forms = FORM_WEIGHTS if enough else FEW_FORM_WEIGHTS
    if guard:
        forms = GUARD_FORM_WEIGHTS if enough else FEW_GUARD_FORM_WEIGHTS
    hand = np.exp(-0.5 * (np.log(HANDS_M / HAND_USUAL_M) / HAND_SPREAD) ** 2)
    grid = np.array(np.meshgrid(HANDS_M, FORMS_M, ovals, indexing="ij")).reshape(3, -1).T
    return grid, (hand[:, None, None] * forms[:, None] * oval_weights).ravel()

"""Ground speed sources against each other: which is used and why, which one stands apart.

Wheel speed carries the wheels' slip (8 to 15 % is usual, Oklahoma State Extension), of
which the tractor's own set-up takes some out; a radar's scale depends on its mounting
angle, 1.3 % a degree at 36° (derived); a receiver's Doppler speed has no scale error worth
naming but is noisy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.statements import Statement, Value, statement
from workbench.calibration.pulses.speed import SpeedSeries
from workbench.calibration.statistics.spread import robust_spread
from workbench.match.align import align
from workbench.match.mean import autocorrelated_mean
from workbench.match.ratio import LEAST_S, MOVING_MPS, own_accuracy

Floats = NDArray[np.float64]

MOST_NOISE_REL = 0.1
"""Scatter of a single value from which a source is no choice while there is another: averaged
over a pass of three minutes it is as far off as a radar's scale (derived, from
`ratio.ACCURACY_MEMORY_S`)."""

APART = 0.02
"""Share by which a source must differ from the others to be named; chosen."""


class GroundKind(StrEnum):
    """What a ground speed is measured by; the value is its name in every answer."""

    GNSS = "gnss"
    RADAR = "radar"
    UNNAMED = "unnamed"
    WHEEL = "wheel"
    SELECTED = "selected"
    WATER = "through water"


class SourceSays(StrEnum):
    """How good a source of ground speed is."""

    QUALITY_OF_SOURCE = auto()
    SOURCE_AT_REST = auto()


@dataclass(frozen=True, slots=True)
class SourceKind:
    """A kind of ground speed: its scale's u, and whether it is measured on the ground itself."""

    name: GroundKind
    u_scale_rel: float
    of_the_ground: bool


GNSS = SourceKind(GroundKind.GNSS, 0.0, True)
RADAR = SourceKind(GroundKind.RADAR, 0.01, True)
UNNAMED = SourceKind(GroundKind.UNNAMED, 0.0, True)
"""Of a source of which nobody knows more; it is taken as it is."""
WHEEL = SourceKind(GroundKind.WHEEL, 0.02, False)
SELECTED = SourceKind(GroundKind.SELECTED, 0.03, False)
WATER = SourceKind(GroundKind.WATER, 0.03, False)
KINDS = (GNSS, RADAR, UNNAMED, WHEEL, SELECTED, WATER)
"""The most trusted first. The scales' uncertainties follow from what stands above: a wheel set
up in the middle of the usual slip is off by (15 − 8) % ÷ √12; a radar by most of a degree. The
others' are chosen."""


def trust(kind: SourceKind, *, usable: bool, u_mean_rel: float = 0.0) -> tuple[bool, int, float]:
    """What to sort sources of the ground by, the one to take first.

    By its kind rather than by how quiet it is: noise averages out over a pass, a scale does
    not; and so the choice is the same before a pass, in its midst and after it.
    """
    return not usable, KINDS.index(kind), u_mean_rel


@dataclass(frozen=True, slots=True)
class Quality:
    """How good a source is for the mean ground speed of a pass.

    `share` is that of its messages with a value, `noise_rel` what one value scatters by or
    claims to, `u_mean_rel` the relative uncertainty its mean would have.
    """

    source: str
    kind: SourceKind
    share: float
    noise_rel: float
    u_mean_rel: float

    @property
    def usable(self) -> bool:
        return self.share >= 0.5 and not self.noise_rel > MOST_NOISE_REL

    @property
    def says(self) -> Statement:
        """The source with its kind and its quality."""
        known: dict[str, Value] = {
            "source": self.source,
            "kind": statement(self.kind.name),
            "share_rel": self.share,
        }
        if not math.isfinite(self.u_mean_rel):
            return statement(SourceSays.SOURCE_AT_REST, **known)
        return statement(SourceSays.QUALITY_OF_SOURCE, **known, mean_rel=self.u_mean_rel)


def quality(source: str, kind: SourceKind, series: SpeedSeries) -> Quality:
    """Judge one source by its own values."""
    good = np.isfinite(series.speed_mps)
    share = float(good.mean()) if good.size else 0.0
    speed_mps = series.speed_mps[good]
    mean_mps = float(np.abs(speed_mps).mean()) if speed_mps.size else 0.0
    if speed_mps.size < 5 or mean_mps == 0:
        return Quality(source, kind, share, math.nan, math.inf)
    claimed = series.u_mps[good]
    claimed = claimed[np.isfinite(claimed)]
    # Noise is held against the speed while moving: at standstill any receiver is all noise.
    moving_mps = speed_mps[np.abs(speed_mps) > MOVING_MPS]
    usual_mps = float(np.median(moving_mps)) if moving_mps.size >= 20 else math.nan
    claimed_rel = math.sqrt(float(np.mean(claimed**2))) / usual_mps if claimed.size else 0.0
    second = np.diff(speed_mps, n=2)
    seen_rel = robust_spread(second) / math.sqrt(6) / usual_mps
    duration_s = float(np.ptp(series.time_s)) * share
    own = own_accuracy(series, max(duration_s, 1.0))
    white = seen_rel / math.sqrt(speed_mps.size) if math.isfinite(seen_rel) else 0.0
    u_mean_rel = math.hypot(series.u_common_rel, own, white)
    return Quality(source, kind, share, max(claimed_rel, seen_rel), u_mean_rel)


def best(found: Sequence[Quality]) -> Quality | None:
    """The source to take for the ground: mostly there, of the most trusted kind, the surest."""
    moving = [one for one in found if math.isfinite(one.u_mean_rel)]
    return min(
        moving,
        key=lambda one: trust(one.kind, usable=one.usable, u_mean_rel=one.u_mean_rel),
        default=None,
    )


@dataclass(frozen=True, slots=True)
class Factor:
    """One source ÷ the reference over the time both moved, and how far it is behind."""

    source: str
    factor: float
    u_factor: float
    lag_s: float
    u_lag_s: float
    seconds: float


def factor_to(
    reference: SpeedSeries, source: str, series: SpeedSeries, from_s: float, to_s: float
) -> Factor | None:
    """The factor of a source to the reference between two times; None where they do not meet."""
    both = align(reference, series)
    if both is None:
        return None
    used = both.valid & (both.belt_mps > MOVING_MPS)
    used &= (both.time_s >= from_s) & (both.time_s <= to_s)
    seconds = float(used.sum()) * both.step_s
    if seconds < LEAST_S:
        return None
    a, b = both.belt_mps[used], both.ground_mps[used]
    factor = float(b.sum() / a.sum())
    u = autocorrelated_mean(b - factor * a, both.step_s).U / 2 / float(a.mean())
    u = math.hypot(
        u, factor * own_accuracy(series, seconds), factor * own_accuracy(reference, seconds)
    )
    return Factor(source, factor, u, both.lag_s, both.u_lag_s, seconds)


def stands_apart(reference: str, factors: Sequence[Factor]) -> str | None:
    """The one source that differs from all the others, which agree; None where none does.

    At least three sources are needed, the reference among them.
    """
    logs = {reference: (0.0, 0.0)}
    logs |= {one.source: (math.log(one.factor), one.u_factor / one.factor) for one in factors}
    if len(logs) < 3:
        return None
    middle = float(np.median([value for value, _ in logs.values()]))
    away = {
        name: abs(value - middle)
        for name, (value, u) in logs.items()
        if abs(value - middle) > max(APART, 3 * u)
    }
    return next(iter(away)) if len(away) == 1 else None


def wheel_slip(wheel: Factor, u_reference_rel: float) -> tuple[float, float]:
    """How much more the wheels turn than the ground passes, beyond what the set-up takes out,
    and its standard uncertainty.

    Slip = 1 − ground ÷ wheel, from the wheel's factor to a source of the ground itself.
    """
    u = math.hypot(wheel.u_factor / wheel.factor, u_reference_rel) / wheel.factor
    return 1 - 1 / wheel.factor, u

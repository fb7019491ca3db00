"""The wheel as a picture: the target wheel seen from the pickup's side, the mark on top,
turning clockwise. Gaps stand as points between two rings, the best and the largest gap; teeth
stand at their places, their shift drawn so many times too large as the picture says."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from workbench.base.machine import Pickup
from workbench.base.numbers import quantities
from workbench.base.units import UnitSystem
from workbench.calibration.gap.answer import FeelerAnswer, WheelAnswer, suspect_teeth
from workbench.calibration.gap.faults import FaultKind
from workbench.words.language import _
from workbench.words.pictures.picture import Bools, Floats
from workbench.words.words import Words

EXAGGERATIONS = (20, 10, 5, 2, 1)
MOST_SHIFT = 0.5
"""Of a pitch, the largest shift that is drawn."""
TEETH_IN, TEETH_OUT = 0.8, 1.0
"""Foot and head of a tooth, as shares of the outer radius."""
FOOT, HEAD = 1.2, 0.8
"""Of a quarter of a pitch, half of a tooth's width at its foot and its head."""


@dataclass(frozen=True, slots=True, eq=False)
class GapWheel:
    """Gaps (n,) at angles from the mark in the turning direction; `odd` (n,) are off the swing
    or too wide. `swing_m` are (mean, cosine, sine) of the once-a-turn swing, None without one;
    `widest` and `closest` (m, degrees); `next_deg` where to read next."""

    best_m: float
    most_m: float
    angle_deg: Floats = field(default_factory=lambda: np.empty(0))
    gap_m: Floats = field(default_factory=lambda: np.empty(0))
    odd: Bools = field(default_factory=lambda: np.empty(0, dtype=bool))
    swing_m: tuple[float, float, float] | None = None
    widest: tuple[float, float] | None = None
    closest: tuple[float, float] | None = None
    next_deg: float | None = None

    @property
    def top_m(self) -> float:
        """The gap at the outer edge."""
        widest_m = max([self.widest[0] if self.widest else 0.0, *map(float, self.gap_m)])
        return max(1.25 * self.most_m, 1.08 * widest_m)

    def swing_at(self, angle_deg: Floats) -> Floats:
        """The swing (n,) at angles (n,); there must be one."""
        assert self.swing_m is not None
        mean, a, b = self.swing_m
        turn = np.radians(angle_deg)
        return np.asarray(mean + a * np.cos(turn) + b * np.sin(turn))

    @property
    def words(self) -> str:
        """The picture in words."""
        said = _("Gap at {places} angles between its limits").format(places=self.angle_deg.size)
        if self.next_deg is None:
            return said
        following = _("read next at {angle:.0f} degrees").format(angle=self.next_deg)
        return f"{said}; {following}"

    def scale_words(self, units: UnitSystem) -> str:
        """How the gap is drawn."""
        top = quantities(units)["gap"].text(self.top_m)
        return _(
            "The gap is drawn larger than it is: from the grey wheel to the outer edge, {top}."
        ).format(top=top)


def feeler_wheel(
    found: FeelerAnswer | None, limits: Pickup, next_deg: float | None = None
) -> GapWheel:
    """The wheel with the gaps read so far, None for none, and where to read next."""
    best_m, most_m = limits.gap_best_m, limits.gap_max_m
    if found is None:
        return GapWheel(best_m, most_m, next_deg=next_deg)
    angle = np.array([place.angle_deg for place in found.places])
    gap_m = np.array([place.gap_m for place in found.places])
    apart = np.abs(angle[:, None] - np.array(found.odd_angles_deg)[None, :])
    odd = (apart < 1e-6).any(axis=1) | (gap_m > most_m)
    widest = found.widest_m, found.widest_angle_deg
    closest = found.closest_m, found.closest_angle_deg
    return GapWheel(
        best_m, most_m, angle, gap_m, odd, found.swing_m, widest, closest, next_deg=next_deg
    )


@dataclass(frozen=True, slots=True, eq=False)
class ToothWheel:
    """Each tooth's lateness in pitches from tooth 1, NaN where it is not known; `faults` from a
    tooth's number to what it has.

    Where not `marked`, tooth 1 is only the first that was seen, not the one at the mark.
    """

    late_rel: Floats
    faults: Mapping[int, FaultKind] = field(default_factory=dict)
    marked: bool = True

    @property
    def teeth(self) -> int:
        return self.late_rel.size

    @property
    def times(self) -> int:
        """So many times too large the shifts are drawn."""
        largest = float(np.nanmax(np.abs(self.late_rel), initial=1e-6))
        return next((t for t in EXAGGERATIONS if t * largest <= MOST_SHIFT), 1)

    def place_deg(self, tooth: int) -> float:
        """Where a tooth should be."""
        return (tooth - 1) * 360.0 / self.teeth

    def drawn_deg(self, tooth: int) -> float:
        """Where it is drawn; NaN for one that is not there, or not seen."""
        if self.faults.get(tooth) == FaultKind.MISSING:
            return math.nan
        return (
            self.place_deg(tooth) + self.times * float(self.late_rel[tooth - 1]) * 360 / self.teeth
        )

    def corners(self, angle_deg: float) -> list[tuple[float, float]]:
        """The outline of a tooth at an angle: angles, and shares of the outer radius."""
        quarter = 90.0 / self.teeth
        shape = ((-FOOT, TEETH_IN), (-HEAD, TEETH_OUT), (HEAD, TEETH_OUT), (FOOT, TEETH_IN))
        return [(angle_deg + quarter * part, radius) for part, radius in shape]

    @property
    def words(self) -> str:
        """The picture in words."""
        say = Words().say
        named = ", ".join(f"{say(kind)} {tooth}" for tooth, kind in self.faults.items())
        return _("{teeth} teeth; {suspects}").format(
            teeth=self.teeth, suspects=named or _("no suspect tooth")
        )

    @property
    def scale_words(self) -> str:
        """How the shifts are drawn."""
        if self.times == 1:
            return _("Outlined: where each tooth should be. Filled: where it is, to scale.")
        return _(
            "Outlined: where each tooth should be. Filled: where it is, its shift drawn {times} "
            "times too large."
        ).format(times=self.times)


def tooth_wheel(found: WheelAnswer) -> ToothWheel:
    """The wheel of a pickup judged by its pulses."""
    return ToothWheel(np.array(found.spacing_rel), suspect_teeth(found), found.marked)

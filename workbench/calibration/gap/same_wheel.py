"""Is this the wheel of an earlier recording, and did it turn the same way?

A wheel's tooth spacing is its fingerprint. Turned the other way the teeth come in the
other order, and one that came late comes early.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum, auto

import numpy as np
from numpy.typing import NDArray

from workbench.base.statements import Statement, statement

Floats = NDArray[np.float64]

FEWEST_TEETH = 8
ALIKE = 0.75
"""Correlation of two fingerprints from which they are one wheel's; chosen: of 24 random
teeth, in 48 positions compared, fewer than 1 in 1000 pairs comes so near."""


class SameWheelSays(StrEnum):
    """Whether a wheel is the one of an earlier recording."""

    OTHER_COUNT = auto()
    FEW_TEETH_TO_KNOW = auto()
    OTHER_WHEEL = auto()
    SAME_WHEEL = auto()
    SAME_WHEEL_TURNED_BACK = auto()


@dataclass(frozen=True, slots=True)
class WheelMatch:
    """Whether it is the wheel of the stored `result`; `same_wheel` is None where it cannot be
    told. Tooth 1 now was tooth `tooth_then` then."""

    result: int | None
    same_wheel: bool | None
    turned_back: bool
    tooth_then: int | None
    correlation: float
    sentence: Statement


def compare_spacing(now: Floats, then: Floats, result: int | None = None) -> WheelMatch:
    """Compare two wheels' lateness by tooth (Z,), NaN where a tooth was not seen; `result` is
    the stored result that `then` is of."""
    if now.size != then.size or now.size < FEWEST_TEETH:
        said = statement(SameWheelSays.OTHER_COUNT, now=now.size, then=then.size)
        if now.size == then.size:
            said = statement(SameWheelSays.FEW_TEETH_TO_KNOW, teeth=now.size)
        return WheelMatch(result, None, False, None, float("nan"), said)
    forward = _correlations(now, then)
    backward = _correlations(now, -then[::-1])
    turned_back = bool(backward.max() > forward.max())
    best = backward if turned_back else forward
    shift, correlation = int(np.argmax(best)), float(best.max())
    if correlation < ALIKE:
        other = statement(SameWheelSays.OTHER_WHEEL)
        return WheelMatch(result, False, False, None, correlation, other)
    tooth_then = (now.size - 1 - shift) % now.size + 1 if turned_back else shift + 1
    says = SameWheelSays.SAME_WHEEL_TURNED_BACK if turned_back else SameWheelSays.SAME_WHEEL
    said = statement(says, tooth_then=tooth_then)
    return WheelMatch(result, True, turned_back, tooth_then, correlation, said)


def _correlations(now: Floats, then: Floats) -> Floats:
    """(Z,) correlation of `now` with `then` rolled back by 0, 1, … teeth."""
    a, b = _standard(now), _standard(then)
    return np.array([float(a @ np.roll(b, -shift)) for shift in range(a.size)])


def _standard(values: Floats) -> Floats:
    """Mean 0 and length 1; an unseen tooth counts as being in its place."""
    filled = np.where(np.isfinite(values), values, np.nanmean(values))
    centred = filled - filled.mean()
    return np.asarray(centred / max(float(np.linalg.norm(centred)), 1e-300))

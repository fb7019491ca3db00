"""Is this the wheel of an earlier recording, and did it turn the same way?

A wheel's tooth spacing is its fingerprint. Turned the other way the teeth come in the
other order, and one that came late comes early.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FEWEST_TEETH = 8
ALIKE = 0.75
"""Correlation of two fingerprints from which they are one wheel's; chosen: of 24 random
teeth, in 48 positions compared, fewer than 1 in 1000 pairs comes so near."""


@dataclass(frozen=True, slots=True)
class WheelMatch:
    """`same` is None where it cannot be told. Tooth 1 now was tooth `tooth_then` then."""

    same: bool | None
    turned_back: bool
    tooth_then: int
    correlation: float
    sentence: str


def compare_spacing(now: Floats, then: Floats) -> WheelMatch:
    """Compare two wheels' lateness by tooth (Z,), NaN where a tooth was not seen."""
    if now.size != then.size or now.size < FEWEST_TEETH:
        text = f"A wheel of {now.size} teeth cannot be compared with one of {then.size}."
        if now.size == then.size:
            text = f"{now.size} teeth are too few to know a wheel by."
        return WheelMatch(None, False, 0, float("nan"), text)
    forward = _correlations(now, then)
    backward = _correlations(now, -then[::-1])
    turned_back = bool(backward.max() > forward.max())
    best = backward if turned_back else forward
    shift, correlation = int(np.argmax(best)), float(best.max())
    if correlation < ALIKE:
        text = "The teeth are not spaced as then: another wheel, or a wheel that has changed."
        return WheelMatch(False, False, 0, correlation, text)
    tooth_then = (now.size - 1 - shift) % now.size + 1 if turned_back else shift + 1
    text = f"It is the same wheel; tooth 1 now was tooth {tooth_then} then."
    if turned_back:
        text = (
            f"The wheel was turned the other way; tooth 1 now was tooth {tooth_then} then, and "
            "teeth count in the opposite direction."
        )
    return WheelMatch(True, turned_back, tooth_then, correlation, text)


def _correlations(now: Floats, then: Floats) -> Floats:
    """(Z,) correlation of `now` with `then` rolled back by 0, 1, … teeth."""
    a, b = _standard(now), _standard(then)
    return np.array([float(a @ np.roll(b, -shift)) for shift in range(a.size)])


def _standard(values: Floats) -> Floats:
    """Mean 0 and length 1; an unseen tooth counts as being in its place."""
    filled = np.where(np.isfinite(values), values, np.nanmean(values))
    centred = filled - filled.mean()
    return np.asarray(centred / max(float(np.linalg.norm(centred)), 1e-300))

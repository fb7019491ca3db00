"""What moves of the flow control during a pass did to the ratio."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from workbench.base.errors import WrongInput
from workbench.match.advice import Response, learn_response
from workbench.match.mean import autocorrelated_mean
from workbench.match.ratio import Comparison

SETTLE_S = 3.0
"""After the flow control was moved, this long is left out. Chosen."""


def response_to_moves(found: Comparison, moved: Sequence[tuple[float, float]]) -> Response | None:
    """What the moves (s, steps) did; None where nothing was compared. Raises WrongInput."""
    both, steady = found.aligned, found.steady
    if both is None or steady is None:
        return None
    moves = sorted(moved)
    bounds = [-math.inf, *(at_s for at_s, _ in moves), math.inf]
    positions = np.concatenate(([0.0], np.cumsum([steps for _, steps in moves])))
    ratios, us = [], []
    for low, high in pairwise(bounds):
        part = steady & (both.time_s >= low + SETTLE_S * math.isfinite(low)) & (both.time_s < high)
        if part.sum() * both.step_s < SETTLE_S:
            raise WrongInput(
                "--moved: between {low:g} and {high:g} s there are less than {settle:g} steady "
                "seconds; give the moments at which the flow control was moved, in seconds of the "
                "recording.",
                low=max(low, float(both.time_s[0])),
                high=min(high, float(both.time_s[-1])),
                settle=SETTLE_S,
            )
        b, g = both.belt_mps[part], both.ground_mps[part]
        ratios.append(float(b.sum() / g.sum()))
        us.append(autocorrelated_mean(b - ratios[-1] * g, both.step_s).U / 2 / float(g.mean()))
    try:
        return learn_response(positions.tolist(), ratios, us)
    except ValueError:
        raise WrongInput(
            "--moved: the steps of the flow control made no clear change of the ratio; move it "
            "farther."
        ) from None
